//! `screen`: may this sample be believed?
//!
//! Samples are untouched; each channel gets spans with a reason and an author. A sample under any span
//! is not believed, unless a person put it back.
//!
//! Each reason stands in its own file with its physiology, its source and what differs by age. Limits
//! come from the criteria set only. Every reason is linear in the number of samples.

use std::ops::Range;

use crate::criteria::Criteria;
use crate::finding::Finding;
use crate::notes::Notes;
use crate::recording::{Author, Channel, Quantity, Recording};
use crate::time::Stretch;
use crate::trace::Trace;

mod approach;
mod bend;
mod calibrating;
mod doubts;
mod edits;
mod excursion;
mod fitting;
mod frozen;
mod implausible;
mod lag;
mod leak;
mod look;
mod loosening;
mod low_perfusion;
mod missing;
mod motion;
mod off;
mod oximeter;
mod peak;
mod period;
mod settling;
mod signs;
mod slip;
mod steady;
mod step;
mod stuck;
mod summary;
mod tcpco2;
mod told;
mod visits;

pub use lag::Lag;

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
    /// How far CO2 lies behind SpO2, or why that cannot be told.
    pub co2_lag: Result<Lag, String>,
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
            values: channel.samples.to_vec(),
            band: vec![crate::trace::Band::default(); channel.samples.len()],
            inside,
            believed: screen.believed.clone(),
        })
    }
}

/// The channels that are judged, in order.
const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// Judges every sample of the scored channels.
pub fn screen(recording: Recording, notes: Notes, criteria: &Criteria) -> Screened {
    let look = look::Look::new(&recording, &notes, &criteria.screen);
    let (period, mut findings) = period::find(&look, &notes);
    let (told, unused) = told::find(&look);
    findings.extend(unused);
    let scored: Vec<&Channel> =
        SCORED.iter().filter_map(|&quantity| look.channel(quantity)).collect();
    findings.extend(edits::findings(&notes.edits, &scored));
    let (co2, off, noticed) = look
        .channel(Quantity::Tcpco2)
        .map(|channel| tcpco2::find(&look, channel, &told))
        .unwrap_or_default();
    findings.extend(noticed);
    let mut channels = Vec::with_capacity(scored.len());
    for channel in scored {
        let mut spans = match channel.quantity {
            Quantity::Tcpco2 => co2.clone(),
            _ => oximeter::find(&look, channel, &off),
        };
        spans.extend(told_spans(channel, &told));
        let judged = believe(channel, spans, &notes);
        findings.extend(summary::finding(channel, &judged, &period));
        channels.push(judged);
    }
    findings.extend(visits::findings(&look, &off));
    findings.extend(steady::findings(&look, &channels));
    let co2_lag = lag::find(&recording, &channels, &criteria.screen);
    findings.extend(co2_lag.iter().map(lag::finding));
    Screened { recording, notes, period, channels, co2_lag, findings }
}

/// A span over samples of a channel.
fn span(channel: &Channel, run: &Range<usize>, reason: Reason, author: Author) -> Span {
    let stretch = Stretch::new(channel.time_s(run.start), channel.time_s(run.end));
    Span { stretch, reason, author }
}

fn told_spans(channel: &Channel, told: &[told::Told]) -> Vec<Span> {
    told.iter()
        .filter(|note| note.quantities.contains(&channel.quantity))
        .map(|note| (channel.indices(&note.stretch), note))
        .filter(|(run, _)| !run.is_empty())
        .map(|(run, note)| span(channel, &run, note.reason, note.author.clone()))
        .collect()
}

/// Belief from the spans, then from the persons' edits.
fn believe(channel: &Channel, mut spans: Vec<Span>, notes: &Notes) -> ChannelScreen {
    let mut believed = vec![true; channel.samples.len()];
    for span in &spans {
        believed[channel.indices(&span.stretch)].fill(false);
    }
    edits::apply(&notes.edits, channel, &mut spans, &mut believed);
    spans.sort_by(|a, b| {
        a.stretch.start_s.total_cmp(&b.stretch.start_s).then(a.reason.cmp(&b.reason))
    });
    ChannelScreen { quantity: channel.quantity, spans, believed }
}
