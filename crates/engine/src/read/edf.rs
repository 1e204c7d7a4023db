//! EDF, EDF+C, EDF+D and their 24-bit sibling.
//!
//! Written against the published specifications: EDF (`kemp-1992`) and EDF+ (`kemp-2003`), whose
//! sections are quoted by number beside what they ask. [`parse`] gives the file as it stands;
//! [`read`] makes a night of it. The patient identification is read over and kept nowhere.

use super::signal;
use super::{Input, ReadError, ReadOptions};
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Mark;
use crate::recording::Recording;
use crate::time::Clock;
use crate::time::Stretch;

mod field;
mod file;
mod grid;
mod header;
mod tal;

pub use file::{EdfFile, Signal, parse};
pub use header::{Header, SignalHeader};
pub use tal::Annotation;

use grid::Grid;

/// How an export of ours marks samples that hold no number: this, the signal's label, the stretch.
///
/// EDF has no code for a missing sample. Ours are written as the least digital value of a range that
/// reaches below physiology, and each run is annotated.
pub const NOT_VALID: &str = "Not valid: ";

/// Whether the bytes begin as EDF or BDF does.
pub fn looks_like(bytes: &[u8]) -> bool {
    bytes.starts_with(b"0       ") || bytes.starts_with(b"\xffBIOSEMI")
}

/// Reads the file as a night: gaps left empty, labels and dimensions understood, annotations as marks.
///
/// # Errors
/// [`ReadError`] when a field breaks its rule, or the unit of CO2 is missing or cannot be true.
pub fn read(input: Input<'_>, options: &ReadOptions) -> Result<Recording, ReadError> {
    let mut file = parse(input.bytes)?;
    let mut findings = std::mem::take(&mut file.findings);
    check_signals(&file.signals, &mut findings)?;
    let grid = Grid::of(&file, input.bytes.len(), &mut findings)?;
    let clock = clock(&file.header, grid.origin_s, options, &mut findings)?;
    let invalid = invalid_spans(&file.annotations, grid.origin_s);
    let drafts = drafts(&mut file.signals, &grid, &invalid);
    let channels = signal::channels(drafts, options, &mut findings)?;
    let marks = marks(&file.annotations, grid.origin_s);
    signal::note_marks_outside(&marks, grid.duration_s, &mut findings);
    Ok(Recording {
        format: file.header.format,
        duration_s: grid.duration_s,
        clock,
        channels,
        marks,
        monitor: file.header.equipment,
        findings,
        input_sha256: super::sha256(input.bytes),
    })
}

/// A night needs a signal with samples; one without any is told.
fn check_signals(signals: &[Signal], findings: &mut Vec<Finding>) -> Result<(), ReadError> {
    if signals.iter().all(|signal| signal.digital.is_empty()) {
        return Err(ReadError::not_understood(
            "the file holds annotations only: expected at least one signal with samples, found none",
        )
        .hint("give the file that holds the signals of the same night"));
    }
    let ordinary = signals.iter().filter(|signal| !signal.header.is_annotations());
    for signal in ordinary.filter(|signal| signal.digital.is_empty()) {
        let sentence =
            format!("The signal {} has no samples and was left out.", signal.header.label);
        findings.push(Finding::new("edf_signal_empty", Weight::Note, sentence));
    }
    Ok(())
}

/// The clock at the first record. EDF+ 2.2.4: its onset holds the fraction of the starting second.
fn clock(
    header: &Header,
    origin_s: f64,
    options: &ReadOptions,
    findings: &mut Vec<Finding>,
) -> Result<Clock, ReadError> {
    if !(0.0..1.0).contains(&origin_s) {
        let sentence = format!(
            "The first record starts {origin_s} s from the start time in the header; the format allows \
             less than 1 s. The record's own time was believed."
        );
        findings.push(Finding::new("edf_first_record", Weight::Note, sentence));
    }
    let start = Clock::civil(header.start).at(origin_s).civil;
    signal::clock(start, header.date_known, options, findings)
}

/// Stretches annotated as holding no number: label, and seconds from the first record.
fn invalid_spans(annotations: &[Annotation], origin_s: f64) -> Vec<(&str, Stretch)> {
    annotations
        .iter()
        .filter_map(|note| {
            let label = note.text.strip_prefix(NOT_VALID)?;
            let start_s = note.onset_s - origin_s;
            Some((label, Stretch::new(start_s, start_s + note.duration_s?)))
        })
        .collect()
}

fn drafts(signals: &mut [Signal], grid: &Grid, invalid: &[(&str, Stretch)]) -> Vec<signal::Draft> {
    let ordinary = signals.iter_mut().filter(|signal| !signal.digital.is_empty());
    ordinary
        .map(|signal| {
            let bottom = signal.header.physical_min;
            let period_s = grid.period_s(signal);
            let mut samples = grid.lay(signal);
            signal.digital = Vec::new();
            for (_, stretch) in invalid.iter().filter(|(label, _)| *label == signal.header.label) {
                let count = samples.len();
                for index in crate::recording::indices(0.0, period_s, count, stretch) {
                    #[expect(
                        clippy::float_cmp,
                        reason = "the least digital value gives this very number"
                    )]
                    if samples[index] == bottom {
                        samples[index] = f64::NAN;
                    }
                }
            }
            signal::Draft {
                label: signal.header.label.clone(),
                dimension: signal.header.dimension.clone(),
                period_s,
                offset_s: 0.0,
                samples,
                bottom: Some(bottom),
                step: signal.header.step(),
                picked: None,
                unit: None,
            }
        })
        .collect()
}

fn marks(annotations: &[Annotation], origin_s: f64) -> Vec<Mark> {
    let told = annotations.iter().filter(|note| !note.text.starts_with(NOT_VALID));
    let mut marks: Vec<Mark> = told
        .map(|note| {
            let start_s = note.onset_s - origin_s;
            let end_s = note.duration_s.filter(|s| *s > 0.0).map(|s| start_s + s);
            signal::mark(&note.text, start_s, end_s)
        })
        .collect();
    marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    marks
}
