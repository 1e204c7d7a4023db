//! The bench: what the tests of one night are held against, laid out once.

use std::rc::Rc;

use super::Answer;
use super::lane::Lane;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::Fall;
use crate::score::Scores;
use crate::time::Stretch;
use crate::time::join;

/// Filled lanes, the awake level, and the scores.
#[derive(Debug)]
pub(super) struct Bench<'a> {
    /// The scores.
    pub(super) scores: &'a Scores,
    /// CO2 awake; `None` when not known.
    pub(super) awake_co2_kpa: Option<f64>,
    lanes: Vec<Rc<Lane>>,
}

impl<'a> Bench<'a> {
    /// Lays the bench, CO2 in gaps bounded by the given rate.
    pub(super) fn new(scores: &'a Scores, criteria: &Criteria, co2_rate_mmhg_per_min: f64) -> Self {
        let lanes = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2]
            .into_iter()
            .filter_map(|quantity| scores.corrected.trace(quantity))
            .map(|trace| Rc::new(Lane::new(trace, criteria, co2_rate_mmhg_per_min)))
            .collect();
        Self { scores, awake_co2_kpa: scores.value("tcpco2.awake"), lanes }
    }

    /// The same bench with CO2 in gaps bounded by another rate; `None` when CO2 has no gap to fill.
    pub(super) fn at_rate(&self, criteria: &Criteria, co2_rate_mmhg_per_min: f64) -> Option<Self> {
        let co2 = self.lane(Quantity::Tcpco2)?;
        let trace = &co2.trace;
        if (0..trace.len()).all(|i| trace.believed[i] || !trace.inside[i]) {
            return None;
        }
        let refilled = Rc::new(Lane::new(trace.clone(), criteria, co2_rate_mmhg_per_min));
        let others = self.lanes.iter().filter(|lane| lane.trace.quantity != Quantity::Tcpco2);
        let lanes = others.cloned().chain([refilled]).collect();
        Some(Self { scores: self.scores, awake_co2_kpa: self.awake_co2_kpa, lanes })
    }

    /// The lane of a channel.
    pub(super) fn lane(&self, quantity: Quantity) -> Option<&Lane> {
        self.lanes.iter().find(|lane| lane.trace.quantity == quantity).map(Rc::as_ref)
    }

    /// The falls that a rate counts.
    pub(super) fn falls(&self, measure: &str) -> &[Fall] {
        let falls = &self.scores.falls;
        match measure {
            "spo2.odi3" => &falls.peak3,
            "spo2.odi4" => &falls.peak4,
            "spo2.odi3_mean120" => &falls.mean3,
            "spo2.odi4_mean120" => &falls.mean4,
            _ => &[],
        }
    }

    /// What an answer about a rate stands on: the events themselves, or the unseen that decides.
    pub(super) fn event_stretches(&self, measure: &str, answer: Answer) -> Vec<Stretch> {
        match answer {
            Answer::Met => join(self.falls(measure).iter().map(|fall| fall.stretch).collect()),
            Answer::NotMet => Vec::new(),
            Answer::CannotTell => self.unseen(Quantity::Spo2),
        }
    }

    /// The unbelieved stretches of a channel inside the period.
    pub(super) fn unseen(&self, quantity: Quantity) -> Vec<Stretch> {
        self.lane(quantity).map_or_else(Vec::new, |lane| {
            let trace = &lane.trace;
            lane.stretches(&trace.runs(|i| trace.inside[i] && !trace.believed[i]))
        })
    }
}
