//! The verdict: does the night answer the question, and if not, what would mend it.
//!
//! A finding stands on a short night; its absence does not. So one needed rule met answers yes even
//! with reservations, while a no needs enough believed hours, a usual night and a CO2 that can be
//! trusted.

use super::Answer;
use super::Decision;
use super::RuleAnswer;
use super::Verdict;
use super::answer;
use super::bench::Bench;
use super::words::hours_words;
use super::words::level_words;
use crate::correct::AnchorKind;
use crate::correct::Drift;
use crate::correct::Unpaired;
use crate::criteria::BreathingAsked;
use crate::criteria::Criteria;
use crate::criteria::Question;
use crate::criteria::Test;
use crate::criteria::Threshold;
use crate::criteria::passes;
use crate::notes::Notes;
use crate::recording::MarkKind;
use crate::recording::Quantity;
use crate::recording::Recording;
use crate::screen::PeriodBasis;
use crate::time;
use crate::time::Stretch;

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
/// Anchors that do not agree are told in the words of the finding, so they are known by its middle.
pub(super) const DO_NOT_AGREE: &str = crate::correct::DO_NOT_AGREE;
pub(super) const UNPAIRED: &str =
    "A blood gas past a rule's level could not be held against the sensor: ";
pub(super) const UNTOLD: &str = "It cannot be told whether there was ";

/// One thing that would mend a night.
#[derive(Clone)]
struct Mend {
    says: String,
    /// Whether the patient is needed again for it.
    patient: bool,
}

/// What a reader can do now.
fn now(says: impl Into<String>) -> Mend {
    Mend { says: says.into(), patient: false }
}

/// What needs the patient again.
fn again(says: impl Into<String>) -> Mend {
    Mend { says: says.into(), patient: true }
}

/// One thing that is wrong with the night, and what would mend it.
struct Reservation {
    reason: String,
    mend: Option<Mend>,
    /// Whether another night is what it needs.
    night: bool,
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
    let mut reservations = reservations(bench, question, &needed, criteria);
    // Asking mends it; another night would not.
    reservations.extend(breathing(bench, question));
    let by_band = open_by_band(bench, &needed, criteria);
    let decision = decide(answer, &needed, &reservations, &by_band);
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
            mend(bench, &needed, &reservations, &by_band)
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

/// Another night is asked for only where it can mend something: it narrows no sensor's band, and it does
/// not tell which of two readings was right.
fn decide(
    answer: Answer,
    needed: &[&RuleAnswer],
    reservations: &[Reservation],
    by_band: &[&str],
) -> Decision {
    let night_mends = reservations.iter().any(|reservation| reservation.night);
    let mut open = needed.iter().filter(|rule| rule.answer == Answer::CannotTell);
    let some_answered = needed.iter().any(|rule| rule.answer != Answer::CannotTell);
    let only_band = !needed.is_empty() && open.all(|rule| by_band.contains(&rule.id.as_str()));
    match answer {
        Answer::Met | Answer::NotMet if reservations.is_empty() => Decision::Sufficient,
        Answer::NotMet | Answer::CannotTell if night_mends => Decision::Repeat,
        Answer::CannotTell if !some_answered && !only_band => Decision::Repeat,
        _ => Decision::Partial,
    }
}

/// The open rules that the band around CO2 alone leaves open: were its sensor known, they would be answered.
fn open_by_band<'a>(bench: &Bench, needed: &[&'a RuleAnswer], criteria: &Criteria) -> Vec<&'a str> {
    let open = || needed.iter().filter(|rule| rule.answer == Answer::CannotTell);
    let test = |id: &str| criteria.rules.iter().find(|rule| rule.id == id).map(|rule| &rule.test);
    let asks_co2 =
        |rule: &&&'a RuleAnswer| test(&rule.id).is_some_and(|test| test.asks_of(Quantity::Tcpco2));
    if open().all(|rule| !asks_co2(&rule)) {
        return Vec::new();
    }
    let Some(sure) = bench.with_sure_co2() else { return Vec::new() };
    let told = |id: &str| {
        test(id).is_some_and(|test| answer::outcome(test, &sure).answer != Answer::CannotTell)
    };
    open().filter(asks_co2).map(|rule| rule.id.as_str()).filter(|id| told(id)).collect()
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
fn reservations(
    bench: &Bench,
    question: &Question,
    needed: &[&RuleAnswer],
    criteria: &Criteria,
) -> Vec<Reservation> {
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
            mend: Some(again("Another night, when sleep is as usual.")),
            night: true,
        });
    }
    if question.channels.iter().any(|id| id == Quantity::Tcpco2.id()) {
        found.extend(disagree(bench));
        found.extend(unpaired(bench, needed, criteria));
        found.extend(drifted(bench, criteria.judge.drift_most_kpa.value));
        found.extend(never_settled(bench));
    }
    found.extend(contradicting_lights(bench));
    found
}

/// What tells which of several readings that cannot all be right is.
const TELLS: &str = "A blood gas taken while the sensor reads, and the sensor checked in gas: they tell which is right.";

/// Anchors that cannot all be right, and blood gases that contradict the sensor without being paired with it.
fn disagree(bench: &Bench) -> Vec<Reservation> {
    let Some(co2) = &bench.scores.corrected.tcpco2 else { return Vec::new() };
    let unpaired = co2.unpaired.iter().filter_map(|gas| gas.contradicts.as_ref());
    let told = co2.disagreement.iter().chain(unpaired.map(|one| &one.sentence));
    let reservation = |reason: &String| Reservation {
        reason: reason.clone(),
        mend: Some(again(TELLS)),
        night: false,
    };
    told.map(reservation).collect()
}

/// A blood gas past the level of a needed rule that the sensor did not reach, and that it cannot be held
/// against.
fn unpaired(bench: &Bench, needed: &[&RuleAnswer], criteria: &Criteria) -> Option<Reservation> {
    let open = needed.iter().filter(|rule| rule.answer != Answer::Met);
    let open: Vec<&str> = open.map(|rule| rule.id.as_str()).collect();
    let asked = criteria.rules.iter().filter(|rule| open.contains(&rule.id.as_str()));
    let levels: Vec<(Threshold, f64)> = asked.flat_map(|rule| rule.test.co2_above()).collect();
    let reached = |threshold: Threshold, for_s: f64| {
        let level = Test::Held { quantity: Quantity::Tcpco2, threshold, for_s };
        answer::outcome(&level, bench).answer == Answer::Met
    };
    let past = |gas: &&Unpaired| {
        let past = |(level, for_s): &(Threshold, f64)| {
            level.passed_by(gas.pco2_kpa) && !reached(*level, *for_s)
        };
        gas.contradicts.is_none() && levels.iter().any(past)
    };
    let gas = bench.unpaired_gases().find(past)?;
    let recording = &bench.scores.corrected.screened.recording;
    let far_s = bench.outside_scored_s(gas.at_s);
    let speaks_s = criteria.correct.gas_speaks_h.value * 3600.0;
    let far = if far_s <= speaks_s {
        String::new()
    } else {
        format!(", {} from the scored time", hours_words(far_s))
    };
    Some(Reservation {
        reason: format!(
            "{UNPAIRED}{} at {}{far}; {}.",
            level_words(Quantity::Tcpco2, gas.pco2_kpa),
            recording.clock.dated(gas.at_s, recording.duration_s),
            gas.why
        ),
        mend: Some(again("A blood gas taken while the sensor is on and reads.")),
        night: false,
    })
}

/// A question that must know what was breathed, where nobody said or something else was.
fn breathing(bench: &Bench, question: &Question) -> Option<Reservation> {
    let asked = question.breathing?;
    let screened = &bench.scores.corrected.screened;
    let told = breathed(&screened.recording, &screened.notes);
    let Some(told) = told else {
        return Some(Reservation {
            reason: format!("{BREATHING_NOT_TOLD}: air, oxygen, or with support."),
            mend: Some(now(
                "What the patient breathed that night: air, or how much oxygen, or which support.",
            )),
            night: false,
        });
    };
    let air = told.iter().all(|words| is_air(words));
    (asked == BreathingAsked::Air && !air).then(|| Reservation {
        reason: format!("{NOT_ON_AIR}; what was told is: {}.", told.join(", ")),
        mend: Some(now("A question and criteria made for what was breathed.")),
        night: false,
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
        mend: Some(again("Another night with the sensor refitted and seen to settle.")),
        night: true,
    })
}

/// Lights out and on that contradict each other leave it open which time was night.
fn contradicting_lights(bench: &Bench) -> Option<Reservation> {
    let findings = &bench.scores.corrected.screened.findings;
    let contradict = findings.iter().any(|found| found.code == "lights_contradict");
    contradict.then(|| Reservation {
        reason: format!("{CONTRADICT}, so the whole recording was scored."),
        mend: Some(now("The times of lights out and lights on, put right.")),
        night: true,
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
    let not_taken = bench.scores.corrected.screened.recording.not_taken(quantity);
    let by_map = || now(format!("The same file with a column map that names its {name}."));
    let Some(lane) = bench.lane(quantity) else {
        if let Some(finding) = not_taken {
            return Some(Reservation {
                reason: format!("{name}{NOT_READ}{}", finding.sentence),
                mend: Some(by_map()),
                night: false,
            });
        }
        return Some(Reservation {
            reason: format!("{LACKS}{name}."),
            mend: Some(again(format!("A night with {name} recorded."))),
            night: true,
        });
    };
    let believed_s = lane.trace.believed_s();
    // Whole samples: the last one of exactly four hours must not be lost to rounding.
    if passes(believed_s - least_h * 3600.0, false) {
        return None;
    }
    let another =
        || again(format!("Another night with at least {least_h} h of believable {name}."));
    Some(Reservation {
        reason: format!(
            "{name}{BELIEVED_FOR}{}, less than the {least_h} h this department asks.",
            hours_words(believed_s)
        ),
        // Another column of the same file may hold it: that is seen to before another night.
        mend: Some(if not_taken.is_some() { by_map() } else { another() }),
        night: not_taken.is_none(),
    })
}

/// A sensor that drifted further than the department accepts. Between anchors of which not all agree that is
/// so only if they are right, and another gas or check tells it where another night does not.
fn drifted(bench: &Bench, most_kpa: f64) -> Option<Reservation> {
    let co2 = bench.scores.corrected.tcpco2.as_ref()?;
    let beyond = |drift: &Drift| !passes(most_kpa - drift.kpa.abs(), false);
    let accepts = format!(
        "more than the {} this department accepts.",
        level_words(Quantity::Tcpco2, most_kpa)
    );
    let clock = &bench.scores.corrected.screened.recording.clock;
    let two = |drift: &Drift| {
        let (from, to) = drift.taken_s;
        let (kind, from, to) =
            (drift.kind.plural(), clock.label(from, false), clock.label(to, false));
        format!("the {kind} at {from} and {to}")
    };
    let by = |drift: &Drift| level_words(Quantity::Tcpco2, drift.kpa.abs());
    if let Some(drift) = co2.drift.filter(beyond) {
        return Some(Reservation {
            reason: format!("{DRIFTED}{} between {}, {accepts}", by(&drift), two(&drift)),
            mend: Some(again(match drift.kind {
                AnchorKind::GasCheck => {
                    "Another night after the sensor, whose own gas checks show the drift, has been serviced."
                }
                AnchorKind::BloodGas => {
                    "Another night after the sensor has been serviced and checked."
                }
            })),
            night: true,
        });
    }
    let drift = co2.drift_if_right.filter(beyond)?;
    Some(Reservation {
        reason: format!(
            "If {} are both right, the CO2 sensor drifted by {}, {accepts}",
            two(&drift),
            by(&drift)
        ),
        mend: Some(again(TELLS)),
        night: false,
    })
}

/// What would mend the night, each once: first what its reader can do now, from the diary or the file, then what
/// needs the patient again; the most telling first in each.
fn mend(
    bench: &Bench,
    needed: &[&RuleAnswer],
    reservations: &[Reservation],
    by_band: &[&str],
) -> Vec<String> {
    let mut mends: Vec<Mend> = Vec::new();
    let untold: Vec<&&RuleAnswer> =
        needed.iter().filter(|rule| rule.answer == Answer::CannotTell).collect();
    let entries = untold.iter().filter_map(|rule| diary_entry(bench, &rule.stretches));
    mends.extend(entries.map(now));
    let screened = &bench.scores.corrected.screened;
    if !untold.is_empty() && screened.period.basis == PeriodBasis::WholeRecording {
        mends.push(now("The times of lights out and lights on, so that time awake is left out."));
    }
    let asks_rise = untold.iter().any(|rule| rule.id.contains("rise"));
    if asks_rise && bench.awake_co2_kpa.is_none() {
        mends.push(now("A settled CO2 level while awake: time lying awake with the sensor on, marked in the diary."));
    }
    if !by_band.is_empty() {
        mends.push(again(
            "A blood gas, or a gas check before and after, to narrow the band around CO2.",
        ));
    }
    mends.extend(reservations.iter().filter_map(|reservation| reservation.mend.clone()));
    if mends.is_empty() {
        mends.push(again("Another night."));
    }
    mends.sort_by_key(|mend| mend.patient);
    let mut once = Vec::new();
    for mend in mends {
        if !once.contains(&mend.says) {
            once.push(mend.says);
        }
    }
    once
}

/// Shorter than this a diary tells little of, s.
const TOLD_S: f64 = 60.0;

/// A diary entry for the longest unbelieved stretches that decide; three at most, or it is no help.
fn diary_entry(bench: &Bench, stretches: &[Stretch]) -> Option<String> {
    let unseen = stretches.iter().filter(|stretch| {
        [Quantity::Spo2, Quantity::Tcpco2]
            .iter()
            .any(|quantity| bench.unseen(*quantity).iter().any(|gap| gap.overlaps(stretch)))
    });
    // What two channels ask of one time is one question.
    let mut unseen = time::join(unseen.copied().collect());
    if unseen.iter().any(|stretch| stretch.length_s() >= TOLD_S) {
        unseen.retain(|stretch| stretch.length_s() >= TOLD_S);
    }
    unseen.sort_by(|a, b| b.length_s().total_cmp(&a.length_s()));
    unseen.truncate(3);
    unseen.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let clock = &bench.scores.corrected.screened.recording.clock;
    let mut times: Vec<String> = unseen.iter().map(|stretch| clock.span(stretch)).collect();
    times.dedup();
    (!times.is_empty())
        .then(|| format!("A diary entry for {}: awake or out of bed then?", times.join(", ")))
}
