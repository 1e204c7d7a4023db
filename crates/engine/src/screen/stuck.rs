//! `stuck`: the last value is held after the signal is lost.
//!
//! A monitor may go on writing its last value when it has lost the signal, which looks like a flat
//! line. SpO2 in whole percent may truly stay the same for long in quiet sleep, so SpO2 and pulse must
//! both be frozen; where a night has only one of the two, it must be frozen far longer. A pacemaker holds
//! the pulse: on a night on which the pulse stands for long while SpO2 moves on, the pulse proves
//! nothing, and SpO2 must be frozen as long as if it were alone. A perfusion index that goes on moving
//! shows that the oximeter is alive, and clears the run. Few samples prove nothing, however long they
//! last: one sample a minute needs more time. tcPCO2 has a file of its own.
//!
//! Source: common practice, no published limit (`stuck_s`); the others are department settings.
//! Age: the same at every age.

use std::ops::Range;

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
    // A pulse that stands more than twice as long as SpO2 beside it stands by itself there.
    let by_itself = |run: &Range<usize>| {
        let after = pulse.partition_point(|standing| standing.start <= run.start);
        let standing = after.checked_sub(1).map_or(0, |k| pulse[k].len());
        standing > 2 * run.len()
    };
    let both: Runs = both.into_iter().filter(|run| !by_itself(run)).collect();
    let fewest = if total(&pulse) > 2 * total(&both) {
        samples_in(channel, limits.stuck_alone_s.value)
    } else {
        0
    };
    let perfusion = look.channel(Quantity::Perfusion);
    let alive = |run: &Range<usize>| perfusion.is_some_and(|it| moves(channel, it, run, limits));
    both.into_iter().filter(|run| run.len() >= fewest && !alive(run)).collect()
}

fn total(runs: &[Range<usize>]) -> usize {
    runs.iter().map(ExactSizeIterator::len).sum()
}

/// Whether perfusion, which comes from the same light, goes on moving in a run.
fn moves(
    channel: &Channel,
    perfusion: &Channel,
    run: &Range<usize>,
    limits: &ScreenCriteria,
) -> bool {
    let holds = |i: &usize| holds_beside(channel, perfusion, *i);
    let moved = (run.start + 1..run.end).filter(|i| !holds(i)).count();
    moved as f64 >= limits.stuck_least_samples.value
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
