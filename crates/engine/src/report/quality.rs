//! What was believed, and how CO2 was corrected, in words.

use super::{CorrectionLines, Quality};
use crate::correct::Anchor;
use crate::correct::CorrectedCo2;
use crate::correct::Model;
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::recording::Recording;
use crate::report::picture;
use crate::report::words;
use crate::screen::ChannelScreen;
use crate::screen::Period;
use crate::screen::Reason;
use crate::screen::Screened;
use crate::time;
use crate::time::Clock;
use crate::time::Stretch;
use crate::trace::Band;
use crate::unit::mmhg_from_kpa;

pub(super) fn quality(judgement: &Judgement) -> Vec<Quality> {
    let screened = &judgement.scores.corrected.screened;
    screened.channels.iter().filter_map(|screen| channel(screened, screen)).collect()
}

fn channel(screened: &Screened, screen: &ChannelScreen) -> Option<Quality> {
    let trace = screened.trace(screen.quantity)?;
    let (believed_s, scored_s) = (trace.believed_s(), trace.inside_s());
    let share = if scored_s > 0.0 { 100.0 * believed_s / scored_s } else { 0.0 };
    let (name, reasons) = (screen.quantity.name(), reasons(screened, screen));
    let words = format!(
        "{} of {} believed ({} %)",
        words::duration(believed_s),
        words::duration(scored_s),
        words::fixed(share, 0)
    );
    Some(Quality {
        channel: screen.quantity.id().into(),
        name: name.into(),
        believed_s,
        scored_s,
        sentence: in_a_sentence(name, (believed_s, scored_s), &reasons),
        words,
        reasons,
    })
}

/// How many reasons the sentence names.
const NAMED: usize = 3;

fn in_a_sentence(
    name: &str,
    (believed_s, scored_s): (f64, f64),
    reasons: &[(String, String)],
) -> String {
    if scored_s <= 0.0 {
        return format!("{name}: nothing was recorded in the time to be scored.");
    }
    let (believed, scored) = (words::duration(believed_s), words::duration(scored_s));
    if reasons.is_empty() {
        return format!("{name} believed all of {scored}.");
    }
    let mut parts: Vec<String> =
        reasons.iter().take(NAMED).map(|(reason, length)| format!("{reason} {length}")).collect();
    if reasons.len() > NAMED {
        parts.push("the rest for other reasons".into());
    }
    let believed = if believed_s > 0.0 { believed } else { "none".into() };
    format!("{name} believed {believed} of {scored}: {}.", parts.join(", "))
}

/// Time inside the scored period by its first reason of disbelief, the longest first; with its place where
/// one stretch makes most of it.
fn reasons(screened: &Screened, screen: &ChannelScreen) -> Vec<(String, String)> {
    let doubts = picture::doubts(screened, screen);
    let mut found: Vec<(Reason, Vec<Stretch>)> = Reason::ALL
        .into_iter()
        .map(|reason| {
            let of_reason = doubts.iter().filter(|doubt| doubt.reason == reason);
            let inside = of_reason.flat_map(|doubt| inside(&screened.period, &doubt.stretch));
            (reason, time::join(inside.collect()))
        })
        .filter(|(_, stretches)| time::total_s(stretches) > 0.0)
        .collect();
    found.sort_by(|a, b| time::total_s(&b.1).total_cmp(&time::total_s(&a.1)));
    let clock = &screened.recording.clock;
    found.into_iter().map(|(r, at)| (r.words().to_owned(), length(clock, &at))).collect()
}

/// The parts of a stretch that are scored.
fn inside<'a>(period: &'a Period, stretch: &'a Stretch) -> impl Iterator<Item = Stretch> + 'a {
    period.stretches.iter().filter(|scored| scored.overlaps(stretch)).map(|scored| {
        Stretch::new(scored.start_s.max(stretch.start_s), scored.end_s.min(stretch.end_s))
    })
}

/// Shorter than this in all, a reason's place is not told, s.
const PLACED_S: f64 = 300.0;

/// How long in all, and where, when one stretch makes most of it.
fn length(clock: &Clock, stretches: &[Stretch]) -> String {
    let total_s = time::total_s(stretches);
    let longest = stretches.iter().max_by(|a, b| a.length_s().total_cmp(&b.length_s()));
    // To the minute: seconds of a reason tell a reader nothing.
    let whole_s = if total_s >= 60.0 { (total_s / 60.0).round() * 60.0 } else { total_s };
    let words = words::duration(whole_s);
    match longest.filter(|one| total_s >= PLACED_S && 2.0 * one.length_s() > total_s) {
        Some(most) => format!("{words} ({})", words::clock_span(clock, most)),
        None => words,
    }
}

pub(super) fn correction(judgement: &Judgement) -> CorrectionLines {
    let corrected = &judgement.scores.corrected;
    let Some(co2) = &corrected.tcpco2 else {
        let sentence = no_co2(&corrected.screened.recording);
        return CorrectionLines { model: None, sentence, anchors: Vec::new() };
    };
    let recording = &corrected.screened.recording;
    let when = |at_s: f64| recording.clock.dated(at_s, recording.duration_s);
    CorrectionLines {
        model: Some(co2.model.id().into()),
        sentence: format!("{}{}{}", sentence(co2), unused(co2, when), allowed_for(judgement)),
        anchors: co2.anchors.iter().map(|a| anchor(a, &when(a.taken_s))).collect(),
    }
}

/// That there was none is said only of a file that has nothing of the kind.
fn no_co2(recording: &Recording) -> String {
    match recording.not_taken(Quantity::Tcpco2) {
        Some(finding) => format!("No CO2 was read. {}", finding.sentence),
        None => "No CO2 was recorded.".into(),
    }
}

fn sentence(co2: &CorrectedCo2) -> String {
    let shift = |kpa: Option<f64>| kpa.map_or_else(|| "nothing".to_owned(), signed_kpa);
    let (start, end) = (shift(co2.offset_start_kpa), shift(co2.offset_end_kpa));
    match co2.model {
        Model::None if co2.unpaired.is_empty() && co2.unused_checks.is_empty() => {
            "CO2 is as the monitor read it: no blood gas and no gas check to correct it by was noted."
                .into()
        }
        Model::None => "CO2 is as the monitor read it: nothing that was noted could correct it.".into(),
        Model::Offset => format!("{start} was added to CO2 all night: its error is known at one moment."),
        Model::Additive => format!(
            "{start} was added to CO2 at the start and {end} at the end, running straight from \
             each anchor to the next."
        ),
        Model::Ratio => format!(
            "CO2 was scaled by the ratio of the gas checks, running straight from each to the \
             next: {start} at the start, {end} at the end."
        ),
    }
}

/// Every blood gas and gas check that was noted and could not be used, with its number.
fn unused(co2: &CorrectedCo2, when: impl Fn(f64) -> String) -> String {
    let told = |what: &str, kpa: f64, at_s: f64, why: &str| {
        format!(
            " The {what} of {} kPa ({} mmHg) at {} could not be held against the sensor: {why}.",
            words::fixed(kpa, 2),
            words::fixed(mmhg_from_kpa(kpa), 1),
            when(at_s)
        )
    };
    let gases = co2.unpaired.iter().map(|gas| told("blood gas", gas.pco2_kpa, gas.at_s, &gas.why));
    let checks = co2.unused_checks.iter();
    let checks = checks.map(|check| told("gas check", check.expected_kpa, check.at_s, &check.why));
    gases.chain(checks).collect()
}

/// How far every answer on CO2 lets the sensor err: the same policy whether or not anything checked it.
fn allowed_for(judgement: &Judgement) -> String {
    let Some(trace) = judgement.scores.corrected.trace(Quantity::Tcpco2) else {
        return String::new();
    };
    let band = || (0..trace.len()).filter(|&i| trace.counts(i)).map(|i| trace.band[i]);
    let most = |of: fn(Band) -> f64| band().map(of).fold(0.0, f64::max);
    let (below, above) = (most(|band| band.below), most(|band| band.above));
    if below.max(above) <= 0.0 {
        return String::new();
    }
    format!(
        " Answers on CO2 allow for what is not known of the sensor: that it read up to {} kPa too low or {} \
         kPa too high.",
        words::fixed(above, 2),
        words::fixed(below, 2)
    )
}

fn signed_kpa(kpa: f64) -> String {
    let sign = if kpa < 0.0 { "" } else { "+" };
    let mmhg = mmhg_from_kpa(kpa);
    format!("{sign}{} kPa ({sign}{} mmHg)", words::fixed(kpa, 2), words::fixed(mmhg, 1))
}

fn anchor(anchor: &Anchor, at: &str) -> String {
    let kind = anchor.kind.words();
    format!(
        "{at} {kind}: {} kPa, sensor read {} kPa (SD {} kPa)",
        words::fixed(anchor.reference_kpa, 2),
        words::fixed(anchor.observed_kpa, 2),
        words::fixed(anchor.sd_kpa, 2)
    )
}
