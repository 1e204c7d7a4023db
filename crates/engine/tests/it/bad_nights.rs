//! Nights that are no good: each gets a clear judgement, and none a figure or an answer that it cannot bear.

use std::sync::Arc;

use engine::correct::correct;
use engine::criteria::shipped;
use engine::finding::{Finding, Weight};
use engine::judge::{Answer, Cause, Decision, Judgement, causes, judge};
use engine::notes::Notes;
use engine::print::{Heading, html, json};
use engine::recording::{MarkKind, Quantity, Recording};
use engine::report::report;
use engine::score::score;
use engine::screen::screen;

use crate::made;

const HOUR_S: usize = 3600;

/// The night judged by the adult set and printed, which must not fail either.
fn judged(night: Recording, notes: Notes) -> Judgement {
    let criteria = shipped("adult-air").unwrap();
    let judgement =
        judge(score(correct(screen(night, notes, &criteria), &criteria), &criteria), &criteria);
    let printed = html(&report(&judgement, &criteria), &Heading::default());
    assert!(printed.contains("What was believed"));
    assert!(json(&judgement).contains("verdict"));
    judgement
}

fn told(judgement: &Judgement) -> Vec<(&str, Answer)> {
    let rules = judgement.rules.iter().map(|rule| (rule.id.as_str(), rule.answer));
    rules.filter(|(_, answer)| *answer != Answer::CannotTell).collect()
}

fn says(judgement: &Judgement, words: &str) {
    let reasons = &judgement.verdict.reasons;
    assert!(reasons.iter().any(|reason| reason.contains(words)), "{reasons:?}");
}

/// Numbers from 0 up to but not including 1 that jump about (a linear congruence, nothing random).
fn noise(count: usize) -> Vec<f64> {
    let mut state = 1_u32;
    (0..count)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24)
        })
        .collect()
}

#[test]
fn a_night_of_artefact_alone_is_repeated_and_answers_nothing() {
    let n = 8 * HOUR_S;
    let jumping = |low: f64, wide: f64| noise(n).iter().map(|x| (low + wide * x).round()).collect();
    let (spo2, pulse, co2): (Vec<f64>, Vec<f64>, Vec<f64>) =
        (jumping(40.0, 60.0), jumping(30.0, 190.0), jumping(0.0, 14.0));
    let judgement = judged(made::three(&spo2, &pulse, &co2), Notes::default());
    assert_eq!(judgement.verdict.decision, Decision::Repeat);
    assert_eq!(told(&judgement), []);
    says(&judgement, "less than the 4 h this department asks");
}

#[test]
fn a_night_all_missing_is_repeated_and_gives_no_figure() {
    let gone = vec![f64::NAN; 8 * HOUR_S];
    let judgement = judged(made::three(&gone, &gone, &gone), Notes::default());
    assert_eq!(judgement.verdict.decision, Decision::Repeat);
    assert_eq!(told(&judgement), []);
    assert!(judgement.scores.measures.iter().all(|measure| measure.value().is_none()));
    says(&judgement, "SpO2 can be believed for 0 h 00 min");
    let little = [Quantity::Spo2, Quantity::Tcpco2].map(Cause::TooLittle);
    assert_eq!(causes(&judgement.verdict.reasons), little);
}

#[test]
fn ten_minutes_are_repeated() {
    let n = 600;
    let night = made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.5));
    let judgement = judged(night, Notes::default());
    assert_eq!(judgement.verdict.decision, Decision::Repeat);
    says(&judgement, "SpO2 can be believed for 0 h 10 min, less than the 4 h");
}

/// A day and a quarter is judged as what it is: one long recording, of which no night was marked.
#[test]
fn thirty_hours_are_judged_and_told_to_be_the_whole_recording() {
    let n = 30 * HOUR_S;
    let night = made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.0));
    let judgement = judged(night, Notes::default());
    let spo2 = judgement.scores.measure("spo2.mean").unwrap();
    assert!((spo2.seconds - n as f64).abs() < 1.0);
    let findings = &judgement.scores.corrected.screened.findings;
    assert!(findings.iter().any(|found| found.code == "lights_not_marked"), "{findings:?}");
    let co2 = &judgement.scores.corrected.findings;
    assert!(co2.iter().any(|found| found.code == "co2_not_corrected"), "{co2:?}");
}

#[test]
fn a_night_of_one_channel_answers_what_it_can_and_names_what_is_missing() {
    let spo2 = made::with(made::night(), Quantity::Spo2, 1.0, &vec![96.0; 8 * HOUR_S]);
    // A lone constant channel is frozen, so it moves a little.
    let mut spo2 = spo2;
    for (i, x) in Arc::make_mut(&mut spo2.channels[0].samples).iter_mut().enumerate() {
        *x -= (i / 300 % 2) as f64;
    }
    let judgement = judged(spo2, Notes::default());
    says(&judgement, "The recording has no tcPCO2.");
    assert_eq!(judgement.verdict.decision, Decision::Repeat);
    let of_co2 = |(id, _): &&(&str, Answer)| id.starts_with("co2");
    assert_eq!(told(&judgement).iter().filter(of_co2).count(), 0);
    assert!(told(&judgement).contains(&("spo2_below_90_30pct", Answer::NotMet)));
}

#[test]
fn a_constant_night_is_repeated_and_answers_nothing() {
    let n = 8 * HOUR_S;
    let night = made::three(&vec![96.0; n], &vec![60.0; n], &vec![5.5; n]);
    let judgement = judged(night, Notes::default());
    assert_eq!(judgement.verdict.decision, Decision::Repeat);
    assert_eq!(told(&judgement), []);
}

/// CO2 goes on falling from a calibrating gas and rising from room air after each refit, hour by hour: a
/// membrane with a bubble. No level of it is sure.
#[test]
fn a_sensor_that_never_settled_keeps_the_night_from_being_sufficient() {
    let n = 8 * HOUR_S;
    let climb = |i: usize| match i % 6000 {
        air if air < 180 => 0.1,
        since => 2.2 + 0.06 / 60.0 * since as f64 + 0.01 * (i % 3) as f64,
    };
    let co2: Vec<f64> = (0..n).map(climb).collect();
    let night = made::three(&vec![96.0; n], &made::beats(n), &co2);
    let judgement = judged(night, Notes::default());
    let findings = &judgement.scores.corrected.screened.findings;
    assert!(findings.iter().any(|found| found.code == "co2_never_settled"), "{findings:?}");
    assert_ne!(judgement.verdict.decision, Decision::Sufficient);
}

/// A night whose only fitting never settled is believed with that reservation.
#[test]
fn co2_that_never_settled_is_a_reservation() {
    let n = 8 * HOUR_S;
    let criteria = shipped("adult-air").unwrap();
    let night = made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.0));
    let mut screened = screen(night, Notes::default(), &criteria);
    let whole = screened.recording.whole();
    let told = Finding::new("co2_never_settled", Weight::Caution, "It went on changing.");
    screened.findings.push(told.on("tcpco2").at(whole));
    let judgement = judge(score(correct(screened, &criteria), &criteria), &criteria);
    says(&judgement, "a sensor that never settled");
    assert!(causes(&judgement.verdict.reasons).contains(&Cause::NeverSettled));
    assert_ne!(judgement.verdict.decision, Decision::Sufficient);
}

#[test]
fn contradictory_marks_are_told_and_keep_the_night_from_being_sufficient() {
    let n = 8 * HOUR_S;
    let night = made::three(&vec![96.0; n], &made::beats(n), &made::quiet(n, 5.0));
    let mark = |kind, hours: f64| made::mark(kind, hours * HOUR_S as f64, None);
    let notes = made::diary(vec![
        mark(MarkKind::LightsOut, 7.0),
        mark(MarkKind::LightsOn, 1.0),
        mark(MarkKind::Asleep, 3.0),
        mark(MarkKind::Awake, 3.0),
    ]);
    let judgement = judged(night, notes);
    says(&judgement, "lights out and lights on contradict each other");
    assert!(causes(&judgement.verdict.reasons).contains(&Cause::Lights));
    assert_ne!(judgement.verdict.decision, Decision::Sufficient);
}
