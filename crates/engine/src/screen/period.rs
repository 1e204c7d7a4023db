//! The analysis period: lights out to lights on, without the time awake or up.
//!
//! Notes win over the file: the diary knows what the monitor does not. Marks that contradict each other
//! are told in a finding, and the honest fallback is the whole recording, not a guess.

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::Notes;
use crate::recording::{Author, Mark, MarkKind, Recording};
use crate::screen::look::Look;
use crate::screen::{Period, PeriodBasis};
use crate::time::{Stretch, join, total_s, without};

/// The period, and what was noticed in finding it.
pub(super) fn find(look: &Look, notes: &Notes) -> (Period, Vec<Finding>) {
    let mut findings = Vec::new();
    let (lit, basis) = lights(look.recording, notes, &mut findings);
    let out = out_of_sleep(look, &mut findings);
    let stretches = without(&lit, &out);
    if total_s(&stretches) <= 0.0 {
        findings.push(Finding::new(
            "period_empty",
            Weight::Serious,
            "No time is left to score: the marks leave nothing between lights out and lights on.",
        ));
    }
    (Period { stretches, basis }, findings)
}

/// When the lights went out and on: the notes' marks of a kind, or the file's where they have none.
fn times(recording: &Recording, notes: &Notes, kind: MarkKind) -> Vec<f64> {
    let of = |marks: &[Mark]| -> Vec<f64> {
        let kept = marks.iter().filter(|mark| mark.kind == kind && mark.start_s.is_finite());
        kept.map(|mark| mark.start_s).collect()
    };
    let mut times = of(&notes.marks);
    if times.is_empty() {
        times = of(&recording.marks);
    }
    times.sort_by(f64::total_cmp);
    times.dedup_by(|a, b| (*a - *b).abs() < 1.0);
    times
}

fn lights(
    recording: &Recording,
    notes: &Notes,
    findings: &mut Vec<Finding>,
) -> (Vec<Stretch>, PeriodBasis) {
    let whole = recording.whole();
    let outs = times(recording, notes, MarkKind::LightsOut);
    let ons = times(recording, notes, MarkKind::LightsOn);
    let basis = match (outs.is_empty(), ons.is_empty()) {
        (true, true) => {
            findings.push(not_marked("Neither lights out nor lights on was marked"));
            return (vec![whole], PeriodBasis::WholeRecording);
        }
        (false, false) => PeriodBasis::LightsMarked,
        (outs_missing, _) => {
            let which = if outs_missing { "Lights out was" } else { "Lights on was" };
            findings.push(one_marked(which, outs_missing));
            PeriodBasis::OneLightMarked
        }
    };
    let nights = pairs(&outs, &ons, whole, findings);
    let inside: Vec<Stretch> = nights
        .iter()
        .map(|s| Stretch::new(s.start_s.max(whole.start_s), s.end_s.min(whole.end_s)))
        .collect();
    if total_s(&inside) <= 0.0 {
        findings.push(contradicting());
        return (vec![whole], PeriodBasis::WholeRecording);
    }
    beyond_recording(&nights, whole, findings);
    (join(inside), basis)
}

/// Each lights out with the lights on after it; the recording's edge stands for one not marked.
fn pairs(outs: &[f64], ons: &[f64], whole: Stretch, findings: &mut Vec<Finding>) -> Vec<Stretch> {
    let alternate = outs.len() == ons.len()
        && outs.iter().zip(ons).all(|(out, on)| out < on)
        && ons.iter().zip(outs.iter().skip(1)).all(|(on, out)| on <= out);
    if alternate {
        return outs.iter().zip(ons).map(|(&out, &on)| Stretch::new(out, on)).collect();
    }
    let first = outs.first().copied().unwrap_or(whole.start_s);
    let last = ons.last().copied().unwrap_or(whole.end_s);
    let night = Stretch::new(first, last);
    if (outs.len() > 1 || ons.len() > 1) && first < last {
        findings.push(
            Finding::new(
                "lights_repeated",
                Weight::Caution,
                "Lights out and lights on do not follow each other in turn: the period runs from \
                 the first lights out to the last lights on.",
            )
            .at(night),
        );
    }
    vec![night]
}

fn not_marked(what: &str) -> Finding {
    Finding::new(
        "lights_not_marked",
        Weight::Caution,
        format!("{what}: the whole recording is scored, time awake in bed included."),
    )
}

fn one_marked(which: &str, start: bool) -> Finding {
    let edge = if start { "start" } else { "end" };
    Finding::new(
        "one_light_not_marked",
        Weight::Caution,
        format!("{which} not marked: the recording's {edge} stands for it."),
    )
}

fn contradicting() -> Finding {
    Finding::new(
        "lights_contradict",
        Weight::Caution,
        "Lights out and lights on contradict each other or lie outside the recording: the whole \
         recording is scored instead.",
    )
}

fn beyond_recording(nights: &[Stretch], whole: Stretch, findings: &mut Vec<Finding>) {
    let start_s = nights.first().map_or(0.0, |s| s.start_s);
    let end_s = nights.last().map_or(whole.end_s, |s| s.end_s);
    for (beyond_s, words) in [
        (whole.start_s - start_s, "Lights out came {} min before the recording started"),
        (end_s - whole.end_s, "The recording ended {} min before lights on"),
    ] {
        if beyond_s >= 60.0 {
            let words = words.replace("{}", &format!("{:.0}", beyond_s / 60.0));
            findings.push(Finding::new(
                "lights_beyond_recording",
                Weight::Caution,
                format!("{words}: that part of the night was not recorded."),
            ));
        }
    }
}

/// The stretches marked awake or up.
fn out_of_sleep(look: &Look, findings: &mut Vec<Finding>) -> Vec<Stretch> {
    let turning: Vec<&Mark> = look.marks.iter().copied().filter(|mark| turns(mark.kind)).collect();
    let mut out = Vec::new();
    for (i, mark) in turning.iter().enumerate() {
        if !matches!(mark.kind, MarkKind::Awake | MarkKind::Up) {
            continue;
        }
        let stretch = match mark.end_s {
            Some(end_s) if end_s >= mark.start_s => Stretch::new(mark.start_s, end_s),
            Some(_) => {
                findings.push(ends_before_start(mark));
                continue;
            }
            None => {
                let next = turning[i + 1..].iter().find(|later| later.start_s > mark.start_s);
                let stretch = unended(mark, next.copied(), look.recording, look.limits);
                findings.push(end_not_marked(mark, stretch));
                stretch
            }
        };
        out.push(stretch);
    }
    out
}

/// Marks that end a state of being awake or up.
fn turns(kind: MarkKind) -> bool {
    use MarkKind::{Asleep, Awake, LightsOn, LightsOut, Up};
    matches!(kind, Asleep | Awake | LightsOn | LightsOut | Up)
}

/// Awake lasts to the next mark; up, unless somebody wrote "asleep" or "awake" next, for the time the
/// criteria give a visit to the toilet: nobody is up for the rest of a night that goes on being
/// recorded.
fn unended(
    mark: &Mark,
    next: Option<&Mark>,
    recording: &Recording,
    limits: &ScreenCriteria,
) -> Stretch {
    let next_s = next.map_or(recording.duration_s, |next| next.start_s);
    let told = next.is_some_and(|next| matches!(next.kind, MarkKind::Asleep | MarkKind::Awake));
    let end_s = if mark.kind == MarkKind::Up && !told {
        next_s.min(mark.start_s + limits.up_unended_min.value * 60.0)
    } else {
        next_s
    };
    Stretch::new(mark.start_s, end_s.max(mark.start_s))
}

fn state(mark: &Mark) -> &'static str {
    if mark.kind == MarkKind::Up { "Up" } else { "Awake" }
}

fn end_not_marked(mark: &Mark, stretch: Stretch) -> Finding {
    let minutes = stretch.length_s() / 60.0;
    Finding::new(
        "mark_without_end",
        Weight::Caution,
        format!(
            "{} was marked without an end: {minutes:.0} min are taken out of the period. Write \
             down when it ended to mend this.",
            state(mark)
        ),
    )
    .at(stretch)
}

fn ends_before_start(mark: &Mark) -> Finding {
    let by = match &mark.author {
        Author::File => "recording",
        _ => "notes",
    };
    Finding::new(
        "mark_ends_before_start",
        Weight::Caution,
        format!("{} in the {by} ends before it starts: the mark is not used.", state(mark)),
    )
    .at(Stretch::new(mark.start_s, mark.start_s))
}
