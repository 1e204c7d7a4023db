//! Statistics: means, percentiles, intervals, agreement.
//!
//! Sums run in the order given and are compensated, so the same numbers give the same bytes on every
//! machine. Nothing here knows of nights: numbers in, numbers out, `None` where a statistic does not
//! exist. Numbers must be finite; a NaN comes out as a NaN.

mod agreement;
mod held;
mod kappa;
mod student;

pub use agreement::{BlandAltman, Interval, bland_altman, repeatability, sd_of_single_readings};
pub use held::{highest_held, lowest_held};
pub use kappa::{Kappa, Weights, cross_table, kappa, light_kappa};
pub use student::t_quantile;

/// Sum, compensated for rounding; zero of nothing.
///
/// # Sources
/// `neumaier-1974`
pub fn sum(numbers: impl IntoIterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0_f64, 0.0_f64);
    for x in numbers {
        let next = total + x;
        lost += if total.abs() >= x.abs() { (total - next) + x } else { (x - next) + total };
        total = next;
    }
    total + lost
}

/// Arithmetic mean; `None` of nothing.
pub fn mean(numbers: &[f64]) -> Option<f64> {
    (!numbers.is_empty()).then(|| sum(numbers.iter().copied()) / numbers.len() as f64)
}

/// Sum of the squared distances from the mean; `None` of nothing.
pub fn sum_of_squares(numbers: &[f64]) -> Option<f64> {
    let mean = mean(numbers)?;
    Some(sum(numbers.iter().map(|x| (x - mean) * (x - mean))))
}

/// Standard deviation, dividing by n − 1; `None` of fewer than two.
pub fn sd(numbers: &[f64]) -> Option<f64> {
    let squares = sum_of_squares(numbers)?;
    (numbers.len() > 1).then(|| (squares / (numbers.len() - 1) as f64).sqrt())
}

/// So many different numbers are counted before they are moved instead.
const DIFFERENT_MOST: usize = 1024;
/// Places to count them in: a power of two, and enough to find a free one soon.
const PLACES: usize = 4 * DIFFERENT_MOST;

/// Puts numbers in ascending order, as [`f64::total_cmp`] has it.
///
/// A monitor writes few different numbers, so they are counted; only where they are many are they moved.
pub fn sort(numbers: &mut [f64]) {
    let by_moving = |numbers: &mut [f64]| numbers.sort_unstable_by(f64::total_cmp);
    if numbers.len() < PLACES {
        return by_moving(numbers);
    }
    let mut counted = vec![(0.0_f64, 0_usize); PLACES];
    let (mut different, mut place) = (0, 0);
    for x in numbers.iter() {
        // Most often it is the number before.
        if counted[place].0.to_bits() != x.to_bits() || counted[place].1 == 0 {
            place = place_of(*x, &counted);
            different += usize::from(counted[place].1 == 0);
            if different > DIFFERENT_MOST {
                return by_moving(numbers);
            }
            counted[place].0 = *x;
        }
        counted[place].1 += 1;
    }
    counted.retain(|(_, count)| *count > 0);
    counted.sort_unstable_by(|(a, _), (b, _)| a.total_cmp(b));
    let mut rest = numbers;
    for (x, count) in counted {
        let (equal, greater) = rest.split_at_mut(count);
        equal.fill(x);
        rest = greater;
    }
}

/// Where a number is counted, or will be: the first free place from one that its bits choose.
fn place_of(x: f64, counted: &[(f64, usize)]) -> usize {
    // The golden ratio as a whole number spreads bits that differ little (Fibonacci hashing).
    let spread = x.to_bits().wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48;
    let mut place = usize::from(spread as u16) % PLACES;
    while counted[place].1 > 0 && counted[place].0.to_bits() != x.to_bits() {
        place = (place + 1) % PLACES;
    }
    place
}

/// Percentile of numbers in ascending order, linear between order statistics; `None` of nothing.
///
/// `percent` runs from 0 (the lowest) to 100 (the highest) and is held to that range.
///
/// # Sources
/// `hyndman-fan-1996`, their definition 7.
pub fn percentile(ascending: &[f64], percent: f64) -> Option<f64> {
    percentile_by(ascending.len(), percent, |k| ascending[k])
}

/// The same for `count` numbers of which `order(k)` gives the k-th in ascending order, from 0.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held to 0..count before the cast"
)]
pub fn percentile_by(count: usize, percent: f64, order: impl Fn(usize) -> f64) -> Option<f64> {
    let last = count.checked_sub(1)?;
    let place = last as f64 * percent.clamp(0.0, 100.0) / 100.0;
    let below = place.floor() as usize;
    let (low, high) = (order(below), order((below + 1).min(last)));
    Some(low + (place - below as f64) * (high - low))
}

/// Median of numbers in ascending order; `None` of nothing.
pub fn median(ascending: &[f64]) -> Option<f64> {
    percentile(ascending, 50.0)
}

/// Wilson's interval for a share of `successes` in `count`, without continuity correction.
///
/// `z` is the normal quantile, 1.959964 for 95 %. `None` when `count` is 0 or `successes` exceeds it.
///
/// # Sources
/// `newcombe-1998`
pub fn wilson(successes: u64, count: u64, z: f64) -> Option<Interval> {
    if count == 0 || successes > count {
        return None;
    }
    let n = count as f64;
    let share = successes as f64 / n;
    let middle = 2.0 * n * share + z * z;
    let half = z * (z * z + 4.0 * n * share * (1.0 - share)).sqrt();
    let whole = 2.0 * (n + z * z);
    let (low, high) = ((middle - half) / whole, (middle + half) / whole);
    Some(Interval { low: low.max(0.0), high: high.min(1.0) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// So many that they are counted where they are few, and moved where they are not.
        #[test]
        fn counted_or_moved_numbers_come_out_as_the_library_sorts_them(
            seed in any::<u64>(),
            different in prop_oneof![1_u64..40, 900_u64..20_000],
        ) {
            let mut state = seed;
            let mut number = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                ((state >> 33) % different) as f64 / -7.0 + 3.0
            };
            let mut found: Vec<f64> = (0..6_000).map(|_| number()).collect();
            found.extend([0.0, -0.0, f64::INFINITY]);
            let mut expected = found.clone();
            sort(&mut found);
            expected.sort_by(f64::total_cmp);
            let bits = |numbers: &[f64]| numbers.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
            prop_assert_eq!(bits(&found), bits(&expected));
        }
    }
}
