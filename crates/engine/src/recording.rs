//! A recording: what the monitor wrote, untouched, with the marks that came with it.

use std::sync::Arc;

use crate::finding::Finding;
use crate::finding::Weight;
use crate::time::{Clock, Stretch};
use crate::unit::Unit;

/// What a channel measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Oxygen saturation by pulse oximetry, %.
    Spo2,
    /// Pulse rate from the oximeter, beats a minute.
    Pulse,
    /// Transcutaneous partial pressure of carbon dioxide, kPa inside.
    Tcpco2,
    /// Perfusion index, %.
    Perfusion,
    /// Heater power, mW.
    Heater,
    /// Sensor temperature, °C.
    SensorTemp,
    /// Plethysmogram.
    Pleth,
    /// Respiratory flow.
    Flow,
    /// Leak of a mask or circuit.
    Leak,
    /// Anything else: kept and drawn, not scored.
    Other,
}

impl Quantity {
    /// The id used in JSON and criteria.
    pub fn id(self) -> &'static str {
        match self {
            Self::Spo2 => "spo2",
            Self::Pulse => "pulse",
            Self::Tcpco2 => "tcpco2",
            Self::Perfusion => "perfusion",
            Self::Heater => "heater",
            Self::SensorTemp => "sensor_temp",
            Self::Pleth => "pleth",
            Self::Flow => "flow",
            Self::Leak => "leak",
            Self::Other => "other",
        }
    }

    /// The name a person reads.
    pub fn name(self) -> &'static str {
        match self {
            Self::Spo2 => "SpO2",
            Self::Pulse => "Pulse",
            Self::Tcpco2 => "tcPCO2",
            Self::Perfusion => "Perfusion index",
            Self::Heater => "Heater power",
            Self::SensorTemp => "Sensor temperature",
            Self::Pleth => "Plethysmogram",
            Self::Flow => "Flow",
            Self::Leak => "Leak",
            Self::Other => "Other",
        }
    }

    /// The code of the finding that something looks like it and was not taken for it; `None` for what is
    /// not scored.
    pub fn not_taken(self) -> Option<&'static str> {
        match self {
            Self::Spo2 => Some("spo2_not_taken"),
            Self::Pulse => Some("pulse_not_taken"),
            Self::Tcpco2 => Some("tcpco2_not_taken"),
            _ => None,
        }
    }

    /// The quantity with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        [
            Self::Spo2,
            Self::Pulse,
            Self::Tcpco2,
            Self::Perfusion,
            Self::Heater,
            Self::SensorTemp,
            Self::Pleth,
            Self::Flow,
            Self::Leak,
            Self::Other,
        ]
        .into_iter()
        .find(|quantity| quantity.id() == id)
    }
}

/// One channel: evenly spaced samples of one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// `spo2`, `pulse`, `tcpco2`, …; for [`Quantity::Other`] a slug of the file's label, unique in the night.
    pub id: String,
    /// What it measures.
    pub quantity: Quantity,
    /// Unit of `samples`; CO2 is always kPa here.
    pub unit: Unit,
    /// The label as the file wrote it.
    pub file_label: String,
    /// The unit as the file wrote it; empty when it wrote none.
    pub file_unit: String,
    /// Seconds from one sample to the next; positive and finite.
    pub period_s: f64,
    /// Seconds from the recording's start to the first sample.
    pub offset_s: f64,
    /// The samples; NaN where the file holds no number. Sample `i` stands for the time from
    /// `offset_s + i * period_s` to `offset_s + (i + 1) * period_s`.
    ///
    /// They are shared, not copied, when a recording is cloned: a night is judged anew with every edit, and
    /// may hold tens of millions of them.
    pub samples: Arc<[f64]>,
}

impl Channel {
    /// Seconds from the recording's start to sample `index`.
    pub fn time_s(&self, index: usize) -> f64 {
        self.offset_s + index as f64 * self.period_s
    }

    /// The indices of the samples that start inside a stretch.
    pub fn indices(&self, stretch: &Stretch) -> std::ops::Range<usize> {
        indices(self.offset_s, self.period_s, self.samples.len(), stretch)
    }
}

/// The indices, of `count` samples every `period_s` from `offset_s`, that start inside a stretch.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0..=count before the cast"
)]
pub fn indices(
    offset_s: f64,
    period_s: f64,
    count: usize,
    stretch: &Stretch,
) -> std::ops::Range<usize> {
    // A hair of tolerance, so that a mark on a sample's start includes it whatever the rounding.
    let at = |s: f64| ((s - offset_s) / period_s - 1e-6).ceil().clamp(0.0, count as f64) as usize;
    let start = at(stretch.start_s);
    start..at(stretch.end_s).max(start)
}

/// Who said a thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Author {
    /// The tool, by a stated rule.
    Tool,
    /// The recording's own annotations.
    File,
    /// The notes that came with the night: diary and desk.
    Notes,
    /// A named person reading the night.
    Person(String),
}

impl Author {
    /// The name to print.
    pub fn name(&self) -> &str {
        match self {
            Self::Tool => "matins",
            Self::File => "recording",
            Self::Notes => "notes",
            Self::Person(name) => name,
        }
    }
}

/// What a mark tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MarkKind {
    /// Lights out: the night to be scored begins.
    LightsOut,
    /// Lights on: it ends.
    LightsOn,
    /// Asleep from here.
    Asleep,
    /// Awake.
    Awake,
    /// Out of bed, for instance for the toilet.
    Up,
    /// The sensor was refitted.
    Refitted,
    /// Oxygen was given.
    Oxygen,
    /// Ventilation or positive pressure was on.
    Support,
    /// The monitor alarmed.
    Alarm,
    /// A gas of known CO2 was measured.
    GasCheck,
    /// A blood gas was taken.
    BloodGas,
    /// A free note.
    Note,
}

impl MarkKind {
    /// Every kind, in order.
    pub const ALL: [Self; 12] = [
        Self::LightsOut,
        Self::LightsOn,
        Self::Asleep,
        Self::Awake,
        Self::Up,
        Self::Refitted,
        Self::Oxygen,
        Self::Support,
        Self::Alarm,
        Self::GasCheck,
        Self::BloodGas,
        Self::Note,
    ];

    /// The id used in notes files and JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::LightsOut => "lights_out",
            Self::LightsOn => "lights_on",
            Self::Asleep => "asleep",
            Self::Awake => "awake",
            Self::Up => "up",
            Self::Refitted => "refitted",
            Self::Oxygen => "oxygen",
            Self::Support => "support",
            Self::Alarm => "alarm",
            Self::GasCheck => "gas_check",
            Self::BloodGas => "blood_gas",
            Self::Note => "note",
        }
    }

    /// The kind with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.id() == id)
    }
}

/// A mark on the night.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// What it tells.
    pub kind: MarkKind,
    /// When, in seconds from the start.
    pub start_s: f64,
    /// Until when; `None` for a moment, or a state whose end nobody marked.
    pub end_s: Option<f64>,
    /// Free words, for instance an oxygen flow.
    pub text: String,
    /// Who said so.
    pub author: Author,
}

/// What kind of file a recording came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Delimited text.
    Text,
    /// European Data Format, 1992.
    Edf,
    /// EDF+, contiguous.
    EdfPlusC,
    /// EDF+, interrupted.
    EdfPlusD,
    /// The 24-bit sibling of EDF.
    Bdf,
    /// BDF with annotations, contiguous.
    BdfPlusC,
    /// BDF with annotations, interrupted.
    BdfPlusD,
    /// WFDB record.
    Wfdb,
    /// Made by the simulator, never a file.
    Made,
}

impl Format {
    /// The name to print.
    pub fn name(self) -> &'static str {
        match self {
            Self::Text => "delimited text",
            Self::Edf => "EDF",
            Self::EdfPlusC => "EDF+C",
            Self::EdfPlusD => "EDF+D",
            Self::Bdf => "BDF",
            Self::BdfPlusC => "BDF+C",
            Self::BdfPlusD => "BDF+D",
            Self::Wfdb => "WFDB",
            Self::Made => "made",
        }
    }
}

/// A night as the monitor wrote it.
///
/// Samples are never changed after reading: judgements lie over them. Patient names and numbers that a
/// file carries are not kept here.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// The kind of file.
    pub format: Format,
    /// Start and civil clock.
    pub clock: Clock,
    /// Length in seconds, gaps included.
    pub duration_s: f64,
    /// The channels, in the file's order; at most one each of `spo2`, `pulse` and `tcpco2`.
    pub channels: Vec<Channel>,
    /// Marks the file carried, in order of time.
    pub marks: Vec<Mark>,
    /// The monitor's own name or serial number, where the file tells it.
    pub monitor: Option<String>,
    /// What reading noticed.
    pub findings: Vec<Finding>,
    /// SHA-256 of the file's bytes, lowercase hexadecimal.
    pub input_sha256: String,
}

impl Recording {
    /// The first channel of a quantity.
    pub fn channel(&self, quantity: Quantity) -> Option<&Channel> {
        self.channels.iter().find(|channel| channel.quantity == quantity)
    }

    /// What looks like a scored quantity that the recording lacks and was not taken for it; `None` where the
    /// file holds nothing of the kind, so that "not recorded" may be said.
    pub fn not_taken(&self, quantity: Quantity) -> Option<&Finding> {
        let code = quantity.not_taken()?;
        self.findings.iter().find(|one| one.code == code && one.weight == Weight::Serious)
    }

    /// Why there is nothing of a quantity, in words: not recorded, or perhaps in the file and not read.
    pub fn lacks(&self, quantity: Quantity, name: &str) -> String {
        match self.not_taken(quantity) {
            Some(_) => format!("{name} was not read, though the file may hold it"),
            None => format!("the recording has no {name}"),
        }
    }

    /// The time of day; with its date outside the recording, where it would be read as one inside it.
    pub fn when(&self, at_s: f64) -> String {
        let dated = self.clock.date_known() && !self.whole().contains(at_s);
        let format = if dated { "%H:%M on %-d %B %Y" } else { "%H:%M" };
        self.clock.at(at_s).civil.strftime(format).to_string()
    }

    /// The whole recording as one stretch.
    pub fn whole(&self) -> Stretch {
        Stretch::new(0.0, self.duration_s)
    }
}
