//! The ranges from which the held-out nights are drawn. Never used to set a limit.
//!
//! The named sleepers lend the shape of the night; everything that a limit could have been fitted to is
//! drawn anew: the sensor, its mishaps, the depth and length of events, the evening and the diary.

use engine::time::Stretch;
use jiff::ToSpan;
use jiff::civil::date;
use simulate::Named;
use simulate::sensor::{
    Cause, Checks, Electrode, Fault, FaultRates, Invalid, Overshoot, Oximeter, Sensor, Shows, Taken,
};
use simulate::sleeper::{Obstructive, Pattern, Periodic, Sleeper};

use crate::study::draw::{Draw, Range};
use crate::study::nights::Case;

macro_rules! ranges {
    ($($name:ident = $low:literal .. $high:literal, $what:literal;)*) => {
        $(const $name: Range = Range { what: $what, low: $low, high: $high };)*
        /// Every range, for the document.
        pub const TABLE: &[Range] = &[$($name),*];
    };
}

ranges! {
    AVERAGING = 2.0..16.0, "averaging of SpO2, s";
    PULSE_AVERAGING = 4.0..16.0, "averaging of pulse, s";
    BIAS = -1.0..1.0, "SpO2 reading minus truth, %";
    SPO2_NOISE = 0.1..0.5, "wander of SpO2, %";
    PERFUSION = 0.6..4.0, "perfusion index where the monitor writes it, %";
    DELAY = 8.0..45.0, "dead time of CO2, s";
    LAG = 30.0..110.0, "time constant of CO2, s";
    SETTLING = 5.0..18.0, "time to settle, min";
    OVERSHOOT = 0.0..8.0, "overshoot where not drawn as published, mmHg";
    OFFSET = -0.3..0.4, "offset of CO2, kPa";
    REFIT = 0.0..0.15, "standard deviation of the offset's change at a refit, kPa";
    DRIFT = -0.6..0.9, "drift of CO2 in 8 h, kPa";
    WANDER = 0.0..0.06, "wander of CO2 about its drift, kPa";
    CO2_NOISE = 0.003..0.03, "noise of CO2, kPa";
    SENSOR_TEMP = 41.0..43.5, "temperature of the sensor, °C";
    FITTED_AFTER = 0.0..600.0, "start of the recording to the fitting, s";
    REMOVED_BEFORE = 0.0..600.0, "removal to the end of the recording, s";
    OFF_AT_VISITS = 0.4..1.0, "share of times out of bed with the clip off";
    BADNESS = 0.1..1.0, "how bad the night is: a factor on every rate of mishaps";
    OFF_PER_H = 0.0..0.25, "clip off by chance, /h";
    OFF_MIN = 8.0..60.0, "mean time off, min";
    SLIPPED_PER_H = 0.0..0.2, "slips, /h";
    LOOSENING_PER_H = 0.0..0.08, "loosenings, /h";
    MOTION_PER_H = 0.3..5.0, "movements, /h";
    LOW_PERFUSION_PER_H = 0.0..0.2, "low perfusion, /h";
    FROZEN_PER_H = 0.0..0.06, "frozen values, /h";
    MISSING_PER_H = 0.0..0.4, "missing rows, /h";
    CALIBRATION_PER_H = 0.0..0.12, "calibrations, /h";
    EXTRA_MISHAPS = 0.0..1.0, "further mishaps a night";
    SEVERITY = 0.4..2.0, "their severity (1 is ordinary)";
    EXTRA_MIN = 0.5..30.0, "their length, min";
    EVENT_RATE = 0.5..1.6, "rate of breathing events, factor";
    EVENT_LENGTH = 0.7..1.4, "length of breathing events, factor";
    EVENT_LEFT = 0.6..1.4, "air left in partial events, factor";
    GAP = 0.8..1.25, "alveolar to arterial gap, factor";
    LUNG_TO_EAR = 0.7..1.4, "lung to ear, factor";
    AWAKE_CO2 = -2.5..2.5, "PCO2 awake, added, mmHg";
    TO_LIGHTS_OUT = 20.0..90.0, "start to lights out, min";
    IN_BED = 0.65..1.15, "time in bed, factor";
    VISITS = 0.0..3.0, "times out of bed";
    VISIT_MIN = 3.0..12.0, "length of each, min";
    DAY = 1.0..365.0, "day of the year";
    EVENING = -150.0..180.0, "start before or after the sleeper's usual time, min";
    DIARY_ERROR = 0.0..10.0, "error of the diary's times, min";
}

/// One held-out night of a sleeper.
pub(super) fn case(named: &Named, seed: u64) -> Case {
    let draw = &mut Draw::new(seed);
    let sleeper = sleeper(&named.sleeper, draw);
    let seconds = 3600.0 * sleeper.sleep.in_bed_h + 60.0 * sleeper.sleep.to_lights_out_min;
    let sensor = sensor(seconds, draw);
    let lights_noted = draw.chance(0.9);
    Case { seed, named: Named { sleeper, sensor, ..named.clone() }, lights_noted }
}

fn sleeper(usual: &Sleeper, draw: &mut Draw) -> Sleeper {
    let mut sleeper = usual.clone();
    let evening = usual.start.time();
    let days = i64::from(draw.whole(&DAY)) - 1;
    let start = date(2026, 1, 1).to_datetime(evening);
    let minutes = draw.within(&EVENING).round();
    let moved = start
        .checked_add(days.days())
        .and_then(|day| day.checked_add(jiff::SignedDuration::from_secs_f64(60.0 * minutes)));
    sleeper.start = moved.unwrap_or(start);
    sleeper.body.gap_mmhg *= draw.within(&GAP);
    sleeper.body.lung_to_ear_s *= draw.within(&LUNG_TO_EAR);
    sleeper.breathing.awake_mmhg += draw.within(&AWAKE_CO2);
    sleeper.sleep.to_lights_out_min = draw.within(&TO_LIGHTS_OUT);
    sleeper.sleep.in_bed_h *= draw.within(&IN_BED);
    sleeper.sleep.toilet_visits = draw.whole(&VISITS);
    sleeper.sleep.visit_min = draw.within(&VISIT_MIN);
    sleeper.diary.visits_noted = draw.chance(0.65);
    sleeper.diary.error_min = draw.within(&DIARY_ERROR);
    sleeper.diary.representative = draw.one_of(Some(true), &[Some(true), Some(false), None]);
    for pattern in &mut sleeper.events {
        events(pattern, draw);
    }
    sleeper
}

fn events(pattern: &mut Pattern, draw: &mut Draw) {
    let (rate, length) = (draw.within(&EVENT_RATE), draw.within(&EVENT_LENGTH));
    let left = draw.within(&EVENT_LEFT);
    match pattern {
        Pattern::Obstructive(Obstructive {
            light_per_h,
            deep_per_h,
            rem_per_h,
            length_s,
            length_sd_s,
            partial_left_share,
            ..
        }) => {
            for per_h in [light_per_h, deep_per_h, rem_per_h] {
                *per_h *= rate;
            }
            *length_s *= length;
            *length_sd_s *= length;
            *partial_left_share = (*partial_left_share * left).min(0.7);
        }
        Pattern::Periodic(Periodic { light_share, cycle_s, swing }) => {
            *light_share = (*light_share * rate).min(0.95);
            *cycle_s *= length;
            *swing *= 2.0 - left;
        }
    }
}

fn sensor(seconds: f64, draw: &mut Draw) -> Sensor {
    Sensor {
        oximeter: oximeter(draw),
        electrode: electrode(draw),
        fitted_after_s: draw.within(&FITTED_AFTER).round(),
        removed_before_end_s: draw.within(&REMOVED_BEFORE).round(),
        off_at_visits_share: draw.within(&OFF_AT_VISITS),
        rates: rates(draw),
        faults: extra(seconds, draw),
        checks: checks(draw),
    }
}

fn oximeter(draw: &mut Draw) -> Oximeter {
    let perfusion_pct = draw.within(&PERFUSION);
    Oximeter {
        period_s: draw.one_of(1, &[1, 1, 1, 1, 2, 2, 4]),
        averaging_s: draw.whole(&AVERAGING),
        pulse_averaging_s: draw.whole(&PULSE_AVERAGING),
        bias_pct: draw.within(&BIAS),
        noise_pct: draw.within(&SPO2_NOISE),
        digit_pct: draw.one_of(1.0, &[1.0, 1.0, 0.1]),
        invalid: draw.one_of(Invalid::Empty, &[Invalid::Zero, Invalid::Held]),
        perfusion_pct: draw.chance(0.6).then_some(perfusion_pct),
    }
}

fn electrode(draw: &mut Draw) -> Electrode {
    let peak_mmhg = draw.within(&OVERSHOOT);
    let fixed = Overshoot::Fixed { peak_mmhg };
    Electrode {
        period_s: draw.one_of(1, &[1, 1, 1, 2, 5]),
        delay_s: draw.within(&DELAY).round(),
        lag_s: draw.within(&LAG),
        settle_min: draw.within(&SETTLING),
        overshoot: if draw.chance(0.3) { fixed } else { Overshoot::Published },
        offset_kpa: draw.within(&OFFSET),
        offset_sd_kpa: 0.0,
        refit_sd_kpa: draw.within(&REFIT),
        drift_kpa_per_8h: draw.within(&DRIFT),
        drift_sd_kpa_per_8h: 0.0,
        wander_kpa: draw.within(&WANDER),
        noise_kpa: draw.within(&CO2_NOISE),
        shows: draw.one_of(Shows::Kpa, &[Shows::Mmhg]),
        temp_c: draw.within(&SENSOR_TEMP),
    }
}

/// Rates by chance; four in ten nights have no mishap of a given rare kind at all.
fn rates(draw: &mut Draw) -> FaultRates {
    let badness = draw.within(&BADNESS);
    let mut rate = |range: &Range| badness * draw.within(range);
    let rates = FaultRates {
        off_per_h: rate(&OFF_PER_H),
        off_min: 0.0,
        slipped_per_h: rate(&SLIPPED_PER_H),
        loosening_per_h: rate(&LOOSENING_PER_H),
        motion_per_h: rate(&MOTION_PER_H),
        low_perfusion_per_h: rate(&LOW_PERFUSION_PER_H),
        frozen_per_h: rate(&FROZEN_PER_H),
        missing_per_h: rate(&MISSING_PER_H),
        calibration_per_h: rate(&CALIBRATION_PER_H),
    };
    FaultRates { off_min: draw.within(&OFF_MIN), ..rates }
}

/// Mishaps of drawn severity and length, in the middle nine tenths of the night.
fn extra(seconds: f64, draw: &mut Draw) -> Vec<Fault> {
    (0..draw.whole(&EXTRA_MISHAPS))
        .map(|_| {
            let night = Stretch::new(0.05 * seconds, 0.95 * seconds);
            Fault {
                cause: draw.one_of(Cause::Off, &Cause::ALL),
                start_s: (night.start_s + night.length_s() * draw.unit()).floor(),
                length_s: (60.0 * draw.within(&EXTRA_MIN)).floor(),
                severity: draw.within(&SEVERITY),
            }
        })
        .collect()
}

/// No check, gas checks, blood gases, or both, in like numbers.
fn checks(draw: &mut Draw) -> Checks {
    let gas = draw.one_of(Taken::Never, &[Taken::Evening, Taken::Both, Taken::Both]);
    let blood_gas = draw.one_of(Taken::Never, &[Taken::Never, Taken::Morning, Taken::Both]);
    Checks { gas, blood_gas, gas_sd_kpa: 0.05, blood_gas_sd_kpa: 0.1 }
}
