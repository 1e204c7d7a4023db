//! The oximeter: what the clip shows of a saturation and a pulse.

use crate::body::Night;
use crate::faults::{FaultSpan, Mishaps};
use crate::plan::{Plan, Stage, second};
use crate::random::{Random, Wander};
use crate::sensor::{Cause, Fault, Invalid, Oximeter};
use engine::recording::Quantity;
use engine::time::Stretch;

/// What the oximeter wrote, second by second, and where it was wrong.
#[derive(Debug)]
pub(crate) struct Reading {
    pub(crate) spo2: Vec<f64>,
    pub(crate) pulse: Vec<f64>,
    pub(crate) perfusion: Option<Vec<f64>>,
    pub(crate) spans: Vec<FaultSpan>,
}

/// Seconds for which the clip still shows something after it comes off (our choice).
const LETTING_GO_S: f64 = 4.0;
/// Seconds for which [`Invalid::Held`] holds.
const HELD_S: usize = 10;

pub(crate) fn read(
    oximeter: &Oximeter,
    night: &Night,
    plan: &Plan,
    mishaps: &Mishaps,
    seed: u64,
) -> Reading {
    let mut optics = Optics {
        spo2: night.spo2.clone(),
        pulse: night.pulse.clone(),
        perfusion: perfusion(oximeter, plan, seed),
        lost: vec![false; plan.seconds()],
        spans: Vec::new(),
    };
    let tail_s = f64::from(oximeter.averaging_s.max(oximeter.pulse_averaging_s));
    for fault in &mishaps.faults {
        let random =
            &mut Random::stream(seed, &format!("optics {} {}", fault.cause.id(), fault.start_s));
        optics.suffer(fault, tail_s, random);
    }
    let mut spo2 = averaged(&optics.spo2, oximeter.averaging_s);
    let mut pulse = averaged(&optics.pulse, oximeter.pulse_averaging_s);
    let random = &mut Random::stream(seed, "oximeter");
    let mut wander = Wander::new(40.0, 1.0);
    for value in &mut spo2 {
        let noise = if oximeter.noise_pct > 0.0 { wander.step(random) } else { 0.0 };
        let shown = *value + oximeter.bias_pct + oximeter.noise_pct * noise;
        *value = rounded(shown, oximeter.digit_pct).clamp(0.0, 100.0);
    }
    for value in &mut pulse {
        *value = rounded(*value, 1.0).max(0.0);
    }
    blank(oximeter.invalid, &optics.lost, &mut [&mut spo2, &mut pulse]);
    Reading { spo2, pulse, perfusion: optics.perfusion, spans: optics.spans }
}

/// What the light shows, before averaging.
struct Optics {
    spo2: Vec<f64>,
    pulse: Vec<f64>,
    perfusion: Option<Vec<f64>>,
    /// No reading at all.
    lost: Vec<bool>,
    spans: Vec<FaultSpan>,
}

impl Optics {
    fn suffer(&mut self, fault: &Fault, tail_s: f64, random: &mut Random) {
        let stretch = fault.stretch();
        let seen = Stretch::new(stretch.start_s, stretch.end_s + tail_s);
        match fault.cause {
            Cause::Off | Cause::Calibration => self.come_off(&stretch, fault.cause, tail_s),
            Cause::Slipped => {
                self.slip(fault, random);
                self.span("step", fault.cause, seen);
            }
            Cause::Motion => {
                self.shake(fault, random);
                self.span("motion", fault.cause, seen);
            }
            Cause::LowPerfusion => {
                self.fade(fault, random);
                self.span("low_perfusion", fault.cause, seen);
            }
            // The file and the electrode see to these.
            Cause::Frozen | Cause::Missing | Cause::Loosening => {}
        }
    }

    fn span(&mut self, reason: &'static str, cause: Cause, stretch: Stretch) {
        let end_s = stretch.end_s.min(self.spo2.len() as f64);
        let stretch = Stretch::new(stretch.start_s, end_s);
        for quantity in [Quantity::Spo2, Quantity::Pulse] {
            self.spans.push(FaultSpan { quantity, reason, cause: cause.id(), stretch });
        }
    }

    fn range(&self, stretch: &Stretch) -> std::ops::Range<usize> {
        second(stretch.start_s, self.spo2.len())..second(stretch.end_s, self.spo2.len())
    }

    fn dim(&mut self, i: usize, factor: f64) {
        if let Some(perfusion) = &mut self.perfusion {
            perfusion[i] *= factor;
        }
    }

    /// Off the ear: a few falling values, then none; the average needs its time to fill again.
    fn come_off(&mut self, stretch: &Stretch, cause: Cause, tail_s: f64) {
        for i in self.range(stretch) {
            let since_s = i as f64 - stretch.start_s;
            self.spo2[i] -= 2.5 * since_s.min(6.0);
            self.lost[i] |= since_s >= LETTING_GO_S || stretch.start_s <= 0.0;
            self.dim(i, 0.0);
        }
        let refill = Stretch::new(stretch.end_s, stretch.end_s + tail_s);
        for i in self.range(&refill) {
            self.lost[i] = true;
        }
        let reason = if cause == Cause::Calibration { "calibrating" } else { "off" };
        self.span(reason, cause, Stretch::new(stretch.start_s, refill.end_s));
    }

    /// A slipped clip: light passes beside the ear, so SpO2 reads low in steps and comes and goes.
    fn slip(&mut self, fault: &Fault, random: &mut Random) {
        let mut low_pct = 0.0;
        let mut gone = false;
        for i in self.range(&fault.stretch()) {
            if random.chance(1.0 / 25.0) || low_pct <= 0.0 {
                low_pct = fault.severity * random.between(4.0, 22.0);
            }
            let toggle = if gone { 1.0 / 8.0 } else { 1.0 / 40.0 };
            gone ^= random.chance(toggle);
            self.spo2[i] -= low_pct;
            self.pulse[i] += fault.severity * 14.0 * random.normal();
            self.lost[i] |= gone;
            self.dim(i, 0.3);
        }
    }

    /// A movement: SpO2 dips raggedly, pulse jumps, the pulsation is swamped.
    fn shake(&mut self, fault: &Fault, random: &mut Random) {
        let depth_pct = fault.severity * (1.0 + random.wait(3.0).min(14.0));
        let pulse_jump = fault.severity * random.between(-20.0, 35.0);
        let mut ragged = Wander::new(3.0, 1.0);
        for i in self.range(&fault.stretch()) {
            let share = (i as f64 - fault.start_s) / fault.length_s.max(1.0);
            let hollow = libm::sin(std::f64::consts::PI * share);
            self.spo2[i] -= depth_pct * hollow * (1.0 + 0.6 * ragged.step(random)).max(-0.2);
            self.pulse[i] += hollow * pulse_jump + 5.0 * fault.severity * random.normal();
            self.dim(i, 1.0 + 1.5 * (random.unit() - 0.4));
        }
    }

    /// Little pulsation: readings low and restless, now and then none.
    fn fade(&mut self, fault: &Fault, random: &mut Random) {
        let mut restless = Wander::new(12.0, 1.0);
        let mut gone = false;
        for i in self.range(&fault.stretch()) {
            let toggle = if gone { 1.0 / 10.0 } else { 1.0 / 60.0 };
            gone ^= random.chance(toggle);
            self.spo2[i] -= fault.severity * (1.5 + 2.5 * restless.step(random)).max(-1.0);
            self.pulse[i] += fault.severity * 6.0 * random.normal();
            self.lost[i] |= gone;
            self.dim(i, 0.1);
        }
    }
}

/// Perfusion index: wanders about its level and falls with each arousal, as vessels narrow.
fn perfusion(oximeter: &Oximeter, plan: &Plan, seed: u64) -> Option<Vec<f64>> {
    let level_pct = oximeter.perfusion_pct?;
    let random = &mut Random::stream(seed, "perfusion");
    let mut slow = Wander::new(1200.0, 1.0);
    let mut values: Vec<f64> = (0..plan.seconds())
        .map(|i| {
            let asleep = if plan.stages[i] >= Stage::Light { 1.15 } else { 0.9 };
            level_pct * asleep * libm::exp(0.25 * slow.step(random) + 0.04 * random.normal())
        })
        .collect();
    for arousal in &plan.arousals {
        for after in 0..30 {
            let Some(value) = values.get_mut(arousal.at_s + after) else { break };
            let x = after as f64 / 6.0;
            *value *= 1.0 - (0.35 * arousal.size).min(0.7) * x * libm::exp(1.0 - x);
        }
    }
    Some(values)
}

/// The mean of the last `over_s` seconds.
fn averaged(signal: &[f64], over_s: u32) -> Vec<f64> {
    let over = (over_s as usize).max(1);
    if over == 1 {
        return signal.to_vec();
    }
    let mut sum = 0.0;
    (0..signal.len())
        .map(|i| {
            sum += signal[i];
            if i >= over {
                sum -= signal[i - over];
            }
            sum / (i + 1).min(over) as f64
        })
        .collect()
}

/// To the nearest whole number of digits.
pub(crate) fn rounded(value: f64, digit: f64) -> f64 {
    if digit > 0.0 {
        // Dividing by a whole number of digits gives 0.1 · k its nearest double.
        let per_unit = (1.0 / digit).round().max(1.0);
        (value * per_unit).round() / per_unit
    } else {
        value
    }
}

/// Writes what the monitor writes when it has no reading.
fn blank(invalid: Invalid, lost: &[bool], channels: &mut [&mut Vec<f64>; 2]) {
    for channel in channels {
        let mut since = 0;
        let mut held = f64::NAN;
        for (value, &gone) in channel.iter_mut().zip(lost) {
            if !gone {
                since = 0;
                held = *value;
                continue;
            }
            since += 1;
            *value = match invalid {
                Invalid::Zero => 0.0,
                Invalid::Held if since <= HELD_S => held,
                Invalid::Held | Invalid::Empty => f64::NAN,
            };
        }
    }
}
