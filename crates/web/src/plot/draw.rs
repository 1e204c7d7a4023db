//! The drawing of a plot: the frame, its axes, and each thing in it.

use std::fmt::Write as _;

use super::Axis;
use super::Fill;
use super::Shape;
use super::Sign;
use super::Thing;
use super::safe;

/// Pixels a sign is wide at the size of the labels, a little more than most need.
const SIGN: f64 = 7.0;
/// The same of a name, which may be of capitals.
const CAPITAL: f64 = 8.5;
/// Height of a line of words.
const LINE: f64 = 16.0;
/// Height of a row whose name stands beside it, and of one whose name stands over it.
const ROW: f64 = 28.0;
const TALL_ROW: f64 = 46.0;
/// Distance of the words from an edge.
const GAP: f64 = 8.0;

/// Where the axes lie, in pixels.
#[derive(Debug)]
pub(super) struct Frame<'a> {
    x: &'a Axis,
    y: &'a Axis,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    /// Names stand over their rows, where the page is too narrow to have them beside.
    over: bool,
}

impl<'a> Frame<'a> {
    pub(super) fn of(x: &'a Axis, y: &'a Axis, width: f64, height: f64, things: &[Thing]) -> Self {
        let name = widest(y.ticks.iter().map(|tick| tick.1.as_str()));
        let name = if y.rows && name < 11.0 * SIGN { name / SIGN * CAPITAL } else { name };
        let over = y.rows && name > width * 0.3;
        let level = widest(things.iter().map(|thing| match thing {
            Thing::Level { word, .. } => word.as_str(),
            _ => "",
        }));
        let heads = things
            .iter()
            .any(|thing| matches!(thing, Thing::Upright { word, .. } if !word.is_empty()));
        let left = if over { GAP } else { name + 2.0 * GAP };
        // The last label of the lower axis is centred on the edge.
        let half = x.ticks.last().map_or(0.0, |tick| widest([tick.1.as_str()]) / 2.0);
        let right = width - (if level > 0.0 { level + GAP } else { 0.0 }).max(half + 4.0);
        let top = if !y.label.is_empty() || heads { LINE + GAP } else { GAP };
        let row = if over { TALL_ROW } else { ROW };
        let bottom =
            if y.rows { top + row * y.ticks.len() as f64 } else { height - 2.0 * LINE - GAP };
        Self { x, y, left, right, top, bottom, over }
    }

    /// The height of the whole.
    pub(super) fn height(&self) -> f64 {
        let label = if self.x.label.is_empty() { 0.0 } else { LINE };
        self.bottom + LINE + GAP + label
    }

    pub(super) fn x(&self, value: f64) -> f64 {
        self.left + (self.right - self.left) * self.x.part(value)
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        self.bottom - (self.bottom - self.top) * self.y.part(value)
    }

    /// Half the thickness of a bar, and how far below the middle of its row it lies.
    fn bar(&self) -> (f64, f64) {
        if self.over { (8.0, 8.0) } else { (8.0, 0.0) }
    }

    /// Where things of a row lie; anywhere else the height itself.
    fn on_row(&self, value: f64) -> f64 {
        self.y(value) + if self.y.rows { self.bar().1 } else { 0.0 }
    }

    pub(super) fn axes(&self, text: &mut String) {
        let (left, right, top, bottom) = (self.left, self.right, self.top, self.bottom);
        self.lower(text);
        for (at, word) in &self.y.ticks {
            let y = self.y(*at);
            if self.over {
                word_at(text, (left, y - 8.0), "start", "name", word);
                continue;
            }
            if !self.y.rows {
                line(text, "grid", (left, y), (right, y));
            }
            let class = if self.y.rows { "name" } else { "tick" };
            word_at(text, (left - GAP, y + 4.5), "end", class, word);
        }
        line(text, "edge", (left, bottom), (right, bottom));
        if self.y.rows {
            line(text, "edge", (left, top), (left, bottom));
        }
        if !self.y.label.is_empty() {
            word_at(text, (0.0, LINE - 4.0), "start", "label", &self.y.label);
        }
        if !self.x.label.is_empty() {
            word_at(text, (right, bottom + LINE * 2.0 + 2.0), "end", "label", &self.x.label);
        }
    }

    /// The ticks of the lower axis, as many as can be read.
    fn lower(&self, text: &mut String) {
        let wide = widest(self.x.ticks.iter().map(|tick| tick.1.as_str())) + 2.0 * GAP;
        let room = self.right - self.left;
        let mut every = 1;
        while self.x.ticks.len().div_ceil(every) as f64 * wide > room + wide
            && every < self.x.ticks.len()
        {
            every += 1;
        }
        for (at, word) in self.x.ticks.iter().step_by(every) {
            let x = self.x(*at);
            line(text, "grid", (x, self.top), (x, self.bottom + 4.0));
            word_at(text, (x, self.bottom + LINE + 2.0), "middle", "tick", word);
        }
    }

    pub(super) fn thing(&self, text: &mut String, thing: &Thing, id: &str) {
        match thing {
            Thing::Band { low, high, fill } => {
                let (top, bottom) = (self.y(*high), self.y(*low));
                area(text, (*fill, id), (self.left, top), (self.right, bottom), "");
            }
            Thing::Level { y, stroke, .. } => {
                let y = self.y(*y);
                line(text, stroke.class(), (self.left, y), (self.right, y));
            }
            Thing::Upright { x, stroke, .. } => {
                let x = self.x(*x);
                line(text, stroke.class(), (x, self.top), (x, self.bottom));
            }
            Thing::Line { through, stroke } => {
                let points: Vec<String> = through
                    .iter()
                    .map(|(x, y)| format!("{},{}", short(self.x(*x)), short(self.y(*y))))
                    .collect();
                let _ = write!(
                    text,
                    "<polyline class=\"{}\" points=\"{}\"/>",
                    stroke.class(),
                    points.join(" ")
                );
            }
            Thing::Bar { row, from, to, fill, says } => {
                let (half, middle) = (self.bar().0, self.on_row(*row));
                let (left, right) = (self.x(*from), self.x(*to));
                area(text, (*fill, id), (left, middle - half), (right, middle + half), says);
            }
            Thing::Range { row, from, to } => {
                let y = self.on_row(*row);
                line(text, "solid", (self.x(*from), y), (self.x(*to), y));
                for end in [from, to] {
                    let x = self.x(*end);
                    line(text, "solid", (x, y - 4.0), (x, y + 4.0));
                }
            }
            Thing::Point { x, y, shape, says } => {
                point(text, *shape, (self.x(*x), self.on_row(*y)), says);
            }
        }
    }

    /// The words at the ends of lines, moved apart where they would lie on each other.
    pub(super) fn words(&self, text: &mut String, things: &[Thing]) {
        let mut levels: Vec<(f64, &str)> = Vec::new();
        for thing in things {
            match thing {
                Thing::Level { y, word, .. } if !word.is_empty() => levels.push((self.y(*y), word)),
                Thing::Upright { x, word, .. } if !word.is_empty() => {
                    word_at(text, (self.x(*x), self.top - 5.0), "middle", "word", word);
                }
                _ => {}
            }
        }
        levels.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut free = f64::NEG_INFINITY;
        // A stack that would run over the lower edge begins higher.
        let room = |left: usize| self.bottom + 4.0 - LINE * left as f64;
        for (at, (y, word)) in levels.iter().enumerate() {
            let y = (y + 4.5).min(room(levels.len() - 1 - at)).max(free);
            word_at(text, (self.right + GAP, y), "start", "word", word);
            free = y + LINE;
        }
    }
}

/// The patterns areas are filled with; their ids begin with the plot's own.
pub(super) fn patterns(text: &mut String, id: &str) {
    let _ = write!(
        text,
        "<defs><pattern id=\"{id}-hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><path class=\"hatch-line\" d=\"M0 0V6\"/></pattern><pattern id=\"{id}-dots\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><circle class=\"dots-dot\" cx=\"2\" cy=\"2\" r=\"1.2\"/></pattern></defs>"
    );
}

/// A sign of the key.
pub(super) fn swatch(id: &str, sign: Sign) -> String {
    let mut text = "<svg class=\"swatch\" viewBox=\"0 0 28 16\" aria-hidden=\"true\">".to_owned();
    match sign {
        Sign::Point(shape) => point(&mut text, shape, (14.0, 8.0), ""),
        Sign::Line(stroke) => line(&mut text, stroke.class(), (1.0, 8.0), (27.0, 8.0)),
        Sign::Area(fill) => {
            // Patterns of a picture that is not shown are not drawn: the key has its own.
            let own = format!("{id}-key-{}", fill.class());
            if matches!(fill, Fill::Hatch | Fill::Dots) {
                patterns(&mut text, &own);
            }
            area(&mut text, (fill, &own), (1.0, 1.0), (27.0, 15.0), "");
        }
    }
    text.push_str("</svg>");
    text
}

fn point(text: &mut String, shape: Shape, (x, y): (f64, f64), says: &str) {
    let (x, y) = (short(x), short(y));
    let told =
        if says.is_empty() { String::new() } else { format!("<title>{}</title>", safe(says)) };
    let _ = match shape {
        Shape::Dot => {
            write!(text, "<circle class=\"dot\" cx=\"{x}\" cy=\"{y}\" r=\"3.5\">{told}</circle>")
        }
        Shape::Ring => {
            write!(text, "<circle class=\"ring\" cx=\"{x}\" cy=\"{y}\" r=\"3.5\">{told}</circle>")
        }
        Shape::Told => write!(
            text,
            "<g>{told}<circle class=\"halo\" cx=\"{x}\" cy=\"{y}\" r=\"8\"/><circle class=\"told\" cx=\"{x}\" cy=\"{y}\" r=\"4\"/></g>"
        ),
        Shape::Bar => {
            write!(text, "<path class=\"middle\" d=\"M{x} {y}m0 -8v16\">{told}</path>")
        }
    };
}

fn area(text: &mut String, (fill, id): (Fill, &str), from: (f64, f64), to: (f64, f64), says: &str) {
    let (wide, high) = (to.0 - from.0, to.1 - from.1);
    if wide <= 0.0 || high <= 0.0 {
        return;
    }
    let class = fill.class();
    let pattern = match fill {
        Fill::Hatch | Fill::Dots => format!(" fill=\"url(#{id}-{class})\""),
        Fill::Ink | Fill::Wash | Fill::Empty => String::new(),
    };
    let told =
        if says.is_empty() { String::new() } else { format!("<title>{}</title>", safe(says)) };
    let _ = write!(
        text,
        "<rect class=\"{class}\"{pattern} x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\">{told}</rect>",
        short(from.0),
        short(from.1),
        short(wide),
        short(high)
    );
}

fn line(text: &mut String, class: &str, from: (f64, f64), to: (f64, f64)) {
    let _ = write!(
        text,
        "<line class=\"{class}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>",
        short(from.0),
        short(from.1),
        short(to.0),
        short(to.1)
    );
}

fn word_at(text: &mut String, (x, y): (f64, f64), anchor: &str, class: &str, word: &str) {
    let (x, y) = (short(x), short(y));
    let _ = write!(
        text,
        "<text class=\"{class}\" x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{}</text>",
        safe(word)
    );
}

fn widest<'a>(words: impl IntoIterator<Item = &'a str>) -> f64 {
    words.into_iter().map(|word| word.chars().count() as f64 * SIGN).fold(0.0, f64::max)
}

/// A length to a tenth of a pixel, without needless noughts.
pub(super) fn short(pixels: f64) -> f64 {
    (pixels * 10.0).round() / 10.0
}
