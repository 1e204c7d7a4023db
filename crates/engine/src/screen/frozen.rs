//! `stuck`, CO2: the last value is held after the signal is lost.
//!
//! CO2 in quiet sleep moves slowly, and where the last digit is coarse it may truly stand for minutes. How
//! long a value usually stands in this very recording tells what its digit and its refreshing are worth:
//! a value that stands many times longer than half of the others is frozen. Where too little of the night
//! moves to tell, the longest time of the criteria counts; while the oximeter is stuck too, its time.
//!
//! Source: common practice, no published limit; the times are department settings. Age: the same at
//! every age.

use crate::criteria::ScreenCriteria;
use crate::recording::Channel;
use crate::screen::look::{Runs, runs};
use crate::screen::stuck;
use crate::time::Stretch;

/// The share of the night that runs no longer than the usual one cover: less than half may be frozen.
const USUAL: f64 = 0.5;

/// Frozen runs of CO2; `oximeter` is where SpO2 and pulse are stuck.
pub(super) fn find(channel: &Channel, oximeter: &[Stretch], limits: &ScreenCriteria) -> Runs {
    let mut with_oximeter = vec![false; channel.samples.len()];
    for stretch in oximeter {
        with_oximeter[channel.indices(stretch)].fill(true);
    }
    let held = |i| stuck::holds(channel, i);
    let alone = stuck::frozen(channel, least_s(channel, limits), limits, held);
    let together_s = limits.stuck_s.value;
    let together = stuck::frozen(channel, together_s, limits, |i| with_oximeter[i] && held(i));
    let mut stuck = vec![false; channel.samples.len()];
    for run in alone.into_iter().chain(together) {
        stuck[run].fill(true);
    }
    runs(stuck.len(), |i| stuck[i])
}

/// How long a value must stand to be frozen in this recording.
fn least_s(channel: &Channel, limits: &ScreenCriteria) -> f64 {
    let usual_s = usual_run(channel) as f64 * channel.period_s;
    let many = limits.stuck_tcpco2_times.value;
    (many * usual_s).max(limits.stuck_s.value).min(limits.stuck_tcpco2_s.value)
}

/// The length of run, in samples, that half of the night's values stand no longer than.
fn usual_run(channel: &Channel) -> usize {
    let mut lengths = Vec::new();
    let mut from = 0;
    for i in 1..=channel.samples.len() {
        if i < channel.samples.len() && stuck::holds(channel, i) {
            continue;
        }
        if channel.samples[from].is_finite() {
            lengths.push(i - from);
        }
        from = i;
    }
    lengths.sort_unstable();
    let mut left = USUAL * lengths.iter().sum::<usize>() as f64;
    let usual = lengths.into_iter().find(|&length| {
        left -= length as f64;
        left <= 0.0
    });
    usual.unwrap_or(0)
}
