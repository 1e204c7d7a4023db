//! A record's signals brought together from its files and its parts.

use super::header::Header;
use super::header::SignalLine;
use super::header::parse;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::limits;

/// One signal in its unit.
#[derive(Clone, Debug)]
pub(super) struct Trace {
    pub(super) line: SignalLine,
    /// NaN where the file holds no number.
    pub(super) samples: Vec<f64>,
}

type Files = [(String, Vec<u8>)];

/// The signals of a record, and how many frames it lasts.
pub(super) fn traces(
    header: &Header,
    files: &Files,
    findings: &mut Vec<Finding>,
) -> Result<(Vec<Trace>, usize), ReadError> {
    if header.segments.is_empty() {
        whole(header, files, findings)
    } else {
        parts(header, files, findings)
    }
}

fn file<'a>(name: &str, files: &'a Files) -> Result<&'a [u8], ReadError> {
    files.iter().find(|(own, _)| own == name).map(|(_, bytes)| bytes.as_slice()).ok_or_else(|| {
        ReadError::not_understood(format!(
            "the header names `{name}`: expected that file beside it, found none"
        ))
        .hint("keep the files of a record in one folder")
    })
}

fn whole(
    header: &Header,
    files: &Files,
    findings: &mut Vec<Finding>,
) -> Result<(Vec<Trace>, usize), ReadError> {
    let mut traces: Vec<Trace> = Vec::with_capacity(header.signals.len());
    let mut frames = usize::MAX;
    let mut rest = header.signals.as_slice();
    while let Some(first) = rest.first() {
        // Signals in one file stand on lines one after another (`wfdb-format`, header files).
        let count = rest.iter().take_while(|line| line.file == first.file).count();
        let (group, more) = rest.split_at(count);
        rest = more;
        let (read, read_frames) = group_traces(header, group, file(&first.file, files)?)?;
        traces.extend(read);
        // A file may be named as often as a header likes.
        let samples = traces.iter().map(|trace| trace.samples.len()).sum();
        limits::samples(samples, size(files))?;
        frames = frames.min(read_frames);
    }
    if traces.is_empty() {
        return Err(ReadError::not_understood("the record holds no signal: expected at least one"));
    }
    let whole = header.frames.is_none_or(|promised| frames >= promised);
    if whole {
        check_sums(header, &traces, findings);
    } else {
        let promised = header.frames.unwrap_or(0);
        let sentence = format!(
            "The header promises {promised} samples of each signal; {frames} are there. The rest of \
             the night is missing."
        );
        findings.push(Finding::new("file_cut_short", Weight::Caution, sentence));
    }
    Ok((traces.into_iter().map(|trace| trace.in_units(frames)).collect(), frames))
}

/// The signals of one file, digital values as they stand, and the whole frames in it.
fn group_traces(
    header: &Header,
    group: &[SignalLine],
    bytes: &[u8],
) -> Result<(Vec<Trace>, usize), ReadError> {
    let first = &group[0];
    if let Some(other) = group.iter().find(|line| line.format != first.format) {
        return Err(ReadError::not_understood(format!(
            "the signals of `{}` are stored in two formats: expected one, found that of {} different",
            first.file, other.description
        )));
    }
    let packed = bytes.get(first.byte_offset..).unwrap_or_default();
    let mut flat = first.format.decode(packed);
    let frame: usize = group.iter().fold(0, |sum, line| line.per_frame.saturating_add(sum));
    let frames = (flat.len() / frame).min(header.frames.unwrap_or(usize::MAX));
    if frames == 0 {
        return Err(ReadError::not_understood(format!(
            "`{}` holds no whole frame: expected {frame} samples, found {}",
            first.file,
            flat.len()
        )));
    }
    flat.truncate(frames * frame);
    let mut traces = Vec::with_capacity(group.len());
    let mut at = 0;
    for line in group {
        let (from, to) = (at, at + line.per_frame);
        at = to;
        let digital = flat.chunks_exact(frame).flat_map(|frame| &frame[from..to]).copied();
        traces.push(Trace { line: line.clone(), samples: whole_numbers(line, digital) });
    }
    Ok((traces, frames))
}

/// Digital values as f64, which holds each exactly; differences summed from the initial value.
fn whole_numbers(line: &SignalLine, digital: impl Iterator<Item = i32>) -> Vec<f64> {
    if line.format != super::storage::Format::Difference8 {
        return digital.map(f64::from).collect();
    }
    let mut value = line.initial;
    let summed = digital.map(|difference| {
        value = value.wrapping_add(difference);
        f64::from(value)
    });
    summed.collect()
}

impl Trace {
    /// Cut to `frames`, moved by the skew, missing samples empty, in the signal's unit.
    fn in_units(mut self, frames: usize) -> Self {
        let wanted = frames * self.line.per_frame;
        self.samples.truncate(wanted);
        let late = self.line.skew.saturating_mul(self.line.per_frame).min(self.samples.len());
        self.samples.drain(..late);
        let invalid = self.line.format.invalid().map(f64::from);
        let baseline = f64::from(self.line.baseline);
        for sample in &mut self.samples {
            let empty = Some(*sample) == invalid;
            *sample = if empty { f64::NAN } else { (*sample - baseline) / self.line.gain };
        }
        self.samples.resize(wanted, f64::NAN);
        self
    }
}

/// The checksum is the low 16 bits of the sum of a signal's samples.
fn check_sums(header: &Header, traces: &[Trace], findings: &mut Vec<Finding>) {
    if header.frames.is_none() {
        return;
    }
    for trace in traces {
        let Some(expected) = trace.line.checksum else { continue };
        #[expect(clippy::cast_possible_truncation, reason = "the low 16 bits of whole numbers")]
        let sum =
            trace.samples.iter().fold(0_i16, |sum, value| sum.wrapping_add(*value as i64 as i16));
        if sum != expected {
            let sentence = format!(
                "The samples of {} do not add up to the header's checksum: expected {expected}, found \
                 {sum}. The file may be damaged.",
                trace.line.description
            );
            findings.push(Finding::new("wfdb_checksum", Weight::Caution, sentence));
        }
    }
}

/// A record in parts: each part's signals one after another, matched to the first part's layout.
fn parts(
    header: &Header,
    files: &Files,
    findings: &mut Vec<Finding>,
) -> Result<(Vec<Trace>, usize), ReadError> {
    let first = header.segments.iter().find_map(|part| part.name.as_deref());
    let layout = part_header(header, first.unwrap_or("~"), files)?;
    // A first part of no length only lays out the signals, which then are told apart by description.
    let varying = header.segments.first().is_some_and(|part| part.frames == 0);
    let frames = header.segments.iter().fold(0, |sum: usize, part| sum.saturating_add(part.frames));
    check_size(frames, &layout, size(files))?;
    let mut traces: Vec<Trace> = layout
        .signals
        .iter()
        .map(|line| Trace { line: line.clone(), samples: Vec::new() })
        .collect();
    let mut done = 0;
    for part in header.segments.iter().filter(|part| part.frames > 0) {
        done += part.frames;
        if let Some(name) = &part.name {
            let own = part_header(header, name, files)?;
            let (read, _) = whole(&own, files, findings)?;
            append(&mut traces, read, varying);
        }
        for trace in &mut traces {
            trace.samples.resize(done * trace.line.per_frame, f64::NAN);
        }
    }
    Ok((traces, frames))
}

fn append(traces: &mut [Trace], read: Vec<Trace>, varying: bool) {
    for (index, part) in read.into_iter().enumerate() {
        let place = traces.iter().position(|trace| trace.line.description == part.line.description);
        let place = if varying { place } else { Some(index) };
        let trace = place.and_then(|place| traces.get_mut(place));
        if let Some(trace) = trace.filter(|trace| trace.line.per_frame == part.line.per_frame) {
            trace.samples.extend(part.samples);
        }
    }
}

fn part_header(header: &Header, name: &str, files: &Files) -> Result<Header, ReadError> {
    let own = parse(file(&format!("{name}.hea"), files)?)?;
    let same = (own.frequency_hz - header.frequency_hz).abs() <= 1e-6 * header.frequency_hz;
    if !own.segments.is_empty() || !same {
        return Err(ReadError::not_understood(format!(
            "part `{name}` does not fit its record: expected one piece at {} frames a second, found {} \
             parts at {}",
            header.frequency_hz,
            own.segments.len(),
            own.frequency_hz
        )));
    }
    Ok(own)
}

/// Bytes of all files of a record.
fn size(files: &Files) -> usize {
    files.iter().map(|(_, bytes)| bytes.len()).sum()
}

fn check_size(frames: usize, layout: &Header, bytes: usize) -> Result<(), ReadError> {
    let per_frame =
        layout.signals.iter().fold(0, |sum: usize, line| sum.saturating_add(line.per_frame));
    let total = frames.saturating_mul(per_frame);
    if per_frame == 0 || frames == 0 {
        return Err(ReadError::refused(format!(
            "the record's parts do not make a night: expected 1 sample at least, found {total}"
        )));
    }
    limits::samples(total, bytes)
}
