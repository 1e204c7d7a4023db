//! tcPCO2 leaving its level faster than blood can carry it, and coming back.
//!
//! tcPCO2 follows arterial CO2 through warmed skin and a membrane: a step in the blood takes minutes to
//! show whole, and even in apnoea arterial CO2 rises by no more than 1.3 kPa in the first minute and about
//! half a kPa in each after it. A faster change is the sensor: lifted, slipped, knocked. The speed is
//! taken over a window, because the last digit of many monitors is worth more than a second of true
//! change.
//!
//! An excursion starts at the first sample off the level and ends when three quarters of the way back
//! are made. A fast rise that does not come back within the least settling time is no excursion: the
//! sensor was pressed on again, and settles anew. Which reason it gets (`off`, `leak` or `step`) is decided in those files.
//!
//! Source: `oxford-tc-speed` (a step in arterial CO2 is complete in about 6 min), `kobayashi-1994` (the
//! rise in apnoea); the limit itself is a department setting.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Channel;
use crate::screen::look::{Runs, samples_in};
use crate::time::Stretch;
use crate::unit::TOLERANCE;

/// The share of the way back to the old level that ends an excursion.
const BACK: f64 = 0.75;

/// The share of a change by which a sample may be off the level and still count as on it: noise.
const STILL: f64 = 0.05;

/// One excursion of tcPCO2.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Excursion {
    /// The samples it makes unbelievable. When the sensor was away long enough to need a new settling,
    /// up to the start of the recovery (settling covers the rest); else up to the return.
    pub(super) away: Range<usize>,
    /// The samples from the level left to the level reached again.
    pub(super) whole: Range<usize>,
    /// Whether CO2 fell.
    pub(super) falling: bool,
    /// The value furthest from the level.
    pub(super) extreme_kpa: f64,
    /// The level before.
    pub(super) level_kpa: f64,
    /// Whether the longest time allowed passed before CO2 came back. A rise has then no time away: it
    /// is a refit.
    pub(super) new_level: bool,
    /// Whether the sensor was away long enough to need a new settling.
    pub(super) refits: bool,
}

/// The excursions of a CO2 channel. Inside a settling (`fresh`) only falls to room air count.
pub(super) fn find(
    channel: &Channel,
    usable: &[bool],
    fresh: &[bool],
    limits: &ScreenCriteria,
) -> Vec<Excursion> {
    let window = samples_in(channel, limits.tcpco2_step_window_s.value);
    let walk = Walk { channel, usable, window, limits };
    let settling = samples_in(channel, limits.settling_least_min.value * 60.0);
    let mut found: Vec<Excursion> = Vec::new();
    let (mut floor, mut fresh_until, mut previous) = (0, 0, None);
    let mut i = 0;
    while i < usable.len() {
        if !usable[i] {
            i += 1;
            continue;
        }
        let from = walk.reference(floor, i, previous);
        previous = Some(i);
        let settling_now = fresh[i] || i < fresh_until;
        let Some(from) = from.filter(|&from| walk.leaves(from, i, settling_now)) else {
            i += 1;
            continue;
        };
        let (excursion, end) = walk.follow(from, i);
        if excursion.refits {
            fresh_until = end.max(excursion.away.end + settling);
        } else if excursion.new_level && !excursion.falling {
            fresh_until = excursion.whole.start + settling;
        }
        found.push(excursion);
        (floor, previous) = (end, None);
        i = end;
    }
    found
}

/// Whether each sample lies in an excursion, its recovery included.
pub(super) fn taken(excursions: &[Excursion], channel: &Channel) -> Vec<bool> {
    let mut taken = vec![false; channel.samples.len()];
    for excursion in excursions {
        taken[excursion.whole.clone()].fill(true);
    }
    taken
}

/// The excursions that no other reason explains: `step`.
pub(super) fn others(excursions: &[Excursion], explained: &[bool]) -> Runs {
    let away = excursions.iter().map(|excursion| excursion.away.clone());
    away.filter(|away| !away.is_empty() && !explained[away.start]).collect()
}

/// The samples at which CO2 rose to a new level: the sensor was pressed on again.
pub(super) fn refits(excursions: &[Excursion]) -> Vec<usize> {
    let risen = excursions.iter().filter(|excursion| excursion.new_level && !excursion.falling);
    risen.map(|excursion| excursion.whole.start).collect()
}

/// A finding for each excursion from which CO2 did not come back.
pub(super) fn findings(channel: &Channel, excursions: &[Excursion]) -> Vec<Finding> {
    excursions.iter().filter(|e| e.new_level).map(|e| new_level(channel, e)).collect()
}

fn new_level(channel: &Channel, excursion: &Excursion) -> Finding {
    let start_s = channel.time_s(excursion.whole.start);
    let end_s = channel.time_s(excursion.whole.end);
    let (level, extreme) = (excursion.level_kpa, excursion.extreme_kpa);
    let minutes = (end_s - start_s) / 60.0;
    let (code, sentence) = if excursion.falling {
        let sentence = format!(
            "CO2 fell from {level:.1} to {extreme:.1} kPa faster than blood can carry it and did not \
             come back within {minutes:.0} min. Later readings may be too low: look whether the \
             sensor had moved."
        );
        ("co2_new_level", sentence)
    } else {
        let sentence = format!(
            "CO2 rose from {level:.1} to {extreme:.1} kPa faster than blood can carry it and stayed: \
             the sensor was probably pressed on again, and earlier readings may be too low."
        );
        ("co2_refit_seen", sentence)
    };
    Finding::new(code, Weight::Caution, sentence)
        .on(channel.id.as_str())
        .at(Stretch::new(start_s, end_s))
}

/// How an excursion ends.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Back {
    /// CO2 came back to its level.
    Returned,
    /// The longest time allowed passed first.
    Never,
    /// An interruption of the recording, or its end, came first.
    Interrupted,
}

struct Walk<'a> {
    channel: &'a Channel,
    usable: &'a [bool],
    /// Samples over which the speed is taken.
    window: usize,
    limits: &'a ScreenCriteria,
}

impl Walk<'_> {
    fn too_fast(&self, from: usize, to: usize) -> bool {
        let window_s = self.limits.tcpco2_step_window_s.value;
        let seconds = ((to - from) as f64 * self.channel.period_s).max(window_s);
        let change = (self.channel.samples[to] - self.channel.samples[from]).abs();
        change > self.limits.tcpco2_fastest_kpa_per_min.value / 60.0 * seconds + TOLERANCE
    }

    /// The earlier sample against which sample `i` is too fast, if any: the one a window before it, or
    /// the usable one just before it.
    fn reference(&self, floor: usize, i: usize, previous: Option<usize>) -> Option<usize> {
        let far = i.saturating_sub(self.window).max(floor);
        [Some(far).filter(|&j| j < i && self.usable[j]), previous.filter(|&j| j >= floor)]
            .into_iter()
            .flatten()
            .find(|&j| self.too_fast(j, i))
    }

    fn leaves(&self, from: usize, i: usize, settling: bool) -> bool {
        let x = &self.channel.samples;
        !settling || (x[i] < x[from] && x[i] < self.limits.tcpco2_off_below_kpa.value)
    }

    /// The excursion noticed at `i` against `from`, and where looking goes on.
    fn follow(&self, from: usize, i: usize) -> (Excursion, usize) {
        let x = &self.channel.samples;
        let falling = x[i] < x[from];
        let sign = if falling { 1.0 } else { -1.0 };
        let last = self.last_on_level(from, i, sign);
        let level_kpa = x[last];
        let (extreme_kpa, end, back) = self.way_back(i, level_kpa, sign);
        let turned = extreme_kpa + (level_kpa - extreme_kpa) * (1.0 - BACK);
        let turn = (last + 1..end)
            .rev()
            .find(|&k| self.usable[k] && (x[k] - turned) * sign <= 0.0)
            .map_or(end, |k| k + 1);
        let away_s = (turn - last - 1) as f64 * self.channel.period_s;
        let refits = falling && away_s >= self.limits.refit_gap_s.value;
        // Pressed on again: a rise that lasts. Whatever ends it, an absence for instance, ends a settling.
        let lasted_s = (end - last - 1) as f64 * self.channel.period_s;
        let lasts = lasted_s >= self.limits.settling_hold_min.value * 60.0;
        let stays = back == Back::Never || (!falling && lasts);
        let away = match back {
            Back::Returned if refits => last + 1..turn,
            _ if stays && !falling => last + 1..last + 1,
            _ => last + 1..end,
        };
        (
            Excursion {
                away,
                whole: last + 1..end,
                falling,
                extreme_kpa,
                level_kpa,
                new_level: stays,
                refits,
            },
            end,
        )
    }

    /// The last sample that still held the level.
    fn last_on_level(&self, from: usize, i: usize, sign: f64) -> usize {
        let height = |j: usize| self.channel.samples[j] * sign;
        let before = || (from..i).filter(|&j| self.usable[j]);
        let top = before().map(height).fold(height(from), f64::max);
        let still = top - (top - height(i)) * STILL;
        before().rev().find(|&j| height(j) >= still - TOLERANCE).unwrap_or(from)
    }

    /// The extreme reached, where the excursion ends, and how.
    fn way_back(&self, i: usize, level_kpa: f64, sign: f64) -> (f64, usize, Back) {
        let x = &self.channel.samples;
        let limits = self.limits;
        let most_min = if sign > 0.0 {
            limits.settling_most_min.value
        } else {
            limits.settling_least_min.value
        };
        let most = samples_in(self.channel, most_min * 60.0);
        let gap = samples_in(self.channel, self.limits.refit_gap_s.value);
        let (mut extreme, mut seen, mut deadline) = (x[i], i, i + most);
        for (k, &value) in x.iter().enumerate().skip(i) {
            if k >= deadline {
                return (extreme, k, Back::Never);
            }
            if k - seen > gap {
                return (extreme, seen + 1, Back::Interrupted);
            }
            if !self.usable[k] {
                continue;
            }
            seen = k;
            if (value - extreme) * sign < 0.0 {
                extreme = value;
            }
            if (value - extreme) * sign >= (level_kpa - extreme) * sign * BACK {
                return (extreme, k, Back::Returned);
            }
            // In room air the sensor is off however long that lasts.
            if value < self.limits.tcpco2_off_below_kpa.value {
                deadline = k + most;
            }
        }
        (extreme, seen + 1, Back::Interrupted)
    }
}
