//! Which samples may be believed: each reason found to the sample, true physiology kept.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::sync::Arc;

use engine::criteria::{Criteria, shipped};
use engine::notes::Notes;
use engine::recording::{MarkKind, Quantity, Recording};
use engine::screen::{PeriodBasis, Reason, Screened, screen};
use engine::time::Stretch;

use crate::made;

mod coarse;
mod never;

fn adult() -> Criteria {
    shipped("adult-air").unwrap()
}

fn screened(recording: Recording, notes: Notes) -> Screened {
    screen(recording, notes, &adult())
}

/// The spans of one reason, each as start and end in seconds.
fn spans(screened: &Screened, quantity: Quantity, reason: Reason) -> Vec<(f64, f64)> {
    let spans = &screened.channel(quantity).unwrap().spans;
    let of = spans.iter().filter(|span| span.reason == reason);
    of.map(|span| (span.stretch.start_s, span.stretch.end_s)).collect()
}

fn believed(screened: &Screened, quantity: Quantity) -> usize {
    screened.channel(quantity).unwrap().believed.iter().filter(|&&b| b).count()
}

fn codes(screened: &Screened) -> Vec<&'static str> {
    screened.findings.iter().map(|finding| finding.code).collect()
}

/// SpO2 alone with a live pulse beside it.
fn oximetry(spo2: &[f64]) -> Recording {
    let night = made::with(made::night(), Quantity::Spo2, 1.0, spo2);
    made::with(night, Quantity::Pulse, 1.0, &made::beats(spo2.len()))
}

fn co2_only(co2: &[f64]) -> Recording {
    made::with(made::night(), Quantity::Tcpco2, 1.0, co2)
}

/// 96 with a straight fall and rise, rounded to whole percent as an oximeter shows it.
fn fall(down_pct_per_s: f64, up_pct_per_s: f64, depth_pct: f64) -> Vec<f64> {
    let mut x = vec![96.0; 60];
    let mut level: f64 = 96.0;
    while level > 96.0 - depth_pct {
        level -= down_pct_per_s;
        x.push(level.round());
    }
    while level < 96.0 {
        level = (level + up_pct_per_s).min(96.0);
        x.push(level.round());
    }
    x.extend([96.0; 60]);
    x
}

/// Slopes of true falls and rises in adults: -0.26 and +0.44 %/s (`desaturation-slopes`), +0.59 %/s
/// (`resaturation-rate`).
#[test]
fn true_adult_falls_are_kept() {
    for (down, up, depth) in [(0.26, 0.44, 5.2), (0.26, 0.59, 30.0), (1.0, 2.0, 40.0)] {
        let x = fall(down, up, depth);
        let night = screened(oximetry(&x), Notes::default());
        assert_eq!(believed(&night, Quantity::Spo2), x.len(), "{down} {up} {depth}");
    }
}

#[test]
fn a_step_down_and_the_step_back_are_disbelieved_with_all_between() {
    let mut x = vec![96.0; 300];
    x[100..140].fill(60.0);
    let night = screened(oximetry(&x), Notes::default());
    assert_eq!(spans(&night, Quantity::Spo2, Reason::Step), [(100.0, 140.0)]);
    assert_eq!(believed(&night, Quantity::Spo2), 260);
    assert_eq!(believed(&night, Quantity::Pulse), 300);
}

/// At 4 % a second 36 % could have been reached in 9 s: from then on the new level is believed.
#[test]
fn a_step_without_a_way_back_is_disbelieved_until_the_level_can_be_reached() {
    let mut x = vec![96.0; 600];
    x[100..].fill(60.0);
    let night = screened(oximetry(&x), Notes::default());
    assert_eq!(spans(&night, Quantity::Spo2, Reason::Step), [(100.0, 108.0)]);
}

#[test]
fn a_step_back_may_take_several_samples() {
    let mut x = vec![96.0; 300];
    x[100..110].fill(60.0);
    (x[110], x[111]) = (78.0, 90.0);
    let night = screened(oximetry(&x), Notes::default());
    assert_eq!(spans(&night, Quantity::Spo2, Reason::Step), [(100.0, 112.0)]);
}

/// Infants truly fall 3 to 8 % a second (`infant-falls`); the set for children allows it.
#[test]
fn a_fast_fall_of_a_child_is_kept_where_an_adults_is_not() {
    let mut x = vec![96.0; 200];
    for (k, level) in [90.0, 84.0, 78.0, 84.0, 90.0].into_iter().enumerate() {
        x[100 + k] = level;
    }
    let child = screen(oximetry(&x), Notes::default(), &shipped("child").unwrap());
    assert_eq!(believed(&child, Quantity::Spo2), 200);
    let adult = screened(oximetry(&x), Notes::default());
    assert_eq!(spans(&adult, Quantity::Spo2, Reason::Step), [(100.0, 105.0)]);
}

#[test]
fn values_of_no_living_person_are_implausible() {
    let mut x = vec![96.0; 200];
    (x[50], x[60]) = (49.0, 101.0);
    let mut pulse = made::beats(200);
    (pulse[70], pulse[80]) = (24.0, 221.0);
    let mut co2 = made::quiet(200, 5.5);
    co2[90] = 15.1;
    let night = screened(made::three(&x, &pulse, &co2), Notes::default());
    let found = |quantity| spans(&night, quantity, Reason::Implausible);
    assert_eq!(found(Quantity::Spo2), [(50.0, 51.0), (60.0, 61.0)]);
    assert_eq!(found(Quantity::Pulse), [(70.0, 71.0), (80.0, 81.0)]);
    assert_eq!(found(Quantity::Tcpco2), [(90.0, 91.0)]);
}

#[test]
fn missing_samples_are_told_to_the_sample() {
    let mut x = vec![96.0; 200];
    x[50..53].fill(f64::NAN);
    let night = screened(oximetry(&x), Notes::default());
    assert_eq!(spans(&night, Quantity::Spo2, Reason::Missing), [(50.0, 53.0)]);
    assert_eq!(believed(&night, Quantity::Spo2), 197);
}

#[test]
fn spo2_is_stuck_only_while_the_pulse_is_frozen_too() {
    let quiet_sleep = screened(oximetry(&vec![96.0; 3600]), Notes::default());
    assert_eq!(believed(&quiet_sleep, Quantity::Spo2), 3600);
    let mut pulse = made::beats(600);
    pulse[100..220].fill(70.0);
    pulse[300..419].fill(70.0);
    let night = made::with(made::night(), Quantity::Spo2, 1.0, &[96.0; 600]);
    let night = screened(made::with(night, Quantity::Pulse, 1.0, &pulse), Notes::default());
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        assert_eq!(spans(&night, quantity, Reason::Stuck), [(100.0, 220.0)]);
    }
}

/// A pacemaker holds the pulse at 60 while SpO2 moves on every three minutes.
#[test]
fn a_paced_pulse_does_not_make_quiet_spo2_stuck() {
    let spo2: Vec<f64> = (0..7200).map(|i| 95.0 + f64::from(i / 180 % 2)).collect();
    let night = made::with(made::night(), Quantity::Spo2, 1.0, &spo2);
    let night = made::with(night, Quantity::Pulse, 1.0, &vec![60.0; 7200]);
    let night = screened(night, Notes::default());
    assert_eq!(believed(&night, Quantity::Spo2), 7200);
    assert_eq!(believed(&night, Quantity::Pulse), 7200);
}

#[test]
fn co2_frozen_together_with_the_oximeter_is_stuck_sooner() {
    // Tenths that usually stand for a minute.
    let mut co2: Vec<f64> = (0..4000).map(|i| 5.5 + 0.1 * f64::from(i / 60 % 2)).collect();
    let mut pulse = made::beats(4000);
    pulse[2000..2300].fill(70.0);
    co2[2000..2300].fill(5.5);
    co2[3000..3300].fill(5.5);
    let night = screened(made::three(&vec![96.0; 4000], &pulse, &co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Stuck), [(2000.0, 2300.0)]);
}

#[test]
fn oximetry_is_not_believed_while_perfusion_is_low() {
    let mut perfusion = vec![2.0; 300];
    perfusion[100..120].fill(0.2);
    perfusion[150..160].fill(f64::NAN);
    let night = made::with(oximetry(&[96.0; 300]), Quantity::Perfusion, 1.0, &perfusion);
    let night = screened(night, Notes::default());
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        // And for the 8 s after it over which a monitor may average.
        assert_eq!(spans(&night, quantity, Reason::LowPerfusion), [(100.0, 128.0)]);
        assert_eq!(believed(&night, quantity), 272);
    }
}

/// The sensor is off from 3000 to 3300 s: CO2 falls to room air within a minute, the oximeter reads
/// nothing from 3005 to 3310 s, and CO2 climbs back over six minutes.
fn taken_off() -> Recording {
    let mut co2 = made::quiet(7200, 5.5);
    for k in 0..60 {
        co2[3000 + k] = 5.4 - 0.09 * k as f64;
    }
    co2[3060..3300].fill(0.05);
    for k in 0..360 {
        co2[3300 + k] = 0.1 + 0.015 * k as f64;
    }
    let (mut spo2, mut pulse) = (vec![96.0; 7200], made::beats(7200));
    spo2[3005..3310].fill(f64::NAN);
    pulse[3005..3310].fill(f64::NAN);
    made::three(&spo2, &pulse, &co2)
}

#[test]
fn off_starts_with_the_fall_and_settling_follows_it() {
    let night = screened(taken_off(), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Off), [(3000.0, 3310.0)]);
    // A straight climb is no approach, so the 15 min of patients stand (`oxford-tc-speed`). At the
    // start CO2 is at its level already.
    let settling = spans(&night, Quantity::Tcpco2, Reason::Settling);
    assert_eq!(settling, [(3310.0, 4210.0)]);
    for quantity in [Quantity::Spo2, Quantity::Pulse] {
        assert_eq!(spans(&night, quantity, Reason::Off), [(2995.0, 3320.0)]);
    }
    assert_eq!(believed(&night, Quantity::Tcpco2), 7200 - 310 - 900);
}

#[test]
fn co2_gone_while_the_oximeter_reads_is_a_leak() {
    let mut night = taken_off();
    Arc::make_mut(&mut night.channels[0].samples).fill(96.0);
    night.channels[1].samples = made::beats(7200).into();
    let night = screened(night, Notes::default());
    assert!(spans(&night, Quantity::Tcpco2, Reason::Off).is_empty());
    let leak = spans(&night, Quantity::Tcpco2, Reason::Leak);
    assert_eq!(leak.len(), 1);
    let (start_s, end_s) = leak[0];
    assert!((start_s - 3000.0).abs() < 0.5 && (3300.0..3420.0).contains(&end_s), "{leak:?}");
    assert_eq!(believed(&night, Quantity::Spo2), 7200);
}

/// The monitor puts its sensor into a gas of 7.1 kPa while it is off the ear.
#[test]
fn a_sensor_in_its_gas_is_off_until_the_oximeter_reads() {
    let mut night = taken_off();
    Arc::make_mut(&mut night.channels[2].samples)[3150..3300].fill(7.1);
    let night = screened(night, Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Off), [(3000.0, 3310.0)]);
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Settling), [(3310.0, 4210.0)]);
}

#[test]
fn room_air_without_any_oximetry_is_off() {
    let mut night = taken_off();
    night.channels.drain(..2);
    let night = screened(night, Notes::default());
    let off = spans(&night, Quantity::Tcpco2, Reason::Off);
    assert!(off.len() == 1 && (off[0].0 - 3000.0).abs() < 0.5, "{off:?}");
}

#[test]
fn a_recording_started_before_the_fitting_is_off_until_the_oximeter_reads() {
    let mut co2 = vec![0.05; 300];
    co2.extend((0..360).map(|k| 0.1 + 0.015 * f64::from(k)));
    co2.extend(made::quiet(3000, 5.5));
    let n = co2.len();
    let (mut spo2, mut pulse) = (vec![96.0; n], made::beats(n));
    spo2[..300].fill(f64::NAN);
    pulse[..300].fill(f64::NAN);
    let night = screened(made::three(&spo2, &pulse, &co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Off), [(0.0, 300.0)]);
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Settling), [(300.0, 1200.0)]);
}

#[test]
fn a_sensor_that_never_settles_is_told() {
    let drifting: Vec<f64> = (0..7200).map(|i| 4.0 + 0.1 * f64::from(i) / 60.0 % 8.0).collect();
    let night = screened(co2_only(&drifting), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Settling), [(0.0, 2700.0)]);
    assert!(codes(&night).contains(&"co2_never_settled"));
}

/// In apnoea arterial CO2 rises by 9.8 mmHg in the first minute, then by up to 4.4 mmHg a minute
/// (`kobayashi-1994`): 1.31 and 0.59 kPa. Here up and down again as fast.
#[test]
fn co2_as_fast_as_in_apnoea_is_kept() {
    let mut co2 = made::quiet(3600, 5.5);
    for k in 0..120 {
        let minutes = k as f64 / 60.0;
        let up = 1.31 * minutes.min(1.0) + 0.59 * (minutes - 1.0).max(0.0);
        co2[2000 + k] += up;
        co2[2239 - k] += up;
    }
    let night = screened(co2_only(&co2), Notes::default());
    assert_eq!(believed(&night, Quantity::Tcpco2), 3600);
}

#[test]
fn a_knock_to_the_co2_sensor_is_a_step() {
    let mut co2 = made::quiet(3600, 5.5);
    co2[2000..2010].fill(8.0);
    let night = screened(co2_only(&co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Step), [(2000.0, 2010.0)]);
    assert_eq!(believed(&night, Quantity::Tcpco2), 3590);
}

#[test]
fn co2_that_stays_at_another_level_after_a_fast_fall_is_told() {
    let mut co2 = made::quiet(10_000, 6.5);
    co2[3000..].copy_from_slice(&made::quiet(7000, 4.5));
    let night = screened(oximetry_and(&co2), Notes::default());
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Leak), [(3000.0, 5700.0)]);
    assert!(codes(&night).contains(&"co2_new_level"));
}

/// After slow loosening somebody presses the sensor on again.
#[test]
fn a_fast_rise_that_stays_is_a_refit_and_told() {
    let mut co2 = made::quiet(8000, 5.5);
    for (k, x) in co2[2000..4000].iter_mut().enumerate() {
        *x -= 2.0 * k as f64 / 2000.0;
    }
    let night = screened(oximetry_and(&co2), Notes::default());
    let settling = spans(&night, Quantity::Tcpco2, Reason::Settling);
    assert_eq!(settling, [(4000.0, 4900.0)]);
    assert_eq!(spans(&night, Quantity::Tcpco2, Reason::Leak).len(), 1);
    assert!(codes(&night).contains(&"co2_refit_seen"));
}

fn oximetry_and(co2: &[f64]) -> Recording {
    made::three(&vec![96.0; co2.len()], &made::beats(co2.len()), co2)
}

#[test]
fn a_note_with_an_end_excludes_and_one_without_is_told() {
    let note = |text: &str, end_s| {
        let mut mark = made::mark(MarkKind::Note, 1000.0, end_s);
        mark.text = text.into();
        mark
    };
    let marks = vec![note("Motion artefact", Some(1020.0)), note("Probe off", None)];
    let night = screened(oximetry_and(&made::quiet(3000, 5.5)), made::diary(marks));
    assert_eq!(spans(&night, Quantity::Spo2, Reason::Motion), [(1000.0, 1020.0)]);
    assert_eq!(believed(&night, Quantity::Spo2), 2980);
    assert!(spans(&night, Quantity::Tcpco2, Reason::Motion).is_empty());
    assert!(codes(&night).contains(&"note_without_end"));
}

#[test]
fn a_person_may_put_back_and_exclude_and_the_last_word_wins() {
    let mut x = vec![96.0; 300];
    x[100..110].fill(60.0);
    x[105] = f64::NAN;
    let spo2 = |a, b, believe| made::edit(Quantity::Spo2, a, b, believe);
    let edits = vec![
        // The step with its dropout looks like a slip, which reaches 8 s further.
        spo2(100.0, 118.0, true),
        spo2(200.0, 220.0, false),
        spo2(210.0, 215.0, true),
        spo2(400.0, 410.0, false),
    ];
    let notes = Notes { edits, ..Notes::default() };
    let night = screened(oximetry(&x), notes);
    let belief = &night.channel(Quantity::Spo2).unwrap().believed;
    let doubted: Vec<usize> = (0..300).filter(|&i| !belief[i]).collect();
    let expected: Vec<usize> = [105].into_iter().chain(200..210).chain(215..220).collect();
    assert_eq!(doubted, expected);
    assert_eq!(spans(&night, Quantity::Spo2, Reason::ByPerson), [(200.0, 220.0)]);
    assert!(!spans(&night, Quantity::Spo2, Reason::Step).is_empty(), "the tool's span stays");
    assert!(codes(&night).contains(&"edit_without_samples"));
}

fn period(
    marks: Vec<engine::recording::Mark>,
) -> (Vec<(f64, f64)>, PeriodBasis, Vec<&'static str>) {
    let night = screened(oximetry(&vec![96.0; 10_000]), made::diary(marks));
    let stretches = night.period.stretches.iter().map(|s: &Stretch| (s.start_s, s.end_s)).collect();
    let mut codes = codes(&night);
    codes.retain(|code| !code.contains("believed"));
    (stretches, night.period.basis, codes)
}

#[test]
fn the_period_runs_from_lights_out_to_lights_on_without_time_awake_or_up() {
    use MarkKind::{Awake, LightsOn, LightsOut, Up};
    let (stretches, basis, codes) = period(vec![
        made::mark(LightsOut, 1000.0, None),
        made::mark(LightsOn, 9000.0, None),
        made::mark(Up, 3000.0, Some(3300.0)),
        made::mark(Awake, 3200.0, Some(3500.0)),
    ]);
    assert_eq!(stretches, [(1000.0, 3000.0), (3500.0, 9000.0)]);
    assert_eq!((basis, codes), (PeriodBasis::LightsMarked, vec![]));
}

#[test]
fn a_period_without_marks_is_the_whole_recording_and_told() {
    let (stretches, basis, codes) = period(vec![]);
    assert_eq!(stretches, [(0.0, 10_000.0)]);
    assert_eq!((basis, codes), (PeriodBasis::WholeRecording, vec!["lights_not_marked"]));
    let (stretches, basis, codes) = period(vec![made::mark(MarkKind::LightsOut, 1000.0, None)]);
    assert_eq!(stretches, [(1000.0, 10_000.0)]);
    assert_eq!((basis, codes), (PeriodBasis::OneLightMarked, vec!["one_light_not_marked"]));
}

#[test]
fn contradicting_lights_fall_back_to_the_whole_recording() {
    use MarkKind::{LightsOn, LightsOut};
    for (out, on) in [(9000.0, 1000.0), (20_000.0, 30_000.0), (-500.0, -100.0)] {
        let marks = vec![made::mark(LightsOut, out, None), made::mark(LightsOn, on, None)];
        let (stretches, basis, codes) = period(marks);
        assert_eq!(stretches, [(0.0, 10_000.0)], "{out} {on}");
        assert_eq!((basis, codes), (PeriodBasis::WholeRecording, vec!["lights_contradict"]));
    }
}

#[test]
fn the_notes_lights_win_over_the_files() {
    let mut night = oximetry(&[96.0; 1000]);
    night.marks = vec![made::mark(MarkKind::LightsOut, 50.0, None)];
    let notes = made::diary(vec![made::mark(MarkKind::LightsOut, 100.0, None)]);
    let night = screened(night, notes);
    assert_eq!(night.period.stretches, [Stretch::new(100.0, 1000.0)]);
}

#[test]
fn awake_without_an_end_lasts_to_the_next_mark_and_up_to_a_usual_visit() {
    use MarkKind::{Asleep, Awake, LightsOn, LightsOut, Up};
    let lights = |mut marks: Vec<_>| {
        marks.push(made::mark(LightsOut, 0.0, None));
        marks.push(made::mark(LightsOn, 10_000.0, None));
        period(marks)
    };
    let at = |kind, s| made::mark(kind, s, None);
    let (stretches, _, codes) = lights(vec![at(Awake, 2000.0), at(Asleep, 4000.0)]);
    assert_eq!(stretches, [(0.0, 2000.0), (4000.0, 10_000.0)]);
    assert_eq!(codes, ["mark_without_end"]);
    assert_eq!(lights(vec![at(Awake, 2000.0)]).0, [(0.0, 2000.0)]);
    assert_eq!(lights(vec![at(Up, 2000.0)]).0, [(0.0, 2000.0), (2900.0, 10_000.0)]);
    let back = lights(vec![at(Up, 2000.0), at(Asleep, 4000.0)]);
    assert_eq!(back.0, [(0.0, 2000.0), (4000.0, 10_000.0)]);
}

#[test]
fn the_share_not_believed_is_told_with_its_reasons() {
    let mut co2 = made::quiet(3600, 5.5);
    co2[..900].fill(f64::NAN);
    let night = screened(co2_only(&co2), Notes::default());
    let finding = night.findings.iter().find(|f| f.code == "share_not_believed").unwrap();
    assert_eq!(
        finding.sentence,
        "50 % of tcPCO2 in the period is not believed: no value recorded 25 %, CO2 settling after \
         fitting 25 %."
    );
}
