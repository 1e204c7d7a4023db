//! The body: gas stores that follow breathing, and the pulse.
//!
//! One lung holds both gases. Oxygen is stored in one pool of blood and falls within seconds; CO2 is
//! stored in a quick pool and a slow one and moves over minutes. Stepped by Euler's rule every half
//! second (a quarter in an infant), well under the quickest time constant of the lung.

use crate::plan::{Plan, Stage};
use crate::random::{Random, Wander};
use crate::sleeper::Body;
use crate::sleeper::Sleeper;
use engine::gas;

/// Litres of gas at body temperature that one litre dry at 0 °C makes at 1 mmHg (textbook, from memory).
const BODY_GAS_MMHG: f64 = 863.0;
/// Oxygen carried by a gram of haemoglobin, L (Hüfner's number, from memory).
const OXYGEN_L_PER_G: f64 = 0.00134;
/// CO2 carried by a litre of blood for each mmHg, L (from memory; set within its range by
/// `kobayashi-1994`).
const CO2_L_PER_L_MMHG: f64 = 0.005;
/// Oxygen in dry air.
const AIR_OXYGEN: f64 = 0.2093;
/// Steps in a second, and in an infant's, whose stores move within a second.
const STEPS: usize = 2;
const STEPS_SMALL: usize = 4;
/// Lung store under which the small steps are taken, L.
const SMALL_LUNG_L: f64 = 0.3;

/// What the body did, second by second.
#[derive(Clone, Debug)]
pub(crate) struct Night {
    /// Saturation of the blood at the ear, %.
    pub(crate) spo2: Vec<f64>,
    /// Arterial PCO2, kPa.
    pub(crate) paco2_kpa: Vec<f64>,
    /// Pulse, /min.
    pub(crate) pulse: Vec<f64>,
}

pub(crate) fn live(sleeper: &Sleeper, plan: &Plan, seed: u64) -> Night {
    let drive = Drive::new(sleeper, plan);
    let mut stores = Stores::at_rest(sleeper);
    // Half an hour of quiet breathing before the recording settles the stores.
    for _ in 0..1800 {
        stores.second(&sleeper.body, &Moment::quiet(&drive, 0));
    }
    let mut left_lung = Vec::with_capacity(plan.seconds());
    let mut paco2_kpa = Vec::with_capacity(plan.seconds());
    for i in 0..plan.seconds() {
        stores.second(&sleeper.body, &Moment::of(&drive, plan, i));
        left_lung.push(100.0 * stores.arterial);
        paco2_kpa.push(engine::unit::kpa_from_mmhg(stores.co2_mmhg));
    }
    let spo2 = delayed(&left_lung, sleeper.body.lung_to_ear_s);
    let pulse = pulse(sleeper, plan, seed);
    Night { spo2, paco2_kpa, pulse }
}

/// A signal that arrives later; its first value stands before it arrives.
pub(crate) fn delayed(signal: &[f64], by_s: f64) -> Vec<f64> {
    let by = crate::plan::second(by_s, signal.len());
    (0..signal.len()).map(|i| signal[i.saturating_sub(by)]).collect()
}

/// What breathing aims at, second by second.
struct Drive {
    awake_mmhg: f64,
    target_mmhg: Vec<f64>,
    response_per_mmhg: Vec<f64>,
    oxygen: Vec<f64>,
    gap_mmhg: Vec<f64>,
    burn_share: Vec<f64>,
}

impl Drive {
    fn new(sleeper: &Sleeper, plan: &Plan) -> Self {
        let breathing = &sleeper.breathing;
        let body = &sleeper.body;
        let asleep_response = breathing.response_per_mmhg * breathing.asleep_response_share;
        let by_stage = |stage: Stage| match stage {
            Stage::Up => (-0.5, breathing.response_per_mmhg, 0.0, 1.5),
            Stage::Awake => (0.0, breathing.response_per_mmhg, 0.0, 1.0),
            Stage::Light => (breathing.light_rise_mmhg, asleep_response, 0.0, body.asleep_share),
            Stage::Deep => (breathing.deep_rise_mmhg, asleep_response, 0.0, body.asleep_share),
            Stage::Rem => (
                breathing.rem_rise_mmhg,
                0.7 * asleep_response,
                body.rem_gap_mmhg,
                body.asleep_share,
            ),
        };
        let mut drive = Self {
            awake_mmhg: breathing.awake_mmhg,
            target_mmhg: Vec::with_capacity(plan.seconds()),
            response_per_mmhg: Vec::with_capacity(plan.seconds()),
            oxygen: vec![AIR_OXYGEN; plan.seconds()],
            gap_mmhg: Vec::with_capacity(plan.seconds()),
            burn_share: Vec::with_capacity(plan.seconds()),
        };
        for &stage in &plan.stages {
            let (rise_mmhg, response, rem_gap_mmhg, burn) = by_stage(stage);
            drive.target_mmhg.push(breathing.awake_mmhg + rise_mmhg);
            drive.response_per_mmhg.push(response);
            drive.gap_mmhg.push(body.gap_mmhg + rem_gap_mmhg);
            drive.burn_share.push(burn);
        }
        drive.treat(sleeper, plan);
        drive
    }

    /// Oxygen raises what is breathed in and lets CO2 rise; a ventilator takes the aim over.
    fn treat(&mut self, sleeper: &Sleeper, plan: &Plan) {
        if let Some(oxygen) = &sleeper.oxygen {
            let on = plan.seconds_in(&plan.oxygen);
            for i in (0..on.len()).filter(|&i| on[i]) {
                self.oxygen[i] += oxygen.flow_l_per_min * oxygen.fraction_per_l_per_min;
                self.target_mmhg[i] += oxygen.co2_rise_mmhg;
            }
        }
        if let Some(support) = &sleeper.support {
            let on = plan.seconds_in(&plan.support);
            for i in (0..on.len()).filter(|&i| on[i]) {
                self.target_mmhg[i] = support.holds_mmhg;
                self.response_per_mmhg[i] = 0.0;
            }
        }
        soften(&mut self.target_mmhg);
        soften(&mut self.gap_mmhg);
        soften(&mut self.burn_share);
    }
}

/// Changes of stage take about half a minute, not a second.
fn soften(signal: &mut [f64]) {
    let Some(&first) = signal.first() else { return };
    let mut value = first;
    for sample in signal {
        value += (*sample - value) / 30.0;
        *sample = value;
    }
}

/// What acts on the stores during one second.
struct Moment {
    target_mmhg: f64,
    response_per_mmhg: f64,
    airflow: f64,
    oxygen: f64,
    gap_mmhg: f64,
    burn_share: f64,
}

impl Moment {
    fn of(drive: &Drive, plan: &Plan, i: usize) -> Self {
        Self { airflow: plan.airflow[i], ..Self::quiet(drive, i) }
    }

    fn quiet(drive: &Drive, i: usize) -> Self {
        Self {
            target_mmhg: drive.target_mmhg.get(i).copied().unwrap_or(drive.awake_mmhg),
            response_per_mmhg: drive.response_per_mmhg.get(i).copied().unwrap_or(0.0),
            airflow: 1.0,
            oxygen: drive.oxygen.get(i).copied().unwrap_or(AIR_OXYGEN),
            gap_mmhg: drive.gap_mmhg.get(i).copied().unwrap_or(0.0),
            burn_share: drive.burn_share.get(i).copied().unwrap_or(1.0),
        }
    }
}

/// What the stores hold.
struct Stores {
    /// Alveolar PO2, mmHg.
    oxygen_mmhg: f64,
    /// Alveolar and arterial PCO2, mmHg.
    co2_mmhg: f64,
    quick_mmhg: f64,
    slow_mmhg: f64,
    /// Saturation of venous blood.
    venous: f64,
    /// Saturation of arterial blood.
    arterial: f64,
}

impl Stores {
    fn at_rest(sleeper: &Sleeper) -> Self {
        let co2_mmhg = sleeper.breathing.awake_mmhg;
        Self {
            oxygen_mmhg: 95.0,
            co2_mmhg,
            quick_mmhg: co2_mmhg + 5.0,
            slow_mmhg: co2_mmhg + 6.0,
            venous: 0.7,
            arterial: 0.96,
        }
    }

    fn second(&mut self, body: &Body, moment: &Moment) {
        let ph = gas::ph_from(body.bicarbonate_mmol_per_l, self.co2_mmhg, gas::CO2_SOLUBILITY);
        // How far acid or alkaline blood moves the curve hardly changes within a second.
        let per_ph = gas::ln_po2_per_ph(self.oxygen_mmhg);
        let shift = libm::exp(-per_ph * (ph - gas::STANDARD_PH));
        let steps = if body.lung_l < SMALL_LUNG_L { STEPS_SMALL } else { STEPS };
        for _ in 0..steps {
            self.step(body, moment, shift, 1.0 / (60.0 * steps as f64));
        }
    }

    fn step(&mut self, body: &Body, moment: &Moment, shift: f64, min: f64) {
        let oxygen_use = body.oxygen_use_l_per_min * moment.burn_share;
        let co2_made = oxygen_use * body.respiratory_quotient;
        // The ventilation that would hold the target for ever, and the answer to standing above it.
        let error_mmhg = self.co2_mmhg - moment.target_mmhg;
        let answer = (1.0 + moment.response_per_mmhg * error_mmhg).clamp(0.3, 4.0);
        let ventilation = BODY_GAS_MMHG * co2_made / moment.target_mmhg * answer * moment.airflow;
        self.oxygen(body, moment, shift, (ventilation, oxygen_use), min);
        self.co2(body, ventilation, co2_made, min);
    }

    fn oxygen(&mut self, body: &Body, moment: &Moment, shift: f64, flows: (f64, f64), min: f64) {
        let (ventilation, oxygen_use) = flows;
        let inspired_mmhg = moment.oxygen * (body.barometer_mmhg - gas::WATER_VAPOUR_MMHG);
        // The gap shrinks as the curve grows steep: a share of the tension, not a constant.
        let gap_mmhg = moment.gap_mmhg * (self.oxygen_mmhg / 100.0).min(1.5);
        let capillary = gas::saturation_from_po2((self.oxygen_mmhg - gap_mmhg) * shift);
        self.arterial = (1.0 - body.shunt_share) * capillary + body.shunt_share * self.venous;
        let carried = 10.0 * body.haemoglobin_g_per_dl * OXYGEN_L_PER_G;
        let uptake = body.output_l_per_min * carried * (self.arterial - self.venous);
        // Less gas leaves than enters, as less CO2 is made than oxygen used: inspired volume is larger.
        let extra = moment.airflow.min(1.0)
            * oxygen_use
            * (1.0 - body.respiratory_quotient)
            * BODY_GAS_MMHG
            / (body.barometer_mmhg - gas::WATER_VAPOUR_MMHG);
        let inflow = (ventilation + extra) * inspired_mmhg - ventilation * self.oxygen_mmhg;
        self.oxygen_mmhg += min * (inflow - BODY_GAS_MMHG * uptake) / body.lung_l;
        self.oxygen_mmhg = self.oxygen_mmhg.max(1.0);
        self.venous += min * (uptake - oxygen_use) / (body.venous_blood_l * carried);
        self.venous = self.venous.clamp(0.02, 1.0);
    }

    fn co2(&mut self, body: &Body, ventilation: f64, made: f64, min: f64) {
        let to_quick = body.output_l_per_min * (1.0 - body.slow_share) * CO2_L_PER_L_MMHG;
        let to_slow = body.output_l_per_min * body.slow_share * CO2_L_PER_L_MMHG;
        let from_quick = to_quick * (self.quick_mmhg - self.co2_mmhg);
        let from_slow = to_slow * (self.slow_mmhg - self.co2_mmhg);
        let lung = (body.lung_l + body.lung_tissue_l) / BODY_GAS_MMHG;
        let washed = ventilation * self.co2_mmhg / BODY_GAS_MMHG;
        self.co2_mmhg += min * (from_quick + from_slow - washed) / lung;
        // Muscle makes its share of the CO2 by its share of the blood.
        let slow_made = made * body.slow_share;
        self.quick_mmhg += min * (made - slow_made - from_quick) / body.quick_co2_l_per_mmhg;
        self.slow_mmhg += min * (slow_made - from_slow) / body.slow_co2_l_per_mmhg;
    }
}

/// Pulse: slower asleep and toward the small hours, lively in REM-like sleep, a rise with each arousal.
fn pulse(sleeper: &Sleeper, plan: &Plan, seed: u64) -> Vec<f64> {
    let heart = &sleeper.heart;
    let random = &mut Random::stream(seed, "pulse");
    if heart.paced {
        // A beat early or late now and then: the reading flickers by one.
        let mut flicker = Wander::new(8.0, 1.0);
        return (0..plan.seconds())
            .map(|_| heart.awake_per_min + 0.35 * flicker.step(random))
            .collect();
    }
    let rises = rises(plan);
    let (mut slow, mut quick) = (Wander::new(600.0, 1.0), Wander::new(12.0, 1.0));
    let mut base = heart.awake_per_min;
    (0..plan.seconds())
        .map(|i| {
            let (aim, lively) = match plan.stages[i] {
                Stage::Up => (heart.awake_per_min + 18.0, 1.5),
                Stage::Awake => (heart.awake_per_min, 1.3),
                Stage::Light => (heart.awake_per_min - heart.asleep_fall_per_min, 1.0),
                Stage::Deep => (heart.awake_per_min - 1.1 * heart.asleep_fall_per_min, 0.7),
                Stage::Rem => (heart.awake_per_min - 0.6 * heart.asleep_fall_per_min, 1.9),
            };
            base += (aim - base) / 40.0;
            // Lowest about two thirds into the night, by 3 /min (from memory).
            let share = i as f64 / plan.seconds() as f64;
            let night = -3.0 * libm::sin(std::f64::consts::PI * (share * 1.1).min(1.0));
            let noise = lively * heart.noise_per_min * (1.4 * quick.step(random) + random.normal());
            let rise = heart.arousal_rise_per_min * rises[i];
            (base + night + 1.8 * slow.step(random) + 0.7 * noise + rise).clamp(30.0, 200.0)
        })
        .collect()
}

/// The sum of all arousals' rises, 1 at the top of an ordinary one: up in 5 s, gone in about 20 s.
fn rises(plan: &Plan) -> Vec<f64> {
    let mut rises: Vec<f64> = vec![0.0; plan.seconds()];
    for arousal in &plan.arousals {
        for after in 0..40 {
            let Some(rise) = rises.get_mut(arousal.at_s + after) else { break };
            // x·e^(1 − x) peaks at 1 when x = 1.
            let x = after as f64 / 5.0;
            *rise = rise.max(arousal.size * x * libm::exp(1.0 - x));
        }
    }
    // The heart slows a little while an airway is closed.
    for event in &plan.disturbances {
        if event.kind == crate::plan::EventKind::Obstructive {
            let from = crate::plan::second(event.stretch.start_s + 4.0, plan.seconds());
            let to = crate::plan::second(event.stretch.end_s, plan.seconds());
            rises[from.min(to)..to].iter_mut().for_each(|rise| *rise -= 0.3);
        }
    }
    rises
}
