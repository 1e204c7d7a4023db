//! Notes: what came with the night beside the recording — diary, gases, the question asked.
//!
//! A notes file is read in two steps, because its zone is needed before the recording can be read:
//! [`NotesFile::parse`], then [`NotesFile::place`] on the recording's clock.
//!
//! ```toml
//! zone = "Europe/London"
//! lights_out = "23:10"            # a time of day, or 2024-10-26T23:10, with an offset where in doubt
//! lights_on = "06:40"
//! representative = true           # the patient's word: was it a usual night?
//! question = "hypoventilation"    # id of the question the referral asks
//! breathing = "air"              # left out: not told, which is never taken for air
//!
//! [[told]]                        # an answer that has no time of its own: about and says, in words
//! about = "taken"                 # the key of a question of the diary, or words
//! says = "two glasses of wine"
//!
//! [[mark]]                        # until and text may be left out
//! at = "02:10"
//! until = "02:25"
//! kind = "up"
//! text = "toilet"
//!
//! [[blood_gas]]                   # pco2_kpa or pco2_mmhg
//! at = "06:50"
//! pco2_kpa = 6.1
//!
//! [[gas_check]]                   # each of the two in kpa or mmhg
//! at = "22:00"
//! expected_kpa = 5.0
//! observed_kpa = 5.2
//!
//! [monitor]
//! corrected = true
//! sensor_temp_c = 42.0
//! averaging_s = 4
//!
//! [[exclude]]                     # [[put_back]] is its reverse; the later in the file wins
//! channel = "tcpco2"
//! from = "03:00"
//! until = "03:20"
//! author = "A. Reader"
//! made_at = 2024-10-28T09:00:00
//! reason = "lay on the sensor"
//! ```

use crate::finding::Finding;
use crate::recording::{Mark, Quantity};
use crate::time::Stretch;

pub mod diary;
mod file;
mod other_night;
mod place;
mod skin;
mod when;

pub use file::NotesError;
pub use file::NotesFile;
pub use skin::tells_of_harm;

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

/// An answer that has no time of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// What it is about: the key of a question of the diary, or words.
    pub about: String,
    /// The answer, in words.
    pub says: String,
}

impl Told {
    /// What was asked, in words.
    pub fn asked(&self) -> &str {
        let known = diary::QUESTIONS.iter().find(|question| question.key == self.about);
        known.map_or(self.about.as_str(), |question| question.asks)
    }

    /// Whether it tells of skin under the sensor that was harmed.
    pub fn is_harmed_skin(&self) -> bool {
        self.about.trim().eq_ignore_ascii_case("skin") && tells_of_harm(&self.says)
    }
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
    /// The patient's word: was it a usual night? `None`: not told.
    pub representative: Option<bool>,
    /// Blood gases, in order of time.
    pub blood_gases: Vec<BloodGas>,
    /// Gas checks, in order of time.
    pub gas_checks: Vec<GasCheck>,
    /// The monitor's own settings.
    pub monitor: MonitorNotes,
    /// Id of the question the referral asks; `None`: the criteria's first.
    pub question: Option<String>,
    /// What the patient breathed, in words, for the report: "air", "2 L/min oxygen", …; `None`: not told.
    pub breathing: Option<String>,
    /// Answers without a time of their own, in the order of the file.
    pub told: Vec<Told>,
    /// Persons' judgements on stretches, in the order they were made; a later one wins.
    pub edits: Vec<Edit>,
    /// What reading the notes noticed.
    pub findings: Vec<Finding>,
}
