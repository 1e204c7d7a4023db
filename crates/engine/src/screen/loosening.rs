//! `leak`, slow: air creeps under the CO2 sensor over many minutes until somebody presses it on again.
//!
//! tcPCO2 sags towards room air while the oximeter on the same clip goes on. A sleeper's own CO2 can fall
//! as slowly, when breathing is supported or after waking, so a fall alone proves nothing. What proves
//! it is the end: CO2 comes back faster than blood can carry it, near to where it had been. Then all
//! from the bend down to the return was air, and is not believed. A slow fall to a level at which nobody
//! sleeps proves it too.
//!
//! Faster than blood means one of two things. Either CO2 moves too fast for any patient (`excursion`), or
//! it rises as it does only in a long apnoea: breathing less raises CO2 by half a kPa a minute at most
//! once the first minute is over (`kobayashi-1994`). Then SpO2 must stand still, which no apnoea leaves
//! standing, or the sag must have ended lower than this sleeper is in nearly all the rest of the night.
//! The latter also tells a sag that ended with the clip off and CO2 back at its level after it.
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
use crate::screen::bend::Bend;
use crate::screen::look::{Look, Runs, runs, samples_in};
use crate::time::Stretch;

/// The time over which a return is looked for, s.
const RISE_S: f64 = 120.0;

/// Length of the blocks whose means are compared, s.
const BLOCK_S: f64 = 10.0;

/// Minutes after which CO2 has climbed most of the way to its level.
const CLIMBED_MIN: f64 = 2.0;

/// One minute in so many of the night lies lower than what is usually low.
const USUAL_LOW: usize = 10;

/// Minutes without a value after which the time before says nothing of this sag.
const UNSEEN_MIN: usize = 5;

/// The samples that a slow leak may be read from, with the sums that make a mean one subtraction.
pub(super) struct Seen<'a> {
    /// With the sensor on the skin.
    on_skin: &'a [bool],
    sums: Vec<f64>,
    counts: Vec<usize>,
    /// Samples in a minute.
    minute: usize,
}

impl<'a> Seen<'a> {
    /// `usable` are the samples on the skin and settled.
    pub(super) fn new(channel: &Channel, on_skin: &'a [bool], usable: &[bool]) -> Self {
        let (mut sums, mut counts) = (Vec::with_capacity(usable.len() + 1), vec![0]);
        let (mut sum, mut count) = (0.0, 0);
        sums.push(sum);
        for (&x, &usable) in channel.samples.iter().zip(usable) {
            if usable {
                sum += x;
                count += 1;
            }
            sums.push(sum);
            counts.push(count);
        }
        Self { on_skin, sums, counts, minute: samples_in(channel, 60.0) }
    }

    /// How many samples of a range are usable.
    pub(super) fn count(&self, range: &Range<usize>) -> usize {
        self.counts[range.end] - self.counts[range.start]
    }

    /// Mean of the usable samples; `None` of none.
    pub(super) fn mean(&self, range: Range<usize>) -> Option<f64> {
        let count = self.count(&range);
        (count > 0).then(|| (self.sums[range.end] - self.sums[range.start]) / count as f64)
    }
}

/// Where the curve of one fitting ends, and where the next begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    /// The first sample no longer of the sag.
    pub(super) end: usize,
    /// The first sample with the sensor on again; the same when it was pressed on in place.
    pub(super) back: usize,
}

/// The sagging stretches before these `turns`, and those that reach too low a level.
pub(super) fn find(
    channel: &Channel,
    seen: &Seen,
    turns: &[Turn],
    limits: &ScreenCriteria,
) -> Runs {
    let sag = Sag { channel, seen, limits };
    let low_kpa = limits.tcpco2_loose_below_kpa.value;
    let touched = turns.iter().filter_map(|turn| {
        let found = sag.before(turn)?;
        (turn.end == turn.back || sag.lowest_of_night(&found)).then_some(found)
    });
    let usable = |i: usize| seen.count(&(i..i + 1)) > 0;
    let low = runs(channel.samples.len(), |i| usable(i) && channel.samples[i] < low_kpa);
    let least = seen.minute;
    let low = low.iter().filter(|run| run.len() >= least).filter_map(|run| sag.to_low(run));
    let mut found: Runs = touched.chain(low).collect();
    found.sort_by_key(|run| run.start);
    found
}

/// The samples at which CO2 turns from a sag and comes back too fast for a patient whose SpO2 stands
/// still, or from a level lower than this sleeper has else: the sensor was pressed on again.
pub(super) fn pressed_on(look: &Look, channel: &Channel, seen: &Seen) -> Vec<usize> {
    let limits = look.limits;
    let sag = Sag { channel, seen, limits };
    let block = samples_in(channel, BLOCK_S);
    let ahead = samples_in(channel, RISE_S).div_ceil(block);
    let means: Vec<Option<f64>> = (0..channel.samples.len())
        .step_by(block)
        .map(|from| seen.mean(from..(from + block).min(channel.samples.len())))
        .collect();
    let mut found = Vec::new();
    let mut k = 0;
    while k + ahead < means.len() {
        let end = (k + 1) * block;
        let rise = means[k + ahead].zip(means[k]).map(|(late, early)| late - early);
        let rises = rise.is_some_and(|kpa| kpa >= limits.loosening_back_kpa.value);
        let turns = rises && (k..=k + ahead).all(|j| means[j] >= means[k]);
        let sagged =
            Some(end).filter(|_| turns).and_then(|end| sag.before(&Turn { end, back: end }));
        let proved =
            sagged.is_some_and(|run| steady(look, channel, end) || sag.lowest_of_night(&run));
        if proved {
            found.push(end);
        }
        k += if proved {
            samples_in(channel, limits.settling_least_min.value * 60.0).div_ceil(block)
        } else {
            1
        };
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

/// A slow fall with nothing at its end to prove what it was.
pub(super) struct Fall {
    /// Where.
    pub(super) stretch: Range<usize>,
    /// The level it left.
    pub(super) level_kpa: f64,
    /// The last minute's mean.
    pub(super) low_kpa: f64,
}

/// The slow fall up to the last settled sample before `end`, when it ends lower than in nearly all the
/// rest of the night.
pub(super) fn to_end(
    channel: &Channel,
    seen: &Seen,
    end: usize,
    limits: &ScreenCriteria,
) -> Option<Fall> {
    let sag = Sag { channel, seen, limits };
    let bend = sag.bend(end)?;
    let low_kpa = seen.mean(end.saturating_sub(seen.minute)..end)?;
    let enough = bend.level_kpa - low_kpa >= limits.loosening_least_kpa.value;
    let stretch = bend.start..end;
    (enough && sag.lowest_of_night(&stretch)).then_some(Fall {
        stretch,
        level_kpa: bend.level_kpa,
        low_kpa,
    })
}

struct Sag<'a> {
    channel: &'a Channel,
    seen: &'a Seen<'a>,
    limits: &'a ScreenCriteria,
}

/// A level that CO2 left.
struct Left {
    /// The first sample below the level by more than a settled sensor may be.
    start: usize,
    level_kpa: f64,
}

impl Sag<'_> {
    /// The sag that ends where the sensor was touched, when CO2 comes back from it.
    fn before(&self, turn: &Turn) -> Option<Range<usize>> {
        let minute = self.seen.minute;
        let bend = self.bend(turn.end)?;
        let low_kpa = self.seen.mean(turn.end.saturating_sub(minute)..turn.end)?;
        let after = |minutes: f64| {
            (turn.back + samples_in(self.channel, minutes * 60.0)).min(self.channel.samples.len())
        };
        let settling = after(CLIMBED_MIN)..after(self.limits.settling_least_min.value);
        let after_kpa = self.on_skin(settling)?;
        let fallen_kpa = bend.level_kpa - low_kpa;
        let came_back = after_kpa - low_kpa >= fallen_kpa / 2.0;
        let enough = fallen_kpa >= self.limits.loosening_least_kpa.value;
        (came_back && enough).then_some(bend.start..turn.end)
    }

    /// Mean with the sensor on the skin, settled or not; `None` of no sample.
    fn on_skin(&self, range: Range<usize>) -> Option<f64> {
        let kept = range.filter(|&i| self.seen.on_skin[i]);
        let add = |(sum, count), i: usize| (sum + self.channel.samples[i], count + 1);
        let (sum, count) = kept.fold((0.0, 0), add);
        (count > 0).then(|| sum / f64::from(count))
    }

    /// Whether CO2 ends a sag lower than this sleeper is in nearly all the rest of the night.
    fn lowest_of_night(&self, run: &Range<usize>) -> bool {
        let minute = self.seen.minute;
        let count = self.channel.samples.len();
        let mut rest: Vec<f64> = (0..count)
            .step_by(minute)
            .filter(|from| !run.contains(from))
            .filter_map(|from| self.seen.mean(from..(from + minute).min(count)))
            .collect();
        rest.sort_by(f64::total_cmp);
        let Some(&usual) = rest.get(rest.len() / USUAL_LOW) else { return false };
        let low = self.seen.mean(run.end.saturating_sub(minute)..run.end);
        low.is_some_and(|kpa| usual - kpa >= self.limits.loosening_least_kpa.value)
    }

    /// The sag down to a run at a level at which nobody sleeps, and up to where it leaves that level.
    fn to_low(&self, low: &Range<usize>) -> Option<Range<usize>> {
        let bend = self.bend((low.start + self.seen.minute).min(low.end))?;
        Some(bend.start..low.end)
    }

    /// The level that CO2 left in the time before `end` in which the sensor was not touched.
    fn bend(&self, end: usize) -> Option<Left> {
        let (starts, means): (Vec<usize>, Vec<f64>) = self.minutes_before(end).into_iter().unzip();
        let bend = Bend::find(&means)?;
        let within_kpa = self.limits.settling_within_kpa.value;
        let last = (bend.at..means.len()).rev().find(|&k| bend.above(k) >= -within_kpa)?;
        Some(Left { start: *starts.get(last + 1)?, level_kpa: bend.level })
    }

    /// The start and mean of each minute before `end`, back to where the sensor was not seen for long.
    fn minutes_before(&self, end: usize) -> Vec<(usize, f64)> {
        let minute = self.seen.minute;
        let most = samples_in(self.channel, self.limits.loosening_most_min.value * 60.0);
        let mut means = Vec::new();
        let (mut to, mut unseen) = (end, 0);
        while to >= minute && end - to < most && unseen < UNSEEN_MIN {
            match self.seen.mean(to - minute..to) {
                Some(kpa) => {
                    means.push((to - minute, kpa));
                    unseen = 0;
                }
                None => unseen += 1,
            }
            to -= minute;
        }
        means.reverse();
        means
    }
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
