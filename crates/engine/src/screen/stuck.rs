//! `stuck`: the last value is held after the signal is lost.
//!
//! A monitor may go on writing its last value when it has lost the signal, which looks like a flat
//! line. SpO2 in whole percent may truly stay the same for long in quiet sleep, so SpO2 and pulse must
//! both be frozen; where a night has only one of the two, it must be frozen far longer. tcPCO2 is
//! judged alone, to its last digit. Few samples prove nothing, however long they last: one sample a
//! minute needs more time.
//!
//! Source: common practice, no published limit (`stuck_s`); the others are department settings.
//! Age: the same at every age.

use crate::criteria::ScreenCriteria;
use crate::recording::Channel;
use crate::screen::look::{Runs, samples_in, value_at};
use crate::unit::TOLERANCE;

/// Frozen runs of one channel; with `beside`, only while that one is frozen too.
pub(super) fn find(
    channel: &Channel,
    beside: Option<&Channel>,
    least_s: f64,
    limits: &ScreenCriteria,
) -> Runs {
    let count = channel.samples.len();
    let fewest = count_of(channel, least_s, limits);
    let held = |i: usize| {
        same(channel.samples[i - 1], channel.samples[i])
            && beside.is_none_or(|other| held_beside(channel, other, i))
    };
    let mut runs = Runs::new();
    let mut from = 0;
    for i in 1..=count {
        if i < count && held(i) {
            continue;
        }
        if i - from >= fewest {
            runs.push(from..i);
        }
        from = i;
    }
    runs
}

fn held_beside(channel: &Channel, other: &Channel, i: usize) -> bool {
    match (value_at(other, channel.time_s(i - 1)), value_at(other, channel.time_s(i))) {
        (Some(before), Some(now)) => same(before, now),
        _ => false,
    }
}

/// Equal to the last digit; a missing value equals nothing.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= TOLERANCE
}

fn count_of(channel: &Channel, least_s: f64, limits: &ScreenCriteria) -> usize {
    let samples = channel.period_s * limits.stuck_least_samples.value;
    samples_in(channel, least_s.max(samples)).max(2)
}
