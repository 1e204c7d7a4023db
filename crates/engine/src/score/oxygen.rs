//! The figures of SpO2.

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::awake::Awake;
use crate::score::delta::delta_index;
use crate::score::events::{Baseline, Event, PeakRule};
use crate::score::events::{area_below, mean_falls, peak_falls, samples_within};
use crate::score::figures::{Channel, Hours, Outcome, nothing_awake, too_coarse};
use crate::score::sides::{Sides, Span, longest_run};
use crate::score::unseen::events::{FallsFrom, hidden_falls, in_all};
use crate::score::unseen::longest_low::least_numbers;
use crate::score::unseen::oxygen::{CEILING_PCT, raise_for_run, spo2_envelope};
use crate::score::{Fall, Falls};
use crate::trace::Trace;
use crate::unit::below;

/// SpO2 of the night, ready to be measured.
pub(super) struct Oxygen<'a> {
    trace: Trace,
    criteria: &'a Criteria,
    ordered: Sides,
    /// The lowest and the highest that each sample of the period could have been; NaN outside it.
    within: (Vec<f64>, Vec<f64>),
    awake: Awake,
    hours: Hours,
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
        let baseline = Baseline::of(trace);
        let mean = |depth| mean_falls(trace, &baseline, depth, score.fall_least_s.value);
        Self { peak3: peak(3.0), peak4: peak(4.0), mean3: mean(3.0), mean4: mean(4.0) }
    }
}

impl Channel for Oxygen<'_> {
    const NAME: &'static str = "SpO2";

    fn seconds(&self, id: &str) -> f64 {
        if id == "spo2.awake" { self.awake.believed_s } else { self.hours.believed_s }
    }
}

impl<'a> Oxygen<'a> {
    /// SpO2 of a night; `None` when it was not recorded.
    pub(super) fn of(corrected: &Corrected, criteria: &'a Criteria) -> Option<Self> {
        let mut trace = corrected.trace(Quantity::Spo2)?;
        let within = spo2_envelope(&trace, criteria);
        let sides = |trace: &Trace, (lowest, highest): (Vec<f64>, Vec<f64>)| {
            Sides::between(trace, (least_numbers(trace, &lowest, criteria), highest))
        };
        let ordered = sides(&trace, within.clone()).ordered();
        let sides = |trace: &Trace| sides(trace, spo2_envelope(trace, criteria));
        let too_coarse = too_coarse(&trace, Self::NAME, criteria);
        let events = match too_coarse {
            None => Events::of(&trace, criteria),
            Some(_) => Events::default(),
        };
        Some(Self {
            ordered,
            within,
            awake: Awake::of(&corrected.screened, &mut trace, sides),
            hours: Hours::of(&trace),
            trace,
            criteria,
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

    /// The lowest that SpO2 could have been in the period, %.
    fn floor_pct(&self) -> f64 {
        self.within.0.iter().copied().fold(CEILING_PCT, f64::min)
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
        let sd = self.ordered.sd(self.floor_pct(), CEILING_PCT);
        self.or_needs(sd, "one believed sample has no standard deviation")
    }

    pub(super) fn awake(&self) -> Outcome {
        self.awake.mean.ok_or_else(|| nothing_awake(Self::NAME))
    }

    /// Share of time below a level, %.
    pub(super) fn time_below(&self, level_pct: f64, strict: bool) -> Outcome {
        let count = |side: &[f64]| side.partition_point(|&x| below(x, level_pct, strict));
        Self::or_why(self.ordered.share(count))
    }

    /// Seconds of the longest unbroken run at or below a level.
    pub(super) fn longest_at_or_below(&self, level_pct: f64) -> Outcome {
        let trace = &self.trace;
        let low = |i: usize| below(trace.values[i], level_pct, false);
        let seen = longest_run(trace.len(), |i| trace.counts(i) && low(i));
        let most = self.longest_that_may_be(level_pct, seen);
        let [seen_s, most_s] = [seen, most].map(|run| run as f64 * trace.period_s);
        let believed = self.hours.believed_s > 0.0;
        Self::or_why(believed.then(|| Span::of(seen_s, seen_s, most_s)))
    }

    /// The longest run at or below a level that the gaps allow, no shorter than was seen, in samples.
    ///
    /// What bounds a run in a short gap depends on how long a run is asked, the longer the higher: so it is
    /// the longest for which a run as long fits what bounds runs of that length, as a rule asks.
    fn longest_that_may_be(&self, level_pct: f64, seen: usize) -> usize {
        let trace = &self.trace;
        let may_be_low = |lowest: &[f64]| {
            longest_run(trace.len(), |i| trace.inside[i] && below(lowest[i], level_pct, false))
        };
        let fits = |samples: usize| {
            let mut lowest = self.within.0.clone();
            raise_for_run(trace, self.criteria, samples, &mut lowest);
            may_be_low(&lowest) >= samples
        };
        let (mut fitting, mut most) = (seen, may_be_low(&self.within.0));
        while fitting < most {
            let middle = fitting + (most - fitting).div_ceil(2);
            if fits(middle) {
                fitting = middle;
            } else {
                most = middle - 1;
            }
        }
        fitting
    }

    pub(super) fn delta_index(&self) -> Outcome {
        self.events_allowed()?;
        let index = delta_index(&self.trace, self.floor_pct(), CEILING_PCT);
        self.or_needs(index, "no two neighbouring readings 12 s apart may be believed")
    }

    fn fall_rate(&self, events: &[Event], counted: (f64, FallsFrom)) -> Outcome {
        self.events_allowed()?;
        let within = (&self.within.0[..], &self.within.1[..]);
        let nadirs: Vec<usize> = events.iter().map(|event| event.nadir).collect();
        let unseen = hidden_falls(&self.trace, within, self.criteria, (counted, &nadirs));
        Self::or_why(self.hours.share(events.len() as f64, in_all(&unseen)))
    }

    pub(super) fn odi3(&self) -> Outcome {
        self.fall_rate(&self.events.peak3, (3.0, FallsFrom::Peak))
    }

    pub(super) fn odi4(&self) -> Outcome {
        self.fall_rate(&self.events.peak4, (4.0, FallsFrom::Peak))
    }

    pub(super) fn odi3_mean120(&self) -> Outcome {
        self.fall_rate(&self.events.mean3, (3.0, FallsFrom::Mean))
    }

    pub(super) fn odi4_mean120(&self) -> Outcome {
        self.fall_rate(&self.events.mean4, (4.0, FallsFrom::Mean))
    }

    /// Area under the level fallen from over the 3 % falls, %·min an hour.
    pub(super) fn area(&self) -> Outcome {
        self.events_allowed()?;
        let trace = &self.trace;
        let most = samples_within(self.criteria.score.fall_most_s.value, trace.period_s);
        let value = |i: usize| (i < trace.len() && trace.counts(i)).then(|| trace.values[i]);
        let seen_min = area_below(&self.events.peak3, trace.period_s, most, value) / 60.0;
        let unseen_min = (self.hours.period_s - self.hours.believed_s) / 60.0;
        let unseen = unseen_min * (CEILING_PCT - self.floor_pct());
        Self::or_why(self.hours.share(seen_min, unseen))
    }
}
