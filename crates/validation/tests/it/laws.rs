//! Laws of what is known of CO2's sensor, on made nights of every sleeper, with the gases and checks that
//! their notes hold: an anchor that agrees never opens an answer, nor does a passed check whatever the gases
//! say, nor a gas that agrees with a far one; the same one twice is one; a gas that cannot be paired and
//! contradicts the sensor is told; and one sample blank here and there answers nothing that the whole night
//! left open.

use engine::criteria::{Criteria, shipped};
use engine::judge::{Answer, Decision, Judgement};
use engine::night::night;
use engine::notes::{BloodGas, GasCheck, Notes, NotesFile};
use engine::recording::{Quantity, Recording};
use engine::report::report;
use simulate::sleepers;

struct Made {
    label: String,
    recording: Recording,
    notes: Notes,
    criteria: Criteria,
}

fn nights() -> impl Iterator<Item = Made> {
    sleepers().into_iter().zip(1..).map(|(sleeper, seed)| {
        let simulate::Made { recording, notes_toml, .. } = sleeper.night(seed);
        let notes = NotesFile::parse(&notes_toml).unwrap().place(&recording).unwrap();
        let criteria = shipped(sleeper.criteria).unwrap();
        Made { label: format!("{} seed {seed}", sleeper.id), recording, notes, criteria }
    })
}

impl Made {
    fn judged(&self, notes: &Notes) -> Judgement {
        night(self.recording.clone(), notes.clone(), &self.criteria)
    }
}

/// Rules that `less` answers and `more` does not answer the same.
fn lost<'a>(more: &Judgement, less: &'a Judgement) -> Vec<&'a str> {
    let both = more.rules.iter().zip(&less.rules);
    let lost = both.filter(|(a, b)| b.answer != Answer::CannotTell && a.answer != b.answer);
    lost.map(|(_, b)| b.id.as_str()).collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a small count of samples"
)]
fn samples_in(seconds: f64, period_s: f64) -> usize {
    (seconds / period_s).round().max(2.0) as usize
}

fn agrees(judgement: &Judgement) -> bool {
    judgement.scores.corrected.tcpco2.as_ref().is_none_or(|co2| {
        co2.disagreement.is_none() && co2.unpaired.iter().all(|gas| gas.contradicts.is_none())
    })
}

#[test]
fn gases_and_checks_that_agree_lose_no_answer_of_made_nights() {
    let mut tried = 0;
    for made in nights() {
        let Notes { blood_gases, gas_checks, .. } = made.notes.clone();
        let mut notes = Notes { blood_gases: vec![], gas_checks: vec![], ..made.notes.clone() };
        let mut less = made.judged(&notes);
        let checks = gas_checks.into_iter().map(|check| (None, Some(check)));
        let all: Vec<_> =
            checks.chain(blood_gases.into_iter().map(|gas| (Some(gas), None))).collect();
        for (gas, check) in all {
            notes.blood_gases.extend(gas);
            notes.gas_checks.extend(check);
            let more = made.judged(&notes);
            if !agrees(&more) {
                break;
            }
            // A gas that cannot be paired may speak against an answer, and no other may.
            let paired = |night: &Judgement| {
                night.scores.corrected.tcpco2.as_ref().is_none_or(|co2| co2.unpaired.is_empty())
            };
            if paired(&more) {
                assert_eq!(lost(&more, &less), [""; 0], "{}", made.label);
                tried += 1;
            }
            less = more;
        }
    }
    assert!(tried >= 10, "{tried}");
}

/// A gas check does not observe the blood, so beside a gas that lies far off it opens nothing.
#[test]
fn a_passed_check_opens_no_answer_of_made_nights_whatever_the_gases_say() {
    let mut told = 0;
    for made in nights() {
        let end_s = made.recording.duration_s;
        for error_kpa in [-1.3, 1.3] {
            let mut notes = Notes { gas_checks: vec![], ..made.notes.clone() };
            for gas in &mut notes.blood_gases {
                gas.pco2_kpa = (gas.pco2_kpa + error_kpa).max(1.5);
            }
            let mut less = made.judged(&notes);
            for at_s in [-600.0, end_s + 600.0] {
                notes.gas_checks.push(GasCheck { at_s, expected_kpa: 5.0, observed_kpa: 5.0 });
                let more = made.judged(&notes);
                assert_eq!(lost(&more, &less), [""; 0], "{} {error_kpa}", made.label);
                told += usize::from(!agrees(&more));
                less = more;
            }
        }
    }
    assert!(told >= 10, "{told}");
}

/// The sensor reads 2 kPa too little by one gas, and by a second one: that is one thing, said twice.
#[test]
fn a_gas_that_agrees_with_a_far_one_opens_no_answer_of_made_nights() {
    let mut tried = 0;
    for made in nights() {
        let mut notes = Notes { blood_gases: vec![], gas_checks: vec![], ..made.notes.clone() };
        let bare = made.judged(&notes);
        let Some(co2) = bare.scores.corrected.tcpco2 else { continue };
        let channel = made.recording.channel(Quantity::Tcpco2).unwrap();
        let screened = &bare.scores.corrected.screened;
        let believed = &screened.channel(Quantity::Tcpco2).unwrap().believed;
        let far = |share: f64| {
            let at_s = share * made.recording.duration_s;
            let near = (0..co2.values.len())
                .filter(|&i| believed[i] && channel.time_s(i) > at_s + 120.0)
                .find(|&i| (i..i + 60).all(|i| believed.get(i) == Some(&true)))?;
            let at_s = channel.time_s(near) - 120.0;
            Some(BloodGas { at_s, pco2_kpa: co2.values[near] + 2.0 })
        };
        let (Some(first), Some(second)) = (far(0.3), far(0.6)) else { continue };
        notes.blood_gases.push(first);
        let less = made.judged(&notes);
        notes.blood_gases.push(second);
        let more = made.judged(&notes);
        let small = |kpa: f64| kpa.abs() < 0.5;
        let one_thing = more.scores.corrected.tcpco2.as_ref().is_some_and(|co2| {
            co2.anchors.len() == 2 && co2.drift_if_right.is_none_or(|drift| small(drift.kpa))
        });
        if one_thing {
            assert_eq!(lost(&more, &less), [""; 0], "{}", made.label);
            tried += 1;
        }
    }
    assert!(tried >= 8, "{tried}");
}

/// Whichever side of the sensor it lies on, and however long after.
#[test]
fn a_gas_that_contradicts_the_sensor_is_told_of_every_made_night() {
    for made in nights() {
        let Some(channel) = made.recording.channel(Quantity::Tcpco2) else { continue };
        let mut bare = Notes { blood_gases: vec![], gas_checks: vec![], ..made.notes.clone() };
        bare.question = Some("hypoventilation".into());
        if made.criteria.question(bare.question.as_deref()).is_none() {
            continue;
        }
        let night = made.judged(&bare);
        let screened = &night.scores.corrected.screened;
        if !screened.channel(Quantity::Tcpco2).is_some_and(|one| one.believed.contains(&true)) {
            continue;
        }
        let finite = channel.samples.iter().filter(|sample| sample.is_finite());
        let (low, high) =
            finite.fold((f64::MAX, f64::MIN), |(low, high), &kpa| (low.min(kpa), high.max(kpa)));
        for (hours, pco2_kpa) in [(1.0, low - 2.5), (1.0, high + 2.5), (3.0, high + 2.5)] {
            let at_s = made.recording.duration_s + hours * 3600.0;
            let notes = Notes { blood_gases: vec![BloodGas { at_s, pco2_kpa }], ..bare.clone() };
            if !(1.0..=20.0).contains(&pco2_kpa) {
                continue;
            }
            let judgement = made.judged(&notes);
            let first = report(&judgement, &made.criteria).first;
            assert!(first.iter().any(|told| told.contains("do not agree:")), "{}", made.label);
            assert!(judgement.verdict.reasons.contains(&first[0]), "{}", made.label);
            assert_ne!(judgement.verdict.decision, Decision::Sufficient, "{}", made.label);
        }
    }
}

#[test]
fn a_gas_noted_twice_moves_no_answer_of_made_nights() {
    for made in nights() {
        let mut twice = made.notes.clone();
        twice.blood_gases.extend(made.notes.blood_gases.clone());
        twice.gas_checks.extend(made.notes.gas_checks.clone());
        let (once, twice) = (made.judged(&made.notes), made.judged(&twice));
        assert_eq!(once.rules, twice.rules, "{}", made.label);
        assert_eq!(once.scores.measures, twice.scores.measures, "{}", made.label);
        assert_eq!(once.verdict, twice.verdict, "{}", made.label);
    }
}

#[test]
fn one_co2_sample_missing_in_nine_minutes_answers_nothing_more_of_made_nights() {
    for made in nights() {
        let whole = made.judged(&made.notes);
        let mut blank = made.recording.clone();
        let channels = blank.channels.iter_mut().filter(|c| c.quantity == Quantity::Tcpco2);
        for channel in channels {
            let step = samples_in(540.0, channel.period_s);
            let mut samples = channel.samples.to_vec();
            samples.iter_mut().skip(step / 2).step_by(step).for_each(|sample| *sample = f64::NAN);
            channel.samples = samples.into();
        }
        let less = night(blank, made.notes.clone(), &made.criteria);
        assert_eq!(lost(&whole, &less), [""; 0], "{}", made.label);
    }
}

/// A rule and the figure it is about never contradict each other: the longest run of SpO2 at or below 88 %.
#[test]
fn a_run_that_is_not_met_is_longer_than_its_own_figure_allows() {
    for made in nights() {
        let judgement = made.judged(&made.notes);
        let figure = judgement.scores.measure("spo2.longest_at_or_below_88").unwrap();
        let engine::score::Figure::Given { lowest, highest, .. } = figure.figure else { continue };
        let rule = judgement.rules.iter().find(|rule| rule.id == "spo2_at_or_below_88_5min");
        match rule.map(|rule| rule.answer) {
            Some(Answer::NotMet) => assert!(highest < 300.0, "{}: {highest}", made.label),
            Some(Answer::Met) => assert!(lowest >= 300.0, "{}: {lowest}", made.label),
            _ => {}
        }
    }
}
