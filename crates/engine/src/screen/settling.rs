//! `settling`: tcPCO2 after each fitting, until its curve is flat.
//!
//! After fitting, the skin warms, its vessels open and CO2 crosses the membrane: the reading climbs to a
//! plateau over minutes, often past it and back (an overshoot was seen in 69 % of 91 patients and was
//! over by minute 10, `domingo-2010`). Patients need about 15 min (`oxford-tc-speed`).
//!
//! The end is found from the curve. The time to hold is cut into three blocks; CO2 has settled when the
//! means of neighbouring blocks differ by no more than the slope allowed, so the top of an overshoot,
//! with a rise before it and a fall after it, does not pass. It is never earlier than the least time
//! after the fitting and never later than the most; reaching that is a finding.
//!
//! Source: as above for the least time; the slope and the most are department settings. Age: the same at
//! every age until a set says otherwise.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Channel, MarkKind};
use crate::screen::look::{Look, Runs, runs, samples_in};
use crate::time::Stretch;

/// A part of the night with one fitting of the sensor.
pub(super) struct Fitting {
    /// The samples from this fitting to the next interruption or refit.
    samples: Range<usize>,
    /// When the sensor was fitted; before the recording when a mark says so.
    fitted_s: f64,
}

/// The fittings of a night: its start, the end of each interruption long enough, each refit marked, and
/// each refit `seen` on the curve.
pub(super) fn fittings(
    look: &Look,
    channel: &Channel,
    interrupted: &[bool],
    seen: &[usize],
) -> Vec<Fitting> {
    let count = channel.samples.len();
    let least = samples_in(channel, look.limits.refit_gap_s.value);
    let marks = look.marks.iter().filter(|mark| mark.kind == MarkKind::Refitted);
    let mut refits: Vec<Refit> = marks
        .map(|mark| {
            let fitted_s = mark.end_s.unwrap_or(mark.start_s).max(mark.start_s);
            Refit { index: index_at(channel, mark.start_s), start_s: mark.start_s, fitted_s }
        })
        .chain(seen.iter().map(|&index| {
            let at_s = channel.time_s(index);
            Refit { index, start_s: at_s, fitted_s: at_s }
        }))
        .collect();
    refits.sort_by_key(|refit| refit.index);
    let mut fittings = Vec::new();
    let mut start = 0;
    let gaps = runs(count, |i| interrupted[i]).into_iter().filter(|gap| gap.len() >= least);
    for gap in gaps.chain(std::iter::once(count..count)) {
        split_at_refits(channel, start..gap.start, &refits, &mut fittings);
        start = gap.end;
    }
    fittings
}

/// A refit inside the night or before it.
struct Refit {
    index: usize,
    start_s: f64,
    fitted_s: f64,
}

fn split_at_refits(
    channel: &Channel,
    samples: Range<usize>,
    refits: &[Refit],
    fittings: &mut Vec<Fitting>,
) {
    if samples.is_empty() {
        return;
    }
    let first_s = channel.time_s(samples.start);
    let mut fitted_s = first_s;
    if samples.start == 0 {
        // The desk may have fitted the sensor before the recording was started.
        let earlier = refits.iter().rfind(|refit| refit.start_s <= first_s);
        fitted_s = earlier.map_or(first_s, |refit| refit.fitted_s);
    }
    let mut start = samples.start;
    for refit in refits.iter().filter(|refit| refit.index < samples.end) {
        if refit.index > start {
            fittings.push(Fitting { samples: start..refit.index, fitted_s });
            (start, fitted_s) = (refit.index, refit.fitted_s);
        }
    }
    fittings.push(Fitting { samples: start..samples.end, fitted_s });
}

/// Whether each sample lies within the least time after a fitting.
pub(super) fn fresh(channel: &Channel, fittings: &[Fitting], limits: &ScreenCriteria) -> Vec<bool> {
    let least_s = limits.settling_least_min.value * 60.0;
    let mut fresh = vec![false; channel.samples.len()];
    for fitting in fittings {
        let end = index_at(channel, fitting.fitted_s + least_s);
        fresh[fitting.samples.start..end.clamp(fitting.samples.start, fitting.samples.end)]
            .fill(true);
    }
    fresh
}

/// The samples before CO2 has settled, out of those that are `usable`.
pub(super) fn find(
    channel: &Channel,
    usable: &[bool],
    fittings: &[Fitting],
    limits: &ScreenCriteria,
) -> (Runs, Vec<Finding>) {
    let curve = Curve::new(channel, usable, limits);
    let mut findings = Vec::new();
    let settling = fittings.iter().map(|fitting| {
        let samples = &fitting.samples;
        let most_s = limits.settling_most_min.value * 60.0;
        let latest = index_at(channel, fitting.fitted_s + most_s).clamp(samples.start, samples.end);
        let end = curve.settled(fitting).unwrap_or_else(|| {
            if latest < samples.end {
                findings.push(never_settled(channel, fitting, limits));
            }
            latest
        });
        samples.start..end
    });
    let found = settling.filter(|run| !run.is_empty()).collect();
    (found, findings)
}

fn never_settled(channel: &Channel, fitting: &Fitting, limits: &ScreenCriteria) -> Finding {
    let most_min = limits.settling_most_min.value;
    let slope = limits.settling_slope_kpa_per_min.value;
    let stretch =
        Stretch::new(channel.time_s(fitting.samples.start), channel.time_s(fitting.samples.end));
    Finding::new(
        "co2_never_settled",
        Weight::Caution,
        format!(
            "CO2 did not settle within {most_min:.0} min of this fitting: it went on changing by \
             more than {slope} kPa a minute. What follows is believed, with this reservation."
        ),
    )
    .on(channel.id.as_str())
    .at(stretch)
}

/// The first sample that starts at or after a moment.
fn index_at(channel: &Channel, at_s: f64) -> usize {
    channel.indices(&Stretch::new(at_s, f64::MAX)).start
}

/// The CO2 curve, with the sums that make each block's mean one subtraction.
struct Curve<'a> {
    channel: &'a Channel,
    limits: &'a ScreenCriteria,
    sums: Vec<f64>,
    counts: Vec<usize>,
    /// Samples in one of the three blocks; two at least, or a mean would be one reading.
    block: usize,
}

impl<'a> Curve<'a> {
    fn new(channel: &'a Channel, usable: &[bool], limits: &'a ScreenCriteria) -> Self {
        let (mut sums, mut counts) = (vec![0.0], vec![0]);
        let (mut sum, mut count) = (0.0, 0);
        for (&x, &usable) in channel.samples.iter().zip(usable) {
            if usable {
                sum += x;
                count += 1;
            }
            sums.push(sum);
            counts.push(count);
        }
        let block = samples_in(channel, limits.settling_hold_min.value * 60.0 / 3.0).max(2);
        Self { channel, limits, sums, counts, block }
    }

    /// The first sample of this fitting at which CO2 has settled; `None` when it does not.
    fn settled(&self, fitting: &Fitting) -> Option<usize> {
        let samples = &fitting.samples;
        let after = |minutes: f64| index_at(self.channel, fitting.fitted_s + minutes * 60.0);
        let soonest = after(self.limits.settling_least_min.value).max(samples.start);
        let latest = after(self.limits.settling_most_min.value);
        // A curve that is flat up to the least time has settled by then.
        let first = soonest.saturating_sub(3 * self.block).max(samples.start);
        let last = samples.end.checked_sub(3 * self.block)?.min(latest);
        let settled = (first..=last).find(|&from| self.flat(from))?.max(soonest);
        (settled < samples.end).then_some(settled)
    }

    fn flat(&self, from: usize) -> bool {
        let means = [0, 1, 2].map(|k| self.mean(from + k * self.block));
        let [Some(a), Some(b), Some(c)] = means else { return false };
        let minutes = self.block as f64 * self.channel.period_s / 60.0;
        let most = self.limits.settling_slope_kpa_per_min.value * minutes;
        let lowest = self.limits.tcpco2_off_below_kpa.value;
        (b - a).abs() <= most && (c - b).abs() <= most && a.min(b).min(c) >= lowest
    }

    /// Mean of one block; `None` with fewer than half of its samples, or beyond the recording.
    fn mean(&self, from: usize) -> Option<f64> {
        let to = from + self.block;
        let count = self.counts.get(to)? - self.counts[from];
        (count * 2 >= self.block).then(|| (self.sums[to] - self.sums[from]) / count as f64)
    }
}
