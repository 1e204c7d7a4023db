//! `leak`, slow: air creeps under the CO2 sensor over many minutes until somebody presses it on again.
//!
//! tcPCO2 sags towards room air while the oximeter on the same clip goes on. A sleeper's own CO2 can fall
//! as slowly, when breathing is supported or after waking, so a fall alone proves nothing. What proves
//! it is the end: CO2 comes back faster than blood can carry it, near to where it had been. Then all
//! from the bend down to the return was air, and is not believed. A slow fall to a level at which nobody
//! sleeps proves it too.
//!
//! Faster than blood means one of two things. Either CO2 moves too fast for any patient (`excursion`), or
//! it rises as it does only in a long apnoea while SpO2 stands still, which no apnoea leaves standing.
//! Breathing less raises CO2 by half a kPa a minute at most once the first minute is over
//! (`kobayashi-1994`).
//!
//! The bend is found by least squares: a level, and a curve that leaves it. Where a slow fall has no such
//! end, a finding proposes it to a person (see `signs`).
//!
//! Source: common practice, from memory (`leak` in room air); limits are department settings. Age: the
//! same at every age.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, runs, samples_in};
use crate::time::Stretch;

/// Fewest minutes of level and of sag for a bend between them.
const LEAST_MIN: usize = 3;

/// The time over which a return is looked for, s.
const RISE_S: f64 = 120.0;

/// Length of the blocks whose means are compared, s.
const BLOCK_S: f64 = 10.0;

/// Minutes after which CO2 has climbed most of the way to its level.
const CLIMBED_MIN: f64 = 2.0;

/// Minutes without a value after which the time before says nothing of this sag.
const UNSEEN_MIN: usize = 5;

/// The samples that a slow leak may be read from.
pub(super) struct Seen<'a> {
    /// With the sensor on the skin.
    pub(super) on_skin: &'a [bool],
    /// On the skin and settled.
    pub(super) usable: &'a [bool],
}

/// The stretches of sagging CO2 that end in a `refit`, and those that reach too low a level.
pub(super) fn find(
    channel: &Channel,
    seen: &Seen,
    refits: &[usize],
    limits: &ScreenCriteria,
) -> Runs {
    let usable = seen.usable;
    let sag = Sag { channel, on_skin: seen.on_skin, usable, limits };
    let low_kpa = limits.tcpco2_loose_below_kpa.value;
    let pressed_on = refits.iter().filter_map(|&end| sag.before_refit(end));
    let low = runs(usable.len(), |i| usable[i] && channel.samples[i] < low_kpa);
    let least = samples_in(channel, 60.0);
    let low = low.iter().filter(|run| run.len() >= least).filter_map(|run| sag.to_low(run));
    let mut found: Runs = pressed_on.chain(low).collect();
    found.sort_by_key(|run| run.start);
    found
}

/// The samples at which CO2 turns from a sag and comes back too fast for a patient whose SpO2 stands
/// still: the sensor was pressed on again.
pub(super) fn pressed_on(look: &Look, channel: &Channel, seen: &Seen) -> Vec<usize> {
    let limits = look.limits;
    let sag = Sag { channel, on_skin: seen.on_skin, usable: seen.usable, limits };
    let block = samples_in(channel, BLOCK_S);
    let ahead = samples_in(channel, RISE_S).div_ceil(block);
    let means: Vec<Option<f64>> = (0..channel.samples.len())
        .step_by(block)
        .map(|from| sag.mean(from..(from + block).min(channel.samples.len())))
        .collect();
    let mut found = Vec::new();
    let mut k = 0;
    while k + ahead < means.len() {
        let end = (k + 1) * block;
        let rise = means[k + ahead].zip(means[k]).map(|(late, early)| late - early);
        let rises = rise.is_some_and(|kpa| kpa >= limits.loosening_back_kpa.value);
        let turns = rises && (k..=k + ahead).all(|j| means[j] >= means[k]);
        if turns && steady(look, channel, end) && sag.before_refit(end).is_some() {
            found.push(end);
            k += samples_in(channel, limits.settling_least_min.value * 60.0).div_ceil(block);
        } else {
            k += 1;
        }
    }
    found
}

/// Whether SpO2 stands still around the rise that starts at a sample; not known counts as no.
fn steady(look: &Look, channel: &Channel, start: usize) -> bool {
    let Some(spo2) = look.channel(Quantity::Spo2) else { return false };
    let at_s = channel.time_s(start);
    let read = spo2.indices(&Stretch::new(at_s - RISE_S / 2.0, at_s + 1.5 * RISE_S));
    let (count, least) = (read.len(), look.limits.loosening_spo2_pct.value);
    let values = read.map(|i| spo2.samples[i]).filter(|x| x.is_finite());
    let values: Vec<f64> = values.filter(|&x| !look.beyond(Quantity::Spo2, x)).collect();
    let lowest = values.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    2 * values.len() > count && highest - lowest < least
}

struct Sag<'a> {
    channel: &'a Channel,
    on_skin: &'a [bool],
    usable: &'a [bool],
    limits: &'a ScreenCriteria,
}

/// A level that bends down.
struct Bend {
    /// The first sample below the level.
    start: usize,
    level_kpa: f64,
}

impl Sag<'_> {
    /// The sag that ends where the sensor was pressed on again.
    fn before_refit(&self, end: usize) -> Option<Range<usize>> {
        let minute = samples_in(self.channel, 60.0);
        let bend = self.bend(end)?;
        let low_kpa = self.mean(end.saturating_sub(minute)..end)?;
        let after = |minutes: f64| {
            (end + samples_in(self.channel, minutes * 60.0)).min(self.channel.samples.len())
        };
        let settling = after(CLIMBED_MIN)..after(self.limits.settling_least_min.value);
        let after_kpa = mean(self.channel, self.on_skin, settling)?;
        let fallen_kpa = bend.level_kpa - low_kpa;
        let came_back = after_kpa - low_kpa >= fallen_kpa / 2.0;
        let enough = fallen_kpa >= self.limits.loosening_least_kpa.value;
        (came_back && enough).then_some(bend.start..end)
    }

    /// The sag down to a run at a level at which nobody sleeps, and up to where it leaves that level.
    fn to_low(&self, low: &Range<usize>) -> Option<Range<usize>> {
        let bend = self.bend((low.start + samples_in(self.channel, 60.0)).min(low.end))?;
        Some(bend.start..low.end)
    }

    /// The best bend in the time before `end` in which the sensor was not touched.
    fn bend(&self, end: usize) -> Option<Bend> {
        let minute = samples_in(self.channel, 60.0);
        let most = samples_in(self.channel, self.limits.loosening_most_min.value * 60.0);
        let mut means = Vec::new();
        let (mut to, mut unseen) = (end, 0);
        while to >= minute && end - to < most && unseen < UNSEEN_MIN {
            match self.mean(to - minute..to) {
                Some(kpa) => {
                    means.push((to - minute, kpa));
                    unseen = 0;
                }
                None => unseen += 1,
            }
            to -= minute;
        }
        means.reverse();
        let best = (LEAST_MIN..means.len().saturating_sub(LEAST_MIN))
            .filter_map(|at| Some((self::bend(&means, at)?, at)))
            .min_by(|a, b| a.0.0.total_cmp(&b.0.0))?;
        let ((_, level_kpa), at) = best;
        Some(Bend { start: means[at].0, level_kpa })
    }

    fn mean(&self, range: Range<usize>) -> Option<f64> {
        mean(self.channel, self.usable, range)
    }
}

fn mean(channel: &Channel, keep: &[bool], range: Range<usize>) -> Option<f64> {
    let kept = range.filter(|&i| keep[i]);
    let (sum, count) = kept.fold((0.0, 0), |(sum, count), i| (sum + channel.samples[i], count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// The squares left by a level up to `at` and a parabola that leaves it there, and the level.
fn bend(means: &[(usize, f64)], at: usize) -> Option<(f64, f64)> {
    let mut sums = [[0.0; 4]; 3];
    let row = |k: usize| {
        let since = k.saturating_sub(at) as f64;
        [1.0, since, since * since]
    };
    for (k, &(_, kpa)) in means.iter().enumerate() {
        let row = row(k);
        for a in 0..3 {
            for b in 0..3 {
                sums[a][b] += row[a] * row[b];
            }
            sums[a][3] += row[a] * kpa;
        }
    }
    let x = solved(sums)?;
    let left = |(k, &(_, kpa)): (usize, &(usize, f64))| {
        let fitted: f64 = row(k).iter().zip(&x).map(|(r, x)| r * x).sum();
        (kpa - fitted) * (kpa - fitted)
    };
    Some((means.iter().enumerate().map(left).sum(), x[0]))
}

/// Three equations in three unknowns, by elimination; `None` when they have no one answer.
fn solved(mut sums: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    for a in 0..3 {
        let pivot = sums[a];
        if pivot[a].abs() < 1e-9 {
            return None;
        }
        for (b, row) in sums.iter_mut().enumerate() {
            if b != a {
                let times = row[a] / pivot[a];
                for (value, pivot) in row.iter_mut().zip(pivot) {
                    *value -= times * pivot;
                }
            }
        }
    }
    Some([0, 1, 2].map(|a| sums[a][3] / sums[a][a]))
}

/// A finding for each return of a sensor pressed on again.
pub(super) fn findings(channel: &Channel, pressed_on: &[usize]) -> Vec<Finding> {
    let told = |&at: &usize| {
        let at_s = channel.time_s(at);
        Finding::new(
            "co2_pressed_on",
            Weight::Caution,
            "CO2 sagged slowly and came back at once while SpO2 stood still: air had crept under the \
             sensor, and it was pressed on again.",
        )
        .on(channel.id.as_str())
        .at(Stretch::new(at_s, at_s))
    };
    pressed_on.iter().map(told).collect()
}
