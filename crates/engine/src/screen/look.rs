//! What every reason looks at: one night, its marks in order of time, and the limits.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::notes::Notes;
use crate::recording::{Channel, Mark, Quantity, Recording};

/// Stretches of one channel's samples, each `from..to`, in order.
pub(super) type Runs = Vec<Range<usize>>;

/// One night as the reasons look at it.
pub(super) struct Look<'a> {
    /// The recording.
    pub(super) recording: &'a Recording,
    /// The file's marks and the notes', those without a time left out.
    pub(super) marks: Vec<&'a Mark>,
    /// The limits.
    pub(super) limits: &'a ScreenCriteria,
}

impl<'a> Look<'a> {
    pub(super) fn new(
        recording: &'a Recording,
        notes: &'a Notes,
        limits: &'a ScreenCriteria,
    ) -> Self {
        let mut marks: Vec<&Mark> = recording
            .marks
            .iter()
            .chain(&notes.marks)
            .filter(|mark| mark.start_s.is_finite())
            .collect();
        marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        Self { recording, marks, limits }
    }

    pub(super) fn channel(&self, quantity: Quantity) -> Option<&'a Channel> {
        self.recording.channel(quantity)
    }

    /// Whether the oximeter reads nothing at this moment: no channel of it holds a value that a
    /// living person has. `None` when the night has no oximetry then.
    pub(super) fn oximeter_gone(&self, at_s: f64) -> Option<bool> {
        [Quantity::Spo2, Quantity::Pulse]
            .into_iter()
            .filter_map(|quantity| {
                let value = value_at(self.channel(quantity)?, at_s)?;
                Some(!value.is_finite() || self.beyond(quantity, value))
            })
            .reduce(|a, b| a && b)
    }

    /// Whether a value is one that no living person has. Too low a tcPCO2 is not told here: it is
    /// room air, which has reasons of its own.
    pub(super) fn beyond(&self, quantity: Quantity, value: f64) -> bool {
        let limits = self.limits;
        match quantity {
            Quantity::Spo2 => value < limits.spo2_lowest_pct.value || value > 100.0,
            Quantity::Pulse => {
                value < limits.pulse_lowest_per_min.value
                    || value > limits.pulse_highest_per_min.value
            }
            Quantity::Tcpco2 => value > limits.tcpco2_highest_kpa.value,
            _ => false,
        }
    }

    /// The samples of a channel that hold a number inside living limits.
    pub(super) fn plausible(&self, channel: &Channel) -> Vec<bool> {
        channel
            .samples
            .iter()
            .map(|&x| x.is_finite() && !self.beyond(channel.quantity, x))
            .collect()
    }
}

/// The sample that stands for this moment; `None` before the first and after the last.
fn value_at(channel: &Channel, at_s: f64) -> Option<f64> {
    let place = (at_s - channel.offset_s) / channel.period_s + 1e-6;
    if place < 0.0 {
        return None;
    }
    channel.samples.get(whole(place)).copied()
}

/// The sample of `other` that stands for the moment of sample `i`.
pub(super) fn beside(channel: &Channel, other: &Channel, i: usize) -> Option<f64> {
    if one_grid(channel, other) {
        other.samples.get(i).copied()
    } else {
        value_at(other, channel.time_s(i))
    }
}

/// Whether the samples of two channels stand for the same moments.
pub(super) fn one_grid(channel: &Channel, other: &Channel) -> bool {
    channel.period_s.to_bits() == other.period_s.to_bits()
        && channel.offset_s.to_bits() == other.offset_s.to_bits()
}

/// How many samples make up at least `seconds`; at least one.
pub(super) fn samples_in(channel: &Channel, seconds: f64) -> usize {
    whole((seconds / channel.period_s - 1e-6).ceil()).max(1)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates, and a negative count means none"
)]
fn whole(number: f64) -> usize {
    number as usize
}

/// The runs of indices below `count` for which `keep` holds.
pub(super) fn runs(count: usize, keep: impl Fn(usize) -> bool) -> Runs {
    let mut runs: Runs = Vec::new();
    let mut from = 0;
    while let Some(start) = (from..count).find(|&i| keep(i)) {
        let end = (start..count).find(|&i| !keep(i)).unwrap_or(count);
        runs.push(start..end);
        from = end;
    }
    runs
}

/// Sets every index of `runs` in a mask.
pub(super) fn set(mask: &mut [bool], runs: &[Range<usize>], to: bool) {
    for run in runs {
        mask[run.clone()].fill(to);
    }
}

/// The runs with so many samples more on both sides, those that then touch taken together.
pub(super) fn widened(narrow: &[Range<usize>], margin: usize, count: usize) -> Runs {
    joined(narrow.iter().map(|run| run.start.saturating_sub(margin)..run.end + margin), count)
}

/// The runs with so many samples more after them, those that then touch taken together: a monitor
/// that averages shows what is past.
pub(super) fn lengthened(short: &[Range<usize>], margin: usize, count: usize) -> Runs {
    joined(short.iter().map(|run| run.start..run.end + margin), count)
}

fn joined(runs: impl Iterator<Item = Range<usize>>, count: usize) -> Runs {
    let mut joined: Runs = Vec::new();
    for run in runs {
        let end = run.end.min(count);
        match joined.last_mut() {
            Some(last) if last.end >= run.start => last.end = end.max(last.end),
            _ => joined.push(run.start..end),
        }
    }
    joined
}
