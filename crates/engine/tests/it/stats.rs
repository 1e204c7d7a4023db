//! Statistics against worked examples. The same functions are held to the general statistics libraries
//! of Python in `tests/outside/stats_general.py`.

use engine::stats::{
    Interval, Weights, bland_altman, cross_table, kappa, light_kappa, mean, median, percentile,
    repeatability, sd, sd_of_single_readings, sum, t_quantile, wilson,
};

const Z95: f64 = 1.959_964;

// Peak expiratory flow of 17 people, L/min, two readings on a large and on a mini meter
// (bland-altman-1986, as republished with the general statistics packages).
const LARGE_1: [f64; 17] = [
    494.0, 395.0, 516.0, 434.0, 476.0, 557.0, 413.0, 442.0, 650.0, 433.0, 417.0, 656.0, 267.0,
    478.0, 178.0, 423.0, 427.0,
];
const LARGE_2: [f64; 17] = [
    490.0, 397.0, 512.0, 401.0, 470.0, 611.0, 415.0, 431.0, 638.0, 429.0, 420.0, 633.0, 275.0,
    492.0, 165.0, 372.0, 421.0,
];
const MINI_1: [f64; 17] = [
    512.0, 430.0, 520.0, 428.0, 500.0, 600.0, 364.0, 380.0, 658.0, 445.0, 432.0, 626.0, 260.0,
    477.0, 259.0, 350.0, 451.0,
];
const MINI_2: [f64; 17] = [
    525.0, 415.0, 508.0, 444.0, 500.0, 625.0, 460.0, 390.0, 642.0, 432.0, 420.0, 605.0, 227.0,
    467.0, 268.0, 370.0, 443.0,
];

fn minus(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(x, y)| x - y).collect()
}

#[track_caller]
fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected} ± {within}");
}

#[track_caller]
fn spans(found: Interval, low: f64, high: f64, within: f64) {
    close(found.low, low, within);
    close(found.high, high, within);
}

/// Exact from the data; the paper prints -2.1, 38.8, -79.7 to 75.5, 9.4, -22.0 to 17.8, 16.3,
/// -114.3 to -45.1 and 40.9 to 110.1 (bland-altman-1986).
/// DIFFERENCE: the paper's limits differ by 0.1 from the exact ones: it used rounded inputs.
#[test]
fn agreement_of_two_flow_meters_is_that_of_1986() {
    let found = bland_altman(&minus(&LARGE_1, &MINI_1), 2.0).unwrap();
    assert_eq!(found.count, 17);
    close(found.mean, -2.117_647, 5e-7);
    close(found.sd, 38.765_130, 5e-7);
    spans(found.limits, -79.648, 75.413, 5e-4);
    close(found.mean_se, 9.4019, 5e-5);
    spans(found.mean_ci, -22.05, 17.81, 5e-3);
    close(found.limit_se, 16.2846, 5e-5);
    spans(found.low_ci, -114.17, -45.13, 5e-3);
    spans(found.high_ci, 40.89, 109.93, 5e-3);
}

/// The convention of bland-altman-1999, exact from the same data.
#[test]
fn limits_of_1999_take_1_96() {
    let found = bland_altman(&minus(&LARGE_1, &MINI_1), 1.96).unwrap();
    spans(found.limits, -78.097, 73.862, 5e-4);
}

/// bland-altman-1986 prints 21.6 and 28.2, coefficients 43.2 and 56.4.
#[test]
fn repeatability_of_two_flow_meters_is_that_of_1986() {
    let large = repeatability(&minus(&LARGE_1, &LARGE_2)).unwrap();
    let mini = repeatability(&minus(&MINI_1, &MINI_2)).unwrap();
    close(large, 21.647, 5e-4);
    close(mini, 28.158, 5e-4);
    close(2.0 * large, 43.29, 5e-3);
    close(2.0 * mini, 56.32, 5e-3);
}

/// bland-altman-1986 prints -6.0, 33.2 and 37.7; the repeat standard deviations are taken about zero.
/// DIFFERENCE: taken about their means with n − 1 they give 37.801 instead of 37.655.
#[test]
fn single_readings_differ_more_than_their_means() {
    let middle = |a: &[f64], b: &[f64]| -> Vec<f64> {
        a.iter().zip(b).map(|(x, y)| f64::midpoint(*x, *y)).collect()
    };
    let differences = minus(&middle(&LARGE_1, &LARGE_2), &middle(&MINI_1, &MINI_2));
    close(mean(&differences).unwrap(), -6.029, 5e-4);
    let of_means = sd(&differences).unwrap();
    close(of_means, 33.204, 5e-4);
    let (large, mini) = (minus(&LARGE_1, &LARGE_2), minus(&MINI_1, &MINI_2));
    let about_zero = (repeatability(&large).unwrap(), repeatability(&mini).unwrap());
    close(sd_of_single_readings(of_means, about_zero.0, about_zero.1), 37.655, 5e-4);
    let about_mean = (sd(&large).unwrap(), sd(&mini).unwrap());
    close(sd_of_single_readings(of_means, about_mean.0, about_mean.1), 37.801, 5e-4);
}

/// The published 3 × 3 example (kappa-example): 0.770, 0.336, 0.654, 0.069, 9.422, 0.062; further
/// digits and the weighted forms by arithmetic on its table.
#[test]
fn kappa_of_three_classes_is_the_published_one() {
    let table = vec![vec![25, 3, 5], vec![6, 32, 8], vec![1, 0, 20]];
    let found = kappa(&table, Weights::None).unwrap();
    close(found.observed, 0.770, 5e-13);
    close(found.expected, 0.336, 5e-4);
    close(found.kappa, 0.653_667, 5e-7);
    close(found.se0, 0.069_374, 5e-7);
    close(found.z, 9.422_344, 5e-7);
    close(found.se, 0.062_076, 5e-7);
    close(kappa(&table, Weights::Linear).unwrap().kappa, 0.654_844, 5e-7);
    close(kappa(&table, Weights::Quadratic).unwrap().kappa, 0.656_156, 5e-7);
}

/// Arithmetic on the definition (cohen-1960); the last two are the paradox that the same agreement of
/// 0.90 has a kappa of 0.444 or 0.800.
#[test]
fn the_same_agreement_can_have_two_kappas() {
    for (table, observed, expected) in [
        ([[20, 5], [10, 15]], 0.70, 0.40),
        ([[85, 5], [5, 5]], 0.90, 4.0 / 9.0),
        ([[47, 5], [5, 43]], 0.90, 0.800),
    ] {
        let table: Vec<Vec<u64>> = table.iter().map(|row| row.to_vec()).collect();
        let found = kappa(&table, Weights::None).unwrap();
        close(found.observed, observed, 1e-12);
        close(found.kappa, expected, 5e-4);
    }
}

#[test]
fn two_classes_weigh_alike_whatever_the_weights() {
    let table = vec![vec![20, 5], vec![10, 15]];
    let plain = kappa(&table, Weights::None).unwrap();
    for weights in [Weights::Linear, Weights::Quadratic] {
        let weighted = kappa(&table, weights).unwrap();
        close(weighted.kappa, plain.kappa, 1e-12);
        close(weighted.se, plain.se, 1e-12);
    }
}

#[test]
fn kappa_is_absent_where_it_does_not_exist() {
    assert_eq!(kappa(&[vec![9, 0], vec![0, 0]], Weights::None), None);
    assert_eq!(kappa(&[vec![9, 1]], Weights::None), None);
    assert_eq!(kappa(&[vec![0, 0], vec![0, 0]], Weights::None), None);
    assert_eq!(kappa(&[vec![9]], Weights::Linear), None);
    assert_eq!(cross_table(&[0, 2], &[0, 1], 2), None);
}

/// The mean of the three pairs' kappas, each by arithmetic: 1/2, 1/2 and 1/5 (light-1971).
#[test]
fn light_kappa_is_the_mean_over_pairs() {
    let readers = [vec![0, 0, 1, 1], vec![0, 0, 0, 1], vec![0, 1, 1, 1]];
    let found = light_kappa(&readers, 2, Weights::None).unwrap();
    let pair = |a: usize, b: usize| {
        let table = cross_table(&readers[a], &readers[b], 2).unwrap();
        kappa(&table, Weights::None).unwrap().kappa
    };
    close(pair(0, 1), 0.5, 1e-12);
    close(pair(0, 2), 0.5, 1e-12);
    close(pair(1, 2), 0.2, 1e-12);
    close(found, 0.4, 1e-12);
    assert_eq!(light_kappa(&readers[..1], 2, Weights::None), None);
}

/// The four examples of newcombe-1998 (method 3), then 23 of 60 and 9 of 26 nights
/// (lewis-2003) by arithmetic.
#[test]
fn wilson_intervals_are_the_published_ones() {
    for (successes, count, low, high) in [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (23, 60, 0.2709, 0.5098),
    ] {
        spans(wilson(successes, count, Z95).unwrap(), low, high, 5e-5);
    }
    spans(wilson(9, 26, Z95).unwrap(), 0.194, 0.538, 5e-4);
    assert_eq!(wilson(0, 0, Z95), None);
    assert_eq!(wilson(3, 2, Z95), None);
}

/// To the digits of printed tables, made again with `scipy.stats.t.ppf` (scipy 1.17.1); 2.1199 is that
/// of bland-altman-1986 with 16 degrees of freedom.
#[test]
fn t_quantiles_are_those_of_the_tables() {
    for (share, freedom, t) in [
        (0.975, 16.0, 2.1199),
        (0.975, 1.0, 12.706),
        (0.95, 5.0, 2.0150),
        (0.995, 30.0, 2.7500),
        (0.975, 120.0, 1.9799),
    ] {
        let within = if freedom > 1.0 { 5e-5 } else { 5e-4 };
        close(t_quantile(share, freedom).unwrap(), t, within);
        close(t_quantile(1.0 - share, freedom).unwrap(), -t, within);
    }
    close(t_quantile(0.5, 7.0).unwrap(), 0.0, 1e-12);
    assert_eq!(t_quantile(1.0, 7.0), None);
    assert_eq!(t_quantile(0.9, 0.0), None);
}

/// Definition 7 of hyndman-fan-1996, by hand.
#[test]
fn percentiles_are_linear_between_order_statistics() {
    let numbers = [90.0, 92.0, 95.0, 96.0];
    for (percent, expected) in [(0.0, 90.0), (100.0, 96.0), (50.0, 93.5), (10.0, 90.6)] {
        close(percentile(&numbers, percent).unwrap(), expected, 1e-12);
    }
    close(median(&[1.0, 2.0, 9.0]).unwrap(), 2.0, 0.0);
    assert_eq!(percentile(&[], 50.0), None);
    assert_eq!((mean(&[]), sd(&[96.0])), (None, None));
}

/// One part in 10^16 a million times over: a plain sum loses every one.
#[test]
fn a_sum_keeps_what_rounding_would_lose() {
    let numbers = std::iter::once(1.0).chain(std::iter::repeat_n(1e-16, 1_000_000));
    close(sum(numbers), 1.0 + 1e-10, 1e-15);
    close(sum([1e100, 1.0, -1e100]), 1.0, 0.0);
}
