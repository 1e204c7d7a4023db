//! A channel seen in pixel columns: first, lowest, highest and last of the samples of each, so that a line
//! drawn through the columns is the line drawn through the samples and no nadir is lost (`jugel-2014`).
//!
//! Columns lie on the pixels asked for, not on blocks of their own. Whole blocks of samples are folded
//! once, when the night is opened; a query touches single samples only at the edges of its columns.

use std::sync::Arc;

use engine::recording::Recording;

/// First, lowest, highest and last of some samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// The first.
    pub first: f64,
    /// The lowest.
    pub min: f64,
    /// The highest.
    pub max: f64,
    /// The last.
    pub last: f64,
}

/// Samples in one block.
const BLOCK: usize = 64;

/// A window of time cut into columns of the same width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Left edge, seconds from the recording's start.
    pub from_s: f64,
    /// Right edge.
    pub to_s: f64,
    /// How many columns; at least one.
    pub columns: usize,
}

impl Window {
    /// The left edge of a column, and of the one after the last.
    fn edge_s(&self, column: usize) -> f64 {
        self.from_s + (self.to_s - self.from_s) * column as f64 / self.columns as f64
    }
}

/// Samples of a line: its own, or those of a channel of the recording, which may be too many to have twice.
#[derive(Clone, Debug)]
pub enum Samples {
    /// Made for this line.
    Own(Vec<f64>),
    /// Those of the channel at this place.
    Of(Arc<Recording>, usize),
}

impl Samples {
    /// The samples; NaN where there is none.
    pub fn values(&self) -> &[f64] {
        match self {
            Self::Own(values) => values,
            Self::Of(recording, at) => {
                recording.channels.get(*at).map_or(&[], |channel| &*channel.samples)
            }
        }
    }
}

/// One channel with its blocks.
#[derive(Clone, Debug)]
pub struct Extremes {
    /// Seconds between samples.
    pub period_s: f64,
    /// Seconds from the recording's start to the first sample.
    pub offset_s: f64,
    samples: Samples,
    /// Whether each is believed; empty when nobody judges them, which counts as believed.
    believed: Vec<bool>,
    /// Believed and doubted samples of each block.
    blocks: Vec<[Option<Cell>; 2]>,
}

impl Extremes {
    /// Folds a channel into its blocks. `believed` is empty for a channel that nobody judges.
    pub fn new(period_s: f64, offset_s: f64, samples: Samples, believed: Vec<bool>) -> Self {
        let mut made = Self { period_s, offset_s, samples, believed, blocks: Vec::new() };
        let count = made.values().len();
        made.blocks = (0..count.div_ceil(BLOCK))
            .map(|block| made.each(block * BLOCK, ((block + 1) * BLOCK).min(count)))
            .collect();
        made
    }

    /// The samples; NaN where there is none.
    pub fn values(&self) -> &[f64] {
        self.samples.values()
    }

    /// Whether a sample is believed.
    pub fn is_believed(&self, at: usize) -> bool {
        self.believed.get(at).copied().unwrap_or(true)
    }

    /// The samples that start in a window of time: `from..to`.
    pub fn samples(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let stretch = engine::time::Stretch::new(from_s, to_s);
        engine::recording::indices(self.offset_s, self.period_s, self.values().len(), &stretch)
    }

    /// The columns of a window: of the believed samples, and of the doubted ones.
    pub fn columns(&self, window: &Window) -> [Vec<Option<Cell>>; 2] {
        let (mut believed, mut doubted) = (Vec::new(), Vec::new());
        for column in 0..window.columns {
            let range = self.samples(window.edge_s(column), window.edge_s(column + 1));
            let [one, other] = self.folded(range.start, range.end);
            believed.push(one);
            doubted.push(other);
        }
        [believed, doubted]
    }

    /// A range of samples by whole blocks where it holds any.
    fn folded(&self, from: usize, to: usize) -> [Option<Cell>; 2] {
        let (first, last) = (from.div_ceil(BLOCK), to / BLOCK);
        if first >= last {
            return self.each(from, to);
        }
        let head = self.each(from, first * BLOCK);
        let body = self.blocks[first..last].iter().fold(head, |sum, block| both(sum, *block));
        both(body, self.each(last * BLOCK, to))
    }

    /// A range of samples one by one.
    fn each(&self, from: usize, to: usize) -> [Option<Cell>; 2] {
        let mut cells = [None, None];
        for (at, value) in (from..to).zip(&self.values()[from..to]) {
            if value.is_finite() {
                let cell = Cell { first: *value, min: *value, max: *value, last: *value };
                let side = usize::from(!self.is_believed(at));
                cells[side] = joined(cells[side], Some(cell));
            }
        }
        cells
    }
}

fn both(one: [Option<Cell>; 2], then: [Option<Cell>; 2]) -> [Option<Cell>; 2] {
    [joined(one[0], then[0]), joined(one[1], then[1])]
}

fn joined(one: Option<Cell>, then: Option<Cell>) -> Option<Cell> {
    match (one, then) {
        (Some(one), Some(then)) => Some(Cell {
            first: one.first,
            min: one.min.min(then.min),
            max: one.max.max(then.max),
            last: then.last,
        }),
        (one, then) => one.or(then),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Every column of every window is what its own samples are, counted afresh; and the lowest believed
        /// sample of the whole window is in one of its columns.
        #[test]
        fn no_nadir_is_lost_at_any_width_and_window(
            samples in prop::collection::vec((40u8..=100, prop::bool::weighted(0.9), prop::bool::weighted(0.97)), 1..3000),
            period in prop::sample::select(vec![0.01, 0.5, 1.0, 4.0]),
            from in 0.0f64..1.0, length in 0.001f64..1.0, columns in 1usize..700,
        ) {
            let values: Vec<f64> = samples.iter().map(|s| if s.2 { f64::from(s.0) } else { f64::NAN }).collect();
            let believed: Vec<bool> = samples.iter().map(|s| s.1).collect();
            let all_s = period * samples.len() as f64;
            let window = Window { from_s: from * all_s, to_s: (from + length) * all_s, columns };
            let channel = Extremes::new(period, 0.0, Samples::Own(values.clone()), believed.clone());
            let drawn = channel.columns(&window);
            for (side, drawn) in drawn.iter().enumerate() {
                let keep = |i: &usize| believed[*i] == (side == 0) && values[*i].is_finite();
                for (column, cell) in drawn.iter().enumerate() {
                    let own: Vec<f64> = channel.samples(window.edge_s(column), window.edge_s(column + 1)).filter(keep).map(|i| values[i]).collect();
                    prop_assert_eq!(cell.map(|c| c.min), own.iter().copied().reduce(f64::min));
                    prop_assert_eq!(cell.map(|c| c.max), own.iter().copied().reduce(f64::max));
                    prop_assert_eq!(cell.map(|c| (c.first, c.last)), own.first().copied().zip(own.last().copied()));
                }
                let shown = drawn.iter().flatten().map(|c| c.min).reduce(f64::min);
                let there = channel.samples(window.from_s, window.to_s).filter(keep).map(|i| values[i]).reduce(f64::min);
                prop_assert_eq!(shown, there);
            }
        }
    }
}
