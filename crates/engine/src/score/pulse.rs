//! The figures of pulse rate.

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::events::{PeakRule, peak_falls};
use crate::score::figures::{Channel, Hours, Outcome, too_coarse};
use crate::score::sides::Sides;
use crate::score::unseen::events::{hidden_events, in_all};
use crate::trace::Trace;

/// A rise is over when this share of its threshold is lost again, by the definition of the measure.
const LOST: f64 = 0.5;

/// Pulse rate of the night, ready to be measured.
pub(super) struct Pulse<'a> {
    trace: Trace,
    criteria: &'a Criteria,
    ordered: Sides,
    hours: Hours,
    /// The most rises that the gaps could hold.
    unseen_rises: f64,
    /// Why rises cannot be counted.
    pub(super) too_coarse: Option<String>,
}

impl Channel for Pulse<'_> {
    const NAME: &'static str = "pulse";

    fn seconds(&self, _id: &str) -> f64 {
        self.hours.believed_s
    }
}

impl<'a> Pulse<'a> {
    /// Pulse of a night; `None` when it was not recorded.
    pub(super) fn of(corrected: &Corrected, criteria: &'a Criteria) -> Option<Self> {
        let trace = corrected.trace(Quantity::Pulse)?;
        let screen = &criteria.screen;
        let (floor, ceiling) = (&screen.pulse_lowest_per_min, &screen.pulse_highest_per_min);
        Some(Self {
            ordered: Sides::anything(&trace, floor.value, ceiling.value),
            hours: Hours::of(&trace),
            unseen_rises: in_all(&hidden_events(&trace, criteria)),
            too_coarse: too_coarse(&trace, Self::NAME, criteria),
            trace,
            criteria,
        })
    }

    pub(super) fn mean(&self) -> Outcome {
        Self::or_why(self.ordered.mean())
    }

    pub(super) fn min(&self) -> Outcome {
        Self::or_why(self.ordered.figure(|side| side.first().copied()))
    }

    pub(super) fn max(&self) -> Outcome {
        Self::or_why(self.ordered.figure(|side| side.last().copied()))
    }

    pub(super) fn sd(&self) -> Outcome {
        let screen = &self.criteria.screen;
        let (floor, ceiling) = (&screen.pulse_lowest_per_min, &screen.pulse_highest_per_min);
        let sd = self.ordered.sd(floor.value, ceiling.value);
        self.or_needs(sd, "one believed sample has no standard deviation")
    }

    /// Rises of at least `height` /min, an hour.
    pub(super) fn rises(&self, height: f64) -> Outcome {
        self.too_coarse.clone().map_or(Ok(()), Err)?;
        let rule = PeakRule {
            depth: height,
            least_s: 0.0,
            most_s: self.criteria.score.pulse_rise_within_s.value,
            recovery: LOST * height,
        };
        // A rise of the pulse is a fall of its negative.
        let value = |i: usize| self.trace.counts(i).then(|| -self.trace.values[i]);
        let rises = peak_falls(self.trace.len(), self.trace.period_s, rule, value);
        Self::or_why(self.hours.share(rises.len() as f64, self.unseen_rises))
    }
}
