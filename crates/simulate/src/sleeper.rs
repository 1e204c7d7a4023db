//! The virtual sleeper: everything that is true of the person and of the night, before any sensor.
//!
//! Each number names its source: a key of `docs/sources.md`, `from memory` (textbook physiology not
//! checked against a paper by anyone here) or `our choice` (made so that nights look as nights do).

use jiff::civil::{DateTime, date};
use serde::{Deserialize, Serialize};

/// A person and one of their nights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sleeper {
    /// When the recording starts, on the wall clock.
    pub start: DateTime,
    /// IANA name of the time zone; `None`: a civil clock only.
    pub zone: Option<String>,
    /// Gas stores and circulation.
    pub body: Body,
    /// How breathing is driven, awake and in each kind of sleep.
    pub breathing: Breathing,
    /// When and how the person sleeps.
    pub sleep: Sleep,
    /// Disturbances of breathing that come again and again.
    pub events: Vec<Pattern>,
    /// Pulse.
    pub heart: Heart,
    /// Oxygen during the night, if any.
    pub oxygen: Option<Oxygen>,
    /// Ventilation during the night, if any.
    pub support: Option<Support>,
    /// What the person writes down.
    pub diary: Diary,
}

/// Gas stores and circulation.
///
/// Oxygen: one lung and one pool of blood. CO2: lung, a quick pool (blood and well-perfused organs) and
/// a slow one (muscle).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Body {
    /// Oxygen store of lung and arterial blood, as litres of gas, lying down (from memory; set so that
    /// falls have the published slope, `fall-slopes-abstract`).
    pub lung_l: f64,
    /// Oxygen used at rest awake, L/min dry at 0 °C (from memory).
    pub oxygen_use_l_per_min: f64,
    /// CO2 given out for each oxygen used (from memory).
    pub respiratory_quotient: f64,
    /// What sleep leaves of the metabolic rate, as a share (from memory).
    pub asleep_share: f64,
    /// Cardiac output, L/min (from memory).
    pub output_l_per_min: f64,
    /// Haemoglobin, g/dL.
    pub haemoglobin_g_per_dl: f64,
    /// Blood that holds the body's oxygen store, L (from memory).
    pub venous_blood_l: f64,
    /// CO2 held by lung tissue, as litres of gas added to the lung (from memory).
    pub lung_tissue_l: f64,
    /// CO2 capacity of blood and well-perfused organs, L/mmHg (set by `kobayashi-1994`).
    pub quick_co2_l_per_mmhg: f64,
    /// CO2 capacity of muscle, L/mmHg (from memory).
    pub slow_co2_l_per_mmhg: f64,
    /// Share of the cardiac output that passes muscle (from memory).
    pub slow_share: f64,
    /// Gap from alveolar to arterial PO2 at a PO2 of 100 mmHg, mmHg.
    pub gap_mmhg: f64,
    /// Share of blood that passes the lung without meeting air.
    pub shunt_share: f64,
    /// Gap added in REM-like sleep, mmHg: the lung is smaller there.
    pub rem_gap_mmhg: f64,
    /// Time from the lung to the ear, s (8 in children to 30 in heart failure, from memory).
    pub lung_to_ear_s: f64,
    /// Bicarbonate, mmol/L: it sets the pH at each PCO2.
    pub bicarbonate_mmol_per_l: f64,
    /// Barometric pressure, mmHg.
    pub barometer_mmhg: f64,
}

impl Body {
    /// A grown person of about 75 kg.
    pub fn adult() -> Self {
        Self {
            lung_l: 3.0,
            oxygen_use_l_per_min: 0.26,
            respiratory_quotient: 0.8,
            asleep_share: 0.88,
            output_l_per_min: 5.0,
            haemoglobin_g_per_dl: 14.5,
            venous_blood_l: 3.2,
            lung_tissue_l: 0.0,
            quick_co2_l_per_mmhg: 0.03,
            slow_co2_l_per_mmhg: 0.12,
            slow_share: 0.12,
            gap_mmhg: 8.0,
            shunt_share: 0.02,
            rem_gap_mmhg: 1.0,
            lung_to_ear_s: 10.0,
            bicarbonate_mmol_per_l: 25.0,
            barometer_mmhg: 755.0,
        }
    }

    /// A child of about eight years and 26 kg: small stores, quick falls.
    pub fn child() -> Self {
        Self {
            lung_l: 1.1,
            oxygen_use_l_per_min: 0.155,
            output_l_per_min: 3.4,
            haemoglobin_g_per_dl: 13.0,
            venous_blood_l: 1.4,
            lung_tissue_l: 0.0,
            quick_co2_l_per_mmhg: 0.013,
            slow_co2_l_per_mmhg: 0.04,
            gap_mmhg: 5.0,
            shunt_share: 0.01,
            lung_to_ear_s: 7.0,
            bicarbonate_mmol_per_l: 24.0,
            ..Self::adult()
        }
    }
}

impl Body {
    /// An infant of 5 kg, born early: the store of oxygen lasts a few seconds.
    pub fn infant() -> Self {
        Self {
            lung_l: 0.075,
            oxygen_use_l_per_min: 0.045,
            output_l_per_min: 1.2,
            haemoglobin_g_per_dl: 11.5,
            venous_blood_l: 0.28,
            quick_co2_l_per_mmhg: 0.0028,
            slow_co2_l_per_mmhg: 0.009,
            gap_mmhg: 7.0,
            shunt_share: 0.02,
            lung_to_ear_s: 4.0,
            bicarbonate_mmol_per_l: 22.5,
            ..Self::child()
        }
    }
}

/// How breathing is driven.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Breathing {
    /// Arterial PCO2 awake and at rest, mmHg.
    pub awake_mmhg: f64,
    /// Rise of the level that breathing holds in light sleep, mmHg (`midgren-1987`: 6 at most in health).
    pub light_rise_mmhg: f64,
    /// The same in deep sleep.
    pub deep_rise_mmhg: f64,
    /// The same in REM-like sleep.
    pub rem_rise_mmhg: f64,
    /// Ventilation added for each mmHg of PCO2 above that level, as a share, awake (from memory).
    pub response_per_mmhg: f64,
    /// What is left of that response asleep, as a share (from memory).
    pub asleep_response_share: f64,
    /// Standard deviation of ventilation over a minute or so, as a share (our choice).
    pub wander_share: f64,
    /// The same in REM-like sleep.
    pub rem_wander_share: f64,
    /// Bouts of shallow breathing an hour in REM-like sleep, and how deep they cut (our choice).
    pub rem_bouts_per_h: f64,
    /// Share of ventilation left in such a bout.
    pub rem_bout_left_share: f64,
    /// Mean length of such a bout, s.
    pub rem_bout_s: f64,
}

impl Breathing {
    /// A healthy adult.
    pub fn healthy() -> Self {
        Self {
            awake_mmhg: 39.5,
            light_rise_mmhg: 3.6,
            deep_rise_mmhg: 4.4,
            rem_rise_mmhg: 5.2,
            response_per_mmhg: 0.1,
            asleep_response_share: 0.5,
            wander_share: 0.06,
            rem_wander_share: 0.13,
            rem_bouts_per_h: 6.0,
            rem_bout_left_share: 0.65,
            rem_bout_s: 20.0,
        }
    }
}

/// When and how the person sleeps. All numbers are our choice, shaped by textbook sleep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sleep {
    /// From the start of the recording to lights out, min.
    pub to_lights_out_min: f64,
    /// From lights out to sleep, min, on average.
    pub latency_min: f64,
    /// From lights out to lights on, h.
    pub in_bed_h: f64,
    /// From lights on to the end of the recording, min.
    pub after_lights_on_min: f64,
    /// Length of a sleep cycle, min, on average.
    pub cycle_min: f64,
    /// Length of the first REM-like phase, min.
    pub rem_first_min: f64,
    /// How much longer each following one is, min.
    pub rem_longer_min: f64,
    /// Length of the first deep phase, min; each following one is half as long.
    pub deep_first_min: f64,
    /// Short awakenings an hour of sleep.
    pub wakes_per_h: f64,
    /// Their mean length, min.
    pub wake_min: f64,
    /// Arousals an hour of sleep that no breathing event explains.
    pub arousals_per_h: f64,
    /// Times out of bed, spread over the night.
    pub toilet_visits: u32,
    /// Length of each, min.
    pub visit_min: f64,
}

impl Sleep {
    /// An ordinary adult night of eight hours in bed.
    pub fn ordinary() -> Self {
        Self {
            to_lights_out_min: 35.0,
            latency_min: 14.0,
            in_bed_h: 8.0,
            after_lights_on_min: 15.0,
            cycle_min: 92.0,
            rem_first_min: 9.0,
            rem_longer_min: 7.0,
            deep_first_min: 32.0,
            wakes_per_h: 1.2,
            wake_min: 2.5,
            arousals_per_h: 9.0,
            toilet_visits: 1,
            visit_min: 5.0,
        }
    }

    /// An infant's night: short cycles, half of the sleep REM-like, woken for feeds.
    pub fn infant() -> Self {
        Self {
            in_bed_h: 9.0,
            cycle_min: 52.0,
            rem_first_min: 23.0,
            rem_longer_min: 0.5,
            deep_first_min: 14.0,
            wakes_per_h: 0.35,
            wake_min: 14.0,
            ..Self::child()
        }
    }

    /// A child's night: ten hours, deep and seldom broken.
    pub fn child() -> Self {
        Self {
            in_bed_h: 9.5,
            latency_min: 18.0,
            cycle_min: 85.0,
            deep_first_min: 45.0,
            wakes_per_h: 0.5,
            wake_min: 1.5,
            arousals_per_h: 6.0,
            toilet_visits: 0,
            ..Self::ordinary()
        }
    }
}

/// A disturbance of breathing that comes again and again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "pattern", rename_all = "snake_case")]
pub enum Pattern {
    /// The airway closes, wholly or partly, and an arousal opens it.
    Obstructive(Obstructive),
    /// Breathing waxes and wanes with a fixed cycle, in light sleep.
    Periodic(Periodic),
}

/// Repeated obstruction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Obstructive {
    /// Events an hour of light sleep, on average over the night.
    pub light_per_h: f64,
    /// Events an hour of deep sleep.
    pub deep_per_h: f64,
    /// Events an hour of REM-like sleep.
    pub rem_per_h: f64,
    /// Share of events in which nothing passes; the others let some air through.
    pub apnoea_share: f64,
    /// Mean share of ventilation that a partial event lets through.
    pub partial_left_share: f64,
    /// Mean length, s.
    pub length_s: f64,
    /// Standard deviation of the length, s.
    pub length_sd_s: f64,
    /// How much longer events are in REM-like sleep, as a factor (`rem-apnoea-1985`: longer).
    pub rem_longer: f64,
    /// Share of events that end in an arousal.
    pub arousal_share: f64,
    /// How unevenly the night is laid out: 0 even; 1 long quiet stretches between bad ones.
    pub clustering: f64,
}

/// Periodic breathing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Periodic {
    /// Share of light sleep in which it goes on.
    pub light_share: f64,
    /// Length of a cycle, s.
    pub cycle_s: f64,
    /// Swing about the mean as a share; above 1 breathing stops at the trough.
    pub swing: f64,
}

/// Pulse.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heart {
    /// Pulse at rest awake, /min.
    pub awake_per_min: f64,
    /// Fall in sleep, /min (from memory).
    pub asleep_fall_per_min: f64,
    /// Standard deviation from second to second, /min (our choice).
    pub noise_per_min: f64,
    /// Rise with an arousal, /min (`pitson-1994`: 10.3).
    pub arousal_rise_per_min: f64,
    /// Whether a pacemaker sets the rhythm: no rises at all.
    pub paced: bool,
}

impl Heart {
    /// A healthy adult.
    pub fn healthy() -> Self {
        Self {
            awake_per_min: 68.0,
            asleep_fall_per_min: 9.0,
            noise_per_min: 1.1,
            arousal_rise_per_min: 10.3,
            paced: false,
        }
    }
}

/// Oxygen by cannula.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Oxygen {
    /// From lights out to the start, h; negative: on before.
    pub from_h: f64,
    /// From lights out to the end, h.
    pub until_h: f64,
    /// Flow, L/min.
    pub flow_l_per_min: f64,
    /// Inspired oxygen added by each L/min, as a fraction (from memory).
    pub fraction_per_l_per_min: f64,
    /// Rise of the level of CO2 that breathing holds, mmHg (`cf-oxygen-1984`: 5.1 with low flow).
    pub co2_rise_mmhg: f64,
}

/// Ventilation by mask.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Support {
    /// From lights out to the start, h; negative: on before.
    pub from_h: f64,
    /// From lights out to the end, h; switched off at every time out of bed too.
    pub until_h: f64,
    /// Arterial PCO2 that the machine holds when the mask is tight, mmHg.
    pub holds_mmhg: f64,
    /// Bouts of mask leak an hour of sleep.
    pub leaks_per_h: f64,
    /// Mean length of a leak, min.
    pub leak_min: f64,
    /// Share of ventilation left in a leak.
    pub leak_left_share: f64,
    /// Words for the diary: mode and pressures.
    pub setting: String,
}

/// What the person writes down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Diary {
    /// Whether times out of bed are written down.
    pub visits_noted: bool,
    /// How far a written time may lie from the true one, min, either way.
    pub error_min: f64,
    /// Was it a usual night? `None`: not answered.
    pub representative: Option<bool>,
    /// What was breathed, in words.
    pub breathing: String,
}

impl Sleeper {
    /// A healthy adult on an ordinary night.
    pub fn healthy() -> Self {
        Self {
            start: date(2026, 1, 13).at(21, 55, 0, 0),
            zone: Some("Europe/London".into()),
            body: Body::adult(),
            breathing: Breathing::healthy(),
            sleep: Sleep::ordinary(),
            events: vec![Pattern::Obstructive(Obstructive::occasional())],
            heart: Heart::healthy(),
            oxygen: None,
            support: None,
            diary: Diary {
                visits_noted: true,
                error_min: 1.0,
                representative: Some(true),
                breathing: "air".into(),
            },
        }
    }

    /// A healthy child on an ordinary night.
    pub fn healthy_child() -> Self {
        Self {
            start: date(2026, 1, 13).at(19, 10, 0, 0),
            body: Body::child(),
            breathing: Breathing {
                awake_mmhg: 38.5,
                light_rise_mmhg: 2.0,
                deep_rise_mmhg: 2.5,
                rem_rise_mmhg: 3.0,
                ..Breathing::healthy()
            },
            sleep: Sleep::child(),
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 0.8,
                deep_per_h: 0.3,
                rem_per_h: 2.5,
                length_s: 9.0,
                length_sd_s: 2.0,
                ..Obstructive::occasional()
            })],
            heart: Heart {
                awake_per_min: 92.0,
                asleep_fall_per_min: 14.0,
                noise_per_min: 2.4,
                ..Heart::healthy()
            },
            ..Self::healthy()
        }
    }
}

impl Obstructive {
    /// The few events a healthy adult has.
    pub fn occasional() -> Self {
        Self {
            light_per_h: 1.2,
            deep_per_h: 0.2,
            rem_per_h: 3.0,
            apnoea_share: 0.25,
            partial_left_share: 0.35,
            length_s: 15.0,
            length_sd_s: 4.0,
            rem_longer: 1.2,
            arousal_share: 0.5,
            clustering: 0.3,
        }
    }
}
