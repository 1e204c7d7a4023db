//! Notes: what came with the night beside the recording — diary, gases, the question asked.

use crate::finding::Finding;
use crate::recording::{Mark, Quantity};
use crate::time::Stretch;

/// A blood gas taken during or around the night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BloodGas {
    /// When, in seconds from the recording's start; may lie outside it.
    pub at_s: f64,
    /// Partial pressure of CO2 in the blood.
    pub pco2_kpa: f64,
}

/// A gas of known CO2 put to the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasCheck {
    /// When, in seconds from the recording's start; may lie outside it.
    pub at_s: f64,
    /// What the gas should read.
    pub expected_kpa: f64,
    /// What the sensor read.
    pub observed_kpa: f64,
}

/// What is known of the monitor's own settings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MonitorNotes {
    /// Whether the monitor already corrects CO2 for temperature and metabolism; `None`: not known.
    pub corrected: Option<bool>,
    /// Temperature of the heated sensor.
    pub sensor_temp_c: Option<f64>,
    /// Averaging time of the oximeter.
    pub averaging_s: Option<f64>,
}

/// A person's judgement on a stretch of one channel, laid over the tool's.
#[derive(Clone, Debug, PartialEq)]
pub struct Edit {
    /// The channel.
    pub quantity: Quantity,
    /// The stretch.
    pub stretch: Stretch,
    /// `true`: believe it, whatever the tool found; `false`: do not.
    pub believe: bool,
    /// Who judged.
    pub author: String,
    /// When, as written; free words.
    pub made_at: String,
    /// Why.
    pub reason: String,
}

/// Everything that came with the night beside the recording, placed on its clock.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notes {
    /// Marks from the diary and the desk; lights out and on among them.
    pub marks: Vec<Mark>,
    /// The patient's word: was it a usual night? `None`: not asked.
    pub representative: Option<bool>,
    /// Blood gases, in order of time.
    pub blood_gases: Vec<BloodGas>,
    /// Gas checks, in order of time.
    pub gas_checks: Vec<GasCheck>,
    /// The monitor's own settings.
    pub monitor: MonitorNotes,
    /// Id of the question the referral asks; `None`: the criteria's first.
    pub question: Option<String>,
    /// What the patient breathed, in words, for the report: "air", "2 L/min oxygen", …
    pub breathing: Option<String>,
    /// Persons' judgements on stretches, in the order they were made; a later one wins.
    pub edits: Vec<Edit>,
    /// What reading the notes noticed.
    pub findings: Vec<Finding>,
}
