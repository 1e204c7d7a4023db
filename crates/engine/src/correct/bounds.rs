//! Between which values the sensor's error may have lain at each moment, by all that is known of it.
//!
//! Several things say where the error lay, each alone: how unchecked sensors err (`conway-2019`), each
//! blood gas, each gas check, two of a kind between their moments, a blood gas with the shape of two
//! checks. Each says a range. Where they agree the error lies in all of them: **their intersection**, so
//! that one more that agrees can only narrow, and the same one twice changes nothing. Where two ranges do
//! not meet, or a blood gas lies outside another's range, they do not agree: then nobody knows which is
//! right, none is left out, and the error may lie anywhere in **the hull** of those that do not agree.
//!
//! Drift is taken as a random walk whose spread over eight hours is published (`aarrestad-2016`, 0.54 kPa).
//! A range therefore widens with the time to its anchor, and between two anchors it is that of a Brownian
//! bridge, variance `s2 (t - a)(b - t) / (b - a)`.

use super::Point;
use super::known::Known;
use crate::unit::TOLERANCE;

/// A range of the error, kPa: lowest and highest.
pub(crate) type Range = (f64, f64);

/// Seconds between the moments at which ranges are worked out; between them they run straight. The same
/// for every night, so that what narrows at these moments narrows everywhere.
const STEP_S: f64 = 60.0;

/// What is known of a sensor's error, and which of it does not agree.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bounds {
    known: Vec<Known>,
    /// The single ones that do not agree, by place in `known`; empty where all agree.
    apart: Vec<usize>,
    spread: Spread,
}

/// How ranges are made of variances.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spread {
    /// Growth of the variance of drift, kPa² a second.
    pub(super) drift_kpa2_per_s: f64,
    /// How many standard deviations a range takes on each side.
    pub(super) sds: f64,
}

impl Bounds {
    /// Lays what is known over the moments from `start_s` to `end_s`.
    pub(super) fn of(known: Vec<Known>, spread: Spread, (start_s, end_s): (f64, f64)) -> Self {
        let mut bounds = Self { known, apart: Vec::new(), spread };
        let mut apart = vec![false; bounds.known.len()];
        for at_s in moments(start_s, end_s) {
            bounds.part_at(at_s, &mut apart);
        }
        for gas in bounds.gases() {
            bounds.part_from(gas, &mut apart);
        }
        bounds.apart = singles(&bounds.known, &apart);
        bounds.hold_gases();
        bounds
    }

    /// Whether all that is known agrees.
    pub(super) fn agree(&self) -> bool {
        self.apart.is_empty()
    }

    /// Whether nothing is known, so that no range is given.
    pub(crate) fn is_empty(&self) -> bool {
        self.known.is_empty()
    }

    /// What does not agree with something else.
    pub(super) fn apart(&self) -> impl Iterator<Item = &Known> {
        self.apart.iter().map(|&i| &self.known[i])
    }

    /// Where the error lay at a moment.
    pub(super) fn level(&self, at_s: f64) -> Range {
        if !self.agree() {
            let parties = self.apart().filter_map(|known| known.level(at_s, &self.spread));
            return hull(parties).unwrap_or_default();
        }
        let ranges = || self.known.iter().filter_map(|known| known.level(at_s, &self.spread));
        meeting(ranges()).or_else(|| hull(ranges())).unwrap_or_default()
    }

    /// An error held to where it may have lain at a moment.
    pub(super) fn hold(&self, at_s: f64, kpa: f64) -> f64 {
        if self.is_empty() {
            return kpa;
        }
        let (lowest, highest) = self.level(at_s);
        kpa.max(lowest).min(highest)
    }

    /// How far the error moved from one moment to another: the band around a rise. What does not change
    /// between the two, the skin's offset and an anchor's own error, falls out of the difference.
    pub(crate) fn change(&self, at_s: f64, from_s: f64) -> Range {
        if !self.agree() {
            // Nobody knows which is right, so one may have been at one moment and another at the other.
            let (at, from) = (self.level(at_s), self.level(from_s));
            return (at.0 - from.1, at.1 - from.0);
        }
        let ranges =
            || self.known.iter().filter_map(|known| known.change(at_s, from_s, &self.spread));
        meeting(ranges()).or_else(|| hull(ranges())).unwrap_or_default()
    }

    /// A range for every moment that is asked for, worked out at each step and straight between.
    pub(crate) fn steps(&self, span_s: (f64, f64), at: impl Fn(&Self, f64) -> Range) -> Steps {
        let ranges = moments(span_s.0, span_s.1).map(|at_s| at(self, at_s)).collect();
        Steps { start_s: span_s.0, ranges }
    }

    /// Marks what does not meet at a moment.
    fn part_at(&self, at_s: f64, apart: &mut [bool]) {
        let ranges = || {
            let ranges = self.known.iter().map(|known| known.level(at_s, &self.spread));
            ranges.enumerate().filter_map(|(i, range)| Some((i, range?)))
        };
        let (highest_low, lowest_high) = ranges()
            .fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), (_, range)| {
                (low.max(range.0), high.min(range.1))
            });
        if highest_low <= lowest_high + TOLERANCE {
            return;
        }
        for (i, range) in ranges() {
            // On a line some two ranges miss each other wherever not all meet.
            apart[i] |= range.0 > lowest_high || range.1 < highest_low;
        }
    }

    /// Marks what excludes a blood gas at its moment, and the gas.
    fn part_from(&self, gas: usize, apart: &mut [bool]) {
        let Known::Gas(point) = self.known[gas] else { return };
        for (i, known) in self.known.iter().enumerate() {
            let excludes = known
                .level(point.at_s, &self.spread)
                .is_some_and(|range| !holds(range, point.value));
            if excludes {
                (apart[i], apart[gas]) = (true, true);
            }
        }
    }

    fn gases(&self) -> Vec<usize> {
        let gas = |i: &usize| matches!(self.known[*i], Known::Gas(_));
        (0..self.known.len()).filter(gas).collect()
    }

    /// A blood gas that the hull of the others leaves out does not agree either.
    fn hold_gases(&mut self) {
        while !self.agree() {
            let outside = self.gases().into_iter().find(|&gas| {
                let Known::Gas(point) = self.known[gas] else { return false };
                let range = self.level(point.at_s);
                !self.apart.contains(&gas) && !holds(range, point.value)
            });
            let Some(gas) = outside else { break };
            self.apart.push(gas);
        }
    }
}

/// The single anchors behind what is marked, in order; what stands on two anchors is told by them.
fn singles(known: &[Known], apart: &[bool]) -> Vec<usize> {
    let behind: Vec<Point> = known
        .iter()
        .zip(apart)
        .filter(|&(_, &apart)| apart)
        .flat_map(|(known, _)| known.points())
        .collect();
    let unchecked = |i: usize| apart[i] && matches!(known[i], Known::Unchecked { .. });
    let named =
        |i: usize| known[i].single().is_some_and(|own| behind.iter().any(|point| point.is(own)));
    (0..known.len()).filter(|&i| unchecked(i) || named(i)).collect()
}

/// The moments at which ranges are worked out: every step, and one past the end.
fn moments(start_s: f64, end_s: f64) -> impl Iterator<Item = f64> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a non-negative count of minutes in a night"
    )]
    let count = ((end_s - start_s) / STEP_S).max(0.0).ceil() as usize + 1;
    (0..count).map(move |i| start_s + i as f64 * STEP_S)
}

/// Where all ranges lie; `None` where not all meet, or none is given.
fn meeting(ranges: impl Iterator<Item = Range>) -> Option<Range> {
    let all = ranges.reduce(|a, b| (a.0.max(b.0), a.1.min(b.1)))?;
    // Ranges a hair apart by rounding alone meet.
    (all.0 <= all.1 + TOLERANCE).then_some((all.0.min(all.1), all.0.max(all.1)))
}

/// Whether a value lies in a range.
fn holds(range: Range, value: f64) -> bool {
    (range.0 - TOLERANCE..=range.1 + TOLERANCE).contains(&value)
}

/// From the lowest to the highest of all ranges.
fn hull(ranges: impl Iterator<Item = Range>) -> Option<Range> {
    ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// Ranges at each step.
pub(crate) struct Steps {
    start_s: f64,
    ranges: Vec<Range>,
}

impl Steps {
    /// The range at a moment.
    pub(crate) fn at(&self, at_s: f64) -> Range {
        let place = ((at_s - self.start_s) / STEP_S).max(0.0);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a non-negative index of a minute in a night"
        )]
        let before = (place as usize).min(self.ranges.len().saturating_sub(1));
        let (a, b) = (self.ranges[before], self.ranges[(before + 1).min(self.ranges.len() - 1)]);
        let w = (place - before as f64).min(1.0);
        (a.0 + (b.0 - a.0) * w, a.1 + (b.1 - a.1) * w)
    }
}
