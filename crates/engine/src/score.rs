//! `score`: the figures of the night, each with its definition and what the unseen could make of it.

pub mod unseen;

use crate::correct::Corrected;
use crate::criteria::Criteria;
use crate::finding::Finding;
use crate::time::Stretch;
use crate::unit::Unit;

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
    /// Every measure, in the order of `design.md`; those that cannot be given too.
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

/// Computes every measure.
pub fn score(corrected: Corrected, criteria: &Criteria) -> Scores {
    let _ = criteria;
    Scores { corrected, measures: Vec::new(), falls: Falls::default(), findings: Vec::new() }
}
