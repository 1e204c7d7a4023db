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
use crate::screen::look::{Runs, samples_in};
use crate::screen::stuck;
use crate::time::Stretch;

/// The share of the night that runs no longer than the usual one cover: less than half may be frozen.
const USUAL: f64 = 0.5;

/// Frozen runs of CO2; `oximeter` is where SpO2 and pulse are stuck.
pub(super) fn find(channel: &Channel, oximeter: &[Stretch], limits: &ScreenCriteria) -> Runs {
    let standing = standing(channel);
    let enough_s = channel.period_s * limits.stuck_least_samples.value;
    let alone = samples_in(channel, least_s(channel, &standing, limits).max(enough_s)).max(2);
    let together = samples_in(channel, limits.stuck_s.value.max(enough_s)).max(2);
    let mut with_oximeter = oximeter.iter().map(|stretch| channel.indices(stretch)).peekable();
    let mut stuck = Runs::new();
    for run in standing {
        if run.len() >= alone {
            stuck.push(run);
            continue;
        }
        while with_oximeter.next_if(|other| other.end <= run.start).is_some() {}
        let Some(other) = with_oximeter.peek() else { continue };
        let both = run.start.max(other.start)..run.end.min(other.end);
        if both.len() >= together {
            stuck.push(both);
        }
    }
    stuck
}

/// How long a value must stand to be frozen in this recording.
fn least_s(channel: &Channel, standing: &Runs, limits: &ScreenCriteria) -> f64 {
    let usual_s = usual_run(standing) as f64 * channel.period_s;
    let many = limits.stuck_tcpco2_times.value;
    (many * usual_s).max(limits.stuck_s.value).min(limits.stuck_tcpco2_s.value)
}

/// The runs in which one value stands, those of one sample too; missing values are in none.
fn standing(channel: &Channel) -> Runs {
    let x = &channel.samples;
    let mut runs = Runs::new();
    let mut from = 0;
    for i in 1..=x.len() {
        if i < x.len() && stuck::holds(channel, i) {
            continue;
        }
        if x[from].is_finite() {
            runs.push(from..i);
        }
        from = i;
    }
    runs
}

/// The length of run, in samples, that half of the night's values stand no longer than.
fn usual_run(standing: &Runs) -> usize {
    let mut lengths: Vec<usize> = standing.iter().map(std::ops::Range::len).collect();
    lengths.sort_unstable();
    let mut left = USUAL * lengths.iter().sum::<usize>() as f64;
    let usual = lengths.into_iter().find(|&length| {
        left -= length as f64;
        left <= 0.0
    });
    usual.unwrap_or(0)
}
