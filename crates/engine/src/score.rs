//! `score`: the figures of the night, each with its definition and what the unseen could make of it.

pub mod unseen;

mod awake;
mod co2;
mod definitions;
mod delta;
mod events;
mod figures;
mod oxygen;
mod pulse;
mod sides;

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::finding::{Finding, Weight};
use crate::recording::Quantity;
use crate::recording::Recording;
use crate::score::co2::Co2;
use crate::score::definitions::Level;
use crate::score::oxygen::Oxygen;
use crate::score::pulse::Pulse;
use crate::time::Stretch;
use crate::trace::{Band, Trace};
use crate::unit::{Unit, mmhg_from_kpa};

/// The number of a measure, or why there is none.
#[derive(Clone, Debug, PartialEq)]
pub enum Figure {
    /// A number.
    Given {
        /// From believed time.
        value: f64,
        /// The lowest value that the unbelieved time could make it.
        lowest: f64,
        /// The highest.
        highest: f64,
    },
    /// No number, and why, in words.
    Absent(String),
}

/// One figure of the night.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// Its id, for instance `spo2.odi4`.
    pub id: &'static str,
    /// The name a person reads.
    pub name: &'static str,
    /// The number, or why there is none.
    pub figure: Figure,
    /// Its unit.
    pub unit: Unit,
    /// Believed seconds it stands on.
    pub seconds: f64,
    /// Its definition in one sentence.
    pub definition: &'static str,
    /// Key of `docs/sources.md`, or `from memory`, `common practice`, `department setting`.
    pub source: &'static str,
}

impl Measure {
    /// The number, when there is one.
    pub fn value(&self) -> Option<f64> {
        match self.figure {
            Figure::Given { value, .. } => Some(value),
            Figure::Absent(_) => None,
        }
    }
}

/// One fall of SpO2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// From the onset (or the peak) to the end of the event.
    pub stretch: Stretch,
    /// When SpO2 was lowest.
    pub nadir_s: f64,
    /// The level fallen from, %.
    pub from_pct: f64,
    /// The lowest level, %.
    pub nadir_pct: f64,
}

/// The falls found, by rule.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Falls {
    /// 3 % from the preceding peak.
    pub peak3: Vec<Fall>,
    /// 4 % from the preceding peak.
    pub peak4: Vec<Fall>,
    /// 3 % from the mean of the preceding 120 s.
    pub mean3: Vec<Fall>,
    /// 4 % from the mean of the preceding 120 s.
    pub mean4: Vec<Fall>,
}

/// A corrected recording with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// The corrected recording.
    pub corrected: Corrected,
    /// Every measure, always in the same order; those that cannot be given too.
    pub measures: Vec<Measure>,
    /// The falls of SpO2 that the rates count.
    pub falls: Falls,
    /// What scoring noticed.
    pub findings: Vec<Finding>,
}

impl Scores {
    /// A measure by id.
    pub fn measure(&self, id: &str) -> Option<&Measure> {
        self.measures.iter().find(|measure| measure.id == id)
    }

    /// The number of a measure, when there is one.
    pub fn value(&self, id: &str) -> Option<f64> {
        self.measure(id).and_then(Measure::value)
    }
}

/// CO2 with the band around its rise above awake in place of the band around its level; `None` when the
/// recording has no CO2 or nothing of it awake.
///
/// The band is that of the drift between the two: what the awake level shares with the level in sleep falls
/// out of the rise.
pub fn rise_trace(corrected: &Corrected) -> Option<Trace> {
    let mut trace = corrected.trace(Quantity::Tcpco2)?;
    let co2 = corrected.tcpco2.as_ref()?;
    let (awake_s, awake_added_kpa) = awake::middle(&corrected.screened, &trace, &co2.added_kpa)?;
    if co2.bounds.is_empty() {
        trace.band.fill(Band::default());
        return Some(trace);
    }
    let span_s = (trace.time_s(0), trace.time_s(trace.len()));
    let moved = co2.bounds.steps(span_s, |bounds, at_s| bounds.change(at_s, awake_s));
    for i in 0..trace.len() {
        let (least, most) = moved.at(trace.time_s(i));
        // What the awake level had added, and how far the error may have moved from there.
        let (least, most) = (awake_added_kpa + least, awake_added_kpa + most);
        let added_kpa = co2.added_kpa[i].max(least).min(most);
        trace.values[i] += added_kpa - co2.added_kpa[i];
        trace.band[i] = Band { below: added_kpa - least, above: most - added_kpa };
    }
    Some(trace)
}

/// Computes every measure.
pub fn score(corrected: Corrected, criteria: &Criteria) -> Scores {
    let spo2 = Oxygen::of(&corrected, criteria);
    let pulse = Pulse::of(&corrected, criteria);
    let co2 = Co2::of(&corrected, criteria);
    let mut measures: Vec<Measure> =
        Oxygen::TABLE.iter().map(|definition| definition.measure(spo2.as_ref())).collect();
    measures.extend(Pulse::TABLE.iter().map(|definition| definition.measure(pulse.as_ref())));
    measures.extend(Co2::LEVELS.iter().flat_map(|level| both_units(level, co2.as_ref())));
    measures.extend(Co2::SHARES.iter().map(|definition| definition.measure(co2.as_ref())));
    measures.push(Co2::LAG.measure(co2.as_ref()));
    tell_not_read(&mut measures, &corrected.screened.recording);
    let mut findings = coarse_findings(spo2.as_ref(), pulse.as_ref());
    findings.extend(awake_finding(&measures, co2.is_some()));
    let falls = spo2.map(|spo2| spo2.falls()).unwrap_or_default();
    Scores { corrected, measures, falls, findings }
}

/// A figure is not absent for want of a channel where the file may hold one that was not read.
fn tell_not_read(measures: &mut [Measure], recording: &Recording) {
    for (quantity, of, name) in [
        (Quantity::Spo2, "spo2.", "SpO2"),
        (Quantity::Pulse, "pulse.", "pulse"),
        (Quantity::Tcpco2, "tcpco2.", "CO2"),
    ] {
        if recording.not_taken(quantity).is_some() {
            for measure in measures.iter_mut().filter(|measure| measure.id.starts_with(of)) {
                measure.figure = Figure::Absent(recording.lacks(quantity, name));
            }
        }
    }
}

/// A level of CO2 in kPa, then in mmHg.
fn both_units(level: &Level<Co2>, co2: Option<&Co2>) -> [Measure; 2] {
    let kpa = level.kpa.measure(co2);
    let figure = match &kpa.figure {
        Figure::Given { value, lowest, highest } => Figure::Given {
            value: mmhg_from_kpa(*value),
            lowest: mmhg_from_kpa(*lowest),
            highest: mmhg_from_kpa(*highest),
        },
        absent @ Figure::Absent(_) => absent.clone(),
    };
    let mmhg =
        Measure { id: level.mmhg_id, figure, unit: Unit::MillimetreOfMercury, ..kpa.clone() };
    [kpa, mmhg]
}

/// What is said when samples are too far apart for events.
fn coarse_findings(spo2: Option<&Oxygen<'_>>, pulse: Option<&Pulse<'_>>) -> Vec<Finding> {
    let falls = spo2.and_then(|spo2| spo2.too_coarse.clone()).map(|_| {
        let sentence = "SpO2 was recorded too coarsely to count its falls.";
        Finding::new("falls_not_counted", Weight::Caution, sentence).on(Quantity::Spo2.id())
    });
    let rises = pulse.and_then(|pulse| pulse.too_coarse.clone()).map(|_| {
        let sentence = "Pulse was recorded too coarsely to count its rises.";
        Finding::new("rises_not_counted", Weight::Caution, sentence).on(Quantity::Pulse.id())
    });
    falls.into_iter().chain(rises).collect()
}

/// What is said when CO2 has no level awake.
fn awake_finding(measures: &[Measure], recorded: bool) -> Option<Finding> {
    let awake = measures.iter().find(|measure| measure.id == "tcpco2.awake")?;
    let Figure::Absent(why) = &awake.figure else { return None };
    recorded.then(|| {
        let sentence = format!("No rise of CO2 above awake can be given: {why}.");
        Finding::new("no_awake_co2", Weight::Caution, sentence).on(Quantity::Tcpco2.id())
    })
}
