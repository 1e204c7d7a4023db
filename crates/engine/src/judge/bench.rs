//! The bench: what the tests of one night are held against, laid out once.

use std::rc::Rc;

use super::Answer;
use super::lane::Lane;
use crate::correct::Unpaired;
use crate::criteria::Criteria;
use crate::recording::Quantity;
use crate::score::Fall;
use crate::score::Scores;
use crate::score::rise_trace;
use crate::score::unseen::events::{FallsFrom, hidden_events, hidden_falls};
use crate::score::unseen::oxygen;
use crate::time::Stretch;
use crate::time::join;
use crate::trace::{Band, Trace};

/// Filled lanes, the awake level, and the scores.
#[derive(Debug)]
pub(super) struct Bench<'a> {
    /// The scores.
    pub(super) scores: &'a Scores,
    /// CO2 awake; `None` when not known.
    pub(super) awake_co2_kpa: Option<f64>,
    pub(super) criteria: &'a Criteria,
    lanes: Vec<Rc<Lane<'a>>>,
    /// CO2 in the band of its rise above awake; `None` without a level awake.
    rise: Option<Rc<Lane<'a>>>,
    /// Whether SpO2 may have been anything in every gap.
    any_spo2: bool,
    /// Whether CO2 is taken at its middle line, as if its sensor were known.
    sure_co2: bool,
}

impl<'a> Bench<'a> {
    /// Lays the bench as the criteria bound the gaps.
    pub(super) fn new(scores: &'a Scores, criteria: &'a Criteria) -> Self {
        let rate = criteria.judge.co2_gap_rate_mmhg_per_min.value;
        let lanes = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2]
            .into_iter()
            .filter_map(|quantity| scores.corrected.trace(quantity))
            .map(|trace| Rc::new(Lane::new(trace, criteria, rate)))
            .collect();
        let rise = rise_trace(&scores.corrected);
        let rise = rise.map(|trace| Rc::new(Lane::new(trace, criteria, rate)));
        let awake_co2_kpa = scores.value("tcpco2.awake");
        Self { scores, awake_co2_kpa, criteria, lanes, rise, any_spo2: false, sure_co2: false }
    }

    /// The same bench with CO2 in gaps bounded by the outer rate; `None` when CO2 has no gap to fill.
    pub(super) fn with_outer_co2(&self) -> Option<Self> {
        let trace = &self.lane(Quantity::Tcpco2)?.trace;
        if (0..trace.len()).all(|i| trace.believed[i] || !trace.inside[i]) {
            return None;
        }
        let rate = self.criteria.judge.co2_gap_rate_outer_mmhg_per_min.value;
        let again = |trace: &Trace| Lane::new(trace.clone(), self.criteria, rate);
        let rise = self.rise.as_ref().map(|lane| Rc::new(again(&lane.trace)));
        Some(Self { rise, ..self.with(again(trace)) })
    }

    /// The same bench with nothing unknown of CO2's sensor: what is open on it is open for another reason.
    /// `None` without CO2.
    pub(super) fn with_sure_co2(&self) -> Option<Self> {
        let rate = self.criteria.judge.co2_gap_rate_mmhg_per_min.value;
        let again = |trace: &Trace| {
            let band = vec![Band::default(); trace.len()];
            Lane::new(Trace { band, ..trace.clone() }, self.criteria, rate)
        };
        let lane = again(&self.lane(Quantity::Tcpco2)?.trace);
        let rise = self.rise.as_ref().map(|lane| Rc::new(again(&lane.trace)));
        Some(Self { rise, sure_co2: true, ..self.with(lane) })
    }

    /// The blood gases that could not be paired and were taken in or near the scored time: these open answers.
    pub(super) fn speaking_gases(&self) -> impl Iterator<Item = &Unpaired> {
        let near_s = self.criteria.correct.gas_speaks_h.value * 3600.0;
        self.unpaired_gases()
            .filter(move |gas| !self.sure_co2 && self.outside_scored_s(gas.at_s) <= near_s)
    }

    /// The blood gases of about this night that could not be paired.
    pub(super) fn unpaired_gases(&self) -> impl Iterator<Item = &Unpaired> {
        let limits = &self.criteria.correct;
        let farthest_s = limits.anchor_farthest_h.value * 3600.0;
        let likely = limits.anchor_lowest_kpa.value..=limits.anchor_highest_kpa.value;
        let gases = self.scores.corrected.tcpco2.iter().flat_map(|co2| &co2.unpaired);
        gases.filter(move |gas| {
            self.outside_scored_s(gas.at_s) <= farthest_s && likely.contains(&gas.pco2_kpa)
        })
    }

    /// How far a moment lies from the scored time.
    pub(super) fn outside_scored_s(&self, at_s: f64) -> f64 {
        let stretches = &self.scores.corrected.screened.period.stretches;
        let scored = stretches.first().zip(stretches.last());
        scored.map_or(f64::INFINITY, |(first, last)| {
            (first.start_s - at_s).max(at_s - last.end_s).max(0.0)
        })
    }

    /// The same bench with SpO2 free to be anything in every gap; `None` when it is so already.
    pub(super) fn with_any_spo2(&self) -> Option<Self> {
        let trace = &self.lane(Quantity::Spo2)?.trace;
        oxygen::is_bounded(trace, self.criteria).then(|| Self {
            any_spo2: true,
            ..self.with(Lane::of_any_spo2(trace.clone(), self.criteria))
        })
    }

    fn with(&self, lane: Lane<'a>) -> Self {
        let quantity = lane.trace.quantity;
        let others = self.lanes.iter().filter(|other| other.trace.quantity != quantity).cloned();
        let lanes = others.chain([Rc::new(lane)]).collect();
        Self { lanes, rise: self.rise.clone(), ..*self }
    }

    /// The most of a rate's events an hour, given the most that the measure itself gives.
    pub(super) fn most_per_h(&self, measure: &str, highest_per_h: f64) -> f64 {
        let Some(lane) = self.lane(Quantity::Spo2).filter(|_| self.any_spo2) else {
            return highest_per_h;
        };
        let hidden: usize = self.hidden_falls(measure).iter().map(|(_, most)| most).sum();
        let all = (self.falls(measure).len() + hidden) as f64;
        highest_per_h.max(all * 3600.0 / lane.trace.inside_s())
    }

    /// The lane of a channel.
    pub(super) fn lane(&self, quantity: Quantity) -> Option<&Lane<'a>> {
        self.lanes.iter().find(|lane| lane.trace.quantity == quantity).map(Rc::as_ref)
    }

    /// CO2 in the band of its rise above awake; in that of its level where the night tells no moment awake.
    pub(super) fn rise_lane(&self) -> Option<&Lane<'a>> {
        self.rise.as_deref().or_else(|| self.lane(Quantity::Tcpco2))
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
            Answer::CannotTell => {
                self.hidden_falls(measure).into_iter().map(|(gap, _)| gap).collect()
            }
        }
    }

    /// The unbelieved stretches of SpO2 that could hide what a rate counts, each with how many at most.
    pub(super) fn hidden_falls(&self, measure: &str) -> Vec<(Stretch, usize)> {
        let Some(lane) = self.lane(Quantity::Spo2) else { return Vec::new() };
        let trace = &lane.trace;
        let counted = match measure {
            "spo2.odi3" => Some((3.0, FallsFrom::Peak)),
            "spo2.odi4" => Some((4.0, FallsFrom::Peak)),
            "spo2.odi3_mean120" => Some((3.0, FallsFrom::Mean)),
            "spo2.odi4_mean120" => Some((4.0, FallsFrom::Mean)),
            _ => None,
        };
        let hidden = match counted.filter(|_| !self.any_spo2) {
            Some(counted) => {
                let nadir = |fall: &Fall| trace.index_at(fall.nadir_s);
                let nadirs: Vec<usize> = self.falls(measure).iter().map(nadir).collect();
                hidden_falls(trace, lane.within(), self.criteria, (counted, &nadirs))
            }
            None => hidden_events(trace, self.criteria),
        };
        hidden.into_iter().map(|(gap, most)| (trace.stretch(gap.start, gap.end), most)).collect()
    }

    /// The unbelieved stretches of a channel inside the period.
    pub(super) fn unseen(&self, quantity: Quantity) -> Vec<Stretch> {
        self.lane(quantity).map_or_else(Vec::new, |lane| {
            let trace = &lane.trace;
            lane.stretches(&trace.runs(|i| trace.inside[i] && !trace.believed[i]))
        })
    }
}
