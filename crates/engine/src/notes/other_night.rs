//! Whether notes belong to another night than the recording they were given with.
//!
//! Scored all the same, such notes say nothing and read as a poor night: the patient comes again for a file
//! that was mixed up. So they are refused where they are given, and are a finding where they were kept.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::Notes;
use crate::recording::Mark;
use crate::recording::MarkKind;
use crate::recording::Recording;
use crate::time::Stretch;

/// Notes whose every time lies further than this outside the recording are of another night: a monitor
/// switched on late or off early is nearer, another day is farther. Common practice, no source.
const APART_S: f64 = 3.0 * 3600.0;
/// A gas may lie so much further from its night than [`APART_S`]; common practice, no source.
const GAS_DAY_S: f64 = 21.0 * 3600.0;
/// A night told by one of its lights alone is no longer than this; common practice, no source.
const LONGEST_NIGHT_S: f64 = 12.0 * 3600.0;

/// A mark that lies further than this outside the recording is of another night, whatever else fits: it has a
/// date, for a time of day alone is laid nearer.
const MARK_APART_S: f64 = 12.0 * 3600.0;
/// Free words may be of the day before and after as well; common practice, no source.
const WORDS_APART_S: f64 = 24.0 * 3600.0;

/// Whether a mark is of another night.
pub(super) fn is_far(mark: &Mark, recording: &Recording) -> bool {
    let end_s = mark.end_s.unwrap_or(mark.start_s);
    let most_s = if mark.kind == MarkKind::Note { WORDS_APART_S } else { MARK_APART_S };
    (-end_s).max(mark.start_s - recording.duration_s) > most_s
}

/// Takes the marks of another night out of notes, and tells each with its date: they are facts of that night.
/// Gases and checks of another day stay, since CO2's correction tells of each that it cannot be used.
pub(super) fn set_aside(notes: &mut Notes, recording: &Recording) {
    let (far, near): (Vec<Mark>, Vec<Mark>) =
        notes.marks.drain(..).partition(|mark| is_far(mark, recording));
    notes.marks = near;
    for mark in far {
        let sentence = format!(
            "The mark {} at {} is of another night than the recording, which runs from {} to {}: it is not \
             counted.",
            mark.kind.id(),
            dated(mark.start_s, recording),
            dated(0.0, recording),
            dated(recording.duration_s, recording)
        );
        notes.findings.push(Finding::new("mark_of_another_night", Weight::Serious, sentence));
    }
}

/// A moment with its date, where the recording has one.
fn dated(at_s: f64, recording: &Recording) -> String {
    let format = if recording.clock.date_known() { "%Y-%m-%d %H:%M" } else { "%H:%M" };
    recording.clock.at(at_s).civil.strftime(format).to_string()
}

/// What tells that the notes belong to another night, as expected and found; `None` when they may belong to this one, or name no time.
pub(super) fn found(notes: &Notes, recording: &Recording) -> Option<String> {
    let told = told(notes);
    let apart_s = |one: &Stretch| (-one.end_s).max(one.start_s - recording.duration_s);
    let nearest = told.iter().copied().min_by(|a, b| apart_s(a).total_cmp(&apart_s(b)))?;
    if apart_s(&nearest) <= APART_S {
        return None;
    }
    let at = |s: f64| dated(s, recording);
    Some(format!(
        "expected times from {} to {}, found the nearest at {}, {:.0} h away",
        at(0.0),
        at(recording.duration_s),
        at(if nearest.end_s < 0.0 { nearest.end_s } else { nearest.start_s }),
        apart_s(&nearest) / 3600.0
    ))
}

/// The stretches that the notes speak of: from lights out to lights on, each mark, each stretch judged.
fn told(notes: &Notes) -> Vec<Stretch> {
    let light = |kind| notes.marks.iter().find(|mark| mark.kind == kind).map(|mark| mark.start_s);
    let night = match (light(MarkKind::LightsOut), light(MarkKind::LightsOn)) {
        (Some(out_s), Some(on_s)) => Some(Stretch::new(out_s, on_s.max(out_s))),
        (Some(out_s), None) => Some(Stretch::new(out_s, out_s + LONGEST_NIGHT_S)),
        (None, Some(on_s)) => Some(Stretch::new(on_s - LONGEST_NIGHT_S, on_s)),
        (None, None) => None,
    };
    // A free note speaks of the evening or the day as well: a tablet at noon.
    let others = |mark: &&Mark| {
        !matches!(mark.kind, MarkKind::LightsOut | MarkKind::LightsOn | MarkKind::Note)
    };
    let marks = notes.marks.iter().filter(others).map(|mark| {
        Stretch::new(mark.start_s, mark.end_s.unwrap_or(mark.start_s).max(mark.start_s))
    });
    let edits = notes.edits.iter().map(|edit| edit.stretch);
    let told: Vec<Stretch> = night.into_iter().chain(marks).chain(edits).collect();
    if told.is_empty() { gases(notes) } else { told }
}

/// What the gases tell where nothing else tells the night: one of the day before or after may be this night's.
fn gases(notes: &Notes) -> Vec<Stretch> {
    let blood = notes.blood_gases.iter().map(|gas| gas.at_s);
    let checks = notes.gas_checks.iter().map(|check| check.at_s);
    let day = |at_s: f64| Stretch::new(at_s - GAS_DAY_S, at_s + GAS_DAY_S);
    blood.chain(checks).map(day).collect()
}
