//! Severe findings stand first whatever was asked, and "not met" never stands alone.

use engine::criteria::{Criteria, shipped, shipped_names, shipped_text};
use engine::judge::{Answer, Judgement, SEVERE};
use engine::night::night;
use engine::notes::{BloodGas, Notes};
use engine::print::{Heading, html, json, json_report, table};
use engine::recording::{MarkKind, Recording};
use engine::report::report;

use crate::made;

/// Five hours whose SpO2 falls to 58 % 36 times an hour, no faster than blood does, with a quiet CO2.
fn falling() -> Recording {
    let spo2 = |i: usize| match i % 100 {
        at @ 0..20 => 95.0 - (at % 2) as f64,
        at @ 20..60 => 95.0 - 37.0 * (at - 20) as f64 / 39.0,
        at @ 60..75 => 58.0 - 0.2 * (at % 2) as f64,
        at => 58.0 + 37.0 * (at - 75) as f64 / 24.0,
    };
    let count = 5 * 3600;
    let spo2: Vec<f64> = (0..count).map(spo2).collect();
    made::three(&spo2, &made::beats(count), &made::quiet(count, 5.5))
}

fn ids(judgement: &Judgement) -> Vec<&'static str> {
    judgement.severe.iter().map(|one| one.id).collect()
}

#[test]
fn severe_findings_do_not_vanish_with_another_question() {
    for name in shipped_names() {
        let criteria = shipped(name).unwrap();
        let mut first = None;
        for question in &criteria.questions {
            let notes = Notes {
                question: Some(question.id.clone()),
                blood_gases: vec![BloodGas { at_s: 17_000.0, pco2_kpa: 9.1 }],
                ..Notes::default()
            };
            let judgement = night(falling(), notes, &criteria);
            assert!(ids(&judgement).contains(&"blood_gas_kpa"), "{name}: {:?}", ids(&judgement));
            let report = report(&judgement, &criteria);
            assert!(report.headline.starts_with(SEVERE), "{}", report.headline);
            assert_eq!(report.severe.len(), judgement.severe.len());
            let same = first.get_or_insert_with(|| judgement.severe.clone());
            assert_eq!(*same, judgement.severe, "{name}, {}", question.id);
            let page = html(&report, &Heading::default());
            for form in [page, table(&report, false), json_report(&report), json(&judgement)] {
                let flat: String = form.split_whitespace().collect::<Vec<_>>().join(" ");
                for one in &judgement.severe {
                    assert!(flat.contains(&one.sentence), "{}", one.sentence);
                }
            }
        }
    }
}

#[test]
fn r008_falls_to_58_per_cent_do_not_stand_under_none_is_met() {
    let criteria = shipped("adult-air").unwrap();
    let notes = Notes { question: Some("hypoventilation".into()), ..Notes::default() };
    let judgement = night(falling(), notes, &criteria);
    assert_eq!(judgement.verdict.answer, Answer::NotMet);
    let report = report(&judgement, &criteria);
    assert!(report.headline.contains("SpO2 down to 58.0 % for 10 s"), "{}", report.headline);
    assert!(report.headline.contains("times an hour"), "{}", report.headline);
    assert!(report.headline.ends_with("which does not exclude disease."), "{}", report.headline);
    assert!(report.reasons[0].starts_with(SEVERE));
}

#[test]
fn a_headline_of_nothing_met_says_first_what_was_seen() {
    let criteria = shipped("adult-air").unwrap();
    let count = 5 * 3600;
    let quiet = made::three(&vec![96.0; count], &made::beats(count), &made::quiet(count, 5.5));
    let notes = Notes { question: Some("hypoventilation".into()), ..Notes::default() };
    let judgement = night(quiet, notes, &criteria);
    assert_eq!(judgement.severe, []);
    let headline = report(&judgement, &criteria).headline;
    assert!(
        headline.starts_with("SpO2 averaged 96.0 %; it fell by 4 % or more 0.0 times an hour"),
        "{headline}"
    );
    assert!(
        headline.contains("CO2 held 5.5") && headline.contains("is met, which does not exclude"),
        "{headline}"
    );
}

fn co2(level_kpa: f64) -> Recording {
    let count = 2 * 3600;
    made::three(&vec![96.0; count], &made::beats(count), &made::quiet(count, level_kpa))
}

#[test]
fn co2_held_high_a_high_gas_and_a_rise_on_oxygen_are_severe() {
    let criteria = shipped("adult-air").unwrap();
    assert_eq!(ids(&night(co2(7.9), Notes::default(), &criteria)), [] as [&str; 0]);
    assert_eq!(ids(&night(co2(8.1), Notes::default(), &criteria)), ["co2_held_10min_kpa"]);
    let gas = |pco2_kpa| Notes {
        blood_gases: vec![BloodGas { at_s: 7100.0, pco2_kpa }],
        ..Notes::default()
    };
    assert!(!ids(&night(co2(6.9), gas(7.0), &criteria)).contains(&"blood_gas_kpa"));
    assert!(ids(&night(co2(6.9), gas(7.01), &criteria)).contains(&"blood_gas_kpa"));
    // Every gas beyond the limit is named, one noted twice once, and the figure is the highest.
    let gases = [(1000.0, 7.4), (3000.0, 9.4), (3000.0, 9.4), (5000.0, 6.0)];
    let several = gases.map(|(at_s, pco2_kpa)| BloodGas { at_s, pco2_kpa });
    let several = Notes { blood_gases: several.into(), ..Notes::default() };
    let several = night(co2(6.9), several, &criteria).severe;
    let one = several.iter().find(|one| one.id == "blood_gas_kpa").unwrap();
    assert_eq!(
        (one.figure, one.brief.as_str()),
        (
            9.4,
            "a blood gas of 7.40 kPa (55.5 mmHg) at 22:16 and a blood gas of 9.40 kPa (70.5 mmHg) at 22:50"
        )
    );
    // A figure that the correction alone makes is told with what was recorded, as the opposite is.
    let held = |level_kpa, pco2_kpa| {
        let found = night(co2(level_kpa), gas(pco2_kpa), &criteria).severe;
        found.into_iter().find(|one| one.id == "co2_held_10min_kpa").unwrap().brief
    };
    let alone = held(7.6, 8.4);
    assert!(
        alone.ends_with("for 10 min as corrected by a blood gas, recorded 7.60 kPa (57.0 mmHg)"),
        "{alone}"
    );
    let under = held(8.3, 7.5);
    assert!(under.ends_with("for 10 min, as recorded and before its correction"), "{under}");
    assert!(held(8.3, 8.4).ends_with("for 10 min"));
    // A gas that no correction could use is still a gas that was taken.
    let after =
        Notes { blood_gases: vec![BloodGas { at_s: 90_000.0, pco2_kpa: 9.0 }], ..Notes::default() };
    assert!(ids(&night(co2(5.5), after, &criteria)).contains(&"blood_gas_kpa"));
    let mut risen = made::quiet(3600, 5.5);
    risen.extend((0..1800).map(|i| 5.5 + 1.3 * f64::from(i) / 1800.0));
    risen.extend(made::quiet(3600, 6.8));
    let count = risen.len();
    let recording = made::three(&vec![96.0; count], &made::beats(count), &risen);
    let marks = vec![made::mark(MarkKind::Oxygen, 3600.0, None)];
    let on_oxygen = night(recording, Notes { marks, ..Notes::default() }, &criteria);
    assert_eq!(ids(&on_oxygen), ["co2_rise_on_oxygen_kpa"]);
}

#[test]
fn a_set_kept_before_there_were_limits_has_none_and_says_what_it_said() {
    let text = shipped_text("adult-air").unwrap();
    let (before, rest) = text.split_once("[severe]").unwrap();
    let after = rest.split_once("[[question]]").unwrap().1;
    let old = format!("{before}\n[[question]]{after}");
    let old = Criteria::parse(&old, &|_| None).unwrap();
    assert_eq!(old.severe, None);
    let judgement = night(falling(), Notes::default(), &old);
    assert_eq!(judgement.severe, []);
    assert!(!report(&judgement, &old).headline.contains(SEVERE));
    let kept = Criteria::from_whole(&old.whole).unwrap();
    assert_eq!((kept.severe, kept.sha256), (None, old.sha256.clone()));
    // Beside a set that has them, each limit is told as one that is not stated.
    let new = shipped("adult-air").unwrap();
    let limits = engine::criteria::differences(&old, &new);
    assert_eq!(
        limits.iter().filter(|one| one.section == "severe" && one.here.is_none()).count(),
        9
    );
}

#[test]
fn every_limit_moves_with_the_set() {
    let base = shipped("adult-air").unwrap();
    let found = night(falling(), Notes::default(), &base).severe;
    assert!(found.len() >= 3, "{found:?}");
    for one in found {
        let mut moved = base.clone();
        let limits = moved.severe.as_mut().unwrap();
        // Out of reach for the figure of this night.
        match one.id {
            "spo2_held_below_pct" => limits.spo2_held_below_pct.value = 10.0,
            "spo2_mean_below_pct" => limits.spo2_mean_below_pct.value = 10.0,
            "spo2_below_90_share_pct" => limits.spo2_below_90_share_pct.value = 100.0,
            "odi4_per_h" => limits.odi4_per_h.value = 500.0,
            other => panic!("{other}"),
        }
        let left = night(falling(), Notes::default(), &moved).severe;
        assert!(left.iter().all(|left| left.id != one.id), "{}", one.id);
        assert!(!one.source.is_empty() && !one.brief.is_empty());
    }
}
