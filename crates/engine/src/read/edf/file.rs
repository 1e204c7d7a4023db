//! A whole file: header, samples in file order, annotations, and the time of each record.

use super::header;
use super::header::Header;
use super::header::SignalHeader;
use super::tal;
use super::tal::Annotation;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::limits;

/// The greatest data record the formats allow, in bytes (EDF+ 2.1.2, kept from EDF).
const LARGEST_RECORD: usize = 61_440;

/// An EDF or BDF file, as it stands: nothing scaled away, no gap filled, no time moved.
#[derive(Clone, Debug, PartialEq)]
pub struct EdfFile {
    /// The fixed part of the header.
    pub header: Header,
    /// Every signal of the file, in its order; annotation signals have no samples here.
    pub signals: Vec<Signal>,
    /// The annotations in file order; the time-keepers of the records are not among them.
    pub annotations: Vec<Annotation>,
    /// Seconds from the header's start time to each whole data record.
    pub record_starts_s: Vec<f64>,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

/// One signal: what the header says, and its samples one after another, records joined.
#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    /// What the header says of it.
    pub header: SignalHeader,
    /// The digital samples of every whole record.
    pub digital: Vec<i32>,
}

impl Signal {
    /// The samples in the signal's physical dimension.
    pub fn physical(&self) -> impl Iterator<Item = f64> + '_ {
        self.digital.iter().map(|digital| self.header.physical(*digital))
    }
}

/// Where the data records lie.
struct Layout {
    start: usize,
    record_bytes: usize,
    records: usize,
}

/// Reads a file whole, as it stands.
///
/// # Errors
/// [`ReadError`] with the field, its byte, what was expected and what was found.
pub fn parse(bytes: &[u8]) -> Result<EdfFile, ReadError> {
    let (header, headers, mut findings) = header::parse(bytes)?;
    let layout = layout(bytes, &header, &headers, &mut findings)?;
    let mut signals: Vec<Signal> =
        headers.into_iter().map(|header| Signal { header, digital: Vec::new() }).collect();
    let has_annotations = signals.iter().any(|signal| signal.header.is_annotations());
    let told = take_records(bytes, &layout, header.sample_bytes(), &mut signals)?;
    note_damage(&told, &mut findings);
    if header.plus() && !has_annotations {
        // EDF+ 2.2.1: the signal is obligatory, even without annotations.
        let sentence = "The file calls itself a plus file and lacks the annotation signal that every \
                        one must hold.";
        findings.push(Finding::new("edf_no_annotation_signal", Weight::Note, sentence));
    }
    let record_starts_s = record_starts(&header, &told, layout.records, has_annotations)?;
    Ok(EdfFile { header, signals, annotations: told.annotations, record_starts_s, findings })
}

/// What the annotation signals of all records tell.
#[derive(Default)]
struct Told {
    annotations: Vec<Annotation>,
    /// The time of each record, where it tells one; empty without annotation signals, so that records of two
    /// bytes do not cost fifty.
    records_s: Vec<Option<f64>>,
    damaged: usize,
    not_utf8: usize,
}

fn take_records(
    bytes: &[u8],
    layout: &Layout,
    width: usize,
    signals: &mut [Signal],
) -> Result<Told, ReadError> {
    let mut told = Told::default();
    for signal in signals.iter_mut().filter(|signal| !signal.header.is_annotations()) {
        // Growing would take twice as much in the end.
        signal.digital.reserve_exact(layout.records * signal.header.samples_per_record);
    }
    for record in 0..layout.records {
        let at = layout.start + record * layout.record_bytes;
        let record = &bytes[at..at + layout.record_bytes];
        let Some(list) = take_record(record, width, signals) else { continue };
        told.records_s.push(list.record_s);
        told.annotations.extend(list.annotations);
        told.damaged += list.damaged;
        told.not_utf8 += list.not_utf8;
        limits::marks(told.annotations.len())?;
    }
    Ok(told)
}

fn layout(
    bytes: &[u8],
    header: &Header,
    signals: &[SignalHeader],
    findings: &mut Vec<Finding>,
) -> Result<Layout, ReadError> {
    let start = 256 * (signals.len() + 1);
    let record_bytes: usize =
        signals.iter().map(|s| s.samples_per_record.saturating_mul(header.sample_bytes())).sum();
    if record_bytes == 0 {
        return Err(ReadError::not_understood(
            "the data records are empty: no signal has a sample",
        )
        .at(format!("byte {}", start - 40 * signals.len())));
    }
    let room = bytes.len() - start;
    let whole = room / record_bytes;
    let records = header.records_promised.map_or(whole, |promised| promised.min(whole));
    if records == 0 {
        let what = format!(
            "the first data record is cut short: expected {record_bytes} bytes, found {room}"
        );
        return Err(ReadError::not_understood(what).at(format!("byte {start}")));
    }
    note_length(header, records, room - records * record_bytes, findings);
    if record_bytes > LARGEST_RECORD {
        let sentence = format!(
            "Each data record has {record_bytes} bytes; the format allows at most {LARGEST_RECORD}."
        );
        findings.push(Finding::new("edf_record_large", Weight::Note, sentence));
    }
    Ok(Layout { start, record_bytes, records })
}

fn note_length(header: &Header, records: usize, left: usize, findings: &mut Vec<Finding>) {
    match header.records_promised {
        None => {
            let sentence = format!(
                "The file was never closed: it does not tell how many data records it holds. It holds \
                 {records}."
            );
            findings.push(Finding::new("edf_not_closed", Weight::Note, sentence));
        }
        Some(promised) if promised > records => {
            let sentence = format!(
                "The header promises {promised} data records and the file holds {records}. The rest of \
                 the night is missing."
            );
            findings.push(Finding::new("file_cut_short", Weight::Caution, sentence));
        }
        Some(_) => {}
    }
    if left > 0 {
        let sentence =
            format!("{left} bytes after the last whole data record that was read were left aside.");
        findings.push(Finding::new("edf_bytes_left", Weight::Note, sentence));
    }
}

/// Takes one record apart; gives back what its annotation signals tell, when it has any.
fn take_record(record: &[u8], width: usize, signals: &mut [Signal]) -> Option<tal::Lists> {
    let mut lists: Option<tal::Lists> = None;
    let mut at = 0;
    for signal in signals {
        let end = at + signal.header.samples_per_record * width;
        let bytes = &record[at..end];
        at = end;
        if !signal.header.is_annotations() {
            signal.digital.extend(bytes.chunks_exact(width).map(sample));
            continue;
        }
        let more = tal::parse(bytes);
        match &mut lists {
            // EDF+ 2.2.4: only the first annotation signal keeps the time.
            None => lists = Some(more),
            Some(first) => {
                first.annotations.extend(more.annotations);
                first.damaged += more.damaged;
                first.not_utf8 += more.not_utf8;
            }
        }
    }
    lists
}

/// Two or three bytes, least first, two's complement (EDF+ 2.1.3 item 7; BDF alike).
fn sample(bytes: &[u8]) -> i32 {
    match *bytes {
        [low, high] => i32::from(i16::from_le_bytes([low, high])),
        [low, middle, high] => i32::from_le_bytes([0, low, middle, high]) >> 8,
        _ => 0,
    }
}

fn note_damage(told: &Told, findings: &mut Vec<Finding>) {
    let Told { damaged, not_utf8, .. } = *told;
    if damaged > 0 {
        let sentence = format!("{damaged} annotations are damaged and were left out.");
        findings.push(Finding::new("edf_annotation_damaged", Weight::Caution, sentence));
    }
    if not_utf8 > 0 {
        let sentence = format!(
            "{not_utf8} annotations are not written in UTF-8; letters that could not be read show as \
             \u{fffd}."
        );
        findings.push(Finding::new("edf_annotation_letters", Weight::Note, sentence));
    }
}

/// Where each record starts: by its time-keeper, else one after the other.
fn record_starts(
    header: &Header,
    told: &Told,
    records: usize,
    has_annotations: bool,
) -> Result<Vec<f64>, ReadError> {
    let time_of = |record: usize| told.records_s.get(record).copied().flatten();
    if header.interrupted() {
        // Without its own time a record of an interrupted file could lie anywhere.
        return (0..records)
            .map(|record| {
                time_of(record).ok_or_else(|| {
                    ReadError::not_understood(
                        "a data record of an interrupted file does not tell its time: expected \
                         a time-keeping annotation first, found none",
                    )
                    .at(format!("data record {}", record + 1))
                })
            })
            .collect();
    }
    let kept = header.plus() && has_annotations && told.records_s.iter().all(Option::is_some);
    let first_s = time_of(0).filter(|_| header.plus());
    Ok((0..records)
        .map(|index| match time_of(index) {
            Some(start_s) if kept => start_s,
            _ => first_s.unwrap_or(0.0) + index as f64 * header.record_s,
        })
        .collect())
}
