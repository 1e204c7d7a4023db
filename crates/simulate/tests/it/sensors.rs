//! The sensor against its truth: what it shows wrongly is written down, and nothing else is wrong.

use engine::recording::Quantity;
use engine::unit::{kpa_from_mmhg, mmhg_from_kpa};
use simulate::sensor::{Cause, Fault, FaultRates, Invalid, Overshoot, Sensor, Shows};
use simulate::sleeper::Sleeper;
use simulate::{Made, SETTLED_WITHIN_KPA};

fn samples(made: &Made, quantity: Quantity) -> &[f64] {
    &made.recording.channel(quantity).unwrap().samples
}

/// A steady sensor with one fault, on a healthy sleeper.
fn with_fault(cause: Cause, from_s: f64, length_s: f64) -> Made {
    let sensor = Sensor {
        rates: FaultRates::none(),
        off_at_visits_share: 0.0,
        faults: vec![Fault { cause, start_s: from_s, length_s, severity: 1.0 }],
        ..Sensor::ordinary()
    };
    simulate::night(&Sleeper::healthy(), &sensor, 4)
}

fn spans(made: &Made, quantity: Quantity, reason: &str) -> Vec<(f64, f64)> {
    made.truth
        .spans
        .iter()
        .filter(|span| span.quantity == quantity && span.reason == reason)
        .map(|span| (span.stretch.start_s, span.stretch.end_s))
        .collect()
}

#[test]
fn an_ideal_sensor_shows_the_truth() {
    let made = simulate::night(&Sleeper::healthy(), &Sensor::ideal(), 1);
    let shown = samples(&made, Quantity::Spo2);
    for (shown, truth) in shown.iter().zip(&made.truth.spo2) {
        assert!((shown - truth).abs() <= 0.05 + 1e-9, "{shown} for {truth}");
    }
    for (shown, truth) in samples(&made, Quantity::Tcpco2).iter().zip(&made.truth.paco2_kpa) {
        assert!((shown - truth).abs() <= 0.005 + 1e-9, "{shown} for {truth}");
    }
    assert!(made.truth.spans.is_empty(), "{:?}", made.truth.spans);
}

/// Outside every span SpO2 lags by the averaging only. In health, where saturation moves slowly, the
/// difference is rounding (0.5), noise (0.25, so 1.1 at 4.5 standard deviations) and averaging.
#[test]
fn outside_the_spans_saturation_is_right() {
    for seed in 1..=5 {
        let named = simulate::sleeper_named("slipping").unwrap();
        let made = named.night(seed);
        let wrong = made.truth.wrong(Quantity::Spo2);
        let shown = samples(&made, Quantity::Spo2);
        for i in (0..shown.len()).filter(|&i| !wrong[i]) {
            let error = (shown[i] - made.truth.spo2[i]).abs();
            assert!(error < 3.0, "seed {seed}, {i} s: {} for {}", shown[i], made.truth.spo2[i]);
        }
        assert!(wrong.iter().filter(|&&w| w).count() > 3000, "hardly any faults");
    }
}

/// Outside every span CO2 is the skin's with the known error: within what settling may leave (0.1 kPa,
/// and as much again from air creeping in), noise (0.04 at 5 standard deviations) and rounding.
#[test]
fn outside_the_spans_co2_is_off_by_the_known_error() {
    let made = simulate::sleeper_named("slipping").unwrap().night(1);
    let wrong = made.truth.wrong(Quantity::Tcpco2);
    let shown = samples(&made, Quantity::Tcpco2);
    let truth = &made.truth;
    let mut errors: Vec<f64> = (0..shown.len())
        .filter(|&i| !wrong[i])
        .map(|i| (shown[i] - truth.skin_pco2_kpa[i] - truth.co2_error_kpa[i]).abs())
        .collect();
    errors.sort_by(f64::total_cmp);
    assert!(errors.len() > 20_000);
    let at = |share: f64| errors[(share * (errors.len() - 1) as f64) as usize];
    assert!(at(0.75) < 0.02, "three quarters {}", at(0.75));
    assert!(at(0.99) < 0.1, "99 of 100 {}", at(0.99));
    assert!(at(1.0) < 0.25, "most {}", at(1.0));
}

/// From memory: an electrode lifted off falls to room air within a minute or two.
#[test]
fn off_empties_the_oximeter_and_lets_co2_fall_to_room_air() {
    let made = with_fault(Cause::Off, 12_000.0, 600.0);
    assert!(samples(&made, Quantity::Spo2)[12_010..12_600].iter().all(|x| x.is_nan()));
    assert!(samples(&made, Quantity::Pulse)[12_010..12_600].iter().all(|x| x.is_nan()));
    let co2 = samples(&made, Quantity::Tcpco2);
    assert!(co2[11_990] > 5.0 && co2[12_120] < 0.3, "{} then {}", co2[11_990], co2[12_120]);
    assert_eq!(spans(&made, Quantity::Tcpco2, "off")[1], (12_000.0, 12_600.0));
    let settling = spans(&made, Quantity::Tcpco2, "settling");
    assert!((settling[1].0 - 12_600.0).abs() < 1e-9, "{settling:?}");
    assert!((200.0..2400.0).contains(&(settling[1].1 - settling[1].0)), "{settling:?}");
}

#[test]
fn invalid_readings_are_written_as_the_monitor_writes_them() {
    for (invalid, early, late) in [
        (Invalid::Empty, f64::NAN, f64::NAN),
        (Invalid::Zero, 0.0, 0.0),
        (Invalid::Held, 96.0, f64::NAN),
    ] {
        let mut sensor = Sensor::ideal();
        sensor.oximeter.invalid = invalid;
        sensor.oximeter.digit_pct = 1.0;
        sensor.faults =
            vec![Fault { cause: Cause::Off, start_s: 9000.0, length_s: 300.0, severity: 1.0 }];
        let made = simulate::night(&Sleeper::healthy(), &sensor, 1);
        let spo2 = samples(&made, Quantity::Spo2);
        let same = |found: f64, expected: f64| {
            (found.is_nan() && expected.is_nan()) || (found - expected).abs() <= 12.0
        };
        assert!(same(spo2[9008], early), "{invalid:?}: {}", spo2[9008]);
        assert!(same(spo2[9200], late), "{invalid:?}: {}", spo2[9200]);
    }
}

/// The end of settling is defined by its error, and an overshoot of 4 mmHg peaks at 4 mmHg.
#[test]
fn settling_overshoots_as_asked_and_ends_when_its_span_ends() {
    let mut sensor = Sensor::ideal();
    sensor.electrode.settle_min = 12.0;
    sensor.electrode.overshoot = Overshoot::Fixed { peak_mmhg: 4.0 };
    sensor.fitted_after_s = 30.0;
    let made = simulate::night(&Sleeper::healthy(), &sensor, 1);
    let error = |i: usize| samples(&made, Quantity::Tcpco2)[i] - made.truth.paco2_kpa[i];
    let peak = (31..2000).map(error).fold(f64::MIN, f64::max);
    assert!((mmhg_from_kpa(peak) - 4.0).abs() < 0.2, "{} mmHg", mmhg_from_kpa(peak));
    let settling = spans(&made, Quantity::Tcpco2, "settling");
    let end = settling[0].1 as usize;
    assert!((480..1500).contains(&end), "settled after {end} s");
    assert!((error(end - 2).abs() - SETTLED_WITHIN_KPA).abs() < 0.01, "{}", error(end - 2));
    assert!((end..5000).all(|i| error(i).abs() < SETTLED_WITHIN_KPA + 0.006));
}

#[test]
fn loosening_sags_toward_room_air_and_is_a_leak() {
    let made = with_fault(Cause::Loosening, 10_000.0, 2400.0);
    let co2 = samples(&made, Quantity::Tcpco2);
    assert!(co2[12_390] < 0.7 * co2[9990], "{} from {}", co2[12_390], co2[9990]);
    let leak = spans(&made, Quantity::Tcpco2, "leak");
    assert!(leak[0].0 > 10_000.0 && leak[0].0 < 10_900.0, "{leak:?}");
    assert!(spans(&made, Quantity::Spo2, "leak").is_empty());
}

#[test]
fn frozen_values_and_missing_rows_are_exact() {
    let frozen = with_fault(Cause::Frozen, 9000.0, 300.0);
    for quantity in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        let held = &samples(&frozen, quantity)[9000..9300];
        assert!(held.iter().all(|x| (x - held[0]).abs() < 1e-12));
        assert_eq!(spans(&frozen, quantity, "stuck"), [(9000.0, 9300.0)]);
    }
    let missing = with_fault(Cause::Missing, 9000.0, 60.0);
    assert!(samples(&missing, Quantity::Spo2)[9000..9060].iter().all(|x| x.is_nan()));
    assert!(samples(&missing, Quantity::Spo2)[9060].is_finite());
    assert_eq!(spans(&missing, Quantity::Tcpco2, "missing"), [(9000.0, 9060.0)]);
}

/// `vagedes-2014`: longer averaging hides falls. The lowest readings rise with the averaging time.
#[test]
fn longer_averaging_hides_the_depth_of_falls() {
    let lowest = |averaging_s: u32| {
        let mut sensor = Sensor::ideal();
        sensor.oximeter.averaging_s = averaging_s;
        let sleeper = simulate::sleeper_named("sawtooth").unwrap().sleeper;
        let made = simulate::night(&sleeper, &sensor, 1);
        let shown = samples(&made, Quantity::Spo2);
        let depths: Vec<f64> = made
            .truth
            .events
            .iter()
            .filter(|event| event.fall_pct >= 4.0)
            .map(|event| {
                let nadir = event.nadir_s as usize;
                shown[nadir..nadir + 16].iter().copied().fold(f64::MAX, f64::min)
            })
            .collect();
        depths.iter().sum::<f64>() / depths.len() as f64
    };
    let (two, eight, sixteen) = (lowest(2), lowest(8), lowest(16));
    assert!(two + 0.3 < eight && eight + 0.3 < sixteen, "{two} {eight} {sixteen}");
}

/// `aarrestad-2016`: drift 0.14 ± 0.54 kPa in 8 h over 67 nights; over 200 made nights with those
/// numbers the mean lies within 3 standard errors (0.115).
#[test]
fn drift_over_many_nights_has_its_published_spread() {
    let mut sensor = Sensor::ideal();
    sensor.electrode.drift_kpa_per_8h = 0.14;
    sensor.electrode.drift_sd_kpa_per_8h = 0.54;
    let mut sleeper = Sleeper::healthy();
    sleeper.sleep.in_bed_h = 0.2;
    let drifts: Vec<f64> = (0..200)
        .map(|seed| {
            let drift = simulate::night(&sleeper, &sensor, seed).truth.drift_kpa;
            drift[drift.len() - 1] / (drift.len() - 1) as f64 * 28_800.0
        })
        .collect();
    let mean = drifts.iter().sum::<f64>() / 200.0;
    let sd = (drifts.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 199.0).sqrt();
    assert!((mean - 0.14).abs() < 0.115, "{mean}");
    assert!((sd - 0.54).abs() < 0.09, "{sd}");
}

#[test]
fn mmhg_monitors_round_to_a_tenth_of_a_mmhg() {
    let mut sensor = Sensor::ordinary();
    sensor.electrode.shows = Shows::Mmhg;
    let made = simulate::night(&Sleeper::healthy(), &sensor, 1);
    let channel = made.recording.channel(Quantity::Tcpco2).unwrap();
    assert_eq!(channel.file_unit, "mmHg");
    for kpa in channel.samples.iter() {
        let tenths = mmhg_from_kpa(*kpa) * 10.0;
        assert!((tenths - tenths.round()).abs() < 1e-6, "{kpa} kPa");
    }
}

/// The notes carry what a diary and a desk would: the gas check's error is the electrode's drift.
#[test]
fn the_notes_tell_lights_marks_and_gases() {
    let made = simulate::sleeper_named("drifting").unwrap().night(1);
    let notes = &made.notes_toml;
    for part in [
        "zone = \"Europe/London\"",
        "lights_out = \"2026-01-13T22:30:00\"",
        "[monitor]",
        "kind = \"up\"",
        "[[blood_gas]]",
    ] {
        assert!(notes.contains(part), "{part} in\n{notes}");
    }
    let observed: Vec<f64> = notes
        .lines()
        .filter_map(|line| line.strip_prefix("observed_kpa = ")?.parse().ok())
        .collect();
    let drift = made.truth.drift_kpa.last().unwrap();
    assert!((observed[1] - observed[0] - drift).abs() < 0.25, "{observed:?} for {drift}");
    assert!(drift.abs() > kpa_from_mmhg(7.5), "{drift}");
}

/// Two-second and four-second samples are the one-second night thinned out.
#[test]
fn slower_sampling_thins_the_night() {
    let mut sensor = Sensor::ordinary();
    let each = simulate::night(&Sleeper::healthy(), &sensor, 1);
    sensor.oximeter.period_s = 2;
    sensor.electrode.period_s = 4;
    let thinned = simulate::night(&Sleeper::healthy(), &sensor, 1);
    let spo2 = samples(&thinned, Quantity::Spo2);
    for (k, value) in spo2.iter().enumerate().skip(100).take(5000) {
        assert!((value - samples(&each, Quantity::Spo2)[2 * k]).abs() < 1e-12);
    }
    assert!((thinned.recording.channel(Quantity::Tcpco2).unwrap().period_s - 4.0).abs() < 1e-12);
}
