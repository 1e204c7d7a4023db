//! Severe findings: what a reader must not miss, whatever the night was asked.
//!
//! They are figures of the night beyond limits of the department, taken as they stand on believed time: a
//! finding that was seen stays seen when a rule beside it is open or another question is asked. They are no
//! rules and no diagnosis.

use super::bench::Bench;
use super::pattern::rise_on_oxygen;
use super::words::level_words;
use crate::criteria::Criteria;
use crate::criteria::Setting;
use crate::criteria::SevereCriteria;
use crate::criteria::passes;
use crate::notes::BloodGas;
use crate::recording::Quantity;
use crate::stats;
use crate::trace::Trace;
use crate::unit::Unit;

/// What the reasons of a verdict tell a severe finding by.
pub const SEVERE: &str = "Severe, whatever was asked: ";

/// One figure beyond its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Severe {
    /// Its id, the key of its limit in the criteria.
    pub id: &'static str,
    /// The figure.
    pub figure: f64,
    /// The limit it lies beyond.
    pub limit: f64,
    /// The unit of both.
    pub unit: Unit,
    /// Where the limit comes from.
    pub source: String,
    /// The figure in few words, for a headline.
    pub brief: String,
    /// The finding in one sentence with its limit.
    pub sentence: String,
}

/// Every severe finding of the night, oxygen first; none where the set has no limits.
pub(super) fn severe(bench: &Bench, criteria: &Criteria) -> Vec<Severe> {
    let Some(limits) = &criteria.severe else { return Vec::new() };
    let look = Look { bench, limits };
    [
        look.spo2_held(),
        look.spo2_mean(),
        look.below_90(),
        look.falls(),
        look.co2_held(),
        look.blood_gas(),
        look.on_oxygen(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

struct Look<'a> {
    bench: &'a Bench<'a>,
    limits: &'a SevereCriteria,
}

impl Look<'_> {
    /// The trace of a channel, where enough of it is believed to speak of a whole night.
    fn enough(&self, quantity: Quantity) -> Option<&Trace> {
        let trace = &self.bench.lane(quantity)?.trace;
        let least_s = self.limits.believed_least_min.value * 60.0;
        passes(trace.believed_s() - least_s, false).then_some(trace)
    }

    fn spo2_held(&self) -> Option<Severe> {
        let trace = &self.bench.lane(Quantity::Spo2)?.trace;
        let held_s = self.limits.spo2_held_s.value;
        let level = stats::lowest_held(&counted(trace), trace.samples_in(held_s))?;
        let limit = &self.limits.spo2_held_below_pct;
        let words = level_words(Quantity::Spo2, level);
        below(level, limit).then(|| Severe {
            brief: format!("SpO2 down to {words} for {held_s:.0} s"),
            sentence: format!(
                "SpO2 stayed at or below {words} for {held_s:.0} s on end; the limit of this set is {} %.",
                limit.value
            ),
            ..of("spo2_held_below_pct", level, Unit::Percent, limit)
        })
    }

    fn spo2_mean(&self) -> Option<Severe> {
        self.enough(Quantity::Spo2)?;
        let mean = self.bench.scores.value("spo2.mean")?;
        let limit = &self.limits.spo2_mean_below_pct;
        let words = level_words(Quantity::Spo2, mean);
        below(mean, limit).then(|| Severe {
            brief: format!("SpO2 averaged {words}"),
            sentence: format!(
                "SpO2 averaged {words} over the time believed; the limit of this set is {} %.",
                limit.value
            ),
            ..of("spo2_mean_below_pct", mean, Unit::Percent, limit)
        })
    }

    fn below_90(&self) -> Option<Severe> {
        self.enough(Quantity::Spo2)?;
        let share = self.bench.scores.value("spo2.time_below_90")?;
        let limit = &self.limits.spo2_below_90_share_pct;
        above(share, limit).then(|| Severe {
            brief: format!("SpO2 below 90 % for {share:.1} % of the believed night"),
            sentence: format!(
                "SpO2 lay below 90 % for {share:.1} % of the time believed; the limit of this set is {} %.",
                limit.value
            ),
            ..of("spo2_below_90_share_pct", share, Unit::Percent, limit)
        })
    }

    fn falls(&self) -> Option<Severe> {
        self.enough(Quantity::Spo2)?;
        let rate = self.bench.scores.value("spo2.odi4")?;
        let limit = &self.limits.odi4_per_h;
        passes(rate - limit.value, false).then(|| Severe {
            brief: format!("SpO2 fell by 4 % or more {rate:.1} times an hour"),
            sentence: format!(
                "SpO2 fell by 4 % or more {rate:.1} times an hour believed; the limit of this set is {} /h.",
                limit.value
            ),
            ..of("odi4_per_h", rate, Unit::PerHour, limit)
        })
    }

    /// CO2 held for ten minutes.
    fn co2_held(&self) -> Option<Severe> {
        let corrected = self.bench.scores.value("tcpco2.sustained10")?;
        let limit = &self.limits.co2_held_10min_kpa;
        let recorded = self.recorded();
        let recorded = recorded
            .and_then(|trace| stats::highest_held(&counted(&trace), trace.samples_in(600.0)));
        let (level, how) = self.standing(corrected, recorded, limit)?;
        let words = level_words(Quantity::Tcpco2, level);
        Some(Severe {
            brief: format!("CO2 held {words} for 10 min{how}"),
            sentence: format!(
                "CO2 stayed at or above {words} for 10 min on end{how}; the limit of this set is {}.",
                level_words(Quantity::Tcpco2, limit.value)
            ),
            ..of("co2_held_10min_kpa", level, Unit::Kilopascal, limit)
        })
    }

    /// CO2 before its correction.
    fn recorded(&self) -> Option<Trace> {
        self.bench.scores.corrected.screened.trace(Quantity::Tcpco2)
    }

    /// A figure of CO2 beyond its limit and how it came to be, to go on with: as corrected, or as recorded where
    /// the correction takes it under the limit. What the correction alone makes of it, or one by anchors that
    /// do not agree, nothing ever read: it is told with what was recorded.
    fn standing(
        &self,
        corrected: f64,
        recorded: Option<f64>,
        limit: &Setting,
    ) -> Option<(f64, String)> {
        let beyond = recorded.filter(|&kpa| above(kpa, limit));
        if !above(corrected, limit) {
            return beyond.map(|kpa| (kpa, ", as recorded and before its correction".into()));
        }
        let co2 = self.bench.scores.corrected.tcpco2.as_ref()?;
        if beyond.is_some() && co2.disagreement.is_none() {
            return Some((corrected, String::new()));
        }
        let by = co2.corrected_by();
        let read = recorded.map_or_else(
            || "nothing was recorded for so long".into(),
            |kpa| format!("recorded {}", level_words(Quantity::Tcpco2, kpa)),
        );
        Some((corrected, format!(" as corrected {by}, {read}")))
    }

    /// Every blood gas of this night beyond the limit, in order of time; one noted twice is told once.
    fn blood_gas(&self) -> Option<Severe> {
        let screened = &self.bench.scores.corrected.screened;
        let recording = &screened.recording;
        let farthest_s = self.bench.criteria.correct.anchor_farthest_h.value * 3600.0;
        let times = -farthest_s..=recording.duration_s + farthest_s;
        let limit = &self.limits.blood_gas_kpa;
        let mut gases = self.bench.scores.corrected.blood_gases();
        gases.retain(|gas| times.contains(&gas.at_s) && above(gas.pco2_kpa, limit));
        let told = |gas: &BloodGas| {
            let words = level_words(Quantity::Tcpco2, gas.pco2_kpa);
            (words, recording.when(gas.at_s))
        };
        let mut told: Vec<(String, String)> = gases.iter().map(told).collect();
        told.dedup();
        let highest = gases.iter().map(|gas| gas.pco2_kpa).reduce(f64::max)?;
        let named = told.iter().map(|(words, at)| format!("a blood gas of {words} at {at}"));
        let had = told.iter().map(|(words, at)| format!("at {at} had a PCO2 of {words}"));
        Some(Severe {
            brief: named.collect::<Vec<_>>().join(" and "),
            sentence: format!(
                "A blood gas {}; the limit of this set is {}.",
                had.collect::<Vec<_>>().join(" and one "),
                level_words(Quantity::Tcpco2, limit.value)
            ),
            ..of("blood_gas_kpa", highest, Unit::Kilopascal, limit)
        })
    }

    fn on_oxygen(&self) -> Option<Severe> {
        let (at_s, rise) = rise_on_oxygen(self.bench, &self.bench.lane(Quantity::Tcpco2)?.trace)?;
        let recorded = self.recorded();
        let recorded = recorded.and_then(|trace| rise_on_oxygen(self.bench, &trace));
        let limit = &self.limits.co2_rise_on_oxygen_kpa;
        let at_s = if above(rise, limit) { at_s } else { recorded?.0 };
        let (rise, how) = self.standing(rise, recorded.map(|(_, kpa)| kpa), limit)?;
        let words = level_words(Quantity::Tcpco2, rise);
        let at = self.bench.scores.corrected.screened.recording.clock.label(at_s, false);
        Some(Severe {
            brief: format!("CO2 rose by {words} after oxygen started at {at}{how}"),
            sentence: format!(
                "CO2 was {words} higher from half an hour after oxygen started at {at}{how}; the limit of this \
                 set is {}.",
                level_words(Quantity::Tcpco2, limit.value)
            ),
            ..of("co2_rise_on_oxygen_kpa", rise, Unit::Kilopascal, limit)
        })
    }
}

fn below(figure: f64, limit: &Setting) -> bool {
    passes(limit.value - figure, true)
}

fn above(figure: f64, limit: &Setting) -> bool {
    passes(figure - limit.value, true)
}

fn of(id: &'static str, figure: f64, unit: Unit, limit: &Setting) -> Severe {
    let (limit, source) = (limit.value, limit.source.clone());
    Severe { id, figure, limit, unit, source, brief: String::new(), sentence: String::new() }
}

/// The values that count; NaN where one does not, so that no run goes across it.
fn counted(trace: &Trace) -> Vec<f64> {
    let value = |i: usize| if trace.counts(i) { trace.values[i] } else { f64::NAN };
    (0..trace.len()).map(value).collect()
}
