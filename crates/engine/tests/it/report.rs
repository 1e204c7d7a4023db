//! The report: the judgement as plain data.

use engine::judge::Answer::{self, CannotTell, Met, NotMet};
use engine::judge::Decision;
use engine::recording::Quantity;
use engine::report::{Report, report};
use engine::screen::Reason;

use crate::made_night;

fn made() -> Report {
    report(&made_night::judgement(), &made_night::criteria())
}

#[test]
fn the_answer_stands_first_and_is_never_yes_or_no() {
    let report = made();
    assert_eq!(report.headline, "One of the four rules asked is met; one cannot be told.");
    assert_eq!(report.decision_words, "This night answers in part.");
    assert!(report.summary[1].starts_with("SpO2 averaged 92.4 %, fell to 81 % at its lowest"));
    assert!(report.summary[2].contains("held 7.06 kPa (53.0 mmHg) for ten minutes"));
}

#[test]
fn every_answer_has_its_own_headline() {
    let mut judgement = made_night::judgement();
    let criteria = made_night::criteria();
    let mut headline = |answer: Answer, rules: [Answer; 4]| {
        judgement.verdict.answer = answer;
        let needs = &criteria.questions[0].needs;
        for (id, answer) in needs.iter().zip(rules) {
            judgement.rules.iter_mut().find(|rule| rule.id == *id).unwrap().answer = answer;
        }
        report(&judgement, &criteria).headline
    };
    let seen = "SpO2 averaged 92.4 %; it fell by 4 % or more 18.6 times an hour; CO2 held 7.06 kPa (53.0 mmHg) for ten minutes at its highest.";
    assert_eq!(
        headline(NotMet, [NotMet; 4]),
        format!("{seen} None of the four rules asked is met, which does not exclude disease.")
    );
    assert_eq!(
        headline(CannotTell, [CannotTell, NotMet, NotMet, NotMet]),
        format!("{seen} None of the four rules asked is seen to be met; one cannot be told.")
    );
    assert_eq!(headline(Met, [Met, Met, NotMet, NotMet]), "Two of the four rules asked are met.");
}

#[test]
fn rules_the_question_needs_come_first_and_are_numbered_in_that_order() {
    let report = made();
    let needed = made_night::criteria().questions[0].needs.len();
    let numbers: Vec<usize> = report.rules.iter().map(|rule| rule.number).collect();
    assert_eq!(numbers, (1..=report.rules.len()).collect::<Vec<_>>());
    assert!(report.rules.iter().enumerate().all(|(i, rule)| rule.needed == (i < needed)));
}

#[test]
fn co2_levels_stand_once_with_both_units() {
    let report = made();
    let co2 = report.figures.iter().find(|group| group.channel == "tcpco2").unwrap();
    assert!(co2.lines.iter().all(|line| !line.id.ends_with("_mmhg")));
    let mean = co2.lines.iter().find(|line| line.id == "tcpco2.mean").unwrap();
    assert_eq!((mean.value.as_deref(), mean.mmhg.as_deref()), (Some("6.31"), Some("47.3")));
    assert_eq!(mean.range.as_deref(), Some("6.22\u{2013}6.44"));
}

#[test]
fn a_figure_that_cannot_be_given_says_why() {
    let report = made();
    let lines = report.figures.iter().flat_map(|group| &group.lines);
    let line = lines.clone().find(|line| line.id == "spo2.delta_index_12s").unwrap();
    assert_eq!(line.value, None);
    assert!(line.absent.as_ref().unwrap().contains("averaged over 4 s"));
}

#[test]
fn the_lowest_believed_sample_of_the_night_is_drawn() {
    let judgement = made_night::judgement();
    let trace = judgement.scores.corrected.trace(Quantity::Spo2).unwrap();
    let lowest = (0..trace.len())
        .filter(|&i| trace.believed[i])
        .map(|i| trace.values[i])
        .fold(f64::INFINITY, f64::min);
    let lane = &made().picture.lanes[0];
    let drawn = lane.believed.iter().flatten().map(|c| c.min).fold(f64::INFINITY, f64::min);
    assert_eq!(drawn.to_bits(), lowest.to_bits());
    assert!(lane.low <= lowest && lane.believed.len() <= 1200);
}

#[test]
fn a_gap_breaks_the_line_and_is_told_with_its_reason() {
    let report = made();
    let lane = report.picture.lanes.iter().find(|lane| lane.quantity == Quantity::Tcpco2).unwrap();
    let reasons: Vec<Reason> = lane.doubts.iter().map(|doubt| doubt.reason).collect();
    assert_eq!(reasons, [Reason::Settling, Reason::Off, Reason::Settling]);
    // 32 400 samples in columns of 27 seconds.
    let column = |at_s: usize| lane.believed[at_s / 27];
    assert!((lane.column_s - 27.0).abs() < 1e-12);
    assert!(column(16_800).is_none() && column(16_000).is_some());
    assert!(!lane.raw.is_empty() && !lane.band.is_empty());
}

#[test]
fn the_usual_cautions_always_stand_and_the_one_on_skin_near_a_threshold() {
    let near = made().cautions.join(" ");
    for words in ["Not a diagnosis", "estimate", "Sleep was not measured", "Not for alarms"] {
        assert!(near.contains(words), "{words}");
    }
    // The mean, 92.4 %, lies within 4 points of the 90 % that a rule asks about.
    assert!(near.contains("mean SpO2 (92.4 %)") && near.contains("darker skin"), "{near}");
    let mut far = made_night::judgement();
    for measure in far.scores.measures.iter_mut().filter(|m| m.id == "spo2.mean") {
        measure.figure = engine::score::Figure::Given { value: 96.0, lowest: 96.0, highest: 96.0 };
    }
    let far = report(&far, &made_night::criteria()).cautions.join(" ");
    assert!(!far.contains("skin"), "{far}");
}

#[test]
fn a_night_with_nothing_in_it_still_gives_a_report() {
    let mut judgement = made_night::judgement();
    judgement.rules.clear();
    judgement.patterns.clear();
    judgement.scores.measures.clear();
    judgement.scores.corrected.tcpco2 = None;
    judgement.scores.corrected.screened.channels.clear();
    judgement.scores.corrected.screened.recording.channels.clear();
    judgement.scores.corrected.screened.period.stretches.clear();
    judgement.verdict.decision = Decision::Repeat;
    let report = report(&judgement, &made_night::criteria());
    assert_eq!(report.headline, "No rule was asked of this night.");
    assert_eq!(report.correction.sentence, "No CO2 was recorded.");
    assert!(
        report.picture.lanes.is_empty() && report.night.period.starts_with("Nothing was scored")
    );
}

#[test]
fn a_reason_that_only_repeats_a_rule_stays_off_the_first_page() {
    let mut judgement = made_night::judgement();
    let repeats = format!("The night shows {}.", judgement.rules[0].asks);
    judgement.verdict.reasons = vec![repeats.clone(), "The sensor drifted by 1.4 kPa.".into()];
    let report = report(&judgement, &made_night::criteria());
    assert_eq!(report.brief_reasons, ["The sensor drifted by 1.4 kPa."]);
    assert!(report.reasons.contains(&repeats));
}
