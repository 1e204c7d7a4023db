//! Levels: every test on a channel comes down to one level held against the threshold.
//!
//! "CO2 above 55 mmHg for 10 minutes" asks whether the highest level held for 10 minutes lies above
//! 55 mmHg; "more than 25 % of the night above 50" whether the level exceeded for 25 % of it does. The
//! distance from that level to the threshold is exactly how far the whole signal would have to shift
//! for the answer to flip: the margin needs no trial shifts.

use crate::criteria::Amount;
use crate::criteria::Side;
use crate::stats;

/// The level that every sample of some run of `samples` consecutive ones reaches; the farthest such.
///
/// NaN samples break a run. `None` when no run is long enough.
pub(super) fn held(values: &[f64], side: Side, samples: usize) -> Option<f64> {
    match side {
        Side::Above => stats::highest_held(values, samples),
        Side::Below => stats::lowest_held(values, samples),
    }
}

/// The level that `count` samples reach; the farthest such. `None` when there are fewer samples.
pub(super) fn reached_by(values: &[f64], side: Side, count: usize) -> Option<f64> {
    let mut finite: Vec<f64> = Vec::with_capacity(values.len());
    finite.extend(values.iter().filter(|value| !value.is_nan()));
    if count == 0 || count > finite.len() {
        return None;
    }
    let nth = match side {
        Side::Above => finite.len() - count,
        Side::Below => count - 1,
    };
    let (_, level, _) = finite.select_nth_unstable_by(nth, f64::total_cmp);
    Some(*level)
}

/// The mean of the samples that are not NaN.
pub(super) fn mean(values: &[f64]) -> Option<f64> {
    let (sum, count) = values
        .iter()
        .filter(|value| !value.is_nan())
        .fold((0.0, 0_u32), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

/// How many of `of` samples an amount asks for: the least whole number that reaches it.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a non-negative count of samples"
)]
pub(super) fn count_for(amount: &Amount, one_sample: f64) -> usize {
    // The hair keeps a share that falls exactly on a sample from being moved by rounding.
    let samples = amount.value / one_sample;
    if amount.strict {
        (samples + 1e-6).floor() as usize + 1
    } else {
        (samples - 1e-6).ceil() as usize
    }
    .max(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_level_reached_is_the_order_statistic(
            values in prop::collection::vec(80.0..100.0_f64, 1..60),
            count in 1_usize..60,
        ) {
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let above = (count <= values.len()).then(|| sorted[values.len() - count]);
            let below = (count <= values.len()).then(|| sorted[count - 1]);
            prop_assert_eq!(reached_by(&values, Side::Above, count), above);
            prop_assert_eq!(reached_by(&values, Side::Below, count), below);
        }
    }

    #[test]
    fn amounts_become_whole_samples() {
        // 25 % of 400 samples is exactly 100: more than that is 101, at least that is 100.
        let one = 100.0 / 400.0;
        assert_eq!(count_for(&Amount { value: 25.0, strict: true }, one), 101);
        assert_eq!(count_for(&Amount { value: 25.0, strict: false }, one), 100);
        assert_eq!(count_for(&Amount { value: 600.0, strict: false }, 1.0), 600);
        assert_eq!(count_for(&Amount { value: 0.0, strict: false }, 1.0), 1);
    }
}
