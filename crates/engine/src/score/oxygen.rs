//! The figures of SpO2.

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::awake::awake_trace;
use crate::score::delta::delta_index;
use crate::score::events::{Event, PeakRule, area_below, mean_falls, peak_falls, samples_within};
use crate::score::figures::{
    Channel, Outcome, hours, nothing_awake, nothing_believed, rate, too_coarse,
};
use crate::score::sides::{Sides, Span, longest_run};
use crate::score::{Fall, Falls};
use crate::trace::Trace;
use crate::unit::below;

/// The highest saturation there is.
const CEILING_PCT: f64 = 100.0;

/// SpO2 of the night, ready to be measured.
pub(super) struct Oxygen<'a> {
    trace: Trace,
    criteria: &'a Criteria,
    sides: Sides,
    ordered: Sides,
    awake: Trace,
    events: Events,
    /// Why events cannot be counted.
    pub(super) too_coarse: Option<String>,
}

/// The falls, by index of sample.
#[derive(Default)]
struct Events {
    peak3: Vec<Event>,
    peak4: Vec<Event>,
    mean3: Vec<Event>,
    mean4: Vec<Event>,
}

impl Events {
    fn of(trace: &Trace, criteria: &Criteria) -> Self {
        let score = &criteria.score;
        let peak = |depth| {
            let rule = PeakRule {
                depth,
                least_s: score.fall_least_s.value,
                most_s: score.fall_most_s.value,
                recovery: score.recovery_pct.value,
            };
            let value = |i: usize| trace.counts(i).then(|| trace.values[i]);
            peak_falls(trace.len(), trace.period_s, rule, value)
        };
        let mean = |depth| mean_falls(trace, depth, score.fall_least_s.value);
        Self { peak3: peak(3.0), peak4: peak(4.0), mean3: mean(3.0), mean4: mean(4.0) }
    }
}

impl Channel for Oxygen<'_> {
    const NAME: &'static str = "SpO2";

    fn seconds(&self, id: &str) -> f64 {
        if id == "spo2.awake" { self.awake.believed_s() } else { self.trace.believed_s() }
    }
}

impl<'a> Oxygen<'a> {
    /// SpO2 of a night; `None` when it was not recorded.
    pub(super) fn of(corrected: &Corrected, criteria: &'a Criteria) -> Option<Self> {
        let trace = corrected.trace(Quantity::Spo2)?;
        let sides = Sides::anything(&trace, criteria.screen.spo2_lowest_pct.value, CEILING_PCT);
        let too_coarse = too_coarse(&trace, Self::NAME, criteria);
        let events = match too_coarse {
            None => Events::of(&trace, criteria),
            Some(_) => Events::default(),
        };
        Some(Self {
            ordered: sides.ordered(),
            awake: awake_trace(corrected, Quantity::Spo2)?,
            trace,
            criteria,
            sides,
            events,
            too_coarse,
        })
    }

    /// The falls in seconds from the recording's start.
    pub(super) fn falls(&self) -> Falls {
        let fall = |event: &Event| Fall {
            stretch: self.trace.stretch(event.samples.start, event.samples.end),
            nadir_s: self.trace.time_s(event.nadir),
            from_pct: event.from,
            nadir_pct: event.lowest,
        };
        let falls = |events: &[Event]| events.iter().map(fall).collect();
        Falls {
            peak3: falls(&self.events.peak3),
            peak4: falls(&self.events.peak4),
            mean3: falls(&self.events.mean3),
            mean4: falls(&self.events.mean4),
        }
    }

    fn floor_pct(&self) -> f64 {
        self.criteria.screen.spo2_lowest_pct.value
    }

    fn or_why(span: Option<Span>) -> Outcome {
        span.ok_or_else(|| nothing_believed(Self::NAME))
    }

    fn events_allowed(&self) -> Result<(), String> {
        self.too_coarse.clone().map_or(Ok(()), Err)
    }

    pub(super) fn mean(&self) -> Outcome {
        Self::or_why(self.ordered.mean())
    }

    pub(super) fn percentile(&self, percent: f64) -> Outcome {
        Self::or_why(self.ordered.percentile(percent))
    }

    pub(super) fn sd(&self) -> Outcome {
        Self::or_why(self.ordered.mean())?;
        self.ordered
            .sd(self.floor_pct(), CEILING_PCT)
            .ok_or_else(|| "one believed sample has no standard deviation".into())
    }

    pub(super) fn awake(&self) -> Outcome {
        Sides::anything(&self.awake, self.floor_pct(), CEILING_PCT)
            .numbers()
            .mean()
            .ok_or_else(|| nothing_awake(Self::NAME))
    }

    /// Share of time below a level, %.
    pub(super) fn time_below(&self, level_pct: f64, strict: bool) -> Outcome {
        Self::or_why(self.ordered.share(|x| below(x, level_pct, strict)))
    }

    /// Seconds of the longest unbroken run at or below a level.
    pub(super) fn longest_at_or_below(&self, level_pct: f64) -> Outcome {
        self.mean()?;
        let run_s = |side: &[f64]| {
            Some(longest_run(side, |x| below(x, level_pct, false)) as f64 * self.trace.period_s)
        };
        Self::or_why(self.sides.figure(run_s))
    }

    pub(super) fn delta_index(&self) -> Outcome {
        self.events_allowed()?;
        delta_index(&self.trace, self.floor_pct(), CEILING_PCT)
            .ok_or_else(|| "no two neighbouring readings 12 s apart may be believed".into())
    }

    fn fall_rate(&self, events: &[Event]) -> Outcome {
        self.events_allowed()?;
        Self::or_why(rate(&self.trace, events.len(), self.criteria))
    }

    pub(super) fn odi3(&self) -> Outcome {
        self.fall_rate(&self.events.peak3)
    }

    pub(super) fn odi4(&self) -> Outcome {
        self.fall_rate(&self.events.peak4)
    }

    pub(super) fn odi3_mean120(&self) -> Outcome {
        self.fall_rate(&self.events.mean3)
    }

    pub(super) fn odi4_mean120(&self) -> Outcome {
        self.fall_rate(&self.events.mean4)
    }

    /// Area under the level fallen from over the 3 % falls, %·min an hour.
    pub(super) fn area(&self) -> Outcome {
        self.events_allowed()?;
        let trace = &self.trace;
        let (believed_h, period_h) = hours(trace).ok_or_else(|| nothing_believed(Self::NAME))?;
        let most = samples_within(self.criteria.score.fall_most_s.value, trace.period_s);
        let value = |i: usize| (i < trace.len() && trace.counts(i)).then(|| trace.values[i]);
        let seen = area_below(&self.events.peak3, trace.period_s, most, value) / 60.0;
        let unseen_min = (trace.inside_s() - trace.believed_s()) / 60.0;
        let most_unseen = unseen_min * (CEILING_PCT - self.floor_pct());
        Ok(Span::of(seen / believed_h, seen / period_h, (seen + most_unseen) / period_h))
    }
}
