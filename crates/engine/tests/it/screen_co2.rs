//! Which samples of CO2 may be believed: settling by its curve, slow leaks, gas, frozen values.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::sync::Arc;

use engine::criteria::shipped;
use engine::notes::Notes;
use engine::recording::{MarkKind, Quantity, Recording};
use engine::screen::{Reason, Screened, screen};
use libm::exp;

use crate::made;

fn screened(recording: Recording, notes: Notes) -> Screened {
    screen(recording, notes, &shipped("adult-air").unwrap())
}

/// CO2 with an oximeter that reads beside it.
fn night(co2: &[f64]) -> Recording {
    made::three(&vec![96.0; co2.len()], &made::beats(co2.len()), co2)
}

fn spans(screened: &Screened, reason: Reason) -> Vec<(f64, f64)> {
    let spans = &screened.channel(Quantity::Tcpco2).unwrap().spans;
    let of = spans.iter().filter(|span| span.reason == reason);
    of.map(|span| (span.stretch.start_s, span.stretch.end_s)).collect()
}

fn settling(co2: &[f64]) -> Vec<(f64, f64)> {
    spans(&screened(night(co2), Notes::default()), Reason::Settling)
}

fn codes(screened: &Screened) -> Vec<&'static str> {
    screened.findings.iter().map(|finding| finding.code).collect()
}

/// Climbs to 5.5 kPa with time constant `tau_min`, `over_kpa` decaying with `over_min` on top.
fn climb(count: usize, tau_min: f64, over_kpa: f64, over_min: f64) -> Vec<f64> {
    (0..count)
        .map(|i| (i as f64 / 60.0, 0.01 * (i % 3) as f64))
        .map(|(m, digit)| {
            5.5 - (5.5 + over_kpa) * exp(-m / tau_min) + over_kpa * exp(-m / over_min) + digit
        })
        .collect()
}

fn near(found: &[(f64, f64)], expected: &[(f64, f64)], within_s: f64) {
    let close = |a: f64, b: f64| (a - b).abs() <= within_s;
    let all = found.iter().zip(expected).all(|(a, b)| close(a.0, b.0) && close(a.1, b.1));
    assert!(found.len() == expected.len() && all, "found {found:?}, expected {expected:?}");
}

/// 5.5 exp(-t / 2) is under 0.1 kPa from 2 ln 55 = 8.0 min on: the least time decides (`oxford-tc-speed`,
/// minute 15).
#[test]
fn a_quick_approach_settles_at_the_least_time() {
    assert_eq!(settling(&climb(7200, 2.0, 0.0, 1.0)), [(0.0, 900.0)]);
}

/// 5.5 exp(-t / 8) is under 0.1 kPa from 8 ln 55 = 32.1 min on.
#[test]
fn a_slow_approach_settles_late() {
    near(&settling(&climb(7200, 8.0, 0.0, 1.0)), &[(0.0, 1923.0)], 150.0);
}

/// 1 exp(-t / 6) is under 0.1 kPa from 6 ln 10 = 13.8 min on.
#[test]
fn an_overshoot_belongs_to_settling() {
    near(&settling(&climb(7200, 1.2, 1.0, 6.0)), &[(0.0, 829.0)], 100.0);
}

/// Swings of 0.4 kPa every five minutes hide the approach: the 15 min of patients stand
/// (`oxford-tc-speed`).
#[test]
fn a_patients_own_swings_leave_the_time_of_patients() {
    let mut co2 = climb(7200, 1.2, 0.0, 1.0);
    for (i, x) in co2.iter_mut().enumerate() {
        *x += 0.2 * libm::sin(i as f64 / 300.0 * std::f64::consts::TAU);
    }
    assert_eq!(settling(&co2), [(0.0, 900.0)]);
}

#[test]
fn co2_at_its_level_from_the_start_has_settled_before() {
    let found = screened(night(&made::quiet(3600, 5.5)), Notes::default());
    assert_eq!(spans(&found, Reason::Settling), []);
    assert!(codes(&found).contains(&"co2_settled_at_start"));
}

#[test]
fn a_mark_may_say_that_the_sensor_was_fitted_earlier() {
    let whole = climb(7200, 2.0, 0.0, 1.0);
    let refitted = |co2: &[f64], at_s| {
        let notes = made::diary(vec![made::mark(MarkKind::Refitted, at_s, None)]);
        spans(&screened(night(co2), notes), Reason::Settling)
    };
    assert_eq!(refitted(&whole[240..], -240.0), [(0.0, 660.0)]);
    assert_eq!(refitted(&whole[240..], -1800.0), []);
    // A refit marked is a refit, even where CO2 shows nothing of it.
    assert_eq!(refitted(&made::quiet(3600, 5.5), 2000.0), [(2000.0, 2900.0)]);
}

#[test]
fn a_pause_of_the_recording_needs_no_new_settling_where_co2_goes_on() {
    for seconds in [29, 60, 900] {
        let mut co2 = made::quiet(7200, 5.5);
        co2[2000..2000 + seconds].fill(f64::NAN);
        assert_eq!(settling(&co2), [], "{seconds} s");
    }
}

#[test]
fn a_gap_from_which_co2_climbs_anew_needs_a_new_settling() {
    let mut co2 = made::quiet(7200, 5.5);
    co2[2000..2060].fill(f64::NAN);
    co2[2060..5000].copy_from_slice(&climb(2940, 1.8, 0.0, 1.0));
    // The first half minute lies in room air, which is a leak.
    near(&settling(&co2), &[(2091.0, 2991.0)], 1.0);
}

/// The digit moves every three seconds elsewhere, so two minutes without moving are long.
#[test]
fn co2_that_stands_far_longer_than_usual_is_stuck() {
    let mut co2 = made::quiet(4000, 5.5);
    co2[2000..2400].fill(5.55);
    co2[3000..3100].fill(5.55);
    let found = screened(night(&co2), Notes::default());
    assert_eq!(spans(&found, Reason::Stuck), [(2000.0, 2400.0)]);
}

/// Whole tenths that usually stand for three minutes may stand for twenty.
#[test]
fn co2_with_a_coarse_digit_may_stand() {
    let mut co2: Vec<f64> = (0..14_400).map(|i| 5.5 + 0.1 * f64::from(i / 180 % 2)).collect();
    co2[6000..7200].fill(5.5);
    let found = screened(night(&co2), Notes::default());
    assert_eq!(spans(&found, Reason::Stuck), []);
}

/// From 6000 s on CO2 sags from 5.5 to 3.4 kPa in 40 min while the oximeter reads on.
fn sagging() -> Vec<f64> {
    let mut co2 = made::quiet(14_400, 5.5);
    for (k, x) in co2[6000..8400].iter_mut().enumerate() {
        *x -= 2.1 * k as f64 / 2400.0;
    }
    for x in &mut co2[8400..] {
        *x -= 2.1;
    }
    co2
}

#[test]
fn a_slow_sag_that_ends_with_a_refit_is_a_leak() {
    let mut co2 = sagging();
    for (k, x) in co2[8400..].iter_mut().enumerate() {
        *x += 2.1 * (1.0 - exp(-(k as f64) / 60.0));
    }
    let found = screened(night(&co2), Notes::default());
    near(&spans(&found, Reason::Leak), &[(6000.0, 8400.0)], 120.0);
    near(&spans(&found, Reason::Settling), &[(8400.0, 9300.0)], 10.0);
}

/// Breathing supported from 6000 s on may lower CO2 as much: nothing shows that it was the sensor.
#[test]
fn a_slow_fall_that_stays_is_believed() {
    let found = screened(night(&sagging()), Notes::default());
    assert_eq!(spans(&found, Reason::Leak), []);
}

/// A fall of 1.5 kPa in half an hour, and back as slowly: a mask put on and taken off.
#[test]
fn a_slow_fall_and_a_slow_return_are_believed() {
    let mut co2 = made::quiet(14_400, 6.5);
    for k in 0..1800 {
        co2[6000 + k] -= 1.5 * k as f64 / 1800.0;
        co2[9600 - k] -= 1.5 * k as f64 / 1800.0;
    }
    let found = screened(night(&co2), Notes::default());
    assert_eq!(spans(&found, Reason::Leak), []);
}

/// Nobody sleeps at 3 kPa.
#[test]
fn a_slow_sag_to_a_level_of_no_sleeper_is_a_leak() {
    let mut co2 = sagging();
    for x in &mut co2[8400..] {
        *x -= 0.4;
    }
    let found = screened(night(&co2), Notes::default());
    let leak = spans(&found, Reason::Leak);
    assert!(leak.len() == 1 && (5700.0..6600.0).contains(&leak[0].0), "{leak:?}");
    assert!((leak[0].1 - 14_400.0).abs() < 1.0, "{leak:?}");
}

/// The clip is taken off at 6000 s and lies for six minutes in the monitor's gas of 7.1 kPa.
fn in_gas() -> Recording {
    let mut co2 = made::quiet(14_400, 5.5);
    for k in 0..360 {
        co2[6000 + k] = 7.1 - 1.6 * exp(-(k as f64) / 25.0);
    }
    for k in 0..600 {
        co2[6360 + k] = 5.5 + 1.6 * exp(-(k as f64) / 60.0);
    }
    let mut night = night(&co2);
    for channel in &mut night.channels[..2] {
        Arc::make_mut(&mut channel.samples)[6005..6365].fill(f64::NAN);
    }
    night
}

#[test]
fn co2_standing_still_in_a_gas_is_calibrating() {
    let found = screened(in_gas(), Notes::default());
    near(&spans(&found, Reason::Calibrating), &[(6000.0, 6363.0)], 10.0);
    near(&spans(&found, Reason::Settling), &[(6363.0, 7263.0)], 10.0);
}

/// The oximeter loses its signal for six minutes; CO2 goes on as before.
#[test]
fn an_oximeter_that_reads_nothing_leaves_co2_believed() {
    let mut night = night(&made::quiet(14_400, 5.5));
    for channel in &mut night.channels[..2] {
        Arc::make_mut(&mut channel.samples)[6005..6365].fill(f64::NAN);
    }
    let found = screened(night, Notes::default());
    assert_eq!(found.channel(Quantity::Tcpco2).unwrap().spans, []);
}

/// The sag ends with the clip off, and CO2 is back at its level after it.
#[test]
fn a_slow_sag_that_ends_with_the_clip_off_is_a_leak() {
    let mut co2 = sagging();
    co2[8400..8700].fill(0.05);
    co2[8700..].copy_from_slice(&climb(5700, 1.5, 0.0, 1.0));
    let mut night = night(&co2);
    for channel in &mut night.channels[..2] {
        Arc::make_mut(&mut channel.samples)[8400..8700].fill(f64::NAN);
    }
    let found = screened(night, Notes::default());
    near(&spans(&found, Reason::Leak), &[(6000.0, 8400.0)], 180.0);
}

/// The same sag, but the night ends there: breathing may have lowered CO2 as well.
#[test]
fn a_slow_sag_to_the_end_is_believed_and_told() {
    let co2 = &sagging()[..8400];
    let found = screened(night(co2), Notes::default());
    assert_eq!(spans(&found, Reason::Leak), []);
    assert!(codes(&found).contains(&"co2_sagging"));
    let woken = made::diary(vec![made::mark(MarkKind::LightsOn, 7000.0, None)]);
    assert!(!codes(&screened(night(co2), woken)).contains(&"co2_sagging"));
}

/// CO2 sinks to where it is most of the night; then a whole apnoea of two minutes raises it by 1.31 and
/// 0.59 kPa (`kobayashi-1994`) while SpO2 falls, and it stays raised.
#[test]
fn a_long_apnoea_after_a_slow_fall_is_believed() {
    let mut co2 = made::quiet(14_400, 5.5);
    for (i, x) in co2.iter_mut().enumerate().skip(4000) {
        let (sunk, minutes) = ((i as f64 - 6000.0) / 2400.0, (i as f64 - 8400.0) / 60.0);
        let apnoea = 1.31 * minutes.clamp(0.0, 1.0) + 0.59 * (minutes - 1.0).clamp(0.0, 1.0);
        *x += apnoea + 0.8 * (1.0 - sunk.clamp(0.0, 1.0));
    }
    let mut night = night(&co2);
    for (k, x) in Arc::make_mut(&mut night.channels[0].samples)[8400..8520].iter_mut().enumerate() {
        *x -= (0.26 * k as f64).floor();
    }
    let found = screened(night, Notes::default());
    assert_eq!(spans(&found, Reason::Leak), []);
    assert_eq!(spans(&found, Reason::Settling), []);
}

#[test]
fn another_level_after_a_refit_is_told() {
    let co2 = |after_kpa: f64| {
        let mut co2 = made::quiet(14_400, 5.5);
        let again = climb(7200, 1.5, 0.0, 1.0);
        co2[7200..].copy_from_slice(&again.iter().map(|x| x + after_kpa).collect::<Vec<_>>());
        let marks = vec![made::mark(MarkKind::Refitted, 7200.0, None)];
        codes(&screened(night(&co2), made::diary(marks))).contains(&"co2_level_after_refit")
    };
    assert!(co2(1.2) && !co2(0.5));
}

/// The clip is off from 7000 to 7300 s, and CO2 settles after it.
fn off_in_the_night() -> Recording {
    let mut co2 = made::quiet(14_400, 5.5);
    co2[7000..7300].fill(0.05);
    co2[7300..].copy_from_slice(&climb(7100, 1.5, 0.0, 1.0));
    let mut night = night(&co2);
    for channel in &mut night.channels[..2] {
        Arc::make_mut(&mut channel.samples)[7000..7300].fill(f64::NAN);
    }
    night
}

#[test]
fn a_time_off_the_ear_is_explained_by_the_diary_or_proposed_and_stays_in_the_period() {
    let silent = screened(off_in_the_night(), Notes::default());
    assert!(codes(&silent).contains(&"gap_unexplained"));
    assert_eq!(silent.period.stretches, [engine::time::Stretch::new(0.0, 14_400.0)]);
    let up = made::diary(vec![made::mark(MarkKind::Up, 6950.0, Some(7350.0))]);
    let told = screened(off_in_the_night(), up);
    assert!(codes(&told).contains(&"gap_explained") && !codes(&told).contains(&"gap_unexplained"));
    let elsewhere = made::diary(vec![made::mark(MarkKind::Up, 1000.0, Some(1300.0))]);
    assert!(codes(&screened(off_in_the_night(), elsewhere)).contains(&"gap_unexplained"));
}

/// The pulse falls from 70 to 60 at 3600 s and rises again at 27,000 s.
#[test]
fn onset_and_waking_are_proposed_where_no_lights_are_marked_and_never_used() {
    let pulse: Vec<f64> = (0..28_800)
        .map(|i| if (3600..27_000).contains(&i) { 60.0 } else { 70.0 } + f64::from(i % 2))
        .collect();
    let n = pulse.len();
    let night = || made::three(&vec![96.0; n], &pulse, &made::quiet(n, 5.5));
    let found = screened(night(), Notes::default());
    let at =
        |code| found.findings.iter().find(|f| f.code == code).unwrap().stretch.unwrap().start_s;
    assert!((at("onset_proposed") - 3600.0).abs() < 90.0);
    assert!((at("waking_proposed") - 27_000.0).abs() < 90.0);
    assert_eq!(found.period.stretches.len(), 1);
    let lights = vec![
        made::mark(MarkKind::LightsOut, 3000.0, None),
        made::mark(MarkKind::LightsOn, 27_500.0, None),
    ];
    let told = screened(night(), made::diary(lights));
    assert!(!codes(&told).iter().any(|code| code.ends_with("_proposed")));
    let paced = screened(
        made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.5)),
        Notes::default(),
    );
    assert!(!codes(&paced).iter().any(|code| code.ends_with("_proposed")));
}

/// Every 20 minutes breathing falls for 5: SpO2 falls by 4 %, CO2 rises by 0.6 kPa, `lag` seconds later.
fn waves(lag_s: usize) -> Recording {
    let n = 28_800;
    let wave = |i: usize| {
        let phase = (i % 1200) as f64 / 300.0;
        if phase < 1.0 { libm::sin(phase * std::f64::consts::PI) } else { 0.0 }
    };
    let spo2: Vec<f64> = (0..n).map(|i| (96.0 - 4.0 * wave(i)).round()).collect();
    let digit = made::quiet(n, 5.5);
    let co2: Vec<f64> =
        (0..n).map(|i| digit[i] + 0.6 * if i < lag_s { 0.0 } else { wave(i - lag_s) }).collect();
    made::three(&spo2, &made::beats(n), &co2)
}

#[test]
fn the_lag_of_co2_is_told_to_ten_seconds() {
    for lag_s in [30, 80, 150] {
        let lag = screened(waves(lag_s), Notes::default()).co2_lag.unwrap();
        assert!((lag.seconds - lag_s as f64).abs() <= 10.0, "{lag_s}: {lag:?}");
    }
}

#[test]
fn a_lag_that_cannot_be_told_says_why() {
    let why = |night: Recording| screened(night, Notes::default()).co2_lag.unwrap_err();
    let quiet = night(&made::quiet(28_800, 5.5));
    assert_eq!(why(quiet), "SpO2 and CO2 do not move together enough to tell it");
    assert_eq!(why(made::night()), "the recording has no SpO2");
    let short = night(&made::quiet(3000, 5.5));
    assert_eq!(why(short), "too little of the night is believed in both SpO2 and CO2");
}

/// An ear lain on for ten minutes: little pulsation, CO2 up by 0.8 kPa and back.
#[test]
fn a_rise_of_co2_on_a_squeezed_ear_is_told() {
    let told = |perfused: bool| {
        let mut co2 = made::quiet(14_400, 5.5);
        for k in 0..600 {
            co2[7000 + k] += 0.8 * k as f64 / 600.0;
            co2[7600 + k / 2] = 5.5 + 0.8 * (1.0 - k as f64 / 600.0);
        }
        let mut perfusion = vec![2.0; 14_400];
        if !perfused {
            perfusion[7000..7600].fill(0.2);
        }
        let night = made::with(night(&co2), Quantity::Perfusion, 1.0, &perfusion);
        codes(&screened(night, Notes::default())).contains(&"co2_rise_with_low_perfusion")
    };
    assert!(told(false) && !told(true));
}
