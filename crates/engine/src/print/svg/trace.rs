//! A line through columns: every column's first, lowest, highest and last, gaps left open.

use std::fmt::Write as _;

use super::{LEFT, RIGHT, n};
use crate::report::Column;
use crate::report::Lane;

/// A lane's scale on the sheet.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub(super) top: f64,
    pub(super) height: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    /// Units of width to the second.
    pub(super) per_s: f64,
}

impl Scale {
    /// Where a value lies; values off the scale lie on its edge.
    pub(super) fn y(&self, value: f64) -> f64 {
        let part = (value - self.low) / (self.high - self.low);
        self.top + self.height * (1.0 - part.clamp(0.0, 1.0))
    }

    /// Where the middle of a column lies.
    pub(super) fn x(&self, lane: &Lane, column: usize) -> f64 {
        let at_s = lane.start_s + (column as f64 + 0.5) * lane.column_s;
        (LEFT + at_s * self.per_s).clamp(LEFT, RIGHT)
    }
}

/// The path through the columns that `keep` keeps.
pub(super) fn path(
    scale: &Scale,
    lane: &Lane,
    columns: &[Option<Column>],
    keep: impl Fn(usize) -> bool,
) -> String {
    let mut d = String::new();
    let mut open = false;
    for (c, column) in columns.iter().enumerate() {
        let Some(column) = column.filter(|_| keep(c)) else {
            open = false;
            continue;
        };
        let x = n(scale.x(lane, c));
        let y = |value| n(scale.y(value));
        let pen = if open { 'L' } else { 'M' };
        let _ = write!(d, "{pen}{x} {}", y(column.first));
        let mut at = y(column.first);
        for value in [column.min, column.max, column.last].map(y) {
            if value != at {
                let _ = write!(d, "V{value}");
                at = value;
            }
        }
        if !open {
            // A lone column would leave no mark: a hair's breadth makes it a dot.
            d.push_str("h.2");
        }
        open = true;
    }
    d
}

/// The band as closed shapes, one for each unbroken run, and its edges.
pub(super) fn band(scale: &Scale, lane: &Lane) -> (String, String) {
    let (mut shapes, mut edges) = (String::new(), String::new());
    let indexed: Vec<(usize, Option<(f64, f64)>)> = lane.band.iter().copied().enumerate().collect();
    for stretch in indexed.split(|(_, edge)| edge.is_none()).filter(|stretch| !stretch.is_empty()) {
        let edge_line = |pick: fn((f64, f64)) -> f64| -> Vec<String> {
            stretch
                .iter()
                .filter_map(|(column, edge)| Some((*column, pick((*edge)?))))
                .map(|(column, value)| {
                    format!("{} {}", n(scale.x(lane, column)), n(scale.y(value)))
                })
                .collect()
        };
        let (low, mut high) = (edge_line(|edge| edge.0), edge_line(|edge| edge.1));
        let _ = write!(edges, "M{}M{}", low.join("L"), high.join("L"));
        high.reverse();
        let _ = write!(shapes, "M{}L{}Z", low.join("L"), high.join("L"));
    }
    (shapes, edges)
}
