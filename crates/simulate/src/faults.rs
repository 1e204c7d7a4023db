//! What goes wrong in one night, laid out in time: mishaps, fittings, and what must not be believed.

use crate::plan::{Plan, Stage, second};
use crate::random::Random;
use crate::sensor::{Cause, Fault, Overshoot, Sensor};
use engine::recording::Quantity;
use engine::time::Stretch;
use engine::unit::kpa_from_mmhg;

/// A stretch of one channel that shows something other than the truth, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaultSpan {
    /// The channel.
    pub quantity: Quantity,
    /// The reason a reader of the night should find: `off`, `settling`, `step`, `stuck`, `motion`,
    /// `low_perfusion`, `leak`, `calibrating` or `missing`.
    pub reason: &'static str,
    /// What went wrong: a [`Cause`]'s id, or `fitting`.
    pub cause: &'static str,
    /// Where.
    pub stretch: Stretch,
}

/// A stretch during which the sensor sits on the ear without being touched.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fitting {
    pub(crate) stretch: Stretch,
    /// Reading minus artery once settled, before drift.
    pub(crate) offset_kpa: f64,
    /// Peak of the overshoot.
    pub(crate) overshoot_kpa: f64,
}

/// Everything that goes wrong.
#[derive(Clone, Debug)]
pub(crate) struct Mishaps {
    /// In order of start.
    pub(crate) faults: Vec<Fault>,
    /// In order of start; none overlap.
    pub(crate) fittings: Vec<Fitting>,
}

impl Mishaps {
    pub(crate) fn new(sensor: &Sensor, plan: &Plan, seed: u64) -> Self {
        let worn = Stretch::new(
            sensor.fitted_after_s.max(0.0),
            plan.seconds() as f64 - sensor.removed_before_end_s.max(0.0),
        );
        let mut faults = sensor.faults.clone();
        faults.extend(at_visits(sensor, plan, &mut Random::stream(seed, "visits")));
        for cause in Cause::ALL {
            let random = &mut Random::stream(seed, cause.id());
            faults.extend(by_chance(sensor, plan, cause, &worn, random));
        }
        faults.push(off(0.0, worn.start_s));
        faults.push(off(worn.end_s, plan.seconds() as f64));
        let faults = apart(&faults, plan.seconds() as f64);
        let fittings = fittings(sensor, &faults, plan, &mut Random::stream(seed, "fittings"));
        Self { faults, fittings }
    }

    /// The stretches of one cause, in order.
    pub(crate) fn of(&self, cause: Cause) -> impl Iterator<Item = &Fault> {
        self.faults.iter().filter(move |fault| fault.cause == cause)
    }
}

impl Fault {
    /// Where it is.
    pub fn stretch(&self) -> Stretch {
        Stretch::new(self.start_s, self.start_s + self.length_s)
    }
}

/// Joins the times off the ear and cuts every other mishap by them: an absent clip cannot slip.
fn apart(faults: &[Fault], end_s: f64) -> Vec<Fault> {
    let stretches = |cause: Cause| -> Vec<Stretch> {
        let within = |f: &Fault| Stretch::new(f.start_s.max(0.0), f.stretch().end_s.min(end_s));
        faults.iter().filter(|fault| fault.cause == cause).map(within).collect()
    };
    let off_ear = engine::time::join(stretches(Cause::Off));
    let mut away = off_ear.clone();
    away.extend(stretches(Cause::Calibration));
    let mut kept: Vec<Fault> = off_ear.iter().map(|s| off(s.start_s, s.end_s)).collect();
    for fault in faults.iter().filter(|fault| fault.cause != Cause::Off) {
        let cut = if fault.cause == Cause::Calibration { &off_ear } else { &away };
        for left in engine::time::without(&[fault.stretch()], cut) {
            kept.push(Fault { start_s: left.start_s, length_s: left.length_s(), ..*fault });
        }
    }
    kept.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    kept
}

fn off(from_s: f64, to_s: f64) -> Fault {
    Fault { cause: Cause::Off, start_s: from_s, length_s: to_s - from_s, severity: 1.0 }
}

/// The clip comes off for a time out of bed and goes on again after it.
fn at_visits(sensor: &Sensor, plan: &Plan, random: &mut Random) -> Vec<Fault> {
    let mut faults = Vec::new();
    for visit in &plan.visits {
        let comes_off = random.chance(sensor.off_at_visits_share);
        let from_s = (visit.start_s + random.between(-20.0, 15.0)).floor();
        let to_s = (visit.end_s + random.between(20.0, 120.0)).floor();
        if comes_off {
            faults.push(off(from_s, to_s));
        }
    }
    faults
}

/// Mishaps of one cause, at their rate.
fn by_chance(
    sensor: &Sensor,
    plan: &Plan,
    cause: Cause,
    worn: &Stretch,
    random: &mut Random,
) -> Vec<Fault> {
    let per_h = sensor.rates.per_h(cause);
    let mut faults = Vec::new();
    let mut ready_s = worn.start_s + 60.0;
    for i in second(ready_s, plan.seconds())..second(worn.end_s, plan.seconds()) {
        let awake = cause == Cause::Motion && plan.stages[i] <= Stage::Awake;
        let chance = per_h / 3600.0 * if awake { 4.0 } else { 1.0 };
        if (i as f64) < ready_s || !random.chance(chance) {
            continue;
        }
        let length_s = length_s(cause, sensor, random).floor();
        let end_s = (i as f64 + length_s).min(worn.end_s);
        let severity = random.around(1.0, 0.3, 0.4);
        faults.push(Fault { cause, start_s: i as f64, length_s: end_s - i as f64, severity });
        ready_s = end_s + 5.0;
    }
    faults
}

/// How long a mishap lasts. All our choice.
fn length_s(cause: Cause, sensor: &Sensor, random: &mut Random) -> f64 {
    match cause {
        Cause::Off => 60.0 * random.around(sensor.rates.off_min, 0.5 * sensor.rates.off_min, 2.0),
        Cause::Slipped => 60.0 * random.between(4.0, 30.0),
        Cause::Loosening => 60.0 * random.between(20.0, 70.0),
        Cause::Motion => 8.0 + random.wait(16.0).min(90.0),
        Cause::LowPerfusion => 60.0 * random.between(2.0, 15.0),
        Cause::Frozen => 60.0 * random.between(4.0, 20.0),
        Cause::Missing => 3.0 + random.wait(25.0).min(240.0),
        Cause::Calibration => 60.0 * random.between(5.0, 8.0),
    }
}

/// The sensor sits anew after each time off, each calibration and each time it is pressed on again.
fn fittings(sensor: &Sensor, faults: &[Fault], plan: &Plan, random: &mut Random) -> Vec<Fitting> {
    let away: Vec<Stretch> = faults
        .iter()
        .filter(|fault| matches!(fault.cause, Cause::Off | Cause::Calibration))
        .map(Fault::stretch)
        .collect();
    let whole = [Stretch::new(0.0, plan.seconds() as f64)];
    let mut stretches = Vec::new();
    for stretch in engine::time::without(&whole, &away) {
        let mut from_s = stretch.start_s;
        for fault in faults.iter().filter(|fault| fault.cause == Cause::Loosening) {
            let pressed_on_s = fault.stretch().end_s;
            if from_s < pressed_on_s && pressed_on_s < stretch.end_s {
                stretches.push(Stretch::new(from_s, pressed_on_s));
                from_s = pressed_on_s;
            }
        }
        stretches.push(Stretch::new(from_s, stretch.end_s));
    }
    let electrode = &sensor.electrode;
    let mut offset_kpa =
        electrode.offset_kpa + electrode.offset_sd_kpa * random.normal().clamp(-2.5, 2.5);
    stretches
        .into_iter()
        .map(|stretch| {
            let fitting = Fitting {
                stretch,
                offset_kpa,
                overshoot_kpa: overshoot_kpa(electrode.overshoot, random),
            };
            offset_kpa += electrode.refit_sd_kpa * random.normal().clamp(-2.5, 2.5);
            fitting
        })
        .collect()
}

/// Overshoot of one fitting, kPa.
///
/// The published shares are none 31 %, 0.1–1.9 mmHg 36.3 %, 2–4.9 mmHg 22 % and 5 mmHg or more 10 %;
/// the missing 0.7 % is counted as none, and the last class is taken up to 8 mmHg (our choice).
///
/// # Sources
/// `domingo-2010`
fn overshoot_kpa(overshoot: Overshoot, random: &mut Random) -> f64 {
    let Overshoot::Fixed { peak_mmhg } = overshoot else {
        let class = random.unit();
        let mmhg = if class < 0.317 {
            0.0
        } else if class < 0.680 {
            random.between(0.1, 1.9)
        } else if class < 0.900 {
            random.between(2.0, 4.9)
        } else {
            random.between(5.0, 8.0)
        };
        return kpa_from_mmhg(mmhg);
    };
    kpa_from_mmhg(peak_mmhg)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shares of `domingo-2010` over 20,000 fittings; a share's standard error is at most 0.0035.
    #[test]
    fn overshoot_has_its_published_shares() {
        let mut random = Random::stream(3, "overshoot");
        let draws: Vec<f64> =
            (0..20_000).map(|_| overshoot_kpa(Overshoot::Published, &mut random)).collect();
        let share = |low: f64, high: f64| {
            draws.iter().filter(|&&x| x > kpa_from_mmhg(low) && x <= kpa_from_mmhg(high)).count()
                as f64
                / 20_000.0
        };
        for (low, high, expected) in [(0.0, 1.95, 0.363), (1.95, 4.95, 0.22), (4.95, 9.0, 0.10)] {
            assert!((share(low, high) - expected).abs() < 0.015, "{low} to {high} mmHg");
        }
    }
}
