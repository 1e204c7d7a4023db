//! `screen`: may this sample be believed?
//!
//! Samples are untouched; each channel gets spans with a reason and an author. A sample under any span
//! is not believed, unless a person put it back.

use crate::criteria::Criteria;
use crate::finding::Finding;
use crate::notes::Notes;
use crate::recording::{Author, Quantity, Recording};
use crate::time::Stretch;
use crate::trace::Trace;

/// Why a sample may not be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// The file holds no number.
    Missing,
    /// The sensor is off the ear.
    Off,
    /// CO2 has not settled after a fitting.
    Settling,
    /// A change faster than physiology.
    Step,
    /// A value no living person has.
    Implausible,
    /// Values frozen.
    Stuck,
    /// Movement.
    Motion,
    /// Too little pulsation.
    LowPerfusion,
    /// Air under the CO2 sensor.
    Leak,
    /// The monitor was calibrating.
    Calibrating,
    /// A person said so.
    ByPerson,
}

impl Reason {
    /// Every reason, in order.
    pub const ALL: [Self; 11] = [
        Self::Missing,
        Self::Off,
        Self::Settling,
        Self::Step,
        Self::Implausible,
        Self::Stuck,
        Self::Motion,
        Self::LowPerfusion,
        Self::Leak,
        Self::Calibrating,
        Self::ByPerson,
    ];

    /// The id used in JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Off => "off",
            Self::Settling => "settling",
            Self::Step => "step",
            Self::Implausible => "implausible",
            Self::Stuck => "stuck",
            Self::Motion => "motion",
            Self::LowPerfusion => "low_perfusion",
            Self::Leak => "leak",
            Self::Calibrating => "calibrating",
            Self::ByPerson => "by_person",
        }
    }

    /// The words a person reads.
    pub fn words(self) -> &'static str {
        match self {
            Self::Missing => "no value recorded",
            Self::Off => "sensor off",
            Self::Settling => "CO2 settling after fitting",
            Self::Step => "change too fast to be true",
            Self::Implausible => "value out of any living range",
            Self::Stuck => "value frozen",
            Self::Motion => "movement",
            Self::LowPerfusion => "too little pulsation",
            Self::Leak => "air under the sensor",
            Self::Calibrating => "monitor calibrating",
            Self::ByPerson => "excluded by the reader",
        }
    }
}

/// A stretch of one channel with a reason for disbelief.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Where.
    pub stretch: Stretch,
    /// Why.
    pub reason: Reason,
    /// Who said so.
    pub author: Author,
}

/// The judgement on one scored channel.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelScreen {
    /// The channel.
    pub quantity: Quantity,
    /// Spans of disbelief in order of start; spans of different reasons may overlap.
    pub spans: Vec<Span>,
    /// Whether each sample may be believed, persons' edits applied. Same length as the channel.
    pub believed: Vec<bool>,
}

/// What the analysis period stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PeriodBasis {
    /// Lights out and lights on were both marked.
    LightsMarked,
    /// Only one of them was; the recording's edge stands for the other.
    OneLightMarked,
    /// Neither was: the whole recording.
    WholeRecording,
}

/// The time to be scored: lights out to lights on, with time marked awake or up cut out.
#[derive(Clone, Debug, PartialEq)]
pub struct Period {
    /// Its stretches, in order.
    pub stretches: Vec<Stretch>,
    /// What it stands on.
    pub basis: PeriodBasis,
}

/// A recording with a judgement on every sample of `spo2`, `pulse` and `tcpco2`.
#[derive(Clone, Debug, PartialEq)]
pub struct Screened {
    /// The recording, untouched.
    pub recording: Recording,
    /// What came with it.
    pub notes: Notes,
    /// The time to be scored.
    pub period: Period,
    /// One judgement per scored channel that the recording has.
    pub channels: Vec<ChannelScreen>,
    /// What screening noticed.
    pub findings: Vec<Finding>,
}

impl Screened {
    /// The judgement on a channel.
    pub fn channel(&self, quantity: Quantity) -> Option<&ChannelScreen> {
        self.channels.iter().find(|channel| channel.quantity == quantity)
    }

    /// A channel as the scoring steps see it, uncorrected.
    pub fn trace(&self, quantity: Quantity) -> Option<Trace> {
        let channel = self.recording.channel(quantity)?;
        let screen = self.channel(quantity)?;
        let mut inside = vec![false; channel.samples.len()];
        for stretch in &self.period.stretches {
            inside[channel.indices(stretch)].fill(true);
        }
        Some(Trace {
            quantity,
            period_s: channel.period_s,
            offset_s: channel.offset_s,
            values: channel.samples.clone(),
            half_band: vec![0.0; channel.samples.len()],
            inside,
            believed: screen.believed.clone(),
        })
    }
}

/// Judges every sample of the scored channels.
pub fn screen(recording: Recording, notes: Notes, criteria: &Criteria) -> Screened {
    let _ = criteria;
    let period = Period { stretches: vec![recording.whole()], basis: PeriodBasis::WholeRecording };
    let channels = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2]
        .into_iter()
        .filter_map(|quantity| {
            let channel = recording.channel(quantity)?;
            let believed = channel.samples.iter().map(|x| x.is_finite()).collect();
            Some(ChannelScreen { quantity, spans: Vec::new(), believed })
        })
        .collect();
    Screened { recording, notes, period, channels, findings: Vec::new() }
}
