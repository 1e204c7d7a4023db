//! Plots as SVG, made on the server: points, lines, bars and bands on axes with round ticks.
//!
//! One ink: series differ by shape, stroke and hatching, never by colour alone. Classes only, no style. Each
//! plot is drawn twice, for a wide and for a narrow page, and the style sheet shows the one that fits. A plot
//! stands for no table: the page that shows it has the numbers in words beside it.

mod axis;
mod draw;

pub use axis::Axis;

use std::fmt::Write as _;

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Whole.
    Solid,
    /// In dashes.
    Dashed,
    /// In dots.
    Dotted,
}

impl Stroke {
    const fn class(self) -> &'static str {
        match self {
            Self::Solid => "solid",
            Self::Dashed => "dashed",
            Self::Dotted => "dotted",
        }
    }
}

/// How a point is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A disc of ink.
    Dot,
    /// An empty circle.
    Ring,
    /// A disc of the accent with a ring around it: what the words speak of.
    Told,
    /// An upright stroke, for a middle.
    Bar,
}

/// How an area is filled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Ink.
    Ink,
    /// Ink, thin.
    Wash,
    /// Hatched.
    Hatch,
    /// Dotted.
    Dots,
    /// Empty, with an edge.
    Empty,
}

impl Fill {
    const fn class(self) -> &'static str {
        match self {
            Self::Ink => "ink",
            Self::Wash => "wash",
            Self::Hatch => "hatch",
            Self::Dots => "dots",
            Self::Empty => "empty",
        }
    }
}

/// One thing on a plot, in the units of its axes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Thing {
    /// From one height to another, over the whole width.
    Band { low: f64, high: f64, fill: Fill },
    /// Over the whole width at one height, with a word at its right end.
    Level { y: f64, stroke: Stroke, word: String },
    /// Over the whole height at one place, with a word at its upper end.
    Upright { x: f64, stroke: Stroke, word: String },
    /// Through points.
    Line { through: Vec<(f64, f64)>, stroke: Stroke },
    /// Along one row.
    Bar { row: f64, from: f64, to: f64, fill: Fill, says: String },
    /// Along one row, thin: a range.
    Range { row: f64, from: f64, to: f64 },
    /// One point, with what it says when it is pointed at.
    Point { x: f64, y: f64, shape: Shape, says: String },
}

/// What an entry of the key shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// A point.
    Point(Shape),
    /// A line.
    Line(Stroke),
    /// An area.
    Area(Fill),
}

/// A plot. In a template: `{{ plot.html()|safe }}`.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// Its id on the page, of letters, digits and `-`; each plot of a page has its own.
    id: String,
    /// What it shows, as the heading that readers hear.
    title: String,
    /// What is to be seen in it, in words.
    says: String,
    x: Axis,
    y: Axis,
    height: f64,
    things: Vec<Thing>,
    key: Vec<(Sign, String)>,
}

impl Plot {
    /// An empty plot. Axis `y` may be of names; then each is a row.
    pub fn new(id: &str, title: &str, says: &str, x: Axis, y: Axis) -> Self {
        Self {
            id: id.to_owned(),
            title: title.to_owned(),
            says: says.to_owned(),
            x,
            y,
            height: 320.0,
            things: Vec::new(),
            key: Vec::new(),
        }
    }

    /// With another height than 320, in pixels. Rows of names make their own.
    #[must_use]
    pub fn tall(mut self, height: f64) -> Self {
        self.height = height;
        self
    }

    fn with(mut self, thing: Thing) -> Self {
        self.things.push(thing);
        self
    }

    /// With a band between two heights.
    #[must_use]
    pub fn band(self, low: f64, high: f64, fill: Fill) -> Self {
        self.with(Thing::Band { low, high, fill })
    }

    /// With a line across at one height, and a word at its end.
    #[must_use]
    pub fn level(self, y: f64, stroke: Stroke, word: &str) -> Self {
        self.with(Thing::Level { y, stroke, word: word.to_owned() })
    }

    /// With a line upright at one place, and a word at its upper end.
    #[must_use]
    pub fn upright(self, x: f64, stroke: Stroke, word: &str) -> Self {
        self.with(Thing::Upright { x, stroke, word: word.to_owned() })
    }

    /// With a line through points.
    #[must_use]
    pub fn line(self, through: Vec<(f64, f64)>, stroke: Stroke) -> Self {
        self.with(Thing::Line { through, stroke })
    }

    /// With a bar along a row.
    #[must_use]
    pub fn bar(self, row: usize, from: f64, to: f64, fill: Fill, says: &str) -> Self {
        self.with(Thing::Bar { row: row as f64, from, to, fill, says: says.to_owned() })
    }

    /// With a range along a row.
    #[must_use]
    pub fn range(self, row: usize, from: f64, to: f64) -> Self {
        self.with(Thing::Range { row: row as f64, from, to })
    }

    /// With a point, and what it says when it is pointed at.
    #[must_use]
    pub fn point(self, x: f64, y: f64, shape: Shape, says: &str) -> Self {
        self.with(Thing::Point { x, y, shape, says: says.to_owned() })
    }

    /// With an entry in its key.
    #[must_use]
    pub fn key(mut self, sign: Sign, words: &str) -> Self {
        self.key.push((sign, words.to_owned()));
        self
    }

    /// The plot with its heading and key, for the page.
    pub fn html(&self) -> String {
        let mut text =
            format!("<figure class=\"plot\"><figcaption>{}</figcaption>", safe(&self.title));
        text.push_str(&self.svg(720.0, "broad"));
        text.push_str(&self.svg(360.0, "slim"));
        if !self.key.is_empty() {
            text.push_str("<ul class=\"plot-key\">");
            for (sign, words) in &self.key {
                let _ = write!(text, "<li>{}{}</li>", draw::swatch(&self.id, *sign), safe(words));
            }
            text.push_str("</ul>");
        }
        text.push_str("</figure>");
        text
    }

    /// The drawing alone at a width in pixels. The class, `broad` or `slim`, tells the style sheet when to show it.
    pub fn svg(&self, width: f64, class: &str) -> String {
        let frame = draw::Frame::of(&self.x, &self.y, width, self.height, &self.things);
        let id = format!("{}-{class}", self.id);
        let mut text = format!(
            "<svg class=\"{class}\" viewBox=\"0 0 {width} {}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\"><title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>",
            draw::short(frame.height()),
            safe(&self.title),
            safe(&self.says)
        );
        draw::patterns(&mut text, &id);
        frame.axes(&mut text);
        for thing in &self.things {
            frame.thing(&mut text, thing, &id);
        }
        frame.words(&mut text, &self.things);
        text.push_str("</svg>");
        text
    }
}

/// A text inside HTML or SVG.
fn safe(text: &str) -> String {
    text.chars().fold(String::with_capacity(text.len()), |mut done, sign| {
        match sign {
            '&' => done.push_str("&amp;"),
            '<' => done.push_str("&lt;"),
            '>' => done.push_str("&gt;"),
            '"' => done.push_str("&quot;"),
            _ => done.push(sign),
        }
        done
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot() -> Plot {
        Plot::new(
            "p",
            "A & B",
            "two points",
            Axis::numbers("hours", 0.0, 9.0),
            Axis::numbers("kPa", -0.31, 0.28),
        )
        .level(0.4, Stroke::Dashed, "limit")
        .line(vec![(0.0, 0.0), (9.0, 0.2)], Stroke::Solid)
        .point(4.5, 0.0, Shape::Dot, "<at> noon")
        .key(Sign::Point(Shape::Dot), "check")
    }

    #[test]
    fn a_plot_is_told_in_words_and_holds_no_style() {
        let html = plot().html();
        assert!(html.contains(
            "<title id=\"p-broad-t\">A &amp; B</title><desc id=\"p-broad-d\">two points</desc>"
        ));
        assert!(html.contains("&lt;at&gt; noon") && !html.contains("style="), "{html}");
        let ids: Vec<&str> =
            html.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        let mut once = ids.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), ids.len(), "an id stands twice: {ids:?}");
    }

    #[test]
    fn a_point_in_the_middle_of_both_axes_is_in_the_middle_of_the_frame() {
        let (x, y) = (Axis::within("", 0.0, 10.0), Axis::within("", 0.0, 2.0));
        let frame = draw::Frame::of(&x, &y, 720.0, 320.0, &[]);
        let (left, right) = (frame.x(0.0), frame.x(10.0));
        assert!((frame.x(5.0) - f64::midpoint(left, right)).abs() < 1e-9);
        assert!((frame.y(1.0) - f64::midpoint(frame.y(0.0), frame.y(2.0))).abs() < 1e-9);
        assert!(frame.y(2.0) < frame.y(0.0) && left < right);
    }

    #[test]
    fn what_lies_beyond_an_axis_is_drawn_at_its_edge() {
        let (x, y) = (Axis::within("", 0.0, 10.0), Axis::within("", 0.0, 2.0));
        let frame = draw::Frame::of(&x, &y, 360.0, 200.0, &[]);
        assert_eq!(frame.x(99.0).to_bits(), frame.x(10.0).to_bits());
        assert_eq!(frame.y(f64::NAN).to_bits(), frame.y(0.0).to_bits());
    }
}
