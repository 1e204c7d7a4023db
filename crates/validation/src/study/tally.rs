//! Shares and errors over many nights, with intervals.

use engine::stats;
use engine::stats::Interval;
use serde::{Deserialize, Serialize};

use crate::study::belief::Count;

/// Normal quantile of 95 %.
const Z: f64 = 1.959_964;

/// A share with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// The part.
    pub hit: u64,
    /// The whole.
    pub of: u64,
    /// Lower end of the interval, as a share.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Share {
    /// The share itself; NaN of nothing.
    pub fn value(&self) -> f64 {
        self.hit as f64 / self.of as f64
    }

    /// Of independent things.
    pub fn of(hit: u64, of: u64) -> Self {
        let none = Interval { low: 0.0, high: 1.0 };
        let Interval { low, high } = stats::wilson(hit, of, Z).unwrap_or(none);
        Self { hit, of, low: rounded(low), high: rounded(high) }
    }

    /// Of time in nights.
    ///
    /// The seconds of one night stand and fall together, so Wilson's interval is taken of as many
    /// independent ones as would give the spread that is seen between nights (`newcombe-1998` for the
    /// interval; the design effect is common practice). Where every second agrees, each night counts once.
    pub fn of_nights(nights: &[Count]) -> Self {
        let hit = nights.iter().map(|night| night.hit).sum::<u64>();
        let of = nights.iter().map(|night| night.of).sum::<u64>();
        let count = nights.iter().filter(|night| night.of > 0).count();
        let effective = effective(nights, hit, of, count);
        let share = hit as f64 / of as f64;
        let end = |hits: f64| stats::wilson(whole(hits).min(effective), effective, Z);
        // Whole hits on either side of the share: wider by less than one hit, never narrower.
        let low = end((share * effective as f64).floor()).map_or(0.0, |interval| interval.low);
        let high = end((share * effective as f64).ceil()).map_or(1.0, |interval| interval.high);
        Self { hit, of, low: rounded(low), high: rounded(high) }
    }
}

/// How many independent seconds would spread as these nights do.
fn effective(nights: &[Count], hit: u64, of: u64, count: usize) -> u64 {
    let share = hit as f64 / of as f64;
    let squares = stats::sum(nights.iter().map(|night| {
        let off = night.hit as f64 - share * night.of as f64;
        off * off
    }));
    let k = count as f64;
    let variance = squares * k / (k - 1.0) / (of as f64 * of as f64);
    let wanted = share * (1.0 - share) / variance;
    if wanted.is_finite() && count > 1 {
        whole(wanted).clamp(1, of)
    } else {
        (count as u64).min(of)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of seconds, held to what a double holds exactly"
)]
fn whole(number: f64) -> u64 {
    number.clamp(0.0, 9e15) as u64
}

/// Six decimals: what is printed has fewer, and a file of results should not change with the last bit.
pub fn rounded(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}

/// How a figure errs: found less true, in its unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Errors {
    /// Nights in which both could be given.
    pub nights: usize,
    /// Mean error.
    pub bias: f64,
    /// 95 % interval of the mean error.
    pub bias_low: f64,
    /// Its upper end.
    pub bias_high: f64,
    /// Standard deviation of the errors.
    pub sd: f64,
    /// Lower limit of agreement, 1.96 standard deviations under the bias.
    pub lower: f64,
    /// 95 % interval of the lower limit.
    pub lower_low: f64,
    /// Its upper end.
    pub lower_high: f64,
    /// Upper limit of agreement.
    pub upper: f64,
    /// 95 % interval of the upper limit.
    pub upper_low: f64,
    /// Its upper end.
    pub upper_high: f64,
    /// Median error without its sign.
    pub median: f64,
    /// Three quarters of the errors lie within.
    pub q75: f64,
    /// 95 in 100.
    pub q95: f64,
    /// 99 in 100.
    pub q99: f64,
    /// The largest.
    pub max: f64,
}

impl Errors {
    /// Of these errors; `None` of fewer than two.
    ///
    /// # Sources
    /// `bland-altman-1999`
    pub fn of(errors: &[f64]) -> Option<Self> {
        let agreement = stats::bland_altman(errors, Z)?;
        let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let at = |percent| stats::percentile(&sizes, percent).map_or(f64::NAN, rounded);
        Some(Self {
            nights: errors.len(),
            bias: rounded(agreement.mean),
            bias_low: rounded(agreement.mean_ci.low),
            bias_high: rounded(agreement.mean_ci.high),
            sd: rounded(agreement.sd),
            lower: rounded(agreement.limits.low),
            lower_low: rounded(agreement.low_ci.low),
            lower_high: rounded(agreement.low_ci.high),
            upper: rounded(agreement.limits.high),
            upper_low: rounded(agreement.high_ci.low),
            upper_high: rounded(agreement.high_ci.high),
            median: at(50.0),
            q75: at(75.0),
            q95: at(95.0),
            q99: at(99.0),
            max: at(100.0),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 81 of 263 is 0.2553 to 0.3662 in `newcombe-1998`, method 3.
    #[test]
    fn a_share_of_independent_things_has_its_published_interval() {
        let share = Share::of(81, 263);
        assert!((share.low - 0.2553).abs() < 1e-4 && (share.high - 0.3662).abs() < 1e-4);
    }

    /// Where each night is one thing, or of one kind throughout, seconds in a night add nothing: 30 nights
    /// of 100 s, 9 of them right, are about 9 of 30.
    #[test]
    fn seconds_that_stand_and_fall_together_count_as_one() {
        let night = |i| Count { hit: if i < 9 { 100 } else { 0 }, of: 100 };
        let nights: Vec<Count> = (0..30).map(night).collect();
        let (share, single) = (Share::of_nights(&nights), Share::of(9, 30));
        assert_eq!((share.hit, share.of), (900, 3000));
        assert!((share.low - single.low).abs() < 0.03 && (share.high - single.high).abs() < 0.03);
    }

    #[test]
    fn nights_that_all_agree_count_once_each() {
        let nights = vec![Count { hit: 100, of: 100 }; 20];
        let (share, single) = (Share::of_nights(&nights), Share::of(20, 20));
        assert_eq!((share.low, share.high), (single.low, single.high));
    }

    #[test]
    fn the_largest_error_and_the_bias_are_those_of_the_list() {
        let errors = Errors::of(&[-3.0, 1.0, 1.0, 1.0]).expect("four errors");
        assert_eq!((errors.bias, errors.median, errors.max), (0.0, 1.0, 3.0));
    }
}
