//! A lane: one channel with the lowest and the highest value each moment could have had.

use std::cell::RefCell;

use super::level;
use crate::criteria::Criteria;
use crate::criteria::Side;
use crate::criteria::Threshold;
use crate::recording::Quantity;
use crate::score::unseen::co2_envelope;
use crate::time::Stretch;
use crate::trace::Trace;
use crate::unit::kpa_from_mmhg;

/// One channel inside the analysis period, filled twice.
#[derive(Clone, Debug)]
pub(super) struct Lane {
    /// The channel; believed and inside flags, sample clock.
    pub(super) trace: Trace,
    /// The lowest each sample could have been; NaN outside the period. Same length as the trace.
    lowest: Vec<f64>,
    /// The highest.
    highest: Vec<f64>,
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

impl Lane {
    /// Fills a trace as the criteria allow; `co2_rate_mmhg_per_min` bounds CO2 inside gaps.
    pub(super) fn new(trace: Trace, criteria: &Criteria, co2_rate_mmhg_per_min: f64) -> Self {
        let screen = &criteria.screen;
        let (lowest, highest) = match trace.quantity {
            Quantity::Tcpco2 => co2_envelope(
                &trace,
                kpa_from_mmhg(co2_rate_mmhg_per_min) / 60.0,
                (screen.tcpco2_off_below_kpa.value, screen.tcpco2_highest_kpa.value),
            ),
            Quantity::Pulse => anything(
                &trace,
                screen.pulse_lowest_per_min.value,
                screen.pulse_highest_per_min.value,
            ),
            _ => anything(&trace, screen.spo2_lowest_pct.value, 100.0),
        };
        Self { trace, lowest, highest, known: RefCell::default() }
    }

    /// Whether any time is inside the period.
    pub(super) fn is_empty(&self) -> bool {
        !self.trace.inside.contains(&true)
    }

    /// The values of a filling, given the side a rule looks at; NaN outside the period.
    fn filled(&self, side: Side, filling: Filling) -> &[f64] {
        match (side, filling) {
            (Side::Above, Filling::Kindest) | (Side::Below, Filling::Harshest) => &self.lowest,
            (Side::Above, Filling::Harshest) | (Side::Below, Filling::Kindest) => &self.highest,
        }
    }

    /// A level of a filling, farthest on the side a rule looks at; `None` when nothing reaches so long.
    pub(super) fn level(&self, side: Side, filling: Filling, asked: Asked) -> Option<f64> {
        let question = (side, filling, asked);
        let known = self.known.borrow().iter().find(|(before, _)| *before == question).copied();
        if let Some((_, level)) = known {
            return level;
        }
        let values = self.filled(side, filling);
        let level = match asked {
            Asked::HeldFor(samples) => level::held(values, side, samples),
            Asked::ReachedBy(samples) => level::reached_by(values, side, samples),
            Asked::Mean => level::mean(values),
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
        let values = self.filled(threshold.side, filling);
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

/// Believed samples as they are; any other inside the period anything from `lowest` to `highest`.
fn anything(trace: &Trace, lowest: f64, highest: f64) -> (Vec<f64>, Vec<f64>) {
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
