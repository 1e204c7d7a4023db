//! WFDB records: a header file, the signal files it names, and annotations beside them.
//!
//! Written against the published specification (`wfdb-format`). The caller loads the files that
//! [`companions`] names and hands them over in [`Input::companions`]; nothing is fetched here.

use super::signal;
use super::{Input, ReadError, ReadOptions};
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Format;
use crate::recording::Mark;
use crate::recording::Recording;
use crate::time::Clock;

mod annotation;
mod header;
mod record;
mod storage;

pub use header::{Header, Segment, SignalLine};
pub use storage::Format as Storage;

/// Longer than a month is no night: a damaged number.
const LONGEST_S: f64 = 31.0 * 86_400.0;

/// Whether the input is a WFDB header: it says so by its name, or its first lines read as one.
pub fn looks_like(input: Input<'_>) -> bool {
    let named = input.name.rsplit_once('.').is_some_and(|(_, ending)| ending == "hea");
    let named = named && std::str::from_utf8(input.bytes).is_ok();
    let told = |header: Header| !header.signals.is_empty() || !header.segments.is_empty();
    named || header::parse(input.bytes).is_ok_and(told)
}

/// The names of the files a header needs beside it, each once: signal files, or the headers of its
/// parts, which have needs of their own. Empty when the bytes are no header.
pub fn companions(bytes: &[u8]) -> Vec<String> {
    let Ok(header) = header::parse(bytes) else { return Vec::new() };
    let signals = header.signals.into_iter().map(|line| line.file);
    let parts = header.segments.into_iter().filter_map(|part| Some(part.name? + ".hea"));
    let mut names: Vec<String> = Vec::new();
    for name in signals.chain(parts).filter(|name| name != "~") {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// The name an annotation file of the record goes by where there is one; it need not be there.
pub fn annotation_name(bytes: &[u8]) -> Option<String> {
    header::parse(bytes).ok().map(|header| header.name + ".atr")
}

/// Reads the record as a night.
///
/// # Errors
/// [`ReadError`] when the header breaks its grammar, a file it names is not among the companions, or the
/// unit of CO2 is missing or cannot be true.
pub fn read(input: Input<'_>, options: &ReadOptions) -> Result<Recording, ReadError> {
    let header = header::parse(input.bytes)?;
    let mut findings = Vec::new();
    let (traces, frames) = record::traces(&header, input.companions, &mut findings)?;
    let duration_s = frames as f64 / header.frequency_hz;
    if duration_s > LONGEST_S {
        return Err(ReadError::not_understood(format!(
            "the recording is too long: expected at most 31 days, found {:.0} days",
            duration_s / 86_400.0
        )));
    }
    let drafts = traces.into_iter().map(|trace| draft(trace, &header, &mut findings)).collect();
    let channels = signal::channels(drafts, options, &mut findings)?;
    let marks = marks(&header, input.companions, &mut findings);
    signal::note_marks_outside(&marks, duration_s, &mut findings);
    Ok(Recording {
        format: Format::Wfdb,
        clock: clock(&header, options, &mut findings)?,
        duration_s,
        channels,
        marks,
        monitor: None,
        findings,
        input_sha256: super::sha256(input.bytes),
    })
}

fn draft(trace: record::Trace, header: &Header, findings: &mut Vec<Finding>) -> signal::Draft {
    let line = trace.line;
    if !line.calibrated {
        let sentence =
            format!("The signal {} is not calibrated: its unit is not known.", line.description);
        findings.push(Finding::new("wfdb_uncalibrated", Weight::Caution, sentence));
    }
    signal::Draft {
        label: line.description,
        dimension: if line.calibrated { line.units } else { "uncalibrated".to_owned() },
        period_s: 1.0 / (header.frequency_hz * line.per_frame as f64),
        offset_s: 0.0,
        samples: trace.samples,
        bottom: None,
        step: 1.0 / line.gain.abs(),
        picked: None,
        unit: None,
    }
}

fn clock(
    header: &Header,
    options: &ReadOptions,
    findings: &mut Vec<Finding>,
) -> Result<Clock, ReadError> {
    if header.time.is_none() {
        let sentence = "The record does not tell when it starts: 00:00 stands for the start.";
        findings.push(Finding::new("start_not_known", Weight::Caution, sentence));
    } else if header.date.is_none() {
        let sentence = "The record tells the time it starts at and no date.";
        findings.push(Finding::new("date_not_known", Weight::Note, sentence));
    }
    let midnight =
        jiff::civil::Date::constant(2000, 1, 1).to_datetime(jiff::civil::Time::midnight());
    let start = header.start().unwrap_or(midnight);
    signal::clock(start, header.date.is_some(), options, findings)
}

/// Marks from every annotation file handed over: companions that bear the record's own name.
fn marks(header: &Header, files: &[(String, Vec<u8>)], findings: &mut Vec<Finding>) -> Vec<Mark> {
    let mut marks = Vec::new();
    for (name, bytes) in files {
        let ending = name.strip_prefix(&header.name).and_then(|rest| rest.strip_prefix('.'));
        let signals = header.signals.iter().any(|line| line.file == *name);
        if signals || ending.is_none_or(|ending| ending == "hea" || ending == "dat") {
            continue;
        }
        let annotations = annotation::parse(bytes, header.frequency_hz);
        note_annotations(name, &annotations, findings);
        let texts = annotations.texts.iter();
        marks.extend(texts.map(|(at_s, text)| signal::mark(text, *at_s, None)));
    }
    marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    marks
}

fn note_annotations(
    name: &str,
    annotations: &annotation::Annotations,
    findings: &mut Vec<Finding>,
) {
    if annotations.wordless > 0 {
        let sentence = format!(
            "{} annotations of {name} carry no words, as beats do not; they were left aside.",
            annotations.wordless
        );
        findings.push(Finding::new("wfdb_wordless", Weight::Note, sentence));
    }
    if annotations.cut_short {
        let sentence = format!("The annotation file {name} ends before its end mark.");
        findings.push(Finding::new("wfdb_annotations_cut_short", Weight::Caution, sentence));
    }
}
