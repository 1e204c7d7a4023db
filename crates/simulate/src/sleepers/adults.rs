//! Adults breathing air or oxygen. Numbers without a source are our choice, made to look as nights do.

use super::Named;
use crate::sensor::{Checks, Oximeter, Sensor};
use crate::sleeper::{
    Body, Breathing, Diary, Heart, Obstructive, Oxygen, Pattern, Periodic, Sleep, Sleeper,
};

pub(super) fn steady() -> Named {
    Named {
        id: "steady",
        sentence: "Healthy adult, one toilet visit, a monitor that behaves.",
        age_band: "adult",
        criteria: "adult-air",
        question: "night_gas_exchange",
        sleeper: Sleeper::healthy(),
        sensor: Sensor::ordinary(),
    }
}

pub(super) fn older() -> Named {
    Named {
        id: "older",
        sentence: "Healthy person of seventy: a point lower in saturation, light and broken sleep, two toilet visits.",
        sleeper: Sleeper {
            // `gries-1996`: median 95.1 ± 2.0 % over sixty.
            body: Body { gap_mmhg: 17.0, lung_to_ear_s: 12.0, ..Body::adult() },
            sleep: Sleep {
                toilet_visits: 2,
                wakes_per_h: 2.2,
                deep_first_min: 18.0,
                latency_min: 22.0,
                ..Sleep::ordinary()
            },
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 3.5,
                rem_per_h: 5.0,
                ..Obstructive::occasional()
            })],
            heart: Heart { awake_per_min: 64.0, arousal_rise_per_min: 7.0, ..Heart::healthy() },
            ..Sleeper::healthy()
        },
        ..steady()
    }
}

pub(super) fn sawtooth() -> Named {
    Named {
        id: "sawtooth",
        sentence: "Obstruction of middling degree, worse in REM-like sleep and in stretches through the night.",
        question: "repeated_falls",
        sleeper: Sleeper {
            body: Body { lung_l: 2.8, gap_mmhg: 11.0, ..Body::adult() },
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 22.0,
                deep_per_h: 5.0,
                rem_per_h: 32.0,
                apnoea_share: 0.5,
                partial_left_share: 0.28,
                length_s: 22.0,
                length_sd_s: 6.0,
                rem_longer: 1.35,
                arousal_share: 0.85,
                clustering: 0.6,
            })],
            heart: Heart { awake_per_min: 72.0, ..Heart::healthy() },
            ..Sleeper::healthy()
        },
        ..steady()
    }
}

pub(super) fn deep_sawtooth() -> Named {
    Named {
        id: "deep_sawtooth",
        sentence: "Severe obstruction nearly all night: long closures, deep falls, a strong pulse.",
        question: "repeated_falls",
        sleeper: Sleeper {
            body: Body {
                lung_l: 2.5,
                oxygen_use_l_per_min: 0.28,
                gap_mmhg: 15.0,
                shunt_share: 0.04,
                rem_gap_mmhg: 5.0,
                bicarbonate_mmol_per_l: 26.0,
                ..Body::adult()
            },
            breathing: Breathing {
                awake_mmhg: 41.0,
                asleep_response_share: 0.8,
                ..Breathing::healthy()
            },
            sleep: Sleep {
                deep_first_min: 8.0,
                toilet_visits: 2,
                wakes_per_h: 2.5,
                ..Sleep::ordinary()
            },
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 62.0,
                deep_per_h: 30.0,
                rem_per_h: 55.0,
                apnoea_share: 0.75,
                partial_left_share: 0.25,
                length_s: 25.0,
                length_sd_s: 5.0,
                rem_longer: 1.25,
                arousal_share: 0.95,
                clustering: 0.25,
            })],
            heart: Heart { awake_per_min: 80.0, noise_per_min: 1.5, ..Heart::healthy() },
            ..Sleeper::healthy()
        },
        ..steady()
    }
}

pub(super) fn paced_sawtooth() -> Named {
    let sawtooth = sawtooth();
    Named {
        id: "paced_sawtooth",
        sentence: "Obstruction with a paced heart: falls in saturation without any rise of pulse.",
        sleeper: Sleeper {
            heart: Heart { awake_per_min: 60.0, paced: true, ..Heart::healthy() },
            ..sawtooth.sleeper.clone()
        },
        ..sawtooth
    }
}

pub(super) fn weak_muscles() -> Named {
    Named {
        id: "weak_muscles",
        sentence: "Weak breathing muscles: by day near normal, shallow breathing in every REM-like phase.",
        criteria: "adult-neuromuscular",
        question: "support_needed",
        sleeper: Sleeper {
            body: Body {
                lung_l: 2.5,
                oxygen_use_l_per_min: 0.21,
                gap_mmhg: 10.0,
                rem_gap_mmhg: 5.0,
                bicarbonate_mmol_per_l: 27.0,
                ..Body::adult()
            },
            breathing: Breathing {
                awake_mmhg: 43.0,
                light_rise_mmhg: 4.5,
                deep_rise_mmhg: 5.0,
                rem_rise_mmhg: 15.0,
                asleep_response_share: 0.25,
                rem_wander_share: 0.2,
                rem_bouts_per_h: 28.0,
                rem_bout_left_share: 0.5,
                rem_bout_s: 38.0,
                ..Breathing::healthy()
            },
            events: vec![Pattern::Obstructive(Obstructive {
                rem_per_h: 4.0,
                ..Obstructive::occasional()
            })],
            heart: Heart { awake_per_min: 82.0, arousal_rise_per_min: 7.0, ..Heart::healthy() },
            ..Sleeper::healthy()
        },
        sensor: Sensor { checks: Checks::all(), ..Sensor::ordinary() },
        ..steady()
    }
}

pub(super) fn high_all_night() -> Named {
    Named {
        id: "high_all_night",
        sentence: "Very heavy person whose breathing is too shallow all night: CO2 high, saturation low, deeper in REM-like sleep.",
        question: "hypoventilation",
        sleeper: Sleeper {
            body: Body {
                lung_l: 2.1,
                oxygen_use_l_per_min: 0.34,
                output_l_per_min: 6.5,
                gap_mmhg: 13.0,
                shunt_share: 0.05,
                rem_gap_mmhg: 6.0,
                bicarbonate_mmol_per_l: 31.0,
                ..Body::adult()
            },
            breathing: Breathing {
                awake_mmhg: 48.5,
                light_rise_mmhg: 9.0,
                deep_rise_mmhg: 10.5,
                rem_rise_mmhg: 17.0,
                response_per_mmhg: 0.05,
                asleep_response_share: 0.4,
                rem_bouts_per_h: 18.0,
                rem_bout_left_share: 0.55,
                rem_bout_s: 35.0,
                ..Breathing::healthy()
            },
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 7.0,
                rem_per_h: 14.0,
                length_s: 18.0,
                ..Obstructive::occasional()
            })],
            heart: Heart { awake_per_min: 84.0, asleep_fall_per_min: 6.0, ..Heart::healthy() },
            ..Sleeper::healthy()
        },
        sensor: Sensor { checks: Checks::all(), ..Sensor::ordinary() },
        ..steady()
    }
}

pub(super) fn worn_lungs() -> Named {
    Named {
        id: "worn_lungs",
        sentence: "Worn lungs: saturation low from the start and lower asleep, CO2 a little high, few single falls.",
        question: "oxygenation",
        sleeper: Sleeper {
            body: Body {
                lung_l: 3.8,
                gap_mmhg: 33.0,
                shunt_share: 0.04,
                rem_gap_mmhg: 7.0,
                haemoglobin_g_per_dl: 15.5,
                bicarbonate_mmol_per_l: 27.5,
                lung_to_ear_s: 12.0,
                ..Body::adult()
            },
            breathing: Breathing {
                awake_mmhg: 44.0,
                // `midgren-1987`: the rise in lung disease is that of health.
                light_rise_mmhg: 3.5,
                deep_rise_mmhg: 4.0,
                rem_rise_mmhg: 5.5,
                rem_wander_share: 0.18,
                rem_bouts_per_h: 14.0,
                rem_bout_left_share: 0.65,
                rem_bout_s: 45.0,
                ..Breathing::healthy()
            },
            sleep: Sleep {
                wakes_per_h: 2.2,
                latency_min: 25.0,
                toilet_visits: 2,
                ..Sleep::ordinary()
            },
            heart: Heart {
                awake_per_min: 86.0,
                asleep_fall_per_min: 6.0,
                arousal_rise_per_min: 7.0,
                ..Heart::healthy()
            },
            ..Sleeper::healthy()
        },
        ..steady()
    }
}

pub(super) fn oxygen_started() -> Named {
    let worn = worn_lungs();
    Named {
        id: "oxygen_started",
        sentence: "Worn lungs again, oxygen from two hours after lights out: saturation up at once, CO2 up over the next hour.",
        question: "night_gas_exchange",
        sleeper: Sleeper {
            breathing: Breathing { awake_mmhg: 47.0, ..worn.sleeper.breathing.clone() },
            body: Body { bicarbonate_mmol_per_l: 29.5, ..worn.sleeper.body.clone() },
            oxygen: Some(Oxygen {
                from_h: 2.0,
                until_h: 24.0,
                flow_l_per_min: 2.0,
                fraction_per_l_per_min: 0.033,
                // `cf-oxygen-1984`: 5.1 mmHg more on low-flow oxygen.
                co2_rise_mmhg: 6.5,
            }),
            diary: Diary {
                breathing: "air, then 2 L/min oxygen".into(),
                ..worn.sleeper.diary.clone()
            },
            ..worn.sleeper
        },
        ..worn
    }
}

pub(super) fn tide() -> Named {
    let ordinary = Sensor::ordinary();
    Named {
        id: "tide",
        sentence: "Failing heart: breathing waxes and wanes about once a minute in light sleep, CO2 on the low side.",
        question: "repeated_falls",
        sleeper: Sleeper {
            body: Body {
                lung_l: 2.5,
                output_l_per_min: 3.8,
                gap_mmhg: 19.0,
                lung_to_ear_s: 24.0,
                ..Body::adult()
            },
            breathing: Breathing {
                awake_mmhg: 34.5,
                light_rise_mmhg: 1.0,
                deep_rise_mmhg: 2.0,
                rem_rise_mmhg: 2.5,
                ..Breathing::healthy()
            },
            sleep: Sleep {
                toilet_visits: 2,
                deep_first_min: 12.0,
                wakes_per_h: 2.0,
                ..Sleep::ordinary()
            },
            events: vec![Pattern::Periodic(Periodic {
                light_share: 0.7,
                cycle_s: 62.0,
                swing: 1.5,
            })],
            heart: Heart {
                awake_per_min: 74.0,
                asleep_fall_per_min: 4.0,
                arousal_rise_per_min: 5.0,
                ..Heart::healthy()
            },
            ..Sleeper::healthy()
        },
        sensor: Sensor { oximeter: Oximeter { averaging_s: 4, ..ordinary.oximeter }, ..ordinary },
        ..steady()
    }
}
