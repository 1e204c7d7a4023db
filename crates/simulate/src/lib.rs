//! A virtual sleeper and a virtual sensor: made nights with known truth, for the demo, the tests and the
//! figures of accuracy.
//!
//! ```text
//! Sleeper ─plan▶ stages, disturbances ─body▶ what is true ─oximeter, electrode▶ what the monitor writes
//! ```
//!
//! What this crate does not do: it knows nothing of how the engine screens, corrects, scores or judges,
//! so that the engine's answers can be held against its truth. It writes no file and reads no clock:
//! a made night follows from its sleeper, its sensor and its seed, byte for byte on every machine.
//!
//! A made night is written out by [`mod@write`], as a monitor would.
//!
//! The sleepers are models and no persons. Nothing here may be used to judge a patient.
//!
//! ```
//! let named = simulate::sleeper_named("steady").expect("in the table");
//! let made = simulate::night(&named.sleeper, &named.sensor, 1);
//! assert!(made.truth.summary.spo2_mean > 94.0);
//! ```

mod body;
mod electrode;
mod faults;
mod notes;
mod oximeter;
mod plan;
mod random;
mod sleepers;

pub mod sensor;
pub mod sleeper;
pub mod truth;
pub mod write;

pub use electrode::SETTLED_WITHIN_KPA;
pub use faults::FaultSpan;
pub use plan::{EventKind, Stage};
pub use sensor::Sensor;
pub use sleeper::Sleeper;
pub use sleepers::{Named, sleeper_named, sleepers};
pub use truth::Truth;

use engine::finding::{Finding, Weight};
use engine::recording::{Channel, Format, Quantity, Recording};
use engine::time::{Clock, Stretch};
use engine::unit::{Unit, kpa_from_mmhg, mmhg_from_kpa};
use faults::Mishaps;
use plan::{Plan, second};
use sensor::{Cause, Shows};
use sha2::{Digest, Sha256};
use truth::TrueFitting;

/// A made night.
#[derive(Clone, Debug)]
pub struct Made {
    /// What the monitor wrote.
    pub recording: Recording,
    /// What came with it, as a notes file.
    pub notes_toml: String,
    /// What was true.
    pub truth: Truth,
}

/// Makes a night. The same sleeper, sensor and seed give the same bytes.
pub fn night(sleeper: &Sleeper, sensor: &Sensor, seed: u64) -> Made {
    let plan = Plan::new(sleeper, seed);
    let mishaps = Mishaps::new(sensor, &plan, seed);
    let night = body::live(sleeper, &plan, seed);
    let optics = oximeter::read(&sensor.oximeter, &night, &plan, &mishaps, seed);
    let electrode = electrode::read(&sensor.electrode, &night, &mishaps, seed);
    let (clock, findings) = clock(sleeper);
    let notes_toml = notes::write(sleeper, sensor, (&plan, &night, &electrode), &clock, seed);
    let mut spans = optics.spans.clone();
    spans.extend(&electrode.spans);
    let channels = channels(sensor, &optics, &electrode, &mishaps, &mut spans);
    spans.sort_by(|a, b| a.stretch.start_s.total_cmp(&b.stretch.start_s));
    let recording = Recording {
        format: Format::Made,
        clock: clock.clone(),
        duration_s: plan.seconds() as f64,
        input_sha256: sha256_of(&channels),
        channels,
        marks: Vec::new(),
        monitor: Some("virtual sensor".into()),
        findings,
    };
    let events = truth::events(&plan, &night, sleeper.body.lung_to_ear_s);
    let truth = Truth {
        clock,
        seed,
        lights: Stretch::new(plan.lights_out_s as f64, plan.lights_on_s as f64),
        summary: truth::summarise(&plan, &night, &events),
        events,
        spans,
        fittings: mishaps.fittings.iter().map(TrueFitting::from).collect(),
        skin_pco2_kpa: electrode.skin_kpa,
        co2_error_kpa: electrode.error_kpa,
        drift_kpa: electrode.drift_kpa,
        stages: plan.stages,
        visits: plan.visits,
        oxygen: plan.oxygen,
        support: plan.support,
        spo2: night.spo2,
        paco2_kpa: night.paco2_kpa,
        pulse: night.pulse,
    };
    Made { recording, notes_toml, truth }
}

/// The clock of the night; without a zone when the sleeper's cannot be used, which is said.
fn clock(sleeper: &Sleeper) -> (Clock, Vec<Finding>) {
    let Some(name) = &sleeper.zone else { return (Clock::civil(sleeper.start), Vec::new()) };
    let trouble =
        match engine::time::zone_named(name).map(|zone| Clock::in_zone(sleeper.start, zone)) {
            Some(Ok(clock)) => return (clock, Vec::new()),
            Some(Err(error)) => error.to_string(),
            None => format!("{name} is not in the zone database"),
        };
    let sentence = format!("The night was made on a civil clock without a zone: {trouble}.");
    let finding = Finding::new("made_without_zone", Weight::Caution, sentence);
    (Clock::civil(sleeper.start), vec![finding])
}

/// What the monitor writes: values frozen and rows lost on the way, then rounded and thinned out.
fn channels(
    sensor: &Sensor,
    optics: &oximeter::Reading,
    electrode: &electrode::Reading,
    mishaps: &Mishaps,
    spans: &mut Vec<FaultSpan>,
) -> Vec<Channel> {
    let spo2_period_s = sensor.oximeter.period_s.max(1);
    let co2_period_s = sensor.electrode.period_s.max(1);
    let shown = electrode.co2_kpa.iter().map(|&kpa| show(kpa, sensor.electrode.shows)).collect();
    let co2_unit = match sensor.electrode.shows {
        Shows::Kpa => "kPa",
        Shows::Mmhg => "mmHg",
    };
    let mut written = vec![
        (Quantity::Spo2, Unit::Percent, "%", optics.spo2.clone(), spo2_period_s),
        (Quantity::Pulse, Unit::PerMinute, "/min", optics.pulse.clone(), spo2_period_s),
        (Quantity::Tcpco2, Unit::Kilopascal, co2_unit, shown, co2_period_s),
    ];
    if let Some(perfusion) = &optics.perfusion {
        let values = perfusion.iter().map(|&x| oximeter::rounded(x, 0.01)).collect();
        written.push((Quantity::Perfusion, Unit::Percent, "%", values, spo2_period_s));
    }
    written
        .into_iter()
        .map(|(quantity, unit, file_unit, mut samples, period_s)| {
            lose(&mut samples, quantity, mishaps, spans);
            Channel {
                id: quantity.id().to_owned(),
                quantity,
                unit,
                file_label: quantity.name().to_owned(),
                file_unit: file_unit.to_owned(),
                period_s: f64::from(period_s),
                offset_s: 0.0,
                samples: samples.into_iter().step_by(period_s as usize).collect(),
            }
        })
        .collect()
}

/// CO2 in kPa with the last digit that the monitor shows.
fn show(kpa: f64, shows: Shows) -> f64 {
    match shows {
        Shows::Kpa => oximeter::rounded(kpa, 0.01),
        Shows::Mmhg => kpa_from_mmhg(oximeter::rounded(mmhg_from_kpa(kpa), 0.1)),
    }
}

/// Freezes and loses rows of one channel, and writes down where.
fn lose(samples: &mut [f64], quantity: Quantity, mishaps: &Mishaps, spans: &mut Vec<FaultSpan>) {
    for (cause, reason) in [(Cause::Frozen, "stuck"), (Cause::Missing, "missing")] {
        for fault in mishaps.of(cause) {
            let stretch = fault.stretch();
            let range =
                second(stretch.start_s, samples.len())..second(stretch.end_s, samples.len());
            let held = samples.get(range.start).copied().unwrap_or(f64::NAN);
            samples[range].fill(if cause == Cause::Frozen { held } else { f64::NAN });
            spans.push(FaultSpan { quantity, reason, cause: cause.id(), stretch });
        }
    }
}

/// SHA-256 over the samples of every channel: a made night has no file to take it of.
fn sha256_of(channels: &[Channel]) -> String {
    let mut hash = Sha256::new();
    for channel in channels {
        hash.update(channel.id.as_bytes());
        for sample in channel.samples.iter() {
            hash.update(sample.to_bits().to_le_bytes());
        }
    }
    engine::hex(&hash.finalize())
}
