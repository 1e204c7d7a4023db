//! Records laid on an even grid: the samples of an interrupted file with its gaps left empty.

use super::file::EdfFile;
use super::file::Signal;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::limits;
use crate::time::Stretch;

/// An interrupted file is laid out over three days at most: a night, and room for a wrong clock.
const LONGEST_GRID_S: f64 = 72.0 * 3600.0;
/// A contiguous file's clocks may waver by this part of a record before they count as a jump;
/// common practice, no source.
const WAVER: f64 = 0.1;

/// The time of the records: where the recording starts, how long records are, whether gaps lie between.
#[expect(clippy::struct_field_names, reason = "a number carries its unit in its name")]
#[derive(Clone, Debug)]
pub(super) struct Grid {
    /// Seconds from the header's start time to the first record.
    pub(super) origin_s: f64,
    /// Length of a record; for records of 0 s the shortest distance between two.
    pub(super) record_s: f64,
    /// End of the last record, in seconds from the first.
    pub(super) duration_s: f64,
    /// Seconds from the first record to each; empty when they follow without a gap.
    starts_s: Vec<f64>,
}

impl Grid {
    /// Looks at the record times of a file of `bytes`.
    pub(super) fn of(
        file: &EdfFile,
        bytes: usize,
        findings: &mut Vec<Finding>,
    ) -> Result<Self, ReadError> {
        let starts = &file.record_starts_s;
        let origin_s = starts.first().copied().unwrap_or(0.0);
        let record_s = record_length(file);
        let even = |(index, at_s): (usize, &f64)| {
            (at_s - origin_s - index as f64 * record_s).abs() <= WAVER * record_s
        };
        if !file.header.interrupted() && starts.iter().enumerate().all(even) {
            let duration_s = starts.len() as f64 * record_s;
            check_month(duration_s)?;
            return Ok(Self { origin_s, record_s, duration_s, starts_s: Vec::new() });
        }
        let starts_s: Vec<f64> = starts.iter().map(|at_s| at_s - origin_s).collect();
        check_order(&starts_s, record_s)?;
        let duration_s = starts_s.last().copied().unwrap_or(0.0) + record_s;
        if duration_s > LONGEST_GRID_S {
            let hours = duration_s / 3600.0;
            return Err(ReadError::refused(format!(
                "the records of the interrupted file lie too far apart: expected at most 72 h from \
                 first to last, found {hours:.1} h"
            ))
            .hint("check the monitor's clock, or cut the file at its longest gap"));
        }
        if !file.header.interrupted() {
            findings.push(jump());
        }
        let grid = Self { origin_s, record_s, duration_s, starts_s };
        grid.check_size(file, bytes)?;
        findings.extend(grid.note_gaps());
        Ok(grid)
    }

    /// Seconds between samples of a signal.
    pub(super) fn period_s(&self, signal: &Signal) -> f64 {
        self.record_s / signal.header.samples_per_record as f64
    }

    /// The physical samples of a signal, NaN in the gaps.
    pub(super) fn lay(&self, signal: &Signal) -> Vec<f64> {
        if self.starts_s.is_empty() {
            return signal.physical().collect();
        }
        let mut laid: Vec<f64> = Vec::new();
        let per_record = signal.header.samples_per_record;
        let period_s = self.period_s(signal);
        for (start_s, record) in self.starts_s.iter().zip(signal.digital.chunks(per_record)) {
            let first = slot(*start_s, period_s).max(laid.len());
            laid.resize(first, f64::NAN);
            laid.extend(record.iter().map(|digital| signal.header.physical(*digital)));
        }
        laid
    }

    fn check_size(&self, file: &EdfFile, bytes: usize) -> Result<(), ReadError> {
        let ordinary = file.signals.iter().filter(|signal| !signal.digital.is_empty());
        let total: f64 = ordinary.map(|signal| self.duration_s / self.period_s(signal)).sum();
        // A time that is no number, or beyond any, saturates.
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a count of samples, not below 0; one too large to count is refused as such"
        )]
        limits::samples(total.max(0.0) as usize, bytes)
    }

    fn note_gaps(&self) -> Vec<Finding> {
        let gaps: Vec<Stretch> = self
            .starts_s
            .windows(2)
            .map(|pair| Stretch::new(pair[0] + self.record_s, pair[1]))
            .filter(|gap| gap.length_s() > WAVER * self.record_s)
            .collect();
        let total_s = crate::time::total_s(&gaps);
        let Some(longest) = gaps.into_iter().max_by(|a, b| a.length_s().total_cmp(&b.length_s()))
        else {
            return Vec::new();
        };
        let sentence = format!(
            "The recording was interrupted: {total_s:.0} s in all are missing between its parts, the \
             longest gap {:.0} s.",
            longest.length_s()
        );
        vec![Finding::new("edf_gaps", Weight::Note, sentence).at(longest)]
    }
}

/// Longer than a month is no night: a damaged number.
fn check_month(duration_s: f64) -> Result<(), ReadError> {
    if duration_s <= 31.0 * 86_400.0 {
        return Ok(());
    }
    Err(ReadError::not_understood(format!(
        "the recording is too long: expected at most 31 days, found {:.0} days",
        duration_s / 86_400.0
    )))
}

fn jump() -> Finding {
    let sentence = "The file calls itself contiguous, and the times of its records jump. The times \
                    were believed and the gaps left empty.";
    Finding::new("edf_times_jump", Weight::Caution, sentence)
}

/// EDF+ 2.1.2 allows records of 0 s with one sample each; the samples then lie as far apart as the
/// closest two records.
fn record_length(file: &EdfFile) -> f64 {
    if file.header.record_s > 0.0 || file.signals.iter().all(|s| s.digital.is_empty()) {
        return file.header.record_s;
    }
    let steps = file.record_starts_s.windows(2).map(|pair| pair[1] - pair[0]);
    let shortest = steps.filter(|step| *step > 0.0).fold(f64::INFINITY, f64::min);
    // A single record tells nothing of its length; a second is as good as any.
    if shortest.is_finite() { shortest.max(1e-6) } else { 1.0 }
}

/// EDF+ 2.1.2: records that follow in time follow in the file, and none overlaps another.
fn check_order(starts_s: &[f64], record_s: f64) -> Result<(), ReadError> {
    for (number, pair) in (2..).zip(starts_s.windows(2)) {
        let earliest_s = pair[0] + record_s;
        if pair[1] < earliest_s - WAVER * record_s {
            return Err(ReadError::not_understood(format!(
                "the data records overlap or run backwards: expected record {number} at {earliest_s} s \
                 or later, found {} s",
                pair[1]
            ))
            .at(format!("data record {number}")));
        }
    }
    Ok(())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "times run forward from 0 and the grid's size was checked"
)]
fn slot(at_s: f64, period_s: f64) -> usize {
    (at_s / period_s).round().max(0.0) as usize
}
