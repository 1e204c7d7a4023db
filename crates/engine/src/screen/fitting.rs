//! Fittings: the parts of a night with the sensor fitted once, each with its own settling.
//!
//! A fitting begins at the recording's start, after each time off the skin, at each refit marked, and at
//! each refit seen on the curve. It also begins after values that are missing for long, unless CO2 goes
//! on where it was: a lost cable or a pause in writing does not lift the sensor, and a sensor that was
//! lifted comes back from room air.
//!
//! Source: common practice, from memory; limits are department settings. Age: the same at every age.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::recording::{Channel, MarkKind};
use crate::screen::look::{Look, runs, samples_in};
use crate::time::Stretch;

/// A part of the night with one fitting of the sensor.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fitting {
    /// The samples from this fitting to the next interruption or refit.
    pub(super) samples: Range<usize>,
    /// When the sensor was fitted; before the recording when a mark says so.
    pub(super) fitted_s: f64,
    /// Whether anything but the start of the recording says that the sensor was fitted here.
    pub(super) told: bool,
}

/// What ends a fitting.
pub(super) struct Interruptions<'a> {
    /// Samples with the sensor off the skin: off, in its gas, or with air under it.
    pub(super) away: &'a [bool],
    /// Samples without a value of a living person.
    pub(super) lost: &'a [bool],
    /// Samples at which the curve shows that the sensor was pressed on again.
    pub(super) refits: &'a [usize],
}

/// The fittings of a night, in order.
pub(super) fn find(look: &Look, channel: &Channel, broken: &Interruptions) -> Vec<Fitting> {
    let refits = refits(look, channel, broken.refits);
    let mut fittings = Vec::new();
    let (mut start, mut told) = (0, false);
    let gaps = runs(channel.samples.len(), |i| broken.away[i] || broken.lost[i]);
    let gaps = gaps.into_iter().filter(|gap| ends_fitting(look, channel, broken, gap));
    let count = channel.samples.len();
    for gap in gaps.chain(std::iter::once(count..count)) {
        split_at_refits(channel, &Part { samples: start..gap.start, told }, &refits, &mut fittings);
        (start, told) = (gap.end, true);
    }
    fittings
}

/// Whether a sensor must settle anew after this gap.
fn ends_fitting(
    look: &Look,
    channel: &Channel,
    broken: &Interruptions,
    gap: &Range<usize>,
) -> bool {
    let least = samples_in(channel, look.limits.refit_gap_s.value);
    if gap.len() < least {
        return false;
    }
    let lost_only = gap.clone().all(|i| !broken.away[i]);
    // At one sample a minute a single lost one is "a minute long" and tells nothing.
    let few = (gap.len() as f64) < look.limits.refit_gap_least_samples.value;
    !(lost_only && (few || goes_on(channel, broken, gap, look.limits)))
}

/// Whether CO2 after a gap goes on where it was before it.
///
/// A sensor lifted and put back in a short gap is still far from its level after it. In a longer one it
/// may have climbed back, so there CO2 is watched for as long as an overshoot would show.
fn goes_on(
    channel: &Channel,
    broken: &Interruptions,
    gap: &Range<usize>,
    limits: &ScreenCriteria,
) -> bool {
    let part = samples_in(channel, 30.0);
    let mean = |range: Range<usize>| mean(channel, broken, range);
    let Some(before) = mean(gap.start.saturating_sub(part)..gap.start) else { return false };
    let long = gap.len() > samples_in(channel, limits.refit_unseen_s.value);
    let watched_s = if long { limits.settling_hold_min.value * 60.0 } else { 60.0 };
    let end = (gap.end + samples_in(channel, watched_s)).min(channel.samples.len());
    let near = |kpa: f64| (kpa - before).abs() <= limits.settling_same_kpa.value;
    mean(gap.end..(gap.end + part).min(end)).is_some_and(near)
        && (gap.end..end)
            .step_by(part)
            .all(|from| mean(from..(from + part).min(end)).is_none_or(near))
}

/// Mean of the samples that hold a value with the sensor on the skin; `None` of none.
fn mean(channel: &Channel, broken: &Interruptions, range: Range<usize>) -> Option<f64> {
    let on_skin = range.filter(|&i| !broken.away[i] && !broken.lost[i]);
    let (sum, count) =
        on_skin.fold((0.0, 0), |(sum, count), i| (sum + channel.samples[i], count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// A refit inside the night or before it.
struct Refit {
    index: usize,
    start_s: f64,
    fitted_s: f64,
}

/// The refits marked and those `seen` on the curve, in order.
fn refits(look: &Look, channel: &Channel, seen: &[usize]) -> Vec<Refit> {
    let marks = look.marks.iter().filter(|mark| mark.kind == MarkKind::Refitted);
    let marked = marks.map(|mark| {
        let fitted_s = mark.end_s.unwrap_or(mark.start_s).max(mark.start_s);
        Refit { index: index_at(channel, mark.start_s), start_s: mark.start_s, fitted_s }
    });
    let seen = seen.iter().map(|&index| {
        let at_s = channel.time_s(index);
        Refit { index, start_s: at_s, fitted_s: at_s }
    });
    let mut refits: Vec<Refit> = marked.chain(seen).collect();
    refits.sort_by_key(|refit| refit.index);
    refits
}

/// The samples between two interruptions, and whether the first one was seen.
struct Part {
    samples: Range<usize>,
    told: bool,
}

fn split_at_refits(channel: &Channel, part: &Part, refits: &[Refit], fittings: &mut Vec<Fitting>) {
    let (samples, mut told) = (&part.samples, part.told);
    if samples.is_empty() {
        return;
    }
    let first_s = channel.time_s(samples.start);
    let mut fitted_s = first_s;
    if samples.start == 0 {
        // The desk may have fitted the sensor before the recording was started.
        let earlier = refits.iter().rfind(|refit| refit.start_s <= first_s);
        fitted_s = earlier.map_or(first_s, |refit| refit.fitted_s);
        told |= earlier.is_some();
    }
    let mut start = samples.start;
    for refit in refits.iter().filter(|refit| refit.index < samples.end) {
        if refit.index > start {
            fittings.push(Fitting { samples: start..refit.index, fitted_s, told });
            (start, fitted_s, told) = (refit.index, refit.fitted_s, true);
        }
    }
    fittings.push(Fitting { samples: start..samples.end, fitted_s, told });
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

/// The first sample that starts at or after a moment.
pub(super) fn index_at(channel: &Channel, at_s: f64) -> usize {
    channel.indices(&Stretch::new(at_s, f64::MAX)).start
}
