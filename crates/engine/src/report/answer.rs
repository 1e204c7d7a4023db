//! The answer in words: rules, headline, what was seen.

use super::{FigureGroup, FigureLine, RuleLine};
use crate::criteria::Criteria;
use crate::judge::Answer;
use crate::judge::Cause;
use crate::judge::Decision;
use crate::judge::Judgement;
use crate::judge::RuleAnswer;
use crate::judge::SEVERE;
use crate::judge::causes;
use crate::report::gases;
use crate::report::words;
use crate::time::Clock;
use crate::time::Stretch;
use crate::unit::Unit;
use crate::unit::mmhg_from_kpa;

/// What "not met" does not say.
const EXCLUDES_NOTHING: &str = "which does not exclude disease";

/// How many stretches of a rule are told by the clock; the rest are counted.
const STRETCHES_TOLD: usize = 3;

/// Every rule, those the question needs first, numbered in that order.
pub(super) fn rules(judgement: &Judgement, criteria: &Criteria) -> Vec<RuleLine> {
    let needs: &[String] = criteria
        .question(Some(&judgement.verdict.question))
        .map_or(&[], |question| question.needs.as_slice());
    let needed = |rule: &RuleAnswer| needs.is_empty() || needs.contains(&rule.id);
    let clock = &judgement.scores.corrected.screened.recording.clock;
    let (first, then): (Vec<_>, Vec<_>) = judgement.rules.iter().partition(|rule| needed(rule));
    first
        .into_iter()
        .chain(then)
        .enumerate()
        .map(|(i, rule)| line(i + 1, rule, needed(rule), clock))
        .collect()
}

fn line(number: usize, rule: &RuleAnswer, needed: bool, clock: &Clock) -> RuleLine {
    RuleLine {
        number,
        id: rule.id.clone(),
        asks: words::capital(&rule.asks),
        needed,
        answer: rule.answer,
        margin: rule.margin.and_then(|margin| margin_words(margin, &rule.margin_unit)),
        because: words::whole_sentence(&rule.because),
        where_: told(&rule.stretches, clock),
        source: rule.source.clone(),
    }
}

/// A margin with its unit; CO2 in both units; nothing when no shift could turn the answer.
fn margin_words(margin: f64, unit: &Unit) -> Option<String> {
    if !margin.is_finite() {
        return None;
    }
    let margin = margin.abs();
    Some(match unit {
        Unit::Kilopascal => format!(
            "{} kPa ({} mmHg)",
            words::fixed(margin, 2),
            words::fixed(mmhg_from_kpa(margin), 1)
        ),
        unit => words::with_unit(&words::fixed(margin, 1), unit.symbol()),
    })
}

fn told(stretches: &[Stretch], clock: &Clock) -> Vec<String> {
    let mut longest: Vec<&Stretch> = stretches.iter().collect();
    longest.sort_by(|a, b| b.length_s().total_cmp(&a.length_s()));
    let mut told: Vec<String> = Vec::new();
    for span in longest.iter().map(|stretch| clock.span(stretch)) {
        if !told.contains(&span) {
            told.push(span);
        }
    }
    let more = told.len().saturating_sub(STRETCHES_TOLD);
    if more > 0 {
        told.truncate(STRETCHES_TOLD);
        told.push(format!("and {more} more"));
    }
    told
}

/// The headline: what is severe whatever was asked, what was seen where nothing asked is met, and the answer.
pub(super) fn headline(
    judgement: &Judgement,
    rules: &[RuleLine],
    figures: &[FigureGroup],
) -> String {
    let answer = judgement.verdict.answer;
    let severe = severe(judgement);
    let seen =
        if severe.is_none() && answer != Answer::Met { seen(judgement, figures) } else { None };
    let answered = answered(answer, rules);
    [severe, seen, Some(answered)].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// How many severe findings the headline names.
const SEVERE_NAMED: usize = 4;

fn severe(judgement: &Judgement) -> Option<String> {
    let all = &judgement.severe;
    let mut named: Vec<String> =
        all.iter().take(SEVERE_NAMED).map(|one| one.brief.clone()).collect();
    match all.len().saturating_sub(SEVERE_NAMED) {
        0 => {}
        more => named.push(format!("and {} more", words::count(more))),
    }
    (!named.is_empty()).then(|| format!("{SEVERE}{}.", named.join("; ")))
}

/// What oxygen and CO2 did, in the fewest words: without it "not met" reads as well.
fn seen(judgement: &Judgement, groups: &[FigureGroup]) -> Option<String> {
    let find = |id: &str| {
        let line = groups.iter().flat_map(|group| &group.lines).find(|line| line.id == id)?;
        said(line)
    };
    let falls = find("spo2.odi4").map(|rate| rate.replace(" /h", ""));
    let clauses = [
        find("spo2.mean").map(|mean| format!("SpO2 averaged {mean}")),
        falls.map(|rate| format!("it fell by 4 % or more {rate} times an hour")),
        find("tcpco2.sustained10").map(|held| {
            format!("CO2{} held {held} for ten minutes at its highest", doubted(judgement))
        }),
    ];
    let clauses: Vec<String> = clauses.into_iter().flatten().collect();
    (!clauses.is_empty()).then(|| format!("{}.", words::capital(&clauses.join("; "))))
}

/// That nothing ever read CO2 as it stands, between commas, where what corrects it does not agree.
fn doubted(judgement: &Judgement) -> String {
    let co2 = judgement.scores.corrected.tcpco2.as_ref();
    let doubted = co2.filter(|co2| co2.disagreement.is_some());
    doubted.map_or_else(String::new, |co2| format!(", as corrected {},", co2.corrected_by()))
}

/// What the rules the question needs say together, counted.
///
/// Never yes or no: questions are asked either way round, and a rule that is met is not a diagnosis.
fn answered(answer: Answer, rules: &[RuleLine]) -> String {
    let needed: Vec<&RuleLine> = rules.iter().filter(|rule| rule.needed).collect();
    let all = needed.len();
    let count = |answer| needed.iter().filter(|rule| rule.answer == answer).count();
    let (met, open) = (count(Answer::Met), count(Answer::CannotTell));
    if all == 0 {
        return "No rule was asked of this night.".into();
    }
    let of = if all == 1 {
        "the one rule asked".to_owned()
    } else {
        format!("the {} rules asked", words::count(all))
    };
    let open_too = match open {
        0 => String::new(),
        n => format!("; {} cannot be told", words::count(n)),
    };
    match answer {
        Answer::Met if all == 1 => "The one rule asked is met.".into(),
        Answer::Met => {
            let verb = if met == 1 { "is" } else { "are" };
            format!("{} of {of} {verb} met{open_too}.", words::capital(&words::count(met)))
        }
        Answer::NotMet if all == 1 => format!("The one rule asked is not met, {EXCLUDES_NOTHING}."),
        Answer::NotMet => format!("None of {of} is met, {EXCLUDES_NOTHING}."),
        Answer::CannotTell if all == 1 => {
            "It cannot be told whether the one rule asked is met.".into()
        }
        Answer::CannotTell => format!("None of {of} is seen to be met{open_too}."),
    }
}

/// What must be read before the answer: blood gases and checks that do not agree, with each other or with the
/// sensor, a blood gas past a level of CO2 that is asked and that could not be held against the sensor, and
/// skin that was harmed.
pub(super) fn first(judgement: &Judgement) -> Vec<String> {
    let co2 = judgement.scores.corrected.tcpco2.iter();
    let disagree = co2.flat_map(|co2| {
        let unpaired = co2.unpaired.iter().filter_map(|gas| gas.contradicts.as_ref());
        co2.disagreement.iter().chain(unpaired.map(|one| &one.sentence))
    });
    let past = judgement.verdict.reasons.iter().filter(|reason| is_unpaired(reason));
    let notes = &judgement.scores.corrected.screened.notes;
    let harmed = notes.told.iter().filter(|one| one.is_harmed_skin());
    let skin = harmed.map(|one| {
        words::whole_sentence(&format!("Told of the skin under the sensor: {}", one.says.trim()))
    });
    disagree.chain(past).cloned().chain(skin).collect()
}

fn is_unpaired(reason: &str) -> bool {
    causes(&[reason.to_owned()]) == [Cause::Unpaired]
}

/// The reasons that repeat neither what a rule in the list asks, since the list answers those itself, nor
/// what stands before the answer.
pub(super) fn brief(judgement: &Judgement, rules: &[RuleLine]) -> Vec<String> {
    let first = first(judgement);
    let repeats = |reason: &&String| {
        let lower = reason.to_lowercase();
        let asked =
            rules.iter().any(|rule| rule.needed && lower.contains(&rule.asks.to_lowercase()));
        asked || first.contains(reason)
    };
    let new = |reason: &&String| !reason.starts_with(SEVERE) && !repeats(reason);
    judgement.verdict.reasons.iter().filter(new).cloned().collect()
}

/// The decision in one short sentence.
///
/// Where one rule is met, others may stay open without keeping the night from being enough.
pub(super) fn decision(decision: Decision, rules: &[RuleLine]) -> &'static str {
    let open = rules.iter().any(|rule| rule.needed && rule.answer == Answer::CannotTell);
    match decision {
        Decision::Sufficient if open => "One rule met is an answer: this night is enough.",
        Decision::Sufficient => "This night is enough to answer.",
        Decision::Partial => "This night answers in part.",
        Decision::Repeat => "This night is not enough: repeat it.",
    }
}

/// What was seen: the blood gases, then a sentence on oxygen and one on CO2.
pub(super) fn summary(judgement: &Judgement, groups: &[FigureGroup]) -> Vec<String> {
    let find = |id: &str| {
        let line = groups.iter().flat_map(|group| &group.lines).find(|line| line.id == id)?;
        said(line)
    };
    let oxygen = sentence(
        "SpO2",
        &[
            ("averaged ", find("spo2.mean"), ""),
            ("fell to ", find("spo2.min"), " at its lowest"),
            ("lay below 90 % for ", find("spo2.time_below_90"), " of the believed night"),
            (
                "fell by 4 % or more ",
                find("spo2.odi4").map(|x| x.replace(" /h", "")),
                " times an hour",
            ),
        ],
    );
    let co2 = sentence(
        &format!("tcPCO2{}", doubted(judgement)),
        &[
            ("was ", find("tcpco2.awake"), " awake"),
            ("averaged ", find("tcpco2.mean"), ""),
            ("held ", find("tcpco2.sustained10"), " for ten minutes at its highest"),
        ],
    );
    [gases::line(judgement), oxygen, co2].into_iter().flatten().collect()
}

fn said(line: &FigureLine) -> Option<String> {
    let value = words::with_unit(line.value.as_ref()?, &line.unit);
    Some(match &line.mmhg {
        Some(mmhg) => format!("{value} ({mmhg} mmHg)"),
        None => value,
    })
}

fn sentence(subject: &str, clauses: &[(&str, Option<String>, &str)]) -> Option<String> {
    let said: Vec<String> = clauses
        .iter()
        .filter_map(|(before, value, after)| Some(format!("{before}{}{after}", value.as_ref()?)))
        .collect();
    let (last, rest) = said.split_last()?;
    Some(if rest.is_empty() {
        format!("{subject} {last}.")
    } else {
        format!("{subject} {} and {last}.", rest.join(", "))
    })
}
