//! A lane: one channel with the lowest and the highest value each moment could have had.

use std::borrow::Cow;
use std::cell::RefCell;

use super::level;
use crate::criteria::Criteria;
use crate::criteria::Side;
use crate::criteria::Threshold;
use crate::recording::Quantity;
use crate::score::unseen::longest_low::least_numbers;
use crate::score::unseen::oxygen;
use crate::score::unseen::{Reach, envelope};
use crate::time::Stretch;
use crate::trace::Trace;

/// One channel inside the analysis period, filled twice.
#[derive(Clone, Debug)]
pub(super) struct Lane<'a> {
    /// The channel; believed and inside flags, sample clock.
    pub(super) trace: Trace,
    /// The lowest each sample could have been; NaN outside the period. Same length as the trace.
    lowest: Vec<f64>,
    /// The highest.
    highest: Vec<f64>,
    /// The lowest values as numbers whose order within a gap means nothing; NaN outside the period.
    least: Vec<f64>,
    /// What bounds a run in short gaps of SpO2; `None` where nothing does.
    bounds: Option<&'a Criteria>,
    /// Levels worked out already: the rules of a set ask the same of a night again and again.
    known: RefCell<Vec<(Question, Option<f64>)>>,
}

/// A side, a filling, and the level asked of them.
type Question = (Side, Filling, Asked);

/// What level of a filling is asked; counts in samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asked {
    /// Held for so many on end.
    HeldFor(usize),
    /// Reached by so many in all.
    ReachedBy(usize),
    /// The mean.
    Mean,
}

/// Which filling of the unbelieved time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Filling {
    /// The one that goes against the rule being met.
    Kindest,
    /// The one that goes for it.
    Harshest,
}

impl<'a> Lane<'a> {
    /// Fills a trace as the criteria allow; `co2_rate_mmhg_per_min` bounds CO2 inside gaps.
    pub(super) fn new(trace: Trace, criteria: &'a Criteria, co2_rate_mmhg_per_min: f64) -> Self {
        let screen = &criteria.screen;
        let (lowest, highest) = match trace.quantity {
            Quantity::Tcpco2 => envelope(&trace, &Reach::co2(criteria, co2_rate_mmhg_per_min)),
            Quantity::Spo2 => oxygen::spo2_envelope(&trace, criteria),
            _ => anything(
                &trace,
                (screen.pulse_lowest_per_min.value, screen.pulse_highest_per_min.value),
            ),
        };
        let least = match trace.quantity {
            Quantity::Spo2 => least_numbers(&trace, &lowest, criteria),
            _ => lowest.clone(),
        };
        let bounds = (trace.quantity == Quantity::Spo2).then_some(criteria);
        Self { trace, lowest, highest, least, bounds, known: RefCell::default() }
    }

    /// Fills a trace of SpO2 with anything where it is not believed.
    pub(super) fn of_any_spo2(trace: Trace, criteria: &Criteria) -> Self {
        let (lowest, highest) = anything(&trace, oxygen::anything(criteria));
        let least = lowest.clone();
        Self { trace, lowest, highest, least, bounds: None, known: RefCell::default() }
    }

    /// The lowest and the highest that each sample could have been; NaN outside the period.
    pub(super) fn within(&self) -> (&[f64], &[f64]) {
        (&self.lowest, &self.highest)
    }

    /// Whether any time is inside the period.
    pub(super) fn is_empty(&self) -> bool {
        !self.trace.inside.contains(&true)
    }

    /// The values of a filling, given the side a rule looks at and how many samples on end it asks; NaN
    /// outside the period.
    fn filled(&self, side: Side, filling: Filling, on_end: usize) -> Cow<'_, [f64]> {
        let low = is_low(side, filling);
        match self.bounds.filter(|_| side == Side::Below && low && on_end > 1) {
            Some(criteria) => {
                let mut lowest = self.lowest.clone();
                oxygen::raise_for_run(&self.trace, criteria, on_end, &mut lowest);
                Cow::Owned(lowest)
            }
            None => Cow::Borrowed(if low { &self.lowest } else { &self.highest }),
        }
    }

    /// The same as numbers without order.
    fn numbers(&self, side: Side, filling: Filling) -> &[f64] {
        if is_low(side, filling) { &self.least } else { &self.highest }
    }

    /// A level of a filling, farthest on the side a rule looks at; `None` when nothing reaches so long.
    pub(super) fn level(&self, side: Side, filling: Filling, asked: Asked) -> Option<f64> {
        let question = (side, filling, asked);
        let known = self.known.borrow().iter().find(|(before, _)| *before == question).copied();
        if let Some((_, level)) = known {
            return level;
        }
        let level = match asked {
            Asked::HeldFor(samples) => {
                level::held(&self.filled(side, filling, samples), side, samples)
            }
            Asked::ReachedBy(samples) => {
                level::reached_by(self.numbers(side, filling), side, samples)
            }
            Asked::Mean => level::mean(self.numbers(side, filling)),
        };
        self.known.borrow_mut().push((question, level));
        level
    }

    /// The runs of at least `least` samples past a threshold on a filling.
    pub(super) fn runs_past(
        &self,
        threshold: &Threshold,
        filling: Filling,
        least: usize,
    ) -> Vec<std::ops::Range<usize>> {
        let values = self.filled(threshold.side, filling, least);
        let mut runs = self.trace.runs(|i| self.trace.inside[i] && threshold.passed_by(values[i]));
        runs.retain(|run| run.len() >= least);
        runs
    }

    /// Index runs as stretches of the night.
    pub(super) fn stretches(&self, runs: &[std::ops::Range<usize>]) -> Vec<Stretch> {
        runs.iter().map(|run| self.trace.stretch(run.start, run.end)).collect()
    }

    /// The unbelieved stretches inside the given runs; the runs themselves when all of it is believed,
    /// for then only the band around the values decides.
    pub(super) fn deciding(&self, runs: &[std::ops::Range<usize>]) -> Vec<Stretch> {
        let unseen: Vec<_> = runs.iter().flat_map(|run| self.unbelieved_in(run)).collect();
        if unseen.is_empty() { self.stretches(runs) } else { self.stretches(&unseen) }
    }

    fn unbelieved_in(&self, run: &std::ops::Range<usize>) -> Vec<std::ops::Range<usize>> {
        let mut found: Vec<std::ops::Range<usize>> = Vec::new();
        for i in run.clone().filter(|&i| !self.trace.believed[i]) {
            match found.last_mut() {
                Some(last) if last.end == i => last.end = i + 1,
                _ => found.push(i..i + 1),
            }
        }
        found
    }
}

/// Whether a filling takes the lowest values, given the side a rule looks at.
fn is_low(side: Side, filling: Filling) -> bool {
    matches!((side, filling), (Side::Above, Filling::Kindest) | (Side::Below, Filling::Harshest))
}

/// Believed samples as they are; any other inside the period anything from `lowest` to `highest`.
fn anything(trace: &Trace, (lowest, highest): (f64, f64)) -> (Vec<f64>, Vec<f64>) {
    let fill = |unseen: f64| {
        (0..trace.len())
            .map(|i| match (trace.inside[i], trace.believed[i]) {
                (false, _) => f64::NAN,
                (true, true) => trace.values[i],
                (true, false) => unseen,
            })
            .collect()
    };
    (fill(lowest), fill(highest))
}
