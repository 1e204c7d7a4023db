//! Rows on an even grid: the period found, every row given its cell.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::limits;
use crate::read::text::stamp::SECOND;

/// Below this many cells an empty grid costs nothing worth refusing.
const CELLS_FREE: usize = 2_000_000;

/// Where each row lies on an even grid.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Grid {
    /// Seconds between cells.
    pub(super) period_s: f64,
    /// Time of the first cell, in microseconds.
    pub(super) start_us: i64,
    /// The cell of each row; `None` for a row whose cell was taken by an earlier one.
    pub(super) cells: Vec<Option<u32>>,
    /// How many cells.
    pub(super) length: usize,
    /// What to tell about the fit.
    pub(super) finding: Option<Finding>,
}

/// Finds the grid of rows in order, each time once; they come of a file of `bytes`.
pub(super) fn grid(at_us: &[i64], bytes: usize) -> Result<Grid, ReadError> {
    let (Some(&start_us), Some(&end_us)) = (at_us.first(), at_us.last()) else {
        return Err(ReadError::not_understood("no row could be read"));
    };
    let Some(median) = median_step(at_us) else {
        return Err(ReadError::not_understood(
            "only one row: the interval between samples is not known",
        ));
    };
    if median < SECOND / 1000 {
        return Err(ReadError::not_understood(format!(
            "rows lie {} s apart: expected 0.001 s at least",
            seconds(median)
        ))
        .hint("say in a column map how the time is written"));
    }
    let spread = usize::try_from((end_us - start_us) / median).unwrap_or(usize::MAX);
    if spread > limits::SAMPLES || (spread > CELLS_FREE && spread / 100 > at_us.len()) {
        return Err(ReadError::not_understood(format!(
            "{} rows, mostly {} s apart, are spread over {} h",
            at_us.len(),
            seconds(median),
            (end_us - start_us) / (3600 * SECOND)
        ))
        .hint("a file of a night has a row for nearly every moment of it"));
    }
    limits::samples(spread, bytes)?;
    Ok(fit(at_us, median))
}

fn fit(at_us: &[i64], median: i64) -> Grid {
    let start = at_us[0];
    let exact = at_us.iter().all(|us| (us - start) % median == 0);
    let even = median as f64;
    if exact {
        return place(at_us, even).0;
    }
    // An even log misses a step now and then; an uneven one seldom hits it.
    let near = |step: i64| (step - median).abs() * 4 <= median;
    let hits = at_us.windows(2).filter(|pair| near(pair[1] - pair[0])).count();
    let is_even = hits * 2 >= at_us.len() - 1;
    // A monitor's own second may be a little longer or shorter than a second.
    let steps: i64 = at_us.windows(2).map(|p| ((p[1] - p[0] + median / 2) / median).max(1)).sum();
    let slope = (at_us[at_us.len() - 1] - start) as f64 / steps as f64;
    let tries = [(even, 0.25), (slope, 0.5)].into_iter().filter(|_| is_even);
    for (period_us, most) in tries {
        let (mut grid, off_us) = place(at_us, period_us);
        if grid.cells.iter().all(Option::is_some) && off_us <= most * period_us {
            grid.finding = Some(jitter(&grid, off_us));
            return grid;
        }
    }
    let mut grid = place(at_us, even).0;
    grid.finding = Some(irregular(&grid, at_us));
    grid
}

/// Gives every row the nearest cell; and the farthest that a row lies from its cell, in microseconds.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "rows are in order, so the quotient is not negative, and its size is bounded by `grid`"
)]
fn place(at_us: &[i64], period_us: f64) -> (Grid, f64) {
    let start_us = at_us[0];
    let mut off_us: f64 = 0.0;
    let mut taken = None;
    let cells: Vec<Option<u32>> = at_us
        .iter()
        .map(|us| {
            let since = (us - start_us) as f64;
            let cell = libm::rint(since / period_us);
            off_us = off_us.max((since - cell * period_us).abs());
            let cell = Some(cell as u32).filter(|cell| taken.is_none_or(|last| *cell > last));
            taken = cell.or(taken);
            cell
        })
        .collect();
    let length = taken.map_or(0, |last| last as usize + 1);
    (Grid { period_s: period_us * 1e-6, start_us, cells, length, finding: None }, off_us)
}

fn jitter(grid: &Grid, off_us: f64) -> Finding {
    let sentence = format!(
        "Rows lie up to {} s beside an even grid of {} s; each was placed on its nearest step.",
        rounded(off_us * 1e-6),
        rounded(grid.period_s)
    );
    Finding::new("rows_beside_grid", Weight::Note, sentence)
}

fn irregular(grid: &Grid, at_us: &[i64]) -> Finding {
    let steps = || at_us.windows(2).map(|pair| pair[1] - pair[0]);
    let crowded = grid.cells.iter().filter(|cell| cell.is_none()).count();
    let sentence = format!(
        "Rows come {} s to {} s apart, {} s in the middle, which was taken as the period. \
         Rows on a step already taken: {crowded}, left out.",
        seconds(steps().min().unwrap_or(0)),
        seconds(steps().max().unwrap_or(0)),
        rounded(grid.period_s)
    );
    Finding::new("rows_irregular", Weight::Caution, sentence)
}

/// The middle one of the steps between rows, the lower of two; `None` with fewer than two rows.
pub(super) fn median_step(at_us: &[i64]) -> Option<i64> {
    let mut steps: Vec<i64> = at_us.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let middle = steps.len().checked_sub(1)? / 2;
    Some(*steps.select_nth_unstable(middle).1)
}

/// Microseconds as seconds, to print.
pub(super) fn seconds(us: i64) -> f64 {
    us as f64 / SECOND as f64
}

fn rounded(s: f64) -> f64 {
    libm::rint(s * 1e4) / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Microseconds, from milliseconds.
    fn at(ms: &[i64]) -> Vec<i64> {
        ms.iter().map(|ms| ms * 1000).collect()
    }

    fn cells(grid: &Grid) -> Vec<i64> {
        grid.cells.iter().map(|c| c.map_or(-1, i64::from)).collect()
    }

    #[test]
    fn a_gap_leaves_its_cells_empty() {
        let grid = grid(&at(&[0, 1000, 2000, 5000, 6000]), 0).unwrap();
        assert_eq!((cells(&grid), grid.length, grid.period_s), (vec![0, 1, 2, 5, 6], 7, 1.0));
        assert_eq!(grid.finding, None);
    }

    #[test]
    fn a_jitter_is_told() {
        let grid = grid(&at(&[0, 1020, 1980, 3000, 4010]), 0).unwrap();
        assert_eq!(cells(&grid), [0, 1, 2, 3, 4]);
        assert_eq!(grid.finding.unwrap().code, "rows_beside_grid");
    }

    #[test]
    fn a_slow_clock_keeps_every_row() {
        // A period of 4.25 s, written in whole seconds.
        let rows: Vec<i64> = (0..400).map(|i| i * 17 / 4 * 1000).collect();
        let grid = grid(&at(&rows), 0).unwrap();
        assert!((grid.period_s - 4.25).abs() < 0.01, "{}", grid.period_s);
        assert_eq!(grid.length, 400);
    }

    #[test]
    fn an_irregular_log_is_told() {
        let grid = grid(&at(&[0, 1000, 1400, 4000, 5300, 9900, 10_900]), 0).unwrap();
        assert_eq!(grid.finding.unwrap().code, "rows_irregular");
    }

    #[test]
    fn two_rows_far_apart_make_no_great_grid() {
        let mut rows = at(&[0, 1, 2, 3, 4]);
        rows.push(70 * 3600 * SECOND);
        let error = grid(&rows, 0).unwrap_err();
        let expected = "6 rows, mostly 0.001 s apart, are spread over 70 h";
        assert_eq!(error.to_string(), expected);
    }
}
