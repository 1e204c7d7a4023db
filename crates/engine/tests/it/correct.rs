//! CO2 offset and drift: what the anchors allow, and how wide the band stays.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use engine::correct::{AnchorKind, Corrected, Model, correct};
use engine::criteria::shipped;
use engine::notes::{BloodGas, GasCheck, MonitorNotes, Notes};
use engine::recording::Quantity;
use engine::screen::screen;
use engine::time::Stretch;
use engine::unit::{kpa_from_mmhg, mmhg_from_kpa};

use crate::made;
use proptest::prelude::*;

const HOUR_S: f64 = 3600.0;

/// Nine hours with CO2 running from `from` to `to` kPa, settled before the recording began.
fn corrected(from_kpa: f64, to_kpa: f64, mut notes: Notes) -> Corrected {
    let n = 9 * 3600;
    let noise = |i: usize| 0.001 * (i % 2) as f64;
    let co2: Vec<f64> =
        (0..n).map(|i| from_kpa + (to_kpa - from_kpa) * i as f64 / n as f64 + noise(i)).collect();
    let fitted = made::mark(engine::recording::MarkKind::Refitted, -3600.0, None);
    notes.marks.push(fitted);
    let night = made::with(made::night(), Quantity::Tcpco2, 1.0, &co2);
    let criteria = shipped("adult-air").unwrap();
    correct(screen(night, notes, &criteria), &criteria)
}

/// A blood gas that the sensor shows `hours` into the night.
fn gas(hours: f64, pco2_kpa: f64) -> BloodGas {
    // The sensor is read 2 min after the sample (`aarrestad-2016`).
    BloodGas { at_s: hours * HOUR_S - 120.0, pco2_kpa }
}

fn check(hours: f64, expected_kpa: f64, observed_kpa: f64) -> GasCheck {
    GasCheck { at_s: hours * HOUR_S, expected_kpa, observed_kpa }
}

fn gases(blood_gases: Vec<BloodGas>) -> Notes {
    let monitor = MonitorNotes { corrected: Some(true), ..MonitorNotes::default() };
    Notes { blood_gases, monitor, ..Notes::default() }
}

fn checks(gas_checks: Vec<GasCheck>) -> Notes {
    Notes { gas_checks, ..gases(vec![]) }
}

/// The sample that stands for a moment.
fn index(corrected: &Corrected, hours: f64) -> usize {
    let channel = corrected.screened.recording.channel(Quantity::Tcpco2).unwrap();
    channel.indices(&Stretch::new(hours * HOUR_S, f64::MAX)).start
}

fn value(corrected: &Corrected, hours: f64) -> f64 {
    corrected.tcpco2.as_ref().unwrap().values[index(corrected, hours)]
}

/// Half the width of the band.
fn half_band(corrected: &Corrected, hours: f64) -> f64 {
    let band = corrected.tcpco2.as_ref().unwrap().band[index(corrected, hours)];
    f64::midpoint(band.below, band.above)
}

/// The lowest and the highest that CO2 may have been.
fn edges(corrected: &Corrected, hours: f64) -> (f64, f64) {
    let band = corrected.tcpco2.as_ref().unwrap().band[index(corrected, hours)];
    let value = value(corrected, hours);
    (value - band.below, value + band.above)
}

fn codes(corrected: &Corrected) -> Vec<&'static str> {
    corrected.findings.iter().map(|finding| finding.code).collect()
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected}");
}

#[test]
fn without_anchors_nothing_is_corrected_and_that_is_said() {
    let night = corrected(5.5, 5.5, gases(vec![]));
    let co2 = night.tcpco2.as_ref().unwrap();
    let recorded = &night.screened.recording.channel(Quantity::Tcpco2).unwrap().samples;
    assert_eq!((co2.model, co2.values.as_slice()), (Model::None, &**recorded));
    assert_eq!((co2.offset_start_kpa, co2.drift), (None, None));
    assert_eq!(codes(&night), ["co2_not_corrected"]);
}

/// Limits of agreement at the ear lobe, 6 mmHg either side (`conway-2019`), at the start; with drift of
/// 0.54 kPa in 8 h besides (`aarrestad-2016`), by arithmetic: 1.96 sqrt(0.408² + 0.54²) kPa.
#[test]
fn a_sensor_that_nothing_checked_has_the_band_of_such_sensors() {
    let night = corrected(5.5, 5.5, gases(vec![]));
    near(mmhg_from_kpa(half_band(&night, 0.0)), 6.0, 0.01);
    near(half_band(&night, 8.0), 1.3265, 1e-3);
}

/// The sensor read 5.5 kPa throughout. At 8 h unchecked sensors lie within 1.33 kPa, by arithmetic on 0.408
/// and 0.54 kPa: 6.8 agrees and narrows, 6.9 does not and is held beside them.
#[test]
fn a_blood_gas_far_off_what_sensors_err_by_stands_and_both_are_in_the_band() {
    let agrees = corrected(5.5, 5.5, gases(vec![gas(8.0, 6.8)]));
    assert_eq!(codes(&agrees), ["co2_drift_not_known"]);
    assert!(half_band(&agrees, 8.0) < 1.0);
    let apart = corrected(5.5, 5.5, gases(vec![gas(8.0, 6.9)]));
    let co2 = apart.tcpco2.as_ref().unwrap();
    assert_eq!((co2.model, co2.anchors.len()), (Model::Offset, 1));
    near(value(&apart, 8.0), 6.9, 0.01);
    let (lowest, highest) = edges(&apart, 8.0);
    near(lowest, 5.5 - 1.3265, 0.01);
    near(highest, 6.9 + 1.96 * 0.28, 0.01);
    assert_eq!(codes(&apart), ["anchors_disagree", "co2_drift_not_known"]);
    assert_eq!(
        apart.findings[0].sentence,
        "The blood gas and the sensor do not agree: at 05:58 the blood gas was 6.90 kPa (51.8 mmHg) and the \
         sensor read 5.50 kPa (41.3 mmHg), more than sensors at the ear are known to err by. None is left out: \
         the band around CO2 holds each, and what they would answer differently is left open."
    );
}

/// The evening gas says that the sensor reads right, the morning gas that it reads 2 kPa too little: a sensor
/// that lost its contact, or a patient who stopped breathing enough. Neither is left out, and what each would
/// have the night be lies in the band; the drift between them is known whatever is believed.
#[test]
fn of_two_blood_gases_that_disagree_neither_is_left_out() {
    let night = corrected(5.5, 5.5, gases(vec![gas(0.5, 5.6), gas(8.5, 7.5)]));
    let co2 = night.tcpco2.as_ref().unwrap();
    assert_eq!((co2.model, co2.anchors.len()), (Model::Additive, 2));
    for (hours, kpa) in [(0.5, 5.6), (8.5, 7.5)] {
        near(value(&night, hours), kpa, 0.01);
        let (lowest, highest) = edges(&night, hours);
        assert!(lowest < kpa - 0.5 && highest > kpa + 0.5, "{hours} h: {lowest} to {highest}");
    }
    // What the evening gas alone would say of the morning, and the morning gas of the evening.
    let (lowest, _) = edges(&night, 8.5);
    let (_, highest) = edges(&night, 0.5);
    assert!(lowest < 5.6 && highest > 7.5, "{lowest}, {highest}");
    // Only so if both are right.
    assert_eq!(co2.drift, None);
    let drift = co2.drift_if_right.unwrap();
    assert_eq!(drift.kind, AnchorKind::BloodGas);
    near(drift.kpa, 1.9, 0.01);
    assert!(codes(&night).contains(&"anchors_disagree"));
    let agree = corrected(5.5, 5.5, gases(vec![gas(0.5, 5.6), gas(8.5, 6.7)]));
    assert!(!codes(&agree).contains(&"anchors_disagree"));
    assert!(half_band(&agree, 4.5) < half_band(&night, 4.5));
}

/// Gas checks before and after know the sensor's drift, so less is enough for a blood gas not to agree.
#[test]
fn a_blood_gas_that_does_not_agree_with_the_gas_checks_stands_beside_them() {
    let notes = |pco2_kpa| Notes {
        gas_checks: vec![check(-0.5, 5.0, 5.0), check(9.5, 5.0, 5.0)],
        ..gases(vec![gas(8.5, pco2_kpa)])
    };
    let loose = corrected(5.5, 5.5, notes(7.0));
    assert_eq!(loose.tcpco2.as_ref().unwrap().model, Model::Additive);
    assert!(codes(&loose).contains(&"anchors_disagree"));
    let (lowest, highest) = edges(&loose, 8.5);
    assert!(lowest < 5.5 && highest > 7.0, "{lowest} to {highest}");
    let fast = corrected(5.5, 5.5, notes(6.1));
    assert!(!codes(&fast).contains(&"anchors_disagree"));
}

/// Sensor 48 and 52 mmHg against blood 44 and 46, eight hours apart: the error at 4 h is -5 mmHg, so
/// 56 mmHg there is 51.0 (arithmetic on the method of `berlowitz-2011`).
#[test]
fn two_blood_gases_take_out_offset_and_drift() {
    let at = |mmhg| kpa_from_mmhg(mmhg);
    // 48 at 0.5 h and 52 at 8.5 h: 47.75 at the start, 52.25 at 9 h.
    let notes = gases(vec![gas(0.5, at(44.0)), gas(8.5, at(46.0))]);
    let night = corrected(at(47.75), at(52.25), notes);
    let co2 = night.tcpco2.as_ref().unwrap();
    assert_eq!(co2.model, Model::Additive);
    for (hours, expected_mmhg) in [(0.5, 44.0), (4.5, 45.0), (8.5, 46.0)] {
        near(mmhg_from_kpa(value(&night, hours)), expected_mmhg, 0.02);
    }
    near(mmhg_from_kpa(co2.offset_start_kpa.unwrap()), -4.0, 0.02);
    near(mmhg_from_kpa(co2.offset_end_kpa.unwrap()), -6.0, 0.02);
    near(mmhg_from_kpa(co2.drift.unwrap().kpa), -2.0, 0.03);
    let held = night.findings.iter().filter(|f| f.code == "co2_error_held").count();
    assert_eq!(held, 2, "before the first and after the last");
}

/// Half width 1.96 sd: 0.28 kPa at a blood gas, and a bridge of 0.54 kPa per 8 h halfway between two
/// that are 8 h apart (both from `aarrestad-2016`).
#[test]
fn the_band_follows_the_published_spreads() {
    let night = corrected(5.5, 5.5, gases(vec![gas(0.5, 5.5), gas(8.5, 5.5)]));
    near(half_band(&night, 0.5), 1.96 * 0.28, 1e-3);
    let halfway = f64::sqrt(0.28 * 0.28 / 2.0 + 0.54 * 0.54 / 4.0);
    near(half_band(&night, 4.5), 1.96 * halfway, 1e-3);
    let outside = f64::sqrt(0.28 * 0.28 + 0.54 * 0.54 * 0.5 / 8.0);
    near(half_band(&night, 0.0), 1.96 * outside, 1e-3);
    near(half_band(&night, 8.9997), 1.96 * outside, 2e-3);
}

#[test]
fn one_blood_gas_gives_one_offset_and_no_drift() {
    let night = corrected(5.5, 5.5, gases(vec![gas(4.0, 5.0)]));
    let co2 = night.tcpco2.as_ref().unwrap();
    assert_eq!((co2.model, co2.drift), (Model::Offset, None));
    for hours in [0.0, 4.0, 8.9] {
        near(value(&night, hours), 5.0, 0.002);
    }
    assert!(half_band(&night, 8.9) > half_band(&night, 4.0));
    assert_eq!(codes(&night), ["co2_drift_not_known"]);
}

/// With right checks at both ends nothing changes, whichever model; a ratio and an offset agree at the
/// level of the check and nowhere else.
#[test]
fn two_gas_checks_give_a_ratio() {
    let right = corrected(5.5, 5.5, checks(vec![check(-0.2, 6.0, 6.0), check(9.2, 6.0, 6.0)]));
    near(value(&right, 4.0), 5.5, 0.002);
    let notes = checks(vec![check(0.0, 6.0, 6.0), check(9.0, 6.0, 6.6)]);
    let night = corrected(5.5, 5.5, notes);
    let co2 = night.tcpco2.as_ref().unwrap();
    assert_eq!(co2.model, Model::Ratio);
    // The ratio falls from 1 to 6.0 / 6.6 in nine hours.
    near(value(&night, 4.5), 5.5 * (1.0 + 6.0 / 6.6) / 2.0, 0.002);
    near(co2.drift.unwrap().kpa, 5.5 * (6.0 / 6.6 - 1.0), 0.002);
    assert!(codes(&night).contains(&"co2_skin_offset_not_known"));
    let at_level = corrected(6.6, 6.6, checks(vec![check(0.0, 6.0, 6.6), check(9.0, 6.0, 6.6)]));
    near(value(&at_level, 4.0), 6.0, 0.002);
}

/// Half width 1.96 sd at a check: 0.1 kPa of the check and 0.28 kPa of what patients' skins differ by
/// (`aarrestad-2016`), whichever model; at a blood gas the skin is known with it.
#[test]
fn gas_checks_alone_leave_the_skin_unknown() {
    let expected = 1.96 * f64::sqrt(0.1 * 0.1 + 0.28 * 0.28);
    let one = corrected(6.0, 6.0, checks(vec![check(4.0, 6.0, 6.0)]));
    near(half_band(&one, 4.0), expected, 1e-3);
    let two = corrected(6.0, 6.0, checks(vec![check(0.0, 6.0, 6.0), check(9.0, 6.0, 6.0)]));
    near(half_band(&two, 0.0), expected, 1e-3);
    let blood = corrected(6.0, 6.0, gases(vec![gas(4.0, 6.0)]));
    near(half_band(&blood, 4.0), 1.96 * 0.28, 1e-3);
}

/// The checks say that the sensor gains 0.6 kPa over the night; the blood gas at 4.5 h, where half of
/// that has come, that it reads 0.5 kPa more than the blood in all.
#[test]
fn checks_give_the_shape_and_one_blood_gas_the_level() {
    let gas_checks = vec![check(0.0, 6.0, 6.0), check(9.0, 6.0, 6.6)];
    let notes = Notes { gas_checks, ..gases(vec![gas(4.5, 5.0)]) };
    let night = corrected(5.5, 5.5, notes);
    let co2 = night.tcpco2.as_ref().unwrap();
    assert_eq!(co2.model, Model::Additive);
    near(value(&night, 4.5), 5.0, 0.002);
    near(value(&night, 0.0), 5.3, 0.002);
    near(co2.offset_end_kpa.unwrap(), -0.8, 0.002);
}

#[test]
fn blood_gases_outweigh_gas_checks() {
    let gas_checks = vec![check(0.0, 6.0, 6.3), check(9.0, 6.0, 6.6)];
    let notes = Notes { gas_checks, ..gases(vec![gas(0.5, 5.5), gas(8.5, 5.5)]) };
    let night = corrected(5.5, 5.5, notes);
    near(value(&night, 4.0), 5.5, 0.002);
    assert!(codes(&night).contains(&"gas_checks_not_used"));
}

#[test]
fn a_blood_gas_where_the_sensor_is_not_believed_cannot_anchor() {
    let mut notes = gases(vec![gas(1.0, 5.0), gas(12.0, 5.0), gas(4.0, 44.0), gas(90.0, 5.0)]);
    notes.edits = vec![made::edit(Quantity::Tcpco2, 3000.0, 4000.0, false)];
    let night = corrected(5.5, 5.5, notes);
    assert_eq!(night.tcpco2.as_ref().unwrap().model, Model::None);
    let sentences: Vec<&str> = night
        .findings
        .iter()
        .filter(|finding| finding.code == "anchor_unusable")
        .map(|finding| finding.sentence.as_str())
        .collect();
    let told = |gas: &str, why: &str| {
        format!("The blood gas of {gas} cannot be used to correct CO2: {why}.")
    };
    let low = "5.00 kPa (37.5 mmHg)";
    assert_eq!(
        sentences,
        [
            told(
                &format!("{low} at 22:58"),
                "CO2 cannot be believed at that time (excluded by the reader)"
            ),
            told(&format!("{low} at 09:58"), "it was taken outside the recording of CO2"),
            told(
                "44.00 kPa (330.0 mmHg) at 01:58",
                "its CO2, 44.0 kPa, is not between 1 and 20 kPa"
            ),
            told(
                &format!("{low} at 2026-01-14 15:58"),
                "its time lies more than 24 h from the recording"
            ),
        ]
    );
    // Each is told with its number, though none can be used.
    assert_eq!(night.tcpco2.as_ref().unwrap().unpaired.len(), 4);
}

fn heated(corrected: Option<bool>, sensor_temp_c: Option<f64>) -> Notes {
    let monitor = MonitorNotes { corrected, sensor_temp_c, averaging_s: None };
    Notes { monitor, ..Notes::default() }
}

/// 70 mmHg bare at 43 °C with 5 mmHg of metabolism: (70 - 5) / 10^(0.019 x 6) = 49.993 mmHg
/// (`severinghaus-1982`; subtract, then divide).
#[test]
fn temperature_and_metabolism_are_taken_out_when_the_monitor_has_not() {
    let raw_kpa = kpa_from_mmhg(70.0);
    let night = corrected(raw_kpa, raw_kpa, heated(Some(false), Some(43.0)));
    // The set's metabolic constant is 0.667 kPa, 5.003 mmHg, hence 0.003 mmHg less.
    near(mmhg_from_kpa(value(&night, 4.0)), 49.993, 0.004);
    assert!(codes(&night).contains(&"co2_temperature_corrected"));
}

/// A true 45 mmHg corrected a second time would read (45 - 5) / 1.30017 = 30.8 mmHg.
#[test]
fn correcting_twice_is_refused_or_doubted() {
    let true_kpa = kpa_from_mmhg(45.0);
    let told = corrected(true_kpa, true_kpa, heated(Some(true), Some(43.0)));
    near(mmhg_from_kpa(value(&told, 4.0)), 45.0, 0.01);
    assert!(codes(&told).contains(&"co2_temperature_refused"));
    let wrongly_told = corrected(true_kpa, true_kpa, heated(Some(false), Some(43.0)));
    near(mmhg_from_kpa(value(&wrongly_told, 4.0)), 30.8, 0.05);
    assert!(codes(&wrongly_told).contains(&"co2_perhaps_corrected_twice"));
}

#[test]
fn what_is_not_known_of_the_monitor_is_said() {
    for (notes, code) in [
        (heated(None, None), "co2_temperature_not_known"),
        (heated(Some(false), None), "co2_temperature_missing"),
        (heated(Some(false), Some(4.2)), "co2_temperature_implausible"),
    ] {
        let night = corrected(5.5, 5.5, notes);
        near(value(&night, 4.0), 5.5, 0.002);
        assert!(codes(&night).contains(&code), "{code}");
    }
}

/// A check's error belongs to the bare sensor: the temperature correction divides it too.
#[test]
fn a_gas_check_on_a_bare_sensor_is_divided_with_the_readings() {
    let mut notes = heated(Some(false), Some(43.0));
    notes.gas_checks = vec![check(4.0, 6.0, 6.3)];
    let night = corrected(9.0, 9.0, notes);
    let factor = libm::pow(10.0, 0.019 * 6.0);
    near(value(&night, 4.0), (9.0 - 0.3 - 0.667) / factor, 0.002);
}

#[test]
fn missing_samples_stay_missing_and_a_night_without_co2_has_none() {
    let mut co2 = made::quiet(3600, 5.5);
    co2[2000..2010].fill(f64::NAN);
    let night = made::with(made::night(), Quantity::Tcpco2, 1.0, &co2);
    let criteria = shipped("adult-air").unwrap();
    let notes = checks(vec![check(0.0, 6.0, 6.1), check(1.0, 6.0, 6.2)]);
    let night = correct(screen(night, notes, &criteria), &criteria);
    let co2 = night.tcpco2.unwrap();
    assert_eq!(co2.values.iter().filter(|x| x.is_nan()).count(), 10);
    assert!(co2.band.iter().all(|band| band.below.is_finite() && band.above.is_finite()));
    // What is not known of the sensor does not go with the number.
    assert!(co2.band.iter().all(|band| band.below + band.above > 0.5));
    let oximetry = made::with(made::night(), Quantity::Spo2, 1.0, &[96.0; 600]);
    assert!(correct(screen(oximetry, Notes::default(), &criteria), &criteria).tcpco2.is_none());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_anchor_makes_it_panic_or_a_number_of_nothing(
        gas in (any::<f64>(), any::<f64>()), late in (0.0..4000.0, 3.0..8.0),
        checked in (any::<f64>(), any::<f64>(), any::<f64>()), again in (-9.0..9.0, 5.0..7.0, 5.0..7.0),
        told in proptest::option::of(any::<bool>()), sensor_temp_c in proptest::option::of(any::<f64>()),
    ) {
        let notes = Notes {
            blood_gases: vec![
                BloodGas { at_s: gas.0, pco2_kpa: gas.1 },
                BloodGas { at_s: late.0, pco2_kpa: late.1 },
            ],
            gas_checks: vec![
                GasCheck { at_s: checked.0, expected_kpa: checked.1, observed_kpa: checked.2 },
                check(again.0, again.1, again.2),
            ],
            monitor: MonitorNotes { corrected: told, sensor_temp_c, averaging_s: None },
            ..Notes::default()
        };
        let night = made::with(made::night(), Quantity::Tcpco2, 1.0, &made::quiet(2000, 5.5));
        let criteria = shipped("adult-air").unwrap();
        let co2 = correct(screen(night, notes, &criteria), &criteria).tcpco2.unwrap();
        prop_assert!(co2.band.iter().all(|band| band.below >= 0.0 && band.above >= 0.0));
        prop_assert!(co2.values.iter().all(|value| !value.is_nan()));
        prop_assert_eq!(co2.model == Model::None, co2.offset_start_kpa.is_none());
    }
}
