//! `calibrating`: the monitor checks its CO2 sensor in a gas of its own, announced or not.
//!
//! The clip is off the ear then, so the oximeter reads nothing, and CO2 goes to the gas and stands there
//! more still than any skin: 5 to 10 % of CO2, 4.8 to 9.5 kPa (`calibration-gas`, from memory). A dropout
//! of the oximeter alone leaves CO2 where it was and moving. Back on the ear CO2 settles anew.
//!
//! In room air it is `off`; a sensor that goes from room air to its gas is `off` throughout.
//!
//! Source: common practice, from memory; limits are department settings. Age: the same at every age.

use std::ops::Range;

use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, samples_in};

/// Half of the time the oximeter reads nothing: CO2 has reached the gas by then.
const REACHED: f64 = 0.5;

/// The samples of CO2 taken in a gas.
pub(super) fn find(look: &Look, channel: &Channel) -> Runs {
    if look.channel(Quantity::Spo2).is_none() && look.channel(Quantity::Pulse).is_none() {
        return Runs::new();
    }
    let least = samples_in(channel, look.limits.calibrating_least_s.value);
    gone(look, channel)
        .into_iter()
        .filter(|run| run.len() >= least)
        .filter_map(|run| in_gas(look, channel, run))
        .collect()
}

/// Runs in which the oximeter reads nothing; readings for a few seconds do not end one.
fn gone(look: &Look, channel: &Channel) -> Runs {
    let margin = samples_in(channel, look.limits.off_margin_s.value);
    let mut runs = Runs::new();
    for i in 0..channel.samples.len() {
        if look.oximeter_gone(channel.time_s(i)) != Some(true) {
            continue;
        }
        match runs.last_mut() {
            Some(run) if i - run.end <= margin => run.end = i + 1,
            _ => runs.push(i..i + 1),
        }
    }
    runs
}

/// The samples from leaving the skin to leaving the gas, when CO2 stood still in a gas meanwhile.
fn in_gas(look: &Look, channel: &Channel, run: Range<usize>) -> Option<Range<usize>> {
    let limits = look.limits;
    // The oximeter averages, so its silence starts and ends a little later than the clip's absence.
    let margin = 2 * samples_in(channel, limits.off_margin_s.value);
    let still_kpa = limits.calibrating_still_kpa.value;
    let reached = run.start + half(run.len());
    let (low, high) = span(channel, reached..run.end.saturating_sub(margin).max(reached))?;
    let (lowest, _) = span(channel, run.clone())?;
    if high - low > still_kpa || lowest < limits.tcpco2_off_below_kpa.value {
        return None;
    }
    let gas_kpa = f64::midpoint(low, high);
    let minute = samples_in(channel, 60.0);
    let edge = run.start.saturating_sub(margin);
    let far = |kpa: f64| (kpa - gas_kpa).abs() >= limits.calibrating_moved_kpa.value;
    let went = mean(channel, edge.saturating_sub(minute)..edge).is_some_and(far);
    let after = run.end..(run.end + 2 * minute).min(channel.samples.len());
    let came = span(channel, after).is_some_and(|(low, high)| far(low) || far(high));
    let in_gas = |&i: &usize| (channel.samples[i] - gas_kpa).abs() <= still_kpa;
    let last = run.clone().rev().find(in_gas)?;
    (went && came).then(|| left(channel, &run, margin, gas_kpa)..last + 1)
}

/// The first sample on the way to the gas: the oximeter averages, so CO2 may leave a little sooner.
fn left(channel: &Channel, run: &Range<usize>, margin: usize, gas_kpa: f64) -> usize {
    let x = &channel.samples;
    let earliest = run.start.saturating_sub(margin);
    let nearer = |i: usize| (x[i] - gas_kpa).abs() < (x[i - 1] - gas_kpa).abs();
    let mut start = run.start;
    while start > earliest.max(1) && nearer(start) {
        start -= 1;
    }
    start.min(run.start.saturating_sub(margin / 2))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a count of samples"
)]
fn half(count: usize) -> usize {
    (count as f64 * REACHED) as usize
}

/// Lowest and highest of the numbers; `None` of none.
fn span(channel: &Channel, range: Range<usize>) -> Option<(f64, f64)> {
    let numbers = channel.samples[range].iter().copied().filter(|x| x.is_finite());
    numbers.fold(None, |span, x| match span {
        None => Some((x, x)),
        Some((low, high)) => Some((x.min(low), x.max(high))),
    })
}

fn mean(channel: &Channel, range: Range<usize>) -> Option<f64> {
    let numbers = channel.samples[range].iter().copied().filter(|x| x.is_finite());
    let (sum, count) = numbers.fold((0.0, 0), |(sum, count), x| (sum + x, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}
