//! `stuck`: the last value is held after the signal is lost.
//!
//! A monitor may go on writing its last value when it has lost the signal, which looks like a flat
//! line. SpO2 in whole percent may truly stay the same for long in quiet sleep, so SpO2 and pulse must
//! both be frozen; where a night has only one of the two, it must be frozen far longer. A pacemaker holds
//! the pulse: where SpO2 moves on while the pulse stands, the pulse proves nothing. tcPCO2 is judged
//! alone, to its last digit, or with less time while the oximeter is stuck too. Few samples prove
//! nothing, however long they last: one sample a minute needs more time.
//!
//! Source: common practice, no published limit (`stuck_s`); the others are department settings.
//! Age: the same at every age.

use crate::criteria::ScreenCriteria;
use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, beside, one_grid, runs, samples_in};
use crate::time::Stretch;
use crate::unit::TOLERANCE;

/// Frozen runs of a channel of the oximeter.
pub(super) fn of_oximeter(look: &Look, channel: &Channel) -> Runs {
    let limits = look.limits;
    let other = match channel.quantity {
        Quantity::Spo2 => look.channel(Quantity::Pulse),
        _ => look.channel(Quantity::Spo2),
    };
    let Some(other) = other else {
        return frozen(channel, limits.stuck_alone_s.value, limits, |i| holds(channel, i));
    };
    let own = |i| holds(channel, i);
    let others = |i| holds_beside(channel, other, i);
    let both = frozen(channel, limits.stuck_s.value, limits, |i| own(i) && others(i));
    let pulse_stands = |i| if channel.quantity == Quantity::Pulse { own(i) } else { others(i) };
    let pulse = frozen(channel, limits.stuck_s.value, limits, pulse_stands);
    let moved_on = |run: &std::ops::Range<usize>| {
        let after = pulse.partition_point(|standing| standing.start <= run.start);
        let standing = after.checked_sub(1).map_or(0, |k| pulse[k].len());
        standing > 2 * run.len()
    };
    both.into_iter().filter(|run| !moved_on(run)).collect()
}

/// Frozen runs of CO2; `oximeter` is where SpO2 and pulse are stuck.
pub(super) fn of_co2(channel: &Channel, oximeter: &[Stretch], limits: &ScreenCriteria) -> Runs {
    let mut with_oximeter = vec![false; channel.samples.len()];
    for stretch in oximeter {
        with_oximeter[channel.indices(stretch)].fill(true);
    }
    let held = |i| holds(channel, i);
    let alone = frozen(channel, limits.stuck_tcpco2_s.value, limits, held);
    let together = frozen(channel, limits.stuck_s.value, limits, |i| with_oximeter[i] && held(i));
    let mut stuck = vec![false; channel.samples.len()];
    for run in alone.into_iter().chain(together) {
        stuck[run].fill(true);
    }
    runs(stuck.len(), |i| stuck[i])
}

/// Runs of at least so long in which every sample but the first `holds` the value before it.
fn frozen(
    channel: &Channel,
    least_s: f64,
    limits: &ScreenCriteria,
    holds: impl Fn(usize) -> bool,
) -> Runs {
    let count = channel.samples.len();
    let enough_s = channel.period_s * limits.stuck_least_samples.value;
    let fewest = samples_in(channel, least_s.max(enough_s)).max(2);
    let mut runs = Runs::new();
    let mut from = 0;
    while from < count {
        let end = (from + 1..count).find(|&i| !holds(i)).unwrap_or(count);
        if end - from >= fewest {
            runs.push(from..end);
        }
        from = end;
    }
    runs
}

fn holds(channel: &Channel, i: usize) -> bool {
    same(channel.samples[i - 1], channel.samples[i])
}

fn holds_beside(channel: &Channel, other: &Channel, i: usize) -> bool {
    if one_grid(channel, other) {
        return i < other.samples.len() && holds(other, i);
    }
    match (beside(channel, other, i - 1), beside(channel, other, i)) {
        (Some(before), Some(now)) => same(before, now),
        _ => false,
    }
}

/// Equal to the last digit; a missing value equals nothing.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= TOLERANCE
}
