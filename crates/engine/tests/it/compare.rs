//! Judgements beside each other: differences with their range and the published spread, and every warning.

use engine::compare::{Beside, Comparison, Larger, SPREADS, Side, compare, letter};
use engine::criteria::{Criteria, shipped};
use engine::judge::Judgement;
use engine::recording::{MarkKind, Quantity};
use engine::report::{Report, report};
use engine::score::Figure;

use crate::made;
use crate::made_night;

/// One side, with what is borrowed by [`Side`].
struct Made {
    night: i64,
    reader: Option<&'static str>,
    judgement: Judgement,
    criteria: Criteria,
}

fn made(night: i64, change: impl FnOnce(&mut Judgement)) -> Made {
    let mut judgement = made_night::judgement();
    change(&mut judgement);
    Made { night, reader: None, judgement, criteria: made_night::criteria() }
}

fn beside(sides: &[Made]) -> Comparison {
    let reports: Vec<Report> =
        sides.iter().map(|side| report(&side.judgement, &side.criteria)).collect();
    let sides: Vec<Side> = sides
        .iter()
        .zip(&reports)
        .map(|(side, report)| Side {
            night: side.night,
            reader: side.reader,
            monitor: None,
            judgement: &side.judgement,
            report,
            criteria: &side.criteria,
        })
        .collect();
    compare(&sides)
}

fn set(judgement: &mut Judgement, id: &str, [value, lowest, highest]: [f64; 3]) {
    let measure = judgement.scores.measures.iter_mut().find(|one| one.id == id).unwrap();
    measure.figure = Figure::Given { value, lowest, highest };
}

fn codes(found: &Comparison) -> Vec<&'static str> {
    found.warnings.iter().map(|warning| warning.code).collect()
}

fn line<'a>(found: &'a Comparison, id: &str) -> &'a engine::compare::Line {
    found.groups.iter().flat_map(|group| &group.lines).find(|line| line.id == id).unwrap()
}

/// 30.0 (29 to 31) and 12.0 (11 to 14): by hand -18.0 (-20 to -15), beyond 6.7 + 7.6 = 14.3 /h however the
/// unbelieved time is filled.
#[test]
fn a_difference_has_its_range_and_stands_beside_what_was_published() {
    let found = beside(&[
        made(1, |one| set(one, "spo2.odi4", [30.0, 29.0, 31.0])),
        made(2, |one| set(one, "spo2.odi4", [12.0, 11.0, 14.0])),
    ]);
    let odi4 = line(&found, "spo2.odi4");
    assert_eq!([&odi4.cells[0].words, &odi4.cells[1].words], ["30.0 /h", "12.0 /h"]);
    let difference = &odi4.differences[0];
    assert_eq!((difference.value, difference.bounds), (Some(-18.0), Some([-20.0, -15.0])));
    assert_eq!(difference.words, "\u{2212}18.0 /h");
    assert_eq!(difference.range.as_deref(), Some("\u{2212}20.0 to \u{2212}15.0"));
    let Beside::Published(held) = &difference.beside else { panic!("{:?}", difference.beside) };
    assert_eq!(held[0].spread.source, "erj-open-nights-2021");
    let sizes: Vec<(f64, Larger)> = held[0].against.iter().map(|one| (one.0, one.2)).collect();
    assert_eq!(sizes, [(6.7, Larger::Yes), (14.3, Larger::Yes)]);
    assert_eq!(held[0].words(), "larger than the mean change and one standard deviation (14.3 /h)");
    // 31.1 % of the mean of 30 and 12, times the root of 2: 9.236 /h.
    assert!((held[1].against[0].0 - 9.236).abs() < 1e-3);
    assert_eq!(found.spreads[..2], [&SPREADS[0], &SPREADS[1]]);
}

#[test]
fn what_was_not_published_is_said_and_a_night_is_not_held_against_itself() {
    let found = beside(&[made(1, |_| {}), made(2, |_| {})]);
    let co2 = &line(&found, "tcpco2.mean").differences[0];
    assert_eq!(co2.beside.words(), ["no published figure found"]);
    assert!(co2.words.starts_with("0.00 kPa (0.0 mmHg)"), "{}", co2.words);
    let same = beside(&[made(1, |_| {}), made(1, |_| {})]);
    let odi4 = &line(&same, "spo2.odi4").differences[0];
    assert_eq!((&odi4.beside, odi4.bounds, &odi4.range), (&Beside::SameNight, None, &None));
    assert_eq!(codes(&same), ["same_night"]);
    assert!(same.spreads.is_empty());
}

#[test]
fn a_figure_that_one_side_lacks_has_no_difference() {
    let found = beside(&[
        made(1, |_| {}),
        made(2, |one| {
            let odi4 = one.scores.measures.iter_mut().find(|one| one.id == "spo2.odi4").unwrap();
            odi4.figure = Figure::Absent("sampled too coarsely".into());
        }),
    ]);
    let odi4 = line(&found, "spo2.odi4");
    assert_eq!(odi4.cells[1].words, "sampled too coarsely");
    assert_eq!((odi4.differences[0].value, &odi4.differences[0].beside), (None, &Beside::Nothing));
}

#[test]
fn averaging_times_that_differ_or_are_not_known_are_warned_of() {
    let with = |night, averaging| {
        made(night, |one| {
            one.scores.corrected.screened.notes.monitor.averaging_s = averaging;
        })
    };
    let differs = beside(&[with(1, Some(2.0)), with(2, Some(8.0))]);
    assert_eq!(codes(&differs), ["averaging_differs"]);
    let says = &differs.warnings[0].says;
    assert!(says.contains("2 s on A; 8 s on B") && says.contains("hides short falls"), "{says}");
    let unknown = beside(&[with(1, None), with(2, Some(8.0))]);
    assert_eq!(codes(&unknown), ["averaging_unknown"]);
    assert_eq!(codes(&beside(&[with(1, None), with(2, None)])), ["averaging_unknown"]);
    assert_eq!(codes(&beside(&[with(1, Some(2.0)), with(2, Some(2.0))])), <[&str; 0]>::default());
}

#[test]
fn everything_else_that_differs_is_warned_of() {
    let mut other = made(2, |one| {
        let screened = &mut one.scores.corrected.screened;
        screened.recording.monitor = Some("MADE-8".into());
        screened.notes.breathing = Some("ventilation by mask".into());
        screened.notes.marks.push(made::mark(MarkKind::Oxygen, 0.0, None));
        screened.notes.representative = Some(false);
        screened.notes.monitor.sensor_temp_c = Some(44.0);
        for channel in &mut screened.recording.channels {
            if channel.quantity == Quantity::Spo2 {
                channel.period_s = 4.0;
            }
        }
        one.criteria.sha256 = "another".into();
    });
    other.reader = Some("Bo Reader");
    let found = beside(&[made(1, |_| {}), other]);
    for code in [
        "sampling_differs",
        "monitors_differ",
        "heat_differs",
        "criteria_differ",
        "support_differs",
        "not_usual",
        "readers_differ",
    ] {
        assert!(codes(&found).contains(&code), "{code} in {:?}", found.warnings);
    }
    let support = found.warnings.iter().find(|one| one.code == "support_differs").unwrap();
    assert!(support.says.contains("ventilation by mask, oxygen marked on B"), "{}", support.says);
}

#[test]
fn co2_corrected_on_one_side_only_is_warned_of() {
    let found = beside(&[
        made(1, |_| {}),
        made(2, |one| {
            if let Some(co2) = &mut one.scores.corrected.tcpco2 {
                co2.model = engine::correct::Model::None;
            }
        }),
    ]);
    assert!(codes(&found).contains(&"correction_differs"), "{:?}", found.warnings);
}

/// A whole night and its first two hours, through the engine: the hours believed differ and are warned of.
#[test]
fn a_short_night_beside_a_long_one_is_warned_of() {
    let criteria = shipped("adult-air").unwrap();
    let side = |night, hours: usize| {
        let count = hours * 3600;
        let spo2: Vec<f64> = (0..count).map(|i| 95.0 + (i / 7 % 2) as f64).collect();
        let recording = made::three(&spo2, &made::beats(count), &made::quiet(count, 5.4));
        let notes = made::diary(Vec::new());
        let judgement = engine::night::night(recording, notes, &criteria);
        Made { night, reader: None, judgement, criteria: criteria.clone() }
    };
    let found = beside(&[side(1, 8), side(2, 2)]);
    assert!(codes(&found).contains(&"believed_differs"), "{:?}", found.warnings);
    let rule = &found.rules[0];
    assert!(rule.answers.iter().all(Option::is_some), "{rule:?}");
}

#[test]
fn a_rule_that_one_set_does_not_ask_has_no_answer_there() {
    let mut other = made(2, |one| {
        one.rules.remove(0);
    });
    other.criteria.rules.remove(0);
    let gone = made_night::judgement().rules[0].id.clone();
    let found = beside(&[made(1, |_| {}), other]);
    let rule = found.rules.iter().find(|rule| rule.id == gone).unwrap();
    assert!(rule.answers[0].is_some() && rule.answers[1].is_none());
}

#[test]
fn sides_have_letters() {
    assert_eq!([0, 1, 2, 3].map(letter), ['A', 'B', 'C', 'D']);
}
