//! The CO2 electrode: lag, settling after each fitting, offset, drift, and the air that gets under it.

use crate::body::{Night, delayed};
use crate::faults::{FaultSpan, Fitting, Mishaps};
use crate::plan::second;
use crate::random::{Random, Wander};
use crate::sensor::{Cause, Electrode};
use engine::recording::Quantity;
use engine::time::Stretch;

/// What the electrode shows in room air, kPa (0.04 % of CO2 reads as nothing; our choice).
const ROOM_KPA: f64 = 0.06;
/// Time constant with which an electrode lifted off falls to room air, s (from memory: a minute or two).
const FALL_S: f64 = 28.0;
/// What the calibrating gas reads, kPa: about 7.5 % of CO2 at 101 kPa, moist (from memory).
pub(crate) const GAS_KPA: f64 = 7.13;
/// Settled: the error of settling is under this for good, kPa. It defines the end of a settling span.
pub const SETTLED_WITHIN_KPA: f64 = 0.1;

/// What the electrode wrote, second by second, where it was wrong and by how much it was off.
#[derive(Debug)]
pub(crate) struct Reading {
    pub(crate) co2_kpa: Vec<f64>,
    pub(crate) spans: Vec<FaultSpan>,
    /// PCO2 at the skin, each second: the artery after delay and lag.
    pub(crate) skin_kpa: Vec<f64>,
    /// Settled reading minus PCO2 at the skin, each second; NaN while not on the ear.
    pub(crate) error_kpa: Vec<f64>,
    /// Error of the electrode itself, each second: what a gas check sees.
    pub(crate) drift_kpa: Vec<f64>,
}

pub(crate) fn read(electrode: &Electrode, night: &Night, mishaps: &Mishaps, seed: u64) -> Reading {
    let skin = lagged(&delayed(&night.paco2_kpa, electrode.delay_s), electrode.lag_s);
    let drift_kpa = drift(electrode, mishaps, skin.len(), seed);
    let sag = sag(mishaps, skin.len());
    let mut reading = Reading {
        co2_kpa: vec![f64::NAN; skin.len()],
        spans: Vec::new(),
        error_kpa: vec![f64::NAN; skin.len()],
        skin_kpa: Vec::new(),
        drift_kpa,
    };
    let mut gas = vec![false; skin.len()];
    for fault in mishaps.of(Cause::Calibration) {
        let stretch = fault.stretch();
        gas[second(stretch.start_s, skin.len())..second(stretch.end_s, skin.len())].fill(true);
    }
    let random = &mut Random::stream(seed, "electrode");
    let mut shown = ROOM_KPA;
    let mut at = 0;
    for fitting in &mishaps.fittings {
        let from = second(fitting.stretch.start_s, skin.len());
        shown = reading.lie_off(at..from, shown, &gas);
        let settle =
            Settle::new(electrode, fitting, shown, skin.get(from).copied().unwrap_or(shown));
        at = second(fitting.stretch.end_s, skin.len());
        for i in from..at {
            let error_kpa = fitting.offset_kpa + reading.drift_kpa[i];
            let since_s = (i - from) as f64;
            let level = skin[i] + error_kpa + settle.error_kpa(since_s);
            reading.error_kpa[i] = error_kpa;
            reading.co2_kpa[i] = ROOM_KPA + (level - ROOM_KPA).max(0.0) * sag[i];
        }
        shown = if at > from { reading.co2_kpa[at - 1] } else { shown };
        reading.settling_span(&settle, fitting);
    }
    reading.lie_off(at..skin.len(), shown, &gas);
    if electrode.noise_kpa > 0.0 {
        let noise =
            |value: &mut f64| *value = (*value + electrode.noise_kpa * random.normal()).max(0.0);
        reading.co2_kpa.iter_mut().for_each(noise);
    }
    reading.fault_spans(mishaps, &skin, &sag);
    reading.skin_kpa = skin;
    reading
}

impl Reading {
    /// Falls to room air, or to the calibrating gas; returns what is shown at the end.
    fn lie_off(&mut self, range: std::ops::Range<usize>, mut shown: f64, gas: &[bool]) -> f64 {
        let keep = libm::exp(-1.0 / FALL_S);
        for i in range {
            let level = if gas[i] { GAS_KPA } else { ROOM_KPA };
            shown = level + (shown - level) * keep;
            self.co2_kpa[i] = shown;
        }
        shown
    }

    fn settling_span(&mut self, settle: &Settle, fitting: &Fitting) {
        let end_s = (fitting.stretch.start_s + settle.settled_after_s()).min(fitting.stretch.end_s);
        self.span("settling", "fitting", Stretch::new(fitting.stretch.start_s, end_s));
    }

    fn fault_spans(&mut self, mishaps: &Mishaps, skin: &[f64], sag: &[f64]) {
        for fault in &mishaps.faults {
            let stretch = fault.stretch();
            match fault.cause {
                Cause::Off => self.span("off", "off", stretch),
                Cause::Calibration => self.span("calibrating", "calibration", stretch),
                Cause::Loosening => {
                    // Wrong from where it costs more than settling may, not from the first breath of air.
                    let range =
                        second(stretch.start_s, skin.len())..second(stretch.end_s, skin.len());
                    let wrong = |i: &usize| skin[*i] * (1.0 - sag[*i]) >= SETTLED_WITHIN_KPA;
                    if let Some(from) = range.clone().find(wrong) {
                        self.span("leak", "loosening", Stretch::new(from as f64, stretch.end_s));
                    }
                }
                _ => {}
            }
        }
    }

    fn span(&mut self, reason: &'static str, cause: &'static str, stretch: Stretch) {
        let end_s = stretch.end_s.min(self.co2_kpa.len() as f64);
        let stretch = Stretch::new(stretch.start_s, end_s);
        if stretch.length_s() > 0.0 {
            self.spans.push(FaultSpan { quantity: Quantity::Tcpco2, reason, cause, stretch });
        }
    }
}

/// A first-order lag.
fn lagged(signal: &[f64], lag_s: f64) -> Vec<f64> {
    if lag_s <= 0.0 {
        return signal.to_vec();
    }
    let take = 1.0 - libm::exp(-1.0 / lag_s);
    let mut value = signal.first().copied().unwrap_or(f64::NAN);
    signal
        .iter()
        .map(|sample| {
            value += take * (sample - value);
            value
        })
        .collect()
}

/// Straight drift since the start or the last calibration, with a slow wander about it.
fn drift(electrode: &Electrode, mishaps: &Mishaps, count: usize, seed: u64) -> Vec<f64> {
    let random = &mut Random::stream(seed, "drift");
    let per_8h = electrode.drift_kpa_per_8h
        + electrode.drift_sd_kpa_per_8h * random.normal().clamp(-2.5, 2.5);
    // Stepping the slow wander once a minute and joining the steps is enough, and sixty times quicker.
    let mut wander = Wander::new(3600.0, 60.0);
    let steps: Vec<f64> =
        (0..count / 60 + 2).map(|_| electrode.wander_kpa * wander.step(random)).collect();
    let calibrated: Vec<f64> =
        mishaps.of(Cause::Calibration).map(|fault| fault.stretch().end_s).collect();
    let mut since_s = 0.0;
    (0..count)
        .map(|i| {
            if let Some(&last) = calibrated.iter().rfind(|&&end_s| end_s <= i as f64) {
                since_s = last;
            }
            let share = (i % 60) as f64 / 60.0;
            let slow = steps[i / 60] * (1.0 - share) + steps[i / 60 + 1] * share;
            per_8h * (i as f64 - since_s) / 28_800.0 + slow
        })
        .collect()
}

/// Share of the level that is left as air creeps under the sensor.
fn sag(mishaps: &Mishaps, count: usize) -> Vec<f64> {
    let mut left = vec![1.0; count];
    for fault in mishaps.of(Cause::Loosening) {
        let depth = (0.45 * fault.severity).min(0.9);
        let range = second(fault.start_s, count)..second(fault.stretch().end_s, count);
        for (k, left) in left[range].iter_mut().enumerate() {
            let share = k as f64 / fault.length_s.max(1.0);
            // Slow at first, as the air creeps in, then quicker, then slow again.
            *left *= 1.0 - depth * share * share * (3.0 - 2.0 * share);
        }
    }
    left
}

/// How one fitting settles: an approach from what was shown before, and an overshoot.
struct Settle {
    start_kpa: f64,
    approach_s: f64,
    overshoot_kpa: f64,
    overshoot_s: f64,
}

impl Settle {
    fn new(electrode: &Electrode, fitting: &Fitting, shown_kpa: f64, skin_kpa: f64) -> Self {
        let settle_s = 60.0 * electrode.settle_min;
        let mut settle = Self {
            start_kpa: shown_kpa - skin_kpa - fitting.offset_kpa,
            // A tenth and a third of the time to settle leave under 0.1 kPa at its end (our choice).
            approach_s: settle_s / 10.0,
            overshoot_kpa: fitting.overshoot_kpa,
            overshoot_s: settle_s / 3.0,
        };
        settle.overshoot_kpa = settle.size_for(fitting.overshoot_kpa);
        settle
    }

    /// Shown minus settled, kPa, so long after the fitting.
    fn error_kpa(&self, since_s: f64) -> f64 {
        if self.approach_s <= 0.0 {
            return 0.0;
        }
        let x = since_s / self.overshoot_s;
        self.start_kpa * libm::exp(-since_s / self.approach_s)
            + self.overshoot_kpa * x * libm::exp(1.0 - x)
    }

    /// The size of the overshoot term that makes the curve peak as asked above the settled level: more
    /// than asked, as the approach still pulls down when the term peaks.
    fn size_for(&self, peak_kpa: f64) -> f64 {
        if peak_kpa <= 0.0 || self.approach_s <= 0.0 {
            return 0.0;
        }
        let peak_of = |size: f64| {
            let tried = Self { overshoot_kpa: size, ..*self };
            (0..120)
                .map(|k| tried.error_kpa(f64::from(k) * self.overshoot_s / 30.0))
                .skip(1)
                .fold(f64::MIN, f64::max)
        };
        let (mut low, mut high) = (0.0, peak_kpa + self.start_kpa.abs());
        for _ in 0..24 {
            let middle = 0.5 * (low + high);
            if peak_of(middle) < peak_kpa { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    }

    /// Seconds after which the error stays under [`SETTLED_WITHIN_KPA`].
    fn settled_after_s(&self) -> f64 {
        let most_s = 10.0 * self.overshoot_s;
        let mut since_s = most_s.floor();
        while since_s > 0.0 && self.error_kpa(since_s).abs() < SETTLED_WITHIN_KPA {
            since_s -= 1.0;
        }
        if most_s > 0.0 { since_s + 1.0 } else { 0.0 }
    }
}
