//! Between which values the sensor's error may have lain at each moment, by all that is known of it.
//!
//! Several things say where the error lay, each alone: how unchecked sensors err (`conway-2019`), each
//! blood gas, each gas check, two of a kind between their moments, a blood gas with the shape of two
//! checks. Each says a range. Where they agree the error lies in all of them: **their intersection**, so
//! that one more that agrees can only narrow, and the same one twice changes nothing. Where they do not,
//! nobody knows which is right, no blood gas is left out, and the error may lie anywhere from the lowest
//! group of those that agree to the highest: **the hull of the groups**. What bears on it `standing` says.
//!
//! Drift is taken as a random walk whose spread over eight hours is published (`aarrestad-2016`, 0.54 kPa).
//! A range therefore widens with the time to its anchor, and between two anchors it is that of a Brownian
//! bridge, variance `s2 (t - a)(b - t) / (b - a)`.

use super::AnchorKind;
use super::known::Known;
use super::standing::Standing;
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
    standing: Standing,
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
    /// Lays what is known over the moments from the first of `span_s` to the second.
    pub(super) fn of(known: Vec<Known>, spread: Spread, span_s: (f64, f64)) -> Self {
        let standing = Standing::of(&known, &spread, span_s);
        Self { known, standing, spread }
    }

    /// Whether nothing is known, so that no range is given.
    pub(crate) fn is_empty(&self) -> bool {
        self.known.is_empty()
    }

    /// Whether all that bears on the band agrees.
    pub(super) fn agree(&self) -> bool {
        self.standing.agree
    }

    /// Everything that is known.
    pub(super) fn known(&self) -> &[Known] {
        &self.known
    }

    /// Every two that do not agree, each by its place.
    pub(super) fn quarrels(&self) -> &[(usize, usize)] {
        &self.standing.quarrels
    }

    /// The gas checks that bear on nothing, since they do not agree with the blood gases; each by its place.
    pub(super) fn aside(&self) -> &[usize] {
        &self.standing.aside
    }

    /// Whether it is so only if both are right that the sensor moved between two anchors of a kind: where the
    /// two do not agree, or one does not with another of those that bear on the band.
    pub(super) fn is_doubted(&self, kind: AnchorKind, at_s: (f64, f64)) -> bool {
        let is = |i: usize, at_s: f64| {
            let anchor = self.known[i].anchor();
            anchor.is_some_and(|(of, point)| of == kind && point.at_s.total_cmp(&at_s).is_eq())
        };
        let among = |of: &[usize], at_s: f64| of.iter().any(|&i| is(i, at_s));
        let doubted =
            |at_s: f64| among(&self.standing.apart, at_s) && !among(&self.standing.aside, at_s);
        let two = |&(i, j): &(usize, usize)| {
            (is(i, at_s.0) && is(j, at_s.1)) || (is(i, at_s.1) && is(j, at_s.0))
        };
        doubted(at_s.0) || doubted(at_s.1) || self.standing.quarrels.iter().any(two)
    }

    /// How far the sensor drifts in so many seconds, as wide as a range is taken.
    pub(super) fn drifts_kpa(&self, seconds: f64) -> f64 {
        self.spread.sds * (self.spread.drift_kpa2_per_s * seconds.abs()).sqrt()
    }

    /// Where the error lay at a moment.
    pub(super) fn level(&self, at_s: f64) -> Range {
        let of = |ends: &[usize]| -> Vec<Range> {
            ends.iter().filter_map(|&i| self.known[i].level(at_s, &self.spread)).collect()
        };
        let lows = of(&self.standing.lowest).into_iter().map(|range| range.0);
        let highs = of(&self.standing.highest).into_iter().map(|range| range.1);
        match (lows.reduce(f64::max), highs.reduce(f64::min)) {
            // Ends a hair the wrong way round by rounding alone are one.
            (Some(low), Some(high)) => (low.min(high), low.max(high)),
            _ => Range::default(),
        }
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
        if !self.standing.agree {
            // Nobody knows which is right, so one may have been at one moment and another at the other.
            let (at, from) = (self.level(at_s), self.level(from_s));
            return (at.0 - from.1, at.1 - from.0);
        }
        let of = |checks: bool| -> Vec<Range> {
            let known = self.standing.moves.iter().map(|&i| &self.known[i]);
            let known = known.filter(|known| known.of_checks() == checks);
            known.filter_map(|known| known.change(at_s, from_s, &self.spread)).collect()
        };
        let Some(blood) = groups(&of(false)) else {
            return groups(&of(true)).unwrap_or_default();
        };
        // Checks that do not agree with the blood move nothing here either.
        let meets =
            |range: &Range| range.0 <= blood.1 + TOLERANCE && range.1 >= blood.0 - TOLERANCE;
        let mut ranges: Vec<Range> = of(true).into_iter().filter(meets).collect();
        ranges.push(blood);
        groups(&ranges).unwrap_or_default()
    }

    /// A range for every moment that is asked for, worked out at each step and straight between.
    pub(crate) fn steps(&self, span_s: (f64, f64), at: impl Fn(&Self, f64) -> Range) -> Steps {
        let ranges = moments(span_s.0, span_s.1).map(|at_s| at(self, at_s)).collect();
        Steps { start_s: span_s.0, ranges }
    }
}

/// The moments at which ranges are worked out: every step, and one past the end.
pub(super) fn moments(start_s: f64, end_s: f64) -> impl Iterator<Item = f64> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a non-negative count of minutes in a night"
    )]
    let count = ((end_s - start_s) / STEP_S).max(0.0).ceil() as usize + 1;
    (0..count).map(move |i| start_s + i as f64 * STEP_S)
}

/// Where all ranges lie; where not all meet, from the lowest group of those that do to the highest. `None`
/// where none is given. One more that meets it never widens it.
fn groups(ranges: &[Range]) -> Option<Range> {
    let lows = || ranges.iter().map(|range| range.0);
    let highs = || ranges.iter().map(|range| range.1);
    let (least_high, most_low) = (highs().reduce(f64::min)?, lows().reduce(f64::max)?);
    let low = lows().filter(|low| *low <= least_high + TOLERANCE).reduce(f64::max)?;
    let high = highs().filter(|high| *high >= most_low - TOLERANCE).reduce(f64::min)?;
    Some((low.min(high), low.max(high)))
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
