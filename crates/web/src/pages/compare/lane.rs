//! One lane of a comparison: its scale, and each side's line in it.
//!
//! A side is told by the form of its line and a letter at its end, never by colour. Over each other a line is
//! the middle of a few minutes, which an eye can follow; the lowest and highest of every column lie behind it,
//! so that no nadir is lost (`jugel-2014`).

use std::fmt::Write as _;

use engine::recording::Quantity;
use engine::report::Lane;

use super::Shown;
use crate::extremes::Cell;
use crate::extremes::Extremes;
use crate::extremes::Window;

/// Columns of a side by itself.
const COLUMNS: usize = 640;
/// Columns of the first side behind its line, and of those over it, which leave room between them.
const BEHIND: [usize; 4] = [440, 220, 150, 110];
/// Points of a middle line.
const MIDDLES: usize = 150;
/// Least distance of two levels.
const LEVEL: f64 = 16.0;
/// Least distance of two letters at the ends of lines.
const LETTER: f64 = 14.0;

/// The axis of time: shared seconds and the units they are drawn in.
pub(super) struct Scale {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    pub(super) left: f64,
    pub(super) right: f64,
}

impl Scale {
    pub(super) fn x(&self, at_s: f64) -> f64 {
        let part = (at_s - self.from_s) / (self.to_s - self.from_s);
        self.left + (self.right - self.left) * part.clamp(0.0, 1.0)
    }

    /// The whole axis in a side's own seconds.
    fn window(&self, shift_s: f64, columns: usize) -> Window {
        Window { from_s: self.from_s - shift_s, to_s: self.to_s - shift_s, columns }
    }

    fn width(&self, columns: usize) -> f64 {
        (self.right - self.left) / columns as f64
    }
}

/// The scale of values and where the lane lies.
#[derive(Clone, Copy)]
pub(super) struct Frame {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) step: f64,
    pub(super) top: f64,
    pub(super) height: f64,
}

impl Frame {
    fn y(&self, value: f64) -> f64 {
        let part = (value - self.low) / (self.high - self.low);
        self.top + self.height * (1.0 - part.clamp(0.0, 1.0))
    }
}

/// Name, levels and frame of a lane.
pub(super) fn grid(body: &mut String, scale: &Scale, frame: &Frame, name: &str) {
    let (left, width) = (scale.left, scale.right - scale.left);
    let _ = write!(
        body,
        "<text class=\"lane\" x=\"{left:.1}\" y=\"{:.1}\">{name}</text>",
        frame.top - 8.0
    );
    // Where the words would lie on each other only every second, third … level is drawn.
    let room = frame.height * frame.step / (frame.high - frame.low);
    let step = frame.step * (LEVEL / room).ceil().max(1.0);
    let mut level = (frame.low / step).ceil() * step;
    while level <= frame.high + frame.step / 100.0 {
        let y = frame.y(level);
        let label = engine::report::fixed(level, 0);
        let _ = write!(body, "<path class=\"hair\" d=\"M{left:.1} {y:.1}h{width:.1}\"/>");
        let _ = write!(
            body,
            "<text class=\"level\" x=\"{:.1}\" y=\"{:.1}\">{label}</text>",
            left - 7.0,
            y + 4.5
        );
        level += step;
    }
}

/// A series of a side: the channel itself, or with an ending such as `_recorded`.
fn series<'a>(shown: &'a Shown, quantity: Quantity, ending: &str) -> Option<&'a Extremes> {
    let id = &shown.recording().channel(quantity)?.id;
    let wanted = format!("{id}{ending}");
    shown.opened.series.iter().find(|series| series.id == wanted).map(|series| &*series.of)
}

fn lane_of(shown: &Shown, quantity: Quantity) -> Option<&Lane> {
    shown.opened.report.picture.lanes.iter().find(|lane| lane.quantity == quantity)
}

/// Lowest to highest of each column of believed samples, behind the lines.
pub(super) fn spread(
    body: &mut String,
    (shown, shift_s): (&Shown, f64),
    quantity: Quantity,
    (scale, frame): (&Scale, &Frame),
    at: usize,
) {
    let Some(of) = series(shown, quantity, "") else { return };
    let columns = BEHIND[at.min(BEHIND.len() - 1)];
    let [believed, _] = of.columns(&scale.window(shift_s, columns));
    let width = scale.width(columns);
    let _ = write!(body, "<path class=\"spread s{at}\" d=\"");
    for (column, cell) in believed.iter().enumerate() {
        let Some(cell) = cell else { continue };
        let x = scale.left + column as f64 * width;
        let (high, low) = (frame.y(cell.max) - 0.4, frame.y(cell.min) + 0.4);
        if at == 0 {
            let _ = write!(body, "M{x:.1} {high:.1}h{width:.2}V{low:.1}h-{width:.2}z");
        } else {
            let _ = write!(body, "M{:.1} {high:.1}V{low:.1}", x + width / 2.0);
        }
    }
    body.push_str("\"/>");
}

/// The middle line of a side; gives where it ends.
pub(super) fn middle(
    body: &mut String,
    (shown, shift_s): (&Shown, f64),
    quantity: Quantity,
    (scale, frame): (&Scale, &Frame),
    at: usize,
) -> Option<(f64, f64)> {
    let points = middles(series(shown, quantity, "")?, &scale.window(shift_s, MIDDLES));
    let (path, last) = through(&points, scale, frame);
    let _ = write!(body, "<path class=\"under\" d=\"{path}\"/>");
    let _ = write!(body, "<path class=\"middle m{at}\" d=\"{path}\"/>");
    last
}

/// The median of the believed samples of each column.
fn middles(of: &Extremes, window: &Window) -> Vec<Option<f64>> {
    let long_s = (window.to_s - window.from_s) / window.columns as f64;
    let column = |column: usize| {
        let from_s = window.from_s + long_s * column as f64;
        let range = of.samples(from_s, from_s + long_s);
        let mut own: Vec<f64> = range
            .filter(|at| of.is_believed(*at))
            .map(|at| of.values()[at])
            .filter(|value| value.is_finite())
            .collect();
        if own.is_empty() {
            return None;
        }
        let half = own.len() / 2;
        Some(*own.select_nth_unstable_by(half, f64::total_cmp).1)
    };
    (0..window.columns).map(column).collect()
}

/// A line through what there is, and where it ends.
fn through(points: &[Option<f64>], scale: &Scale, frame: &Frame) -> (String, Option<(f64, f64)>) {
    let width = scale.width(points.len().max(1));
    let (mut path, mut last, mut joined) = (String::new(), None, false);
    for (column, point) in points.iter().enumerate() {
        let Some(value) = point else {
            joined = false;
            continue;
        };
        let (x, y) = (scale.left + (column as f64 + 0.5) * width, frame.y(*value));
        let _ = write!(path, "{}{x:.1} {y:.1}", if joined { 'L' } else { 'M' });
        // A point alone is drawn as a short stroke.
        if !joined {
            path.push_str("h0.1");
        }
        (last, joined) = (Some((x, y)), true);
    }
    (path, last)
}

/// The letters at the ends of the lines, moved apart where they would lie on each other.
pub(super) fn ends(body: &mut String, mut ends: Vec<(char, f64, f64)>, frame: &Frame) {
    ends.sort_by(|a, b| a.2.total_cmp(&b.2));
    let mut placed: Vec<(f64, f64)> = Vec::new();
    for (letter, x, y) in ends {
        let mut at = (x + 6.0, y + 4.5);
        let near = |at: (f64, f64), other: &(f64, f64)| {
            (at.0 - other.0).abs() < LETTER && (at.1 - other.1).abs() < LETTER
        };
        while placed.iter().any(|other| near(at, other)) {
            at.1 += 1.0;
        }
        // At the lower edge they stand beside each other.
        if at.1 > frame.top + frame.height + 4.0 {
            at = (at.0 + LETTER, y + 4.5);
        }
        placed.push(at);
        let _ =
            write!(body, "<text class=\"end\" x=\"{:.1}\" y=\"{:.1}\">{letter}</text>", at.0, at.1);
    }
}

/// Where a side was scored, and what of it is not believed, as a strip of its own under the lane.
pub(super) fn bar(
    body: &mut String,
    (shown, shift_s): (&Shown, f64),
    quantity: Quantity,
    scale: &Scale,
    top: f64,
) {
    let Some(lane) = lane_of(shown, quantity) else { return };
    let middle = top + 4.0;
    let _ = write!(
        body,
        "<text class=\"whose\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
        scale.left - 7.0,
        top + 8.0,
        shown.letter
    );
    for scored in &shown.opened.report.picture.scored {
        let (from, to) = (scale.x(scored.start_s + shift_s), scale.x(scored.end_s + shift_s));
        let _ = write!(body, "<path class=\"scored\" d=\"M{from:.1} {middle:.1}H{to:.1}\"/>");
    }
    doubts(body, lane, shift_s, scale, (top, 8.0));
}

fn doubts(body: &mut String, lane: &Lane, shift_s: f64, scale: &Scale, (top, height): (f64, f64)) {
    for doubt in &lane.doubts {
        let from = scale.x(doubt.stretch.start_s + shift_s);
        let width = (scale.x(doubt.stretch.end_s + shift_s) - from).max(0.6);
        let at =
            format!("x=\"{from:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"");
        let _ = write!(body, "<rect class=\"clear\" {at}/><rect class=\"doubt\" {at}/>");
    }
}

/// One side by itself: not scored in shade, not believed hatched and thin, CO2 as recorded dotted beside its
/// band.
pub(super) fn alone(
    body: &mut String,
    (shown, shift_s): (&Shown, f64),
    quantity: Quantity,
    (scale, frame): (&Scale, &Frame),
) {
    let (Some(lane), Some(of)) = (lane_of(shown, quantity), series(shown, quantity, "")) else {
        let (x, y) = (scale.left + 10.0, frame.top + frame.height / 2.0);
        let read = match shown.opened.recording.not_taken(quantity) {
            Some(_) => "in the file and not read",
            None => "not recorded",
        };
        let _ = write!(
            body,
            "<text class=\"none\" x=\"{x:.1}\" y=\"{y:.1}\">{read} on {}</text>",
            shown.letter
        );
        return;
    };
    shade(body, shown, shift_s, scale, frame);
    doubts(body, lane, shift_s, scale, (frame.top, frame.height));
    let window = scale.window(shift_s, COLUMNS);
    band(body, shown, quantity, &window, (scale, frame));
    let [believed, doubted] = of.columns(&window);
    let _ = write!(body, "<path class=\"doubted\" d=\"{}\"/>", trace(&doubted, scale, frame));
    let _ = write!(body, "<path class=\"believed\" d=\"{}\"/>", trace(&believed, scale, frame));
    if let Some(recorded) = series(shown, quantity, "_recorded") {
        let points = middles(recorded, &scale.window(shift_s, MIDDLES));
        let (path, _) = through(&points, scale, frame);
        let _ = write!(body, "<path class=\"recorded\" d=\"{path}\"/>");
    }
}

/// Everything outside the scored time.
fn shade(body: &mut String, shown: &Shown, shift_s: f64, scale: &Scale, frame: &Frame) {
    let scored = shown.opened.report.picture.scored.iter();
    let scored = scored.map(|one| (scale.x(one.start_s + shift_s), scale.x(one.end_s + shift_s)));
    let mut from = scale.left;
    for (start, end) in scored.chain([(scale.right, scale.right)]) {
        if start > from {
            let _ = write!(
                body,
                "<rect class=\"outside\" x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\"/>",
                frame.top,
                start - from,
                frame.height
            );
        }
        from = from.max(end);
    }
}

/// The band around corrected CO2.
fn band(
    body: &mut String,
    shown: &Shown,
    quantity: Quantity,
    window: &Window,
    (scale, frame): (&Scale, &Frame),
) {
    let edges = series(shown, quantity, "_low").zip(series(shown, quantity, "_high"));
    let Some((low, high)) = edges else { return };
    let ([low, _], [high, _]) = (low.columns(window), high.columns(window));
    let width = scale.width(window.columns);
    body.push_str("<path class=\"band\" d=\"");
    for (column, pair) in low.iter().zip(&high).enumerate() {
        let (Some(low), Some(high)) = pair else { continue };
        let x = scale.left + column as f64 * width;
        let (top, bottom) = (frame.y(high.max), frame.y(low.min));
        let _ = write!(body, "M{x:.1} {top:.1}h{width:.2}V{bottom:.1}h-{width:.2}z");
    }
    body.push_str("\"/>");
}

/// A line through the columns that is the line through their samples.
fn trace(cells: &[Option<Cell>], scale: &Scale, frame: &Frame) -> String {
    let width = scale.width(cells.len().max(1));
    let (mut path, mut joined) = (String::new(), false);
    for (column, cell) in cells.iter().enumerate() {
        let Some(cell) = cell else {
            joined = false;
            continue;
        };
        let x = scale.left + (column as f64 + 0.5) * width;
        let of = [cell.first, cell.min, cell.max, cell.last].map(|value| frame.y(value));
        let _ = write!(
            path,
            "{}{x:.1} {:.1}V{:.1}V{:.1}V{:.1}",
            if joined { 'L' } else { 'M' },
            of[0],
            of[1],
            of[2],
            of[3]
        );
        joined = true;
    }
    path
}
