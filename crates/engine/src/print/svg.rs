//! The night as a strip of paper, dusk to dawn.

use std::fmt::Write as _;

use super::escape::escape;
use super::ink::{DARK, Inks, LIGHT, PAPER};
use crate::recording::MarkKind;
use crate::report::Flag;
use crate::report::Picture;
use crate::time;
use crate::time::Stretch;

pub(crate) mod belief;
mod lane;
mod trace;

/// Where the strip will be seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// On a screen: colours follow the page's variables, or day and night of their own.
    Screen,
    /// On paper: fixed colours.
    Paper,
}

/// Width of the strip in its own units.
const WIDTH: f64 = 1000.0;
/// Left and right edges of the lanes; the margins hold scales and labels, so that none is cut off.
const LEFT: f64 = 58.0;
const RIGHT: f64 = 908.0;
/// Height of the row of flags above the lanes.
const FLAGS: f64 = 36.0;
/// Height of the clock below them.
const CLOCK: f64 = 24.0;
/// Widths of a letter, at the label's size: a generous guess, since nobody measures text here.
const LETTER: f64 = 6.5;

/// The strip as SVG text.
pub fn svg(picture: &Picture, look: Look) -> String {
    svg_with_lanes(picture, look, 1.0)
}

/// The strip as SVG text with lanes this many times as high as usual, so that it can fill the room that a
/// page leaves without changing its width or the size of its words.
pub fn svg_with_lanes(picture: &Picture, look: Look, height: f64) -> String {
    let mut body = String::new();
    let mut top = FLAGS;
    for lane in &picture.lanes {
        top = lane::draw(&mut body, picture, lane, top, height);
    }
    let bottom = top;
    let mut out = open(picture, look, bottom + CLOCK);
    clock(&mut out, picture, bottom);
    // Poles lie under the lanes, so that no pole crosses out a word.
    flags(&mut out, picture, bottom);
    out.push_str(&body);
    out.push_str("</svg>\n");
    out
}

/// Height of the strip in parts of its width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SvgShape {
    /// What every strip of this night needs for its words.
    pub stays: f64,
    /// What the lanes add at their usual height.
    pub grows: f64,
}

/// The shape that [`svg_with_lanes`] will give a strip, without drawing it.
pub fn svg_shape(picture: &Picture) -> SvgShape {
    let sum = |times| picture.lanes.iter().map(|lane| lane::full_height(lane, times)).sum::<f64>();
    let words = sum(0.0);
    SvgShape { stays: (FLAGS + words + CLOCK) / WIDTH, grows: (sum(1.0) - words) / WIDTH }
}

fn open(picture: &Picture, look: Look, height: f64) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"strip\" viewBox=\"0 0 {} {}\" role=\"img\" \
         aria-labelledby=\"strip-title strip-desc\">\n<title id=\"strip-title\">The night, dusk to \
         dawn</title>\n<desc id=\"strip-desc\">{}</desc>\n<style>{}</style>\n\
         <defs><pattern id=\"strip-hatch\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\">\
         <path class=\"s-hatch\" d=\"M-1 6L6 -1M-1 1L1 -1M4 6L6 4\"/></pattern></defs>\n",
        n(WIDTH),
        n(height),
        escape(&picture.words),
        style(look),
    )
}

fn style(look: Look) -> String {
    let fixed = |inks: Inks| {
        rules(&|name| {
            let colour = ink(inks, name);
            colour.to_owned()
        })
    };
    match look {
        Look::Paper => format!("{}text{{font-family:Inter}}", fixed(PAPER)),
        Look::Screen => format!(
            "{}text{{font-family:system-ui,sans-serif;font-variant-numeric:tabular-nums}}\
             @media (prefers-color-scheme:dark){{{}}}",
            rules(&|name| format!("var(--{name},{})", ink(LIGHT, name))),
            rules(&|name| format!("var(--{name},{})", ink(DARK, name))),
        ),
    }
}

fn ink(inks: Inks, name: &str) -> &'static str {
    match name {
        "ink" => inks.ink,
        "quiet" => inks.quiet,
        "accent" => inks.accent,
        "hatch" => inks.hatch,
        "hair" => inks.hair,
        "wash" => inks.wash,
        _ => inks.paper,
    }
}

/// The strip's own style rules, colours by name.
fn rules(colour: &dyn Fn(&str) -> String) -> String {
    let [ink, quiet, accent, hatch, hair, wash, paper] =
        ["ink", "quiet", "accent", "hatch", "hair", "wash", "paper"].map(colour);
    format!(
        ".s-sheet{{fill:{paper};stroke:{hair};stroke-width:1}}\
         .s-wash{{fill:{wash}}}\
         .s-hair{{fill:none;stroke:{hair};stroke-width:1}}\
         .s-hatch{{fill:none;stroke:{hatch};stroke-width:.8}}\
         .s-doubt{{fill:none;stroke:{hatch};stroke-width:.9;stroke-linecap:round}}\
         .s-band{{fill:{hatch};fill-opacity:.22;stroke:none}}\
         .s-edge{{fill:none;stroke:{hatch};stroke-width:.7;stroke-linecap:round}}\
         .s-raw{{fill:none;stroke:{quiet};stroke-width:.9;stroke-dasharray:9 7}}\
         .s-trace{{fill:none;stroke:{ink};stroke-width:1.25;stroke-linecap:round;stroke-linejoin:round}}\
         .s-spoken{{fill:none;stroke:{accent};stroke-width:1.9;stroke-linecap:round;stroke-linejoin:round}}\
         .s-level{{fill:none;stroke:{quiet};stroke-width:.9;stroke-dasharray:1 3}}\
         .s-level-spoken{{fill:none;stroke:{accent};stroke-width:1;stroke-dasharray:5 3}}\
         .s-met{{fill:{accent};stroke:{accent};stroke-width:1}}\
         .s-open{{fill:{paper};stroke:{accent};stroke-width:1.2}}\
         .s-pole{{fill:none;stroke:{hatch};stroke-width:.8;stroke-dasharray:2 3}}\
         .s-flag{{fill:{quiet};stroke:none}}\
         text{{paint-order:stroke;stroke:{paper};stroke-width:3px;stroke-linejoin:round}}\
         .s-text{{fill:{ink};font-size:13px}}\
         .s-quiet{{fill:{quiet};font-size:12px}}\
         .s-accent{{fill:{accent};font-size:12px;font-weight:600}}\
         .s-name{{fill:{ink};font-size:14px;font-weight:600}}"
    )
}

/// A coordinate, to a tenth of a unit.
fn n(x: f64) -> String {
    let text = format!("{x:.1}");
    let text = text.strip_suffix(".0").map_or(text.as_str(), |whole| whole);
    if text == "-0" { "0".into() } else { text.to_owned() }
}

/// Where a moment lies across the strip.
fn x_at(picture: &Picture, at_s: f64) -> f64 {
    let part = if picture.duration_s > 0.0 { at_s / picture.duration_s } else { 0.0 };
    LEFT + (RIGHT - LEFT) * part.clamp(0.0, 1.0)
}

/// Left edge and width of a stretch, never too thin to be seen.
fn across(picture: &Picture, stretch: &Stretch) -> (f64, f64) {
    let (from, to) = (x_at(picture, stretch.start_s), x_at(picture, stretch.end_s));
    (from, (to - from).max(1.0))
}

fn text(out: &mut String, class: &str, anchor: &str, x: f64, y: f64, words: &str) {
    let _ = writeln!(
        out,
        "<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{}\" y=\"{}\">{}</text>",
        n(x),
        n(y),
        escape(words)
    );
}

fn width_of(words: &str) -> f64 {
    words.chars().count() as f64 * LETTER
}

/// The whole hours along the bottom.
fn clock(out: &mut String, picture: &Picture, bottom: f64) {
    for tick in &picture.ticks {
        let x = x_at(picture, tick.at_s);
        let _ = writeln!(
            out,
            "<path class=\"s-hair\" d=\"M{x} {}V{}\"/>",
            n(FLAGS),
            n(bottom + 4.0),
            x = n(x)
        );
        text(out, "s-text", "middle", x, bottom + 18.0, &tick.label);
    }
}

/// The marks: a pole through the lanes, a pennant on top, a few words where there is room.
fn flags(out: &mut String, picture: &Picture, bottom: f64) {
    let mut taken: [Vec<(f64, f64)>; 2] = [Vec::new(), Vec::new()];
    for flag in &picture.flags {
        let x = x_at(picture, flag.at_s);
        let label: String = flag.label.chars().take(26).collect();
        let right = (x - 1.0, x + 14.0 + width_of(&label));
        let left = (x - 8.0 - width_of(&label), x + 9.0);
        let free = |row: usize, span: (f64, f64)| {
            span.0 >= 2.0
                && span.1 <= WIDTH
                && taken[row].iter().all(|used| span.1 <= used.0 || used.1 <= span.0)
        };
        let spot = [(0, right, "start"), (1, right, "start"), (0, left, "end"), (1, left, "end")]
            .into_iter()
            .find(|(row, span, _)| flag.kind != MarkKind::Alarm && free(*row, *span));
        pole(out, picture, flag, spot.map_or(1, |(row, _, _)| row), bottom);
        if let Some((row, span, anchor)) = spot {
            taken[row].push(span);
            let at = if anchor == "start" { x + 11.0 } else { x - 5.0 };
            text(out, "s-quiet", anchor, at, 11.0 + 15.0 * row as f64, &label);
        }
    }
}

fn pole(out: &mut String, picture: &Picture, flag: &Flag, row: usize, bottom: f64) {
    let (x, y) = (x_at(picture, flag.at_s), 2.0 + 15.0 * row as f64);
    let _ = writeln!(
        out,
        "<path class=\"s-pole\" d=\"M{x} {}V{}\"/><path class=\"s-flag\" d=\"M{x} {}l8 4l-8 4z\"/>",
        n(y),
        n(bottom),
        n(y),
        x = n(x),
    );
    if let Some(until_s) = flag.until_s {
        let (from, wide) = across(picture, &Stretch::new(flag.at_s, until_s));
        let _ = writeln!(
            out,
            "<rect class=\"s-flag\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"2.5\"/>",
            n(from),
            n(FLAGS - 4.0),
            n(wide)
        );
    }
}

/// The time that is not scored.
fn not_scored(picture: &Picture) -> Vec<Stretch> {
    time::without(&[Stretch::new(0.0, picture.duration_s)], &picture.scored)
}
