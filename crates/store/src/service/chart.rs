//! The control chart of single readings.

use engine::stats::mean;

/// Fewer readings than this have no limits: their mean moving range says too little. Common practice, no source.
pub const FEWEST: usize = 8;

/// So many readings in a row on one side of the mean are told.
///
/// # Sources
/// `nist-sematech`
pub const RUN: usize = 8;

/// Three standard deviations over the mean range of two readings of one: 3 / 1.128.
///
/// # Sources
/// `nist-sematech`
const LIMITS: f64 = 3.0 / 1.128;

/// A run of readings on one side of the mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// The first, counted from 0.
    pub first: usize,
    /// The last.
    pub last: usize,
    /// Whether it lies above the mean.
    pub above: bool,
}

/// Readings in their order, with what stands out.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// Their mean, in their own unit.
    pub mean: f64,
    /// Lower and upper limit; `None` of fewer than [`FEWEST`] readings.
    pub limits: Option<(f64, f64)>,
    /// Which lie outside the limits, counted from 0.
    pub outside: Vec<usize>,
    /// Runs of [`RUN`] or more on one side of the mean; none where there are no limits.
    pub runs: Vec<Run>,
}

impl Chart {
    /// The chart of readings; `None` of nothing.
    pub fn of(readings: &[f64]) -> Option<Self> {
        let mean_of = mean(readings)?;
        if readings.len() < FEWEST {
            return Some(Self {
                mean: mean_of,
                limits: None,
                outside: Vec::new(),
                runs: Vec::new(),
            });
        }
        let moves: Vec<f64> = readings.windows(2).map(|two| (two[1] - two[0]).abs()).collect();
        let half = LIMITS * mean(&moves)?;
        let (low, high) = (mean_of - half, mean_of + half);
        let within = engine::unit::TOLERANCE;
        let out = |reading: &f64| *reading < low - within || *reading > high + within;
        let outside = (0..readings.len()).filter(|at| out(&readings[*at])).collect();
        Some(Self {
            mean: mean_of,
            limits: Some((low, high)),
            outside,
            runs: runs(readings, mean_of),
        })
    }

    /// Whether nothing stands out.
    pub fn is_quiet(&self) -> bool {
        self.outside.is_empty() && self.runs.is_empty()
    }
}

/// A reading that is the mean itself lies on neither side and ends a run.
fn runs(readings: &[f64], mean: f64) -> Vec<Run> {
    let side = |reading: f64| {
        let over = reading - mean;
        (over.abs() > engine::unit::TOLERANCE).then_some(over > 0.0)
    };
    let mut all: Vec<Run> = Vec::new();
    let mut open: Option<Run> = None;
    for (at, reading) in readings.iter().enumerate() {
        open = match (open, side(*reading)) {
            (Some(run), Some(above)) if run.above == above => Some(Run { last: at, ..run }),
            (before, now) => {
                all.extend(before);
                now.map(|above| Run { first: at, last: at, above })
            }
        };
    }
    all.extend(open);
    all.retain(|run| run.last - run.first + 1 >= RUN);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The flow rates of ten batches of nist-sematech, section 6.3.2.2, with its mean, mean moving range
    /// (1.8778) and limits.
    #[test]
    fn the_limits_are_those_of_the_published_example() {
        let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = Chart::of(&flow).unwrap();
        let (low, high) = chart.limits.unwrap();
        assert!((chart.mean - 50.81).abs() < 5e-5, "{}", chart.mean);
        assert!((low - 45.8159).abs() < 5e-5 && (high - 55.8041).abs() < 5e-5, "{low} {high}");
        assert!(chart.is_quiet());
    }

    #[test]
    fn a_reading_outside_the_limits_is_named() {
        // By hand: mean 0.1, mean moving range 2 / 9, limits 0.1 ± 0.591.
        let chart = Chart::of(&[0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]).unwrap();
        let (low, high) = chart.limits.unwrap();
        assert!((low + 0.491).abs() < 5e-4 && (high - 0.691).abs() < 5e-4, "{low} {high}");
        assert_eq!(chart.outside, [4]);
    }

    #[test]
    fn eight_on_one_side_are_a_run_and_seven_are_none() {
        let steps = |low: usize, high: usize| {
            let all: Vec<f64> = [vec![-1.0; low], vec![1.0; high]].concat();
            Chart::of(&all).unwrap().runs
        };
        assert_eq!(
            steps(8, 8),
            [Run { first: 0, last: 7, above: false }, Run { first: 8, last: 15, above: true }]
        );
        assert_eq!(steps(7, 7), []);
    }

    #[test]
    fn few_readings_have_a_mean_and_no_limits() {
        let chart = Chart::of(&[0.1, 0.3, 9.0]).unwrap();
        assert_eq!((chart.limits, chart.outside.len()), (None, 0));
        assert_eq!(Chart::of(&[]), None);
        // Readings that never move: limits upon the mean, and nothing outside.
        assert!(Chart::of(&[0.1; 12]).unwrap().is_quiet());
    }
}
