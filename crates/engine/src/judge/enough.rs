//! Whether what was seen is enough for an answer: what lies outside the recording is not known.
//!
//! The fillings bound what the unbelieved minutes of the period could have held; they say nothing of the
//! night that was not recorded. Two seconds in which CO2 was low do not show that it never stood high for
//! ten minutes, and two low seconds are not a share of a night. So on less believed time than the criteria
//! ask no rule is answered "not met", and none on a share, a mean or a rate at all; what was seen to be
//! held, reached or added up stands however short the night.

use super::Answer;
use super::bench::Bench;
use super::lane::Lane;
use super::outcome::Outcome;
use super::words::level_words;
use super::words::minutes_words;
use crate::correct::Unpaired;
use crate::criteria::Side;
use crate::criteria::Threshold;
use crate::recording::Quantity;

/// An outcome of which "not met" means that something never was so. `past` is the level that a blood gas
/// may lie past: a gas that cannot be held against the sensor still speaks against such an answer.
pub(super) fn never(
    outcome: Outcome,
    bench: &Bench,
    lane: &Lane,
    past: Option<&Threshold>,
) -> Outcome {
    if outcome.answer != Answer::NotMet {
        return outcome;
    }
    if let Some(short) = too_short(bench, lane) {
        return open(outcome, &short);
    }
    match past.and_then(|threshold| gas_past(bench, lane, threshold)) {
        Some(gas) => open(outcome, &gas),
        None => outcome,
    }
}

/// An outcome on a level, open where a blood gas that cannot be paired contradicts the sensor and lies on the
/// other side of the level than the answer: then the sensor is off, and off towards the answer.
pub(super) fn unless_contradicted(
    outcome: Outcome,
    bench: &Bench,
    lane: &Lane,
    threshold: &Threshold,
) -> Outcome {
    if lane.trace.quantity != Quantity::Tcpco2 {
        return outcome;
    }
    let against = |gas: &&Unpaired| {
        let Some(contradiction) = gas.contradicts.as_ref().filter(|one| one.opens) else {
            return false;
        };
        let (past, farther) =
            (threshold.passed_by(gas.pco2_kpa), contradiction.side == threshold.side);
        match outcome.answer {
            Answer::Met => !past && !farther,
            Answer::NotMet => past && farther,
            Answer::CannotTell => false,
        }
    };
    match bench.speaking_gases().find(against) {
        Some(gas) => open(outcome, &gas_words(bench, gas)),
        None => outcome,
    }
}

/// An outcome that stands on a share of the night.
pub(super) fn at_all(outcome: Outcome, bench: &Bench, lane: &Lane) -> Outcome {
    if outcome.answer == Answer::CannotTell {
        return outcome;
    }
    match too_short(bench, lane) {
        Some(short) => open(outcome, &short),
        None => outcome,
    }
}

fn open(outcome: Outcome, why: &str) -> Outcome {
    let because = format!("{}; {why}", outcome.because);
    Outcome { scale: outcome.scale, ..Outcome::untold(outcome.unit, because) }
}

fn too_short(bench: &Bench, lane: &Lane) -> Option<String> {
    let believed_s = lane.trace.believed_s();
    let least_s = bench.criteria.judge.answer_least_min.value * 60.0;
    (believed_s + crate::unit::TOLERANCE < least_s).then(|| {
        format!(
            "only {} of {} can be believed, and what was not recorded is not known",
            minutes_words(believed_s, false),
            lane.trace.quantity.name()
        )
    })
}

/// A blood gas past the level that could not be held against the sensor.
fn gas_past(bench: &Bench, lane: &Lane, threshold: &Threshold) -> Option<String> {
    if lane.trace.quantity != Quantity::Tcpco2 || threshold.side != Side::Above {
        return None;
    }
    let past = bench.speaking_gases().find(|gas| threshold.passed_by(gas.pco2_kpa))?;
    Some(gas_words(bench, past))
}

fn gas_words(bench: &Bench, gas: &Unpaired) -> String {
    let recording = &bench.scores.corrected.screened.recording;
    format!(
        "but the blood gas at {} was {}, and it cannot be held against the sensor",
        recording.clock.dated(gas.at_s, recording.duration_s),
        level_words(Quantity::Tcpco2, gas.pco2_kpa)
    )
}
