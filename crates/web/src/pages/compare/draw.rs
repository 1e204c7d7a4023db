//! The nights as lines: over each other on one axis of time, and one under the other on the same scales.

use std::fmt::Write as _;

use engine::recording::MarkKind;
use engine::recording::Quantity;

use super::Shown;
use super::choice::Axis;
use super::lane;
use super::lane::Frame;
use super::lane::Scale;

/// Width of a drawing, and what its labels take at both sides, in units of its own.
const WIDTH: f64 = 960.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 30.0;
/// Height of a lane where nights lie over each other, and where each has its own.
const OVER: f64 = 150.0;
const APART: f64 = 78.0;
/// Between lanes, and for the hours under them.
const GAP: f64 = 26.0;
const FOOT: f64 = 26.0;
/// Height of the strip that shows where one side is not believed.
const BAR: f64 = 11.0;

/// The lanes in their order, with the unit they are drawn in.
const LANES: [(Quantity, &str); 3] =
    [(Quantity::Spo2, "%"), (Quantity::Pulse, "/min"), (Quantity::Tcpco2, "kPa")];

/// Everything that is drawn.
pub(super) struct Picture {
    /// All sides in the same lanes, as SVG.
    pub(super) over: String,
    /// Each side in its own lanes: letter, words for who cannot see it, SVG.
    pub(super) apart: Vec<(char, String, String)>,
    /// What the axis shows.
    pub(super) axis: &'static str,
    /// What must be said of the axis.
    pub(super) notes: Vec<String>,
}

impl Picture {
    pub(super) fn new(sides: &[Shown], axis: Axis) -> Self {
        let mut notes = Vec::new();
        let shifts: Vec<f64> = sides.iter().map(|shown| shift_s(shown, axis, &mut notes)).collect();
        let scale = scale(sides, &shifts);
        let apart = sides.iter().zip(&shifts).map(|(shown, shift_s)| {
            let words = shown.opened.report.picture.words.clone();
            (shown.letter, words, apart((shown, *shift_s), sides, &scale, axis))
        });
        Self {
            over: over(sides, &shifts, &scale, axis),
            apart: apart.collect(),
            axis: match axis {
                Axis::Clock => "time of day",
                Axis::Lights => "hours since lights out",
            },
            notes,
        }
    }
}

/// What is added to a side's own seconds to come to the shared axis: seconds since noon, or since lights out.
fn shift_s(shown: &Shown, axis: Axis, notes: &mut Vec<String>) -> f64 {
    let clock = &shown.recording().clock;
    match axis {
        Axis::Clock => {
            if !clock.changes_within(shown.recording().duration_s).is_empty() {
                notes.push(format!(
                    "The clocks changed during {}: on the axis its hours after the change are an hour off the wall clock.",
                    shown.letter
                ));
            }
            let start = clock.at(0.0).civil;
            let of_day = f64::from(start.hour()) * 3600.0
                + f64::from(start.minute()) * 60.0
                + f64::from(start.second());
            (of_day - 43_200.0).rem_euclid(86_400.0)
        }
        Axis::Lights => {
            let lights = lights_out_s(shown);
            if lights.is_none() {
                notes.push(format!(
                    "Lights out is not marked on {}: its recording's start stands for it on the axis.",
                    shown.letter
                ));
            }
            -lights.unwrap_or(0.0)
        }
    }
}

fn lights_out_s(shown: &Shown) -> Option<f64> {
    let screened = &shown.opened.judgement.scores.corrected.screened;
    let marks = screened.recording.marks.iter().chain(&screened.notes.marks);
    marks.filter(|mark| mark.kind == MarkKind::LightsOut).map(|mark| mark.start_s).reduce(f64::min)
}

fn scale(sides: &[Shown], shifts: &[f64]) -> Scale {
    let ends = |shown: &Shown, shift: f64| shift + shown.recording().duration_s;
    let from_s = shifts.iter().copied().fold(f64::INFINITY, f64::min);
    let to_s =
        sides.iter().zip(shifts).map(|(one, shift)| ends(one, *shift)).fold(from_s, f64::max);
    Scale { from_s, to_s: to_s.max(from_s + 1.0), left: LEFT, right: WIDTH - RIGHT }
}

/// The scale of a lane: the widest of all sides. `None` when no side has the channel.
fn frame(sides: &[Shown], quantity: Quantity, top: f64, height: f64) -> Option<Frame> {
    let lanes = sides.iter().flat_map(|shown| &shown.opened.report.picture.lanes);
    let own = lanes.filter(|lane| lane.quantity == quantity);
    own.map(|lane| Frame { low: lane.low, high: lane.high, step: lane.step, top, height }).reduce(
        |one, other| Frame { low: one.low.min(other.low), high: one.high.max(other.high), ..one },
    )
}

/// All sides in the same lanes.
fn over(sides: &[Shown], shifts: &[f64], scale: &Scale, axis: Axis) -> String {
    let mut body = String::new();
    let mut top = GAP;
    for (quantity, unit) in LANES {
        let Some(frame) = frame(sides, quantity, top, OVER) else { continue };
        lane::grid(&mut body, scale, &frame, &format!("{}, {unit}", quantity.name()));
        hours(&mut body, scale, axis, (frame.top, frame.height), false);
        let placed = || sides.iter().zip(shifts).enumerate();
        for (at, (shown, shift_s)) in placed() {
            lane::spread(&mut body, (shown, *shift_s), quantity, (scale, &frame), at);
        }
        let mut ends = Vec::new();
        for (at, (shown, shift_s)) in placed() {
            let end = lane::middle(&mut body, (shown, *shift_s), quantity, (scale, &frame), at);
            ends.extend(end.map(|(x, y)| (shown.letter, x, y)));
        }
        lane::ends(&mut body, ends, &frame);
        let under = frame.top + frame.height + 11.0;
        for (at, (shown, shift_s)) in placed() {
            lane::bar(&mut body, (shown, *shift_s), quantity, scale, under + BAR * at as f64);
        }
        top = under + BAR * sides.len() as f64 + GAP;
    }
    finished(body, top - GAP, scale, axis, &over_words(sides, axis))
}

fn over_words(sides: &[Shown], axis: Axis) -> String {
    let letters: Vec<String> = sides.iter().map(|shown| shown.letter.to_string()).collect();
    let on = match axis {
        Axis::Clock => "the time of day",
        Axis::Lights => "the hours since lights out",
    };
    format!(
        "{} over each other on {on}. The figures and answers stand below as text.",
        letters.join(" and ")
    )
}

/// One side in lanes of its own, on the scales of all.
fn apart((shown, shift_s): (&Shown, f64), sides: &[Shown], scale: &Scale, axis: Axis) -> String {
    let mut body = String::new();
    let mut top = GAP;
    for (quantity, unit) in LANES {
        let Some(frame) = frame(sides, quantity, top, APART) else { continue };
        lane::grid(&mut body, scale, &frame, &format!("{}, {unit}", quantity.name()));
        hours(&mut body, scale, axis, (frame.top, frame.height), false);
        lane::alone(&mut body, (shown, shift_s), quantity, (scale, &frame));
        top += APART + GAP;
    }
    let words = format!("{} alone. {}", shown.letter, shown.opened.report.picture.words);
    finished(body, top - GAP, scale, axis, &words)
}

/// The hours: hairlines through a lane, or words under the last.
fn hours(body: &mut String, scale: &Scale, axis: Axis, (top, height): (f64, f64), words: bool) {
    let every = if scale.to_s - scale.from_s > 14.0 * 3600.0 { 2.0 } else { 1.0 } * 3600.0;
    let mut at_s = (scale.from_s / every).ceil() * every;
    while at_s <= scale.to_s {
        let x = scale.x(at_s);
        if words {
            let label = match axis {
                Axis::Clock => format!("{:02.0}:00", (at_s / 3600.0 + 12.0).rem_euclid(24.0)),
                Axis::Lights => format!("{} h", engine::report::fixed(at_s / 3600.0, 0)),
            };
            let _ = write!(body, "<text class=\"hour\" x=\"{x:.1}\" y=\"{top:.1}\">{label}</text>");
        } else {
            let _ = write!(body, "<path class=\"hair\" d=\"M{x:.1} {top:.1}v{height}\"/>");
        }
        at_s += every;
    }
}

fn finished(mut body: String, bottom: f64, scale: &Scale, axis: Axis, words: &str) -> String {
    hours(&mut body, scale, axis, (bottom + 17.0, 0.0), true);
    let height = bottom + FOOT;
    let words = words.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    format!(
        "<svg class=\"plot\" viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"img\" aria-label=\"{words}\">{body}</svg>"
    )
}
