//! The worked example of two flow meters in 17 people.

use engine::stats::{BlandAltman, bland_altman, repeatability, sd_of_single_readings};

use crate::{Figure, Limits, Outcome, Suite};

const LARGE: [[f64; 17]; 2] = [
    [
        494.0, 395.0, 516.0, 434.0, 476.0, 557.0, 413.0, 442.0, 650.0, 433.0, 417.0, 656.0, 267.0,
        478.0, 178.0, 423.0, 427.0,
    ],
    [
        490.0, 397.0, 512.0, 401.0, 470.0, 611.0, 415.0, 431.0, 638.0, 429.0, 420.0, 633.0, 275.0,
        492.0, 165.0, 372.0, 421.0,
    ],
];
const MINI: [[f64; 17]; 2] = [
    [
        512.0, 430.0, 520.0, 428.0, 500.0, 600.0, 364.0, 380.0, 658.0, 445.0, 432.0, 626.0, 260.0,
        477.0, 259.0, 350.0, 451.0,
    ],
    [
        525.0, 415.0, 508.0, 444.0, 500.0, 625.0, 460.0, 390.0, 642.0, 432.0, 420.0, 605.0, 227.0,
        467.0, 268.0, 370.0, 443.0,
    ],
];

const NONE: f64 = f64::NAN;

/// Differences of first readings, limits both ways, intervals, repeatability.
pub(super) fn suite() -> Suite {
    let first = differences(&LARGE[0], &MINI[0]);
    let mut rows = Vec::new();
    if let (Some(two), Some(z)) = (bland_altman(&first, 2.0), bland_altman(&first, 1.96)) {
        rows.extend(agreement(&two));
        rows.push(Figure::new("lower limit, 1.96 SD", -78.097, z.limits.low));
        rows.push(Figure::new("upper limit, 1.96 SD", 73.862, z.limits.high));
    }
    rows.extend(repeats());
    Suite {
        title: "Limits of agreement",
        source: "bland-altman-1986",
        place: "the paper's data in L/min, each figure to three digits from the data; the paper rounds on the way",
        outcome: Outcome::Figures { rows, digits: 3, limits: Limits::last_digit(5.1e-3) },
    }
}

fn agreement(found: &BlandAltman) -> Vec<Figure> {
    [
        ("mean difference", -2.117_647, found.mean),
        ("SD of differences", 38.765_130, found.sd),
        ("lower limit, 2 SD", -79.648, found.limits.low),
        ("upper limit, 2 SD", 75.413, found.limits.high),
        ("standard error of the mean", 9.4019, found.mean_se),
        ("standard error of a limit", 16.2846, found.limit_se),
        ("mean, interval from", -22.05, found.mean_ci.low),
        ("mean, interval to", 17.81, found.mean_ci.high),
        ("lower limit, interval from", -114.17, found.low_ci.low),
        ("lower limit, interval to", -45.13, found.low_ci.high),
        ("upper limit, interval from", 40.89, found.high_ci.low),
        ("upper limit, interval to", 109.93, found.high_ci.high),
    ]
    .into_iter()
    .map(|(what, expected, found)| Figure::new(what, expected, found))
    .collect()
}

/// What each meter does against itself, and the spread of means corrected for it.
fn repeats() -> Vec<Figure> {
    let large = repeatability(&differences(&LARGE[0], &LARGE[1])).unwrap_or(NONE);
    let mini = repeatability(&differences(&MINI[0], &MINI[1])).unwrap_or(NONE);
    let mean = |readings: &[[f64; 17]; 2]| -> Vec<f64> {
        readings[0].iter().zip(readings[1]).map(|(a, b)| f64::midpoint(*a, b)).collect()
    };
    let means = differences(&mean(&LARGE), &mean(&MINI));
    let (bias, sd) = bland_altman(&means, 2.0).map_or((NONE, NONE), |found| (found.mean, found.sd));
    [
        ("SD of repeats, large meter", 21.647, large),
        ("SD of repeats, mini meter", 28.158, mini),
        ("coefficient of repeatability, large meter", 43.29, 2.0 * large),
        ("coefficient of repeatability, mini meter", 56.32, 2.0 * mini),
        ("means of pairs: mean difference", -6.029, bias),
        ("means of pairs: SD", 33.204, sd),
        ("means of pairs: SD for single readings", 37.655, sd_of_single_readings(sd, large, mini)),
    ]
    .into_iter()
    .map(|(what, expected, found)| Figure::new(what, expected, found))
    .collect()
}

fn differences(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}
