//! The truth of a made night: what a perfect sensor would have shown, and where the real one was wrong.

mod file;
mod summary;

pub use summary::Summary;
pub(crate) use summary::summary as summarise;

use crate::body::Night;
use crate::faults::FaultSpan;
use crate::plan::{EventKind, Plan, Stage, second};
use engine::recording::{Channel, Format, Quantity, Recording};
use engine::time::{Clock, Stretch};
use engine::unit::Unit;

/// One true disturbance of breathing and what it did to the saturation at the ear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// What kind.
    pub kind: EventKind,
    /// When breathing was disturbed.
    pub stretch: Stretch,
    /// When saturation at the ear began to fall, s.
    pub onset_s: f64,
    /// When it was lowest, s.
    pub nadir_s: f64,
    /// When it had come back to within 1 % of where it began, s; `None`: not within two minutes.
    pub recovered_s: Option<f64>,
    /// How far it fell, %.
    pub fall_pct: f64,
}

/// One fitting of the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueFitting {
    /// While it lasted.
    pub stretch: Stretch,
    /// Reading minus artery once settled and before drift, kPa.
    pub offset_kpa: f64,
    /// Peak of the overshoot, kPa.
    pub overshoot_kpa: f64,
}

impl From<&crate::faults::Fitting> for TrueFitting {
    fn from(fitting: &crate::faults::Fitting) -> Self {
        Self {
            stretch: fitting.stretch,
            offset_kpa: fitting.offset_kpa,
            overshoot_kpa: fitting.overshoot_kpa,
        }
    }
}

/// The truth of a made night. Every list of seconds starts at the recording's start.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Start and civil clock: the recording's.
    pub clock: Clock,
    /// The seed.
    pub seed: u64,
    /// Lights out to lights on.
    pub lights: Stretch,
    /// Stage of each second.
    pub stages: Vec<Stage>,
    /// Saturation of the blood at the ear each second, %: what a perfect oximeter would show.
    pub spo2: Vec<f64>,
    /// Arterial PCO2 each second, kPa.
    pub paco2_kpa: Vec<f64>,
    /// PCO2 at the skin each second, kPa: the artery after the delay and lag of this sensor, which is what
    /// it would show if nothing else were wrong.
    pub skin_pco2_kpa: Vec<f64>,
    /// Pulse each second, /min.
    pub pulse: Vec<f64>,
    /// Where the sensor was wrong, in order of start; spans may overlap.
    pub spans: Vec<FaultSpan>,
    /// Fittings of the sensor, in order.
    pub fittings: Vec<TrueFitting>,
    /// Settled reading of CO2 minus PCO2 at the skin (offset and drift) each second, kPa; NaN while off
    /// the ear.
    pub co2_error_kpa: Vec<f64>,
    /// Error of the electrode alone (drift) each second, kPa: what a gas check sees.
    pub drift_kpa: Vec<f64>,
    /// Disturbances of breathing, in order.
    pub events: Vec<Event>,
    /// Times out of bed.
    pub visits: Vec<Stretch>,
    /// When oxygen flowed.
    pub oxygen: Vec<Stretch>,
    /// When the ventilator was on the face.
    pub support: Vec<Stretch>,
    /// True figures of the night.
    pub summary: Summary,
}

impl Truth {
    /// The night as a perfect sensor would have recorded it: no rounding, noise, offset or fault.
    ///
    /// CO2 is that of the skin, as no sensor on the skin sees more; the artery's own is in `paco2_kpa`.
    pub fn perfect_recording(&self) -> Recording {
        let channel = |quantity: Quantity, unit: Unit, samples: &[f64]| Channel {
            id: quantity.id().to_owned(),
            quantity,
            file_label: quantity.name().to_owned(),
            file_unit: unit.symbol().to_owned(),
            unit,
            period_s: 1.0,
            offset_s: 0.0,
            samples: samples.into(),
        };
        let channels = vec![
            channel(Quantity::Spo2, Unit::Percent, &self.spo2),
            channel(Quantity::Pulse, Unit::PerMinute, &self.pulse),
            channel(Quantity::Tcpco2, Unit::Kilopascal, &self.skin_pco2_kpa),
        ];
        Recording {
            format: Format::Made,
            clock: self.clock.clone(),
            duration_s: self.stages.len() as f64,
            input_sha256: crate::sha256_of(&channels),
            channels,
            marks: Vec::new(),
            monitor: Some("perfect sensor".into()),
            findings: Vec::new(),
        }
    }

    /// Whether a second of a channel lies in any span.
    pub fn wrong(&self, quantity: Quantity) -> Vec<bool> {
        let mut wrong = vec![false; self.stages.len()];
        for span in self.spans.iter().filter(|span| span.quantity == quantity) {
            let from = second(span.stretch.start_s, wrong.len());
            let to = second(span.stretch.end_s.ceil(), wrong.len());
            wrong[from..to].fill(true);
        }
        wrong
    }

    /// The truth as a JSON document, `matins.truth/1`: the same bytes for the same night.
    pub fn to_json(&self) -> String {
        file::to_json(self)
    }
}

/// What each planned disturbance did at the ear.
pub(crate) fn events(plan: &Plan, night: &Night, lung_to_ear_s: f64) -> Vec<Event> {
    let count = night.spo2.len();
    plan.disturbances
        .iter()
        .map(|event| {
            let seen_s = event.stretch.start_s + lung_to_ear_s;
            let first = second(seen_s - 4.0, count);
            let last = second(event.stretch.end_s + lung_to_ear_s + 15.0, count).max(first + 1);
            let nadir = extreme(&night.spo2, first..last, |a, b| a < b);
            let onset = extreme(&night.spo2, first..nadir + 1, |a, b| a >= b);
            let at = |i: usize| night.spo2.get(i).copied().unwrap_or(f64::NAN);
            let recovered = (nadir..count.min(nadir + 120)).find(|&i| at(i) >= at(onset) - 1.0);
            Event {
                kind: event.kind,
                stretch: event.stretch,
                onset_s: onset as f64,
                nadir_s: nadir as f64,
                recovered_s: recovered.map(|i| i as f64),
                fall_pct: at(onset) - at(nadir),
            }
        })
        .collect()
}

/// Index of the extreme value in a range; the range's start when it is empty.
fn extreme(
    signal: &[f64],
    range: std::ops::Range<usize>,
    better: impl Fn(f64, f64) -> bool,
) -> usize {
    let mut best = range.start;
    for i in range.start..range.end.min(signal.len()) {
        if better(signal[i], signal[best]) {
            best = i;
        }
    }
    best
}
