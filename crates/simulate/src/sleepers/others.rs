//! Children, people on ventilation, and nights on which the sensor is the story.

use super::Named;
use super::adults;
use crate::sensor::{
    Cause, Checks, Electrode, Fault, FaultRates, Invalid, Oximeter, Sensor, Shows, Taken,
};
use crate::sleeper::{
    Body, Breathing, Diary, Heart, Obstructive, Pattern, Periodic, Sleep, Sleeper, Support,
};

pub(super) fn steady_child() -> Named {
    let ordinary = Sensor::ordinary();
    Named {
        id: "steady_child",
        sentence: "Healthy child of eight: quick small stores, lively pulse, hardly a fall.",
        age_band: "child",
        criteria: "child",
        question: "repeated_falls",
        sleeper: Sleeper::healthy_child(),
        sensor: Sensor { oximeter: Oximeter { averaging_s: 2, ..ordinary.oximeter }, ..ordinary },
    }
}

pub(super) fn falling_child() -> Named {
    let steady = steady_child();
    Named {
        id: "falling_child",
        sentence: "Child with a narrow throat: clusters of quick, deep falls in REM-like sleep.",
        sleeper: Sleeper {
            events: vec![Pattern::Obstructive(Obstructive {
                light_per_h: 4.0,
                deep_per_h: 1.0,
                rem_per_h: 45.0,
                apnoea_share: 0.55,
                partial_left_share: 0.25,
                length_s: 13.0,
                length_sd_s: 4.0,
                rem_longer: 1.2,
                arousal_share: 0.6,
                clustering: 0.4,
            })],
            body: Body { gap_mmhg: 7.0, lung_l: 1.0, ..Body::child() },
            ..steady.sleeper.clone()
        },
        ..steady
    }
}

pub(super) fn quick_infant() -> Named {
    let steady = steady_child();
    let closed = Obstructive {
        light_per_h: 4.0,
        deep_per_h: 1.0,
        rem_per_h: 12.0,
        apnoea_share: 0.7,
        length_s: 8.5,
        length_sd_s: 2.5,
        arousal_share: 0.3,
        ..Obstructive::occasional()
    };
    Named {
        id: "quick_infant",
        sentence: "Infant born early: true falls of several per cent a second, periodic breathing, woken for feeds.",
        age_band: "infant",
        criteria: "infant",
        question: "oxygenation",
        sleeper: Sleeper {
            body: Body::infant(),
            breathing: Breathing { awake_mmhg: 37.0, ..steady.sleeper.breathing.clone() },
            sleep: Sleep::infant(),
            events: vec![
                Pattern::Obstructive(closed),
                Pattern::Periodic(Periodic { light_share: 0.2, cycle_s: 15.0, swing: 1.3 }),
            ],
            heart: Heart {
                awake_per_min: 138.0,
                asleep_fall_per_min: 16.0,
                noise_per_min: 2.8,
                ..Heart::healthy()
            },
            diary: Diary { visits_noted: false, ..steady.sleeper.diary.clone() },
            ..steady.sleeper.clone()
        },
        ..steady
    }
}

fn ventilated() -> Sleeper {
    Sleeper {
        body: Body {
            lung_l: 2.4,
            oxygen_use_l_per_min: 0.21,
            gap_mmhg: 11.0,
            rem_gap_mmhg: 3.0,
            bicarbonate_mmol_per_l: 26.5,
            ..Body::adult()
        },
        breathing: Breathing {
            awake_mmhg: 46.0,
            light_rise_mmhg: 8.0,
            deep_rise_mmhg: 9.0,
            rem_rise_mmhg: 18.0,
            asleep_response_share: 0.25,
            ..Breathing::healthy()
        },
        events: Vec::new(),
        support: Some(Support {
            from_h: -0.1,
            until_h: 24.0,
            holds_mmhg: 41.0,
            leaks_per_h: 0.2,
            leak_min: 2.0,
            leak_left_share: 0.7,
            setting: "pressure support 18/5 cmH2O, back-up rate 14".into(),
        }),
        diary: Diary { breathing: "air, ventilated by mask".into(), ..Sleeper::healthy().diary },
        ..Sleeper::healthy()
    }
}

fn supported(leaks_per_h: f64, leak_min: f64, leak_left_share: f64, holds_mmhg: f64) -> Sleeper {
    let sleeper = ventilated();
    let support = sleeper.support.clone().map(|support| Support {
        holds_mmhg,
        leaks_per_h,
        leak_min,
        leak_left_share,
        ..support
    });
    Sleeper { support, ..sleeper }
}

pub(super) fn held_well() -> Named {
    Named {
        id: "held_well",
        sentence: "Ventilated by mask all night and well: CO2 held near normal.",
        age_band: "adult",
        criteria: "adult-ventilation",
        question: "ventilation_enough",
        sleeper: ventilated(),
        sensor: Sensor { checks: Checks::all(), ..Sensor::ordinary() },
    }
}

pub(super) fn held_with_leak() -> Named {
    Named {
        id: "held_with_leak",
        sentence: "Ventilated by mask with long leaks: CO2 climbs and saturation sags in each.",
        sleeper: supported(1.1, 20.0, 0.7, 43.0),
        ..held_well()
    }
}

pub(super) fn held_too_low() -> Named {
    Named {
        id: "held_too_low",
        sentence: "Ventilated by mask too hard: CO2 well under normal all night.",
        question: "too_much_ventilation",
        sleeper: supported(0.1, 2.0, 0.7, 31.0),
        ..held_well()
    }
}

pub(super) fn restless() -> Named {
    let ordinary = Sensor::ordinary();
    let first =
        Fault { cause: Cause::Off, start_s: 2.2 * 3600.0, length_s: 2.6 * 3600.0, severity: 1.0 };
    let steady = adults::steady();
    Named {
        id: "restless",
        sentence: "A bad night: much movement, three toilet visits, and the sensor off for half of it.",
        sleeper: Sleeper {
            sleep: Sleep {
                wakes_per_h: 4.5,
                wake_min: 4.0,
                latency_min: 40.0,
                toilet_visits: 3,
                in_bed_h: 7.0,
                arousals_per_h: 18.0,
                ..Sleep::ordinary()
            },
            diary: Diary {
                visits_noted: false,
                representative: Some(false),
                ..steady.sleeper.diary.clone()
            },
            ..steady.sleeper.clone()
        },
        sensor: Sensor {
            rates: FaultRates {
                motion_per_h: 5.0,
                off_per_h: 0.35,
                off_min: 40.0,
                slipped_per_h: 0.25,
                ..FaultRates::ordinary()
            },
            faults: vec![first],
            checks: Checks { gas: Taken::Evening, ..Checks::gas() },
            ..ordinary
        },
        ..steady
    }
}

pub(super) fn drifting() -> Named {
    let ordinary = Sensor::ordinary();
    Named {
        id: "drifting",
        sentence: "Weak muscles on a monitor that reads high and drifts up by more than 1 kPa; blood gases and gas checks tell.",
        sensor: Sensor {
            electrode: Electrode {
                offset_kpa: 0.35,
                offset_sd_kpa: 0.05,
                drift_kpa_per_8h: 1.25,
                drift_sd_kpa_per_8h: 0.1,
                shows: Shows::Mmhg,
                ..ordinary.electrode
            },
            checks: Checks::all(),
            ..ordinary
        },
        ..adults::weak_muscles()
    }
}

pub(super) fn slipping() -> Named {
    let ordinary = Sensor::ordinary();
    let at = |cause, h: f64, min: f64| Fault {
        cause,
        start_s: 3600.0 * h,
        length_s: 60.0 * min,
        severity: 1.0,
    };
    let steady = adults::steady();
    Named {
        id: "slipping",
        sentence: "Healthy sleeper, unruly clip: it slips, loosens, cools, freezes and calibrates in the night.",
        sleeper: Sleeper {
            sleep: Sleep { toilet_visits: 1, ..Sleep::ordinary() },
            ..steady.sleeper.clone()
        },
        sensor: Sensor {
            oximeter: Oximeter { invalid: Invalid::Zero, ..ordinary.oximeter },
            faults: vec![
                at(Cause::Slipped, 1.6, 18.0),
                at(Cause::LowPerfusion, 2.7, 9.0),
                at(Cause::Loosening, 3.2, 45.0),
                at(Cause::Calibration, 5.1, 6.0),
                at(Cause::Frozen, 6.4, 12.0),
                at(Cause::Missing, 7.0, 3.0),
            ],
            rates: FaultRates { motion_per_h: 2.5, ..FaultRates::ordinary() },
            ..ordinary
        },
        ..steady
    }
}
