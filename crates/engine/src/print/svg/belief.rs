//! One bar for each channel, dusk to dawn: believed, not believed, not scored.
//!
//! Places are shares of the width and letters keep their size, so the bars can be read on a telephone.

use std::fmt::Write as _;

use super::not_scored;
use crate::print::escape::escape;
use crate::report::Doubt;
use crate::report::Lane;
use crate::report::Picture;
use crate::screen::Reason;
use crate::time;
use crate::time::Stretch;

/// Height of a bar.
const BAR: f64 = 16.0;
/// Height of the words under it.
const WORDS: f64 = 17.0;
/// Width on which the words must find room: a telephone's.
const NARROW: f64 = 330.0;
/// Width of a letter, at the words' size.
const LETTER: f64 = 6.6;
/// The most labels of a clock.
const TICKS: usize = 6;

/// The style and the hatching of the bars, once on a page.
pub(crate) fn defs() -> &'static str {
    "<svg class=\"belief-defs\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>\
     <pattern id=\"belief-hatch\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\">\
     <path d=\"M-1 6L6 -1M-1 1L1 -1M4 6L6 4\"/></pattern></defs></svg>\n"
}

/// A channel's bar. What it shows is said in the sentence over it, so it is no image to a reader of screens.
pub(crate) fn bar(picture: &Picture, lane: &Lane) -> String {
    let mut out = format!(
        "<svg class=\"belief\" width=\"100%\" height=\"{}\" aria-hidden=\"true\">\n\
         <rect class=\"b-yes\" width=\"100%\" height=\"{BAR}\"/>\n",
        BAR + WORDS
    );
    for stretch in &not_scored(picture) {
        block(&mut out, picture, stretch, "b-out", "not scored");
    }
    for doubt in &lane.doubts {
        block(&mut out, picture, &doubt.stretch, "b-no", doubt.reason.words());
    }
    said(&mut out, picture, lane);
    out.push_str("</svg>\n");
    out
}

/// The clock under the bars.
pub(crate) fn clock(picture: &Picture) -> String {
    let mut out =
        String::from("<svg class=\"belief\" width=\"100%\" height=\"16\" aria-hidden=\"true\">\n");
    let every = picture.ticks.len().div_ceil(TICKS).max(1);
    for tick in picture.ticks.iter().step_by(every) {
        let at = percent(picture, tick.at_s);
        let _ = writeln!(
            out,
            "<text text-anchor=\"{}\" x=\"{at:.2}%\" y=\"12\">{}</text>",
            anchor(at),
            escape(&tick.label)
        );
    }
    out.push_str("</svg>\n");
    out
}

fn percent(picture: &Picture, at_s: f64) -> f64 {
    let share = if picture.duration_s > 0.0 { at_s / picture.duration_s } else { 0.0 };
    100.0 * share.clamp(0.0, 1.0)
}

/// Near an edge words begin or end there instead of being cut.
fn anchor(at: f64) -> &'static str {
    match at {
        at if at < 8.0 => "start",
        at if at > 92.0 => "end",
        _ => "middle",
    }
}

fn block(out: &mut String, picture: &Picture, stretch: &Stretch, class: &str, title: &str) {
    let (from, to) = (percent(picture, stretch.start_s), percent(picture, stretch.end_s));
    // A background first, so that the hatching lies on paper and not on the bar.
    let classes = if class == "b-no" { &["b-paper", "b-no"][..] } else { &[class][..] };
    for class in classes {
        let _ = writeln!(
            out,
            "<rect class=\"{class}\" x=\"{from:.2}%\" width=\"{:.2}%\" height=\"{BAR}\"><title>{title}\
             </title></rect>",
            (to - from).max(0.15)
        );
    }
}

/// The longest stretches not believed in the scored time, each with its reason and length under it.
fn said(out: &mut String, picture: &Picture, lane: &Lane) {
    let scored_s = |doubt: &Doubt| {
        let outside = time::total_s(&time::without(&[doubt.stretch], &picture.scored));
        doubt.stretch.length_s() - outside
    };
    let mut longest: Vec<(&Doubt, f64)> = lane.doubts.iter().map(|d| (d, scored_s(d))).collect();
    longest.retain(|(_, seconds)| *seconds >= 60.0);
    longest.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut taken: Vec<(f64, f64)> = Vec::new();
    for (doubt, seconds) in longest {
        let words = format!("{} {:.0} min", short(doubt.reason), seconds / 60.0);
        let at = percent(picture, f64::midpoint(doubt.stretch.start_s, doubt.stretch.end_s));
        let wide = 100.0 * (words.chars().count() as f64 * LETTER + 8.0) / NARROW;
        let span = match anchor(at) {
            "start" => (0.0, wide),
            "end" => (100.0 - wide, 100.0),
            _ => (at - wide / 2.0, at + wide / 2.0),
        };
        let fits = span.0 >= 0.0 && span.1 <= 100.0;
        if fits && taken.iter().all(|used| span.1 <= used.0 || used.1 <= span.0) {
            taken.push(span);
            let (anchor, x) = match anchor(at) {
                "start" => ("start", 0.0),
                "end" => ("end", 100.0),
                middle => (middle, at),
            };
            let y = BAR + 13.0;
            let _ = writeln!(
                out,
                "<text text-anchor=\"{anchor}\" x=\"{x:.2}%\" y=\"{y}\">{}</text>",
                escape(&words)
            );
        }
    }
}

/// A reason in a word.
pub(super) fn short(reason: Reason) -> &'static str {
    match reason {
        Reason::Missing => "no value",
        Reason::Off => "off",
        Reason::Settling => "settling",
        Reason::Step => "step",
        Reason::Implausible => "implausible",
        Reason::Stuck => "frozen",
        Reason::Motion => "movement",
        Reason::LowPerfusion => "low pulsation",
        Reason::Leak => "air leak",
        Reason::Calibrating => "calibrating",
        Reason::ByPerson => "by reader",
    }
}
