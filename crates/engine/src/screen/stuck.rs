//! `stuck`: the last value is held after the signal is lost.
//!
//! A monitor may go on writing its last value when it has lost the signal, which looks like a flat
//! line. SpO2 in whole percent may truly stay the same for long in quiet sleep, so SpO2 and pulse must
//! both be frozen; where a night has only one of the two, it must be frozen far longer. A pacemaker holds
//! the pulse: where SpO2 moves on while the pulse stands, the pulse proves nothing. Few samples prove
//! nothing, however long they last: one sample a minute needs more time. tcPCO2 has a file of its own.
//!
//! Source: common practice, no published limit (`stuck_s`); the others are department settings.
//! Age: the same at every age.

use crate::criteria::ScreenCriteria;
use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, beside, samples_in};
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
    for i in 1..=count {
        if i < count && holds(i) {
            continue;
        }
        if i - from >= fewest {
            runs.push(from..i);
        }
        from = i;
    }
    runs
}

/// Whether a sample holds the value before it.
pub(super) fn holds(channel: &Channel, i: usize) -> bool {
    same(channel.samples[i - 1], channel.samples[i])
}

fn holds_beside(channel: &Channel, other: &Channel, i: usize) -> bool {
    match (beside(channel, other, i - 1), beside(channel, other, i)) {
        (Some(before), Some(now)) => same(before, now),
        _ => false,
    }
}

/// Equal to the last digit; a missing value equals nothing.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= TOLERANCE
}
