//! The verdict: does the night answer the question, and if not, what would mend it.
//!
//! A finding stands on a short night; its absence does not. So one needed rule met answers yes even
//! with reservations, while a no needs enough believed hours, a usual night and a CO2 that can be
//! trusted.

use super::Answer;
use super::Decision;
use super::RuleAnswer;
use super::Verdict;
use super::bench::Bench;
use super::words::hours_words;
use super::words::level_words;
use crate::criteria::BreathingAsked;
use crate::criteria::Criteria;
use crate::criteria::Question;
use crate::criteria::passes;
use crate::notes::Notes;
use crate::recording::MarkKind;
use crate::recording::Quantity;
use crate::recording::Recording;
use crate::screen::PeriodBasis;
use crate::time::Stretch;
use crate::unit::kpa_from_mmhg;

/// What the reasons are told by when they are counted.
pub(super) const LACKS: &str = "The recording has no ";
pub(super) const NOT_READ: &str = " was not read, though the file may hold it: ";
const BREATHING_NOT_TOLD: &str = "What was breathed is not told";
const NOT_ON_AIR: &str = "The question is about a night on air";
pub(super) const BELIEVED_FOR: &str = " can be believed for ";
pub(super) const NOT_USUAL: &str = "The patient says that the night was not a usual one.";
pub(super) const DRIFTED: &str = "The CO2 sensor drifted by ";
pub(super) const NEVER_SETTLED: &str =
    "Most of the CO2 that is believed comes from a sensor that never settled";
pub(super) const CONTRADICT: &str = "The times of lights out and lights on contradict each other";
pub(super) const UNTOLD: &str = "It cannot be told whether there was ";

/// One thing that is wrong with the night, and what would mend it.
struct Reservation {
    reason: String,
    mend: Option<String>,
}

/// Holds the rules against the question.
pub(super) fn verdict(bench: &Bench, rules: &[RuleAnswer], criteria: &Criteria) -> Verdict {
    let asked = bench.scores.corrected.screened.notes.question.as_deref();
    let Some(question) = criteria.question(asked).or_else(|| criteria.question(None)) else {
        return without_question();
    };
    let needed: Vec<&RuleAnswer> =
        rules.iter().filter(|rule| question.needs.contains(&rule.id)).collect();
    let answer = together(&needed);
    let mut reservations = reservations(bench, question, criteria);
    let mut decision = decide(answer, &needed, &reservations);
    if let Some(reservation) = breathing(bench, question) {
        // Asking mends it; another night would not.
        reservations.push(reservation);
        if decision == Decision::Sufficient {
            decision = Decision::Partial;
        }
    }
    let mut reasons = vec![answer_sentence(answer, &needed)];
    reasons.extend(reservations.iter().map(|reservation| reservation.reason.clone()));
    reasons.extend(
        needed
            .iter()
            .filter(|rule| rule.answer == Answer::CannotTell)
            .map(|rule| format!("{UNTOLD}{}: {}.", rule.asks, rule.because)),
    );
    Verdict {
        question: question.id.clone(),
        asks: question.asks.clone(),
        answer,
        decision,
        reasons,
        mend: if decision == Decision::Sufficient {
            Vec::new()
        } else {
            mend(bench, &needed, &reservations)
        },
    }
}

fn without_question() -> Verdict {
    Verdict {
        question: String::new(),
        asks: String::new(),
        answer: Answer::CannotTell,
        decision: Decision::Partial,
        reasons: vec!["The criteria set asks no question.".into()],
        mend: vec!["Name the question that the referral asks.".into()],
    }
}

/// One rule met answers yes; all not met answer no.
fn together(needed: &[&RuleAnswer]) -> Answer {
    if needed.iter().any(|rule| rule.answer == Answer::Met) {
        Answer::Met
    } else if !needed.is_empty() && needed.iter().all(|rule| rule.answer == Answer::NotMet) {
        Answer::NotMet
    } else {
        Answer::CannotTell
    }
}

fn decide(answer: Answer, needed: &[&RuleAnswer], reservations: &[Reservation]) -> Decision {
    let some_answered = needed.iter().any(|rule| rule.answer != Answer::CannotTell);
    match (answer, reservations.is_empty()) {
        (Answer::Met | Answer::NotMet, true) => Decision::Sufficient,
        (Answer::Met, false) => Decision::Partial,
        (Answer::CannotTell, true) if some_answered => Decision::Partial,
        _ => Decision::Repeat,
    }
}

fn answer_sentence(answer: Answer, needed: &[&RuleAnswer]) -> String {
    match answer {
        Answer::Met => {
            let met = needed.iter().filter(|rule| rule.answer == Answer::Met);
            format!(
                "The night shows {}.",
                met.map(|rule| rule.asks.as_str()).collect::<Vec<_>>().join("; and ")
            )
        }
        Answer::NotMet => format!(
            "{} met, however the unbelieved time is filled.",
            match needed.len() {
                1 => "The rule this question needs is not".into(),
                count => format!("None of the {count} rules this question needs is"),
            }
        ),
        Answer::CannotTell => {
            let untold = needed.iter().filter(|rule| rule.answer == Answer::CannotTell).count();
            match needed.len() {
                1 => "The rule this question needs cannot be told.".into(),
                count => {
                    format!("{untold} of the {count} rules this question needs cannot be told.")
                }
            }
        }
    }
}

/// Everything that keeps the night from being taken at its word.
fn reservations(bench: &Bench, question: &Question, criteria: &Criteria) -> Vec<Reservation> {
    let mut found: Vec<Reservation> = question
        .channels
        .iter()
        .filter_map(|id| Quantity::from_id(id))
        .filter_map(|quantity| too_little(bench, quantity, least_h(quantity, criteria)))
        .collect();
    let screened = &bench.scores.corrected.screened;
    if screened.notes.representative == Some(false) {
        found.push(Reservation {
            reason: NOT_USUAL.into(),
            mend: Some("Another night, when sleep is as usual.".into()),
        });
    }
    if question.channels.iter().any(|id| id == Quantity::Tcpco2.id()) {
        found.extend(drifted(bench, criteria.judge.drift_most_kpa.value));
        found.extend(never_settled(bench));
    }
    found.extend(contradicting_lights(bench));
    found
}

/// A question that must know what was breathed, where nobody said or something else was.
fn breathing(bench: &Bench, question: &Question) -> Option<Reservation> {
    let asked = question.breathing?;
    let screened = &bench.scores.corrected.screened;
    let told = breathed(&screened.recording, &screened.notes);
    let Some(told) = told else {
        return Some(Reservation {
            reason: format!("{BREATHING_NOT_TOLD}: air, oxygen, or with support."),
            mend: Some(
                "What the patient breathed that night: air, or how much oxygen, or which support."
                    .into(),
            ),
        });
    };
    let air = told.iter().all(|words| is_air(words));
    (asked == BreathingAsked::Air && !air).then(|| Reservation {
        reason: format!("{NOT_ON_AIR}; what was told is: {}.", told.join(", ")),
        mend: Some("A question and criteria made for what was breathed.".into()),
    })
}

/// Everything told of what was breathed, in words; `None` when nothing was.
fn breathed(recording: &Recording, notes: &Notes) -> Option<Vec<String>> {
    let words = notes.breathing.iter().map(|words| words.trim()).filter(|words| !words.is_empty());
    let mut told: Vec<String> = words.map(str::to_owned).collect();
    for mark in recording.marks.iter().chain(&notes.marks) {
        let word = match mark.kind {
            MarkKind::Oxygen => "oxygen",
            MarkKind::Support => "support",
            _ => continue,
        };
        let words = format!("{word} marked {}", mark.text).trim_end().to_owned();
        if !told.contains(&words) {
            told.push(words);
        }
    }
    (!told.is_empty()).then_some(told)
}

/// Whether words say air and nothing else.
fn is_air(words: &str) -> bool {
    let plain = words.trim().trim_end_matches('.').to_lowercase();
    matches!(
        plain.as_str(),
        "air" | "room air" | "ambient air" | "air only" | "air alone" | "on air"
    )
}

/// CO2 of which half or more of what is believed was recorded with a sensor that never settled.
fn never_settled(bench: &Bench) -> Option<Reservation> {
    let findings = &bench.scores.corrected.screened.findings;
    let told = findings.iter().filter(|found| found.code == "co2_never_settled");
    let unsettled: Vec<Stretch> = told.filter_map(|found| found.stretch).collect();
    let trace = &bench.lane(Quantity::Tcpco2)?.trace;
    let believed = (0..trace.len()).filter(|&i| trace.counts(i));
    let (mut all, mut unsure) = (0_u32, 0_u32);
    for i in believed {
        all += 1;
        unsure += u32::from(unsettled.iter().any(|stretch| stretch.contains(trace.time_s(i))));
    }
    (unsure > 0 && 2 * unsure >= all).then(|| Reservation {
        reason: format!("{NEVER_SETTLED}: its level is not to be relied on."),
        mend: Some("Another night with the sensor refitted and seen to settle.".into()),
    })
}

/// Lights out and on that contradict each other leave it open which time was night.
fn contradicting_lights(bench: &Bench) -> Option<Reservation> {
    let findings = &bench.scores.corrected.screened.findings;
    let contradict = findings.iter().any(|found| found.code == "lights_contradict");
    contradict.then(|| Reservation {
        reason: format!("{CONTRADICT}, so the whole recording was scored."),
        mend: Some("The times of lights out and lights on, put right.".into()),
    })
}

fn least_h(quantity: Quantity, criteria: &Criteria) -> f64 {
    match quantity {
        Quantity::Tcpco2 => criteria.judge.tcpco2_least_h.value,
        _ => criteria.judge.spo2_least_h.value,
    }
}

fn too_little(bench: &Bench, quantity: Quantity, least_h: f64) -> Option<Reservation> {
    let name = quantity.name();
    let Some(lane) = bench.lane(quantity) else {
        let recording = &bench.scores.corrected.screened.recording;
        if let Some(finding) = recording.not_taken(quantity) {
            return Some(Reservation {
                reason: format!("{name}{NOT_READ}{}", finding.sentence),
                mend: Some(format!("The same file with a column map that names its {name}.")),
            });
        }
        return Some(Reservation {
            reason: format!("{LACKS}{name}."),
            mend: Some(format!("A night with {name} recorded.")),
        });
    };
    let believed_s = lane.trace.believed_s();
    // Whole samples: the last one of exactly four hours must not be lost to rounding.
    if passes(believed_s - least_h * 3600.0, false) {
        return None;
    }
    Some(Reservation {
        reason: format!(
            "{name}{BELIEVED_FOR}{}, less than the {least_h} h this department asks.",
            hours_words(believed_s)
        ),
        mend: Some(format!("Another night with at least {least_h} h of believable {name}.")),
    })
}

fn drifted(bench: &Bench, most_kpa: f64) -> Option<Reservation> {
    let co2 = bench.scores.corrected.tcpco2.as_ref()?;
    let drift_kpa = co2.offset_end_kpa? - co2.offset_start_kpa?;
    if passes(most_kpa - drift_kpa.abs(), false) {
        return None;
    }
    Some(Reservation {
        reason: format!(
            "{DRIFTED}{}, more than the {} this department accepts.",
            level_words(Quantity::Tcpco2, drift_kpa.abs()),
            level_words(Quantity::Tcpco2, most_kpa)
        ),
        mend: Some("Another night after the sensor has been serviced and checked.".into()),
    })
}

/// What would mend the night, most telling first, each once.
fn mend(bench: &Bench, needed: &[&RuleAnswer], reservations: &[Reservation]) -> Vec<String> {
    let mut mends = Vec::new();
    let untold: Vec<&&RuleAnswer> =
        needed.iter().filter(|rule| rule.answer == Answer::CannotTell).collect();
    mends.extend(untold.iter().filter_map(|rule| diary_entry(bench, &rule.stretches)));
    let screened = &bench.scores.corrected.screened;
    if !untold.is_empty() && screened.period.basis == PeriodBasis::WholeRecording {
        mends.push("The times of lights out and lights on, so that time awake is left out.".into());
    }
    let asks_rise = untold.iter().any(|rule| rule.id.contains("rise"));
    if asks_rise && bench.awake_co2_kpa.is_none() {
        mends.push("A settled CO2 level while awake: time lying awake with the sensor on, marked in the diary.".into());
    }
    if untold.iter().any(|rule| band_decides(bench, rule)) {
        mends.push(
            "A blood gas, or a gas check before and after, to narrow the band around CO2.".into(),
        );
    }
    mends.extend(reservations.iter().filter_map(|reservation| reservation.mend.clone()));
    if mends.is_empty() {
        mends.push("Another night.".into());
    }
    let mut once = Vec::new();
    for mend in mends {
        if !once.contains(&mend) {
            once.push(mend);
        }
    }
    once
}

/// A diary entry for the longest unbelieved stretches that decide; three at most, or it is no help.
fn diary_entry(bench: &Bench, stretches: &[Stretch]) -> Option<String> {
    let mut unseen: Vec<&Stretch> = stretches
        .iter()
        .filter(|stretch| {
            [Quantity::Spo2, Quantity::Tcpco2]
                .iter()
                .any(|quantity| bench.unseen(*quantity).iter().any(|gap| gap.overlaps(stretch)))
        })
        .collect();
    unseen.sort_by(|a, b| b.length_s().total_cmp(&a.length_s()));
    unseen.truncate(3);
    unseen.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let clock = &bench.scores.corrected.screened.recording.clock;
    let times: Vec<String> = unseen
        .iter()
        .map(|s| format!("{}–{}", clock.label(s.start_s, false), clock.label(s.end_s, false)))
        .collect();
    (!times.is_empty())
        .then(|| format!("A diary entry for {}: awake or out of bed then?", times.join(", ")))
}

/// Whether a rule on CO2 is left open by the band alone: narrowing it to nothing would settle it.
fn band_decides(bench: &Bench, rule: &RuleAnswer) -> bool {
    let wide = bench
        .lane(Quantity::Tcpco2)
        .is_some_and(|lane| lane.trace.half_band.iter().any(|&half| half > kpa_from_mmhg(0.5)));
    wide && rule.id.starts_with("co2")
}
