//! `judge`: each rule answered met, not met or cannot tell, and whether the night answers the question.

use std::fmt::Write as _;

use crate::criteria::Criteria;
use crate::criteria::Rule;
use crate::recording::Quantity;
use crate::score::Scores;
use crate::time::Stretch;
use crate::unit::Unit;

use bench::Bench;

pub use cause::{Cause, causes};
pub use severe::SEVERE;
pub use severe::Severe;

mod answer;
mod bench;
mod cause;
mod clusters;
mod enough;
mod lane;
mod level;
mod outcome;
mod pattern;
mod severe;
mod verdict;
mod words;

/// A rule's answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Met, however the unbelieved time is filled.
    Met,
    /// Not met, however it is filled.
    NotMet,
    /// It depends on what the unbelieved time held.
    CannotTell,
}

impl Answer {
    /// The id used in JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not_met",
            Self::CannotTell => "cannot_tell",
        }
    }

    /// The words a person reads.
    pub fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// A rule with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleAnswer {
    /// The rule's id.
    pub id: String,
    /// What it asks.
    pub asks: String,
    /// The answer.
    pub answer: Answer,
    /// How far the signal would have to shift for the answer to flip; `None` when it cannot tell.
    pub margin: Option<f64>,
    /// The margin's unit: the channel's, or /h for a rate.
    pub margin_unit: Unit,
    /// Where it was published.
    pub source: String,
    /// Met: the stretches it stands on. Cannot tell: the unbelieved stretches that decide.
    pub stretches: Vec<Stretch>,
    /// Why, in one sentence with its numbers.
    pub because: String,
}

/// A pattern seen in the night; described, never a diagnosis.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// Its id.
    pub id: &'static str,
    /// One sentence with its numbers.
    pub sentence: String,
    /// The numbers behind it: name, value, unit.
    pub figures: Vec<(&'static str, f64, Unit)>,
    /// Where.
    pub stretches: Vec<Stretch>,
}

/// Whether the night answers the question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// It does.
    Sufficient,
    /// It does in part, or with a reservation.
    Partial,
    /// It must be repeated.
    Repeat,
}

impl Decision {
    /// The id used in JSON.
    pub fn id(self) -> &'static str {
        match self {
            Self::Sufficient => "sufficient",
            Self::Partial => "partial",
            Self::Repeat => "repeat",
        }
    }
}

/// The verdict on the night.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Id of the question it was held against.
    pub question: String,
    /// The question in words.
    pub asks: String,
    /// What the rules the question needs say together.
    pub answer: Answer,
    /// The decision.
    pub decision: Decision,
    /// Why, each a plain sentence.
    pub reasons: Vec<String>,
    /// What would mend it, each a plain sentence; empty when nothing needs mending.
    pub mend: Vec<String>,
}

/// A scored night with its answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The scores.
    pub scores: Scores,
    /// Every rule of the set, answered.
    pub rules: Vec<RuleAnswer>,
    /// The patterns seen.
    pub patterns: Vec<Pattern>,
    /// Figures beyond the department's limits of a severe finding, whatever was asked.
    pub severe: Vec<Severe>,
    /// The verdict.
    pub verdict: Verdict,
    /// Name, version and hash of the criteria set used.
    pub criteria: CriteriaStamp,
}

/// Which criteria set a result was made with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CriteriaStamp {
    /// Name.
    pub name: String,
    /// Version.
    pub version: String,
    /// Title in words.
    pub title: String,
    /// SHA-256.
    pub sha256: String,
}

/// Answers every rule of the set and decides on the night.
pub fn judge(scores: Scores, criteria: &Criteria) -> Judgement {
    let bench = Bench::new(&scores, criteria);
    let outer = Outer { co2: bench.with_outer_co2(), spo2: bench.with_any_spo2() };
    let rules: Vec<RuleAnswer> =
        criteria.rules.iter().map(|rule| answer_rule(rule, &bench, &outer, criteria)).collect();
    let patterns = pattern::patterns(&bench, criteria);
    let severe = severe::severe(&bench, criteria);
    let mut verdict = verdict::verdict(&bench, &rules, criteria);
    let first = severe.iter().map(|one| format!("{SEVERE}{}", one.sentence));
    verdict.reasons.splice(0..0, first);
    let criteria = CriteriaStamp {
        name: criteria.name.clone(),
        version: criteria.version.clone(),
        title: criteria.title.clone(),
        sha256: criteria.sha256.clone(),
    };
    Judgement { scores, rules, patterns, severe, verdict, criteria }
}

/// The bench once more for each assumption about gaps, without it; `None` where nothing would change.
struct Outer<'a> {
    /// CO2 moving at the outer rate.
    co2: Option<Bench<'a>>,
    /// SpO2 anything.
    spo2: Option<Bench<'a>>,
}

/// One rule; it is told where it would be open without what is assumed of gaps.
fn answer_rule(rule: &Rule, bench: &Bench, outer: &Outer, criteria: &Criteria) -> RuleAnswer {
    let outcome = answer::outcome(&rule.test, bench);
    let mut because = outcome.because;
    let open_with = |quantity: Quantity, outer: Option<&Bench>| {
        outcome.answer != Answer::CannotTell
            && rule.test.asks_of(quantity)
            && outer.is_some_and(|outer| {
                answer::outcome(&rule.test, outer).answer == Answer::CannotTell
            })
    };
    if open_with(Quantity::Tcpco2, outer.co2.as_ref()) {
        let _ = write!(
            because,
            "; were CO2 to move by {} mmHg a minute where it is not believed, it could not be told",
            criteria.judge.co2_gap_rate_outer_mmhg_per_min.value
        );
    }
    if open_with(Quantity::Spo2, outer.spo2.as_ref()) {
        because.push_str(
            "; were SpO2 taken to have been anything where it is not believed, it could not be told",
        );
    }
    RuleAnswer {
        id: rule.id.clone(),
        asks: rule.asks.clone(),
        answer: outcome.answer,
        margin: outcome.margin,
        margin_unit: outcome.unit,
        source: rule.source.clone(),
        stretches: outcome.stretches,
        because,
    }
}
