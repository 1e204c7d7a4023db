//! One channel three times: as seen, and with its unbelieved time filled lowest and highest.

use std::collections::VecDeque;

use crate::score::unseen::co2_envelope;
use crate::stats::{mean, percentile, sd, sum_of_squares};
use crate::trace::Trace;

/// A number with what the unbelieved time could make of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Span {
    /// From believed time.
    pub(super) value: f64,
    /// The lowest.
    pub(super) lowest: f64,
    /// The highest.
    pub(super) highest: f64,
}

impl Span {
    /// A span from a value and two other readings of it, in any order. It always holds the value.
    pub(super) fn of(value: f64, one: f64, other: f64) -> Self {
        let lowest = value.min(one).min(other);
        Self { value, lowest, highest: value.max(one).max(other) }
    }

    /// Every number of it through a rising function.
    pub(super) fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Self { value: f(self.value), lowest: f(self.lowest), highest: f(self.highest) }
    }
}

/// A channel in the period, one number a sample; NaN where there is none, which breaks every run.
#[derive(Clone, Debug)]
pub(super) struct Sides {
    /// Believed samples only.
    pub(super) seen: Vec<f64>,
    /// With every unbelieved sample of the period at its lowest.
    pub(super) lowest: Vec<f64>,
    /// With every one at its highest.
    pub(super) highest: Vec<f64>,
}

impl Sides {
    /// Unbelieved samples may be anything from `floor` to `ceiling`.
    pub(super) fn anything(trace: &Trace, floor: f64, ceiling: f64) -> Self {
        let fill = |unseen: f64| {
            (0..trace.len())
                .map(|i| match (trace.inside[i], trace.believed[i]) {
                    (true, true) => trace.values[i],
                    (true, false) => unseen,
                    (false, _) => f64::NAN,
                })
                .collect()
        };
        Self { seen: fill(f64::NAN), lowest: fill(floor), highest: fill(ceiling) }
    }

    /// Unbelieved samples lie in the envelope of CO2; believed ones in their band.
    pub(super) fn enveloped(trace: &Trace, rate_kpa_per_s: f64, clamp: (f64, f64)) -> Self {
        let (lowest, highest) = co2_envelope(trace, rate_kpa_per_s, clamp);
        let seen = (0..trace.len())
            .map(|i| if trace.counts(i) { trace.values[i] } else { f64::NAN })
            .collect();
        Self { seen, lowest, highest }
    }

    /// The numbers alone, in order of time.
    pub(super) fn numbers(&self) -> Self {
        let kept = |side: &[f64]| side.iter().copied().filter(|x| !x.is_nan()).collect();
        Self { seen: kept(&self.seen), lowest: kept(&self.lowest), highest: kept(&self.highest) }
    }

    /// The numbers alone, in ascending order.
    pub(super) fn ordered(&self) -> Self {
        let mut ordered = self.numbers();
        for side in [&mut ordered.seen, &mut ordered.lowest, &mut ordered.highest] {
            side.sort_unstable_by(f64::total_cmp);
        }
        ordered
    }

    /// One figure of all three; `None` when what was seen has none.
    pub(super) fn figure(&self, of: impl Fn(&[f64]) -> Option<f64>) -> Option<Span> {
        let value = of(&self.seen)?;
        let other = |side| of(side).unwrap_or(value);
        Some(Span::of(value, other(&self.lowest), other(&self.highest)))
    }

    /// The mean of numbers.
    pub(super) fn mean(&self) -> Option<Span> {
        self.figure(mean)
    }

    /// The standard deviation of numbers whose unseen ones may be anything from `floor` to `ceiling`.
    ///
    /// The lowest has all unseen ones at the mean. The highest has each at one end: with `k` of them at
    /// the floor the sum of squares is a quadratic in `k` that opens downwards, so one of the whole
    /// numbers next to its top is the best.
    pub(super) fn sd(&self, floor: f64, ceiling: f64) -> Option<Span> {
        let value = sd(&self.seen)?;
        let mean = mean(&self.seen)?;
        let squares = sum_of_squares(&self.seen)?;
        let count = self.lowest.len() as f64;
        let unseen = count - self.seen.len() as f64;
        let (low, high) = (floor - mean, ceiling - mean);
        let spread = |total: f64| (total.max(0.0) / (count - 1.0)).sqrt();
        let total = |k: f64| {
            let shift = k * low + (unseen - k) * high;
            squares + k * low * low + (unseen - k) * high * high - shift * shift / count
        };
        let middle = 0.0_f64.max(low).min(high);
        let least = squares + unseen * middle * middle * (1.0 - unseen / count);
        let top = (0.5 * count * (low + high) - unseen * high) / (low - high);
        let beside = |k: f64| total(k.max(0.0).min(unseen));
        let most = beside(top.floor()).max(beside(top.ceil()));
        Some(Span::of(value, spread(least), spread(most)))
    }

    /// A percentile of numbers in ascending order.
    pub(super) fn percentile(&self, percent: f64) -> Option<Span> {
        self.figure(|side| percentile(side, percent))
    }

    /// The share of numbers for which `holds`, %.
    pub(super) fn share(&self, holds: impl Fn(f64) -> bool) -> Option<Span> {
        self.figure(|side| {
            let past = side.iter().filter(|&&x| holds(x)).count();
            (!side.is_empty()).then(|| 100.0 * past as f64 / side.len() as f64)
        })
    }
}

/// The longest run of samples for which `holds`; NaN never does.
pub(super) fn longest_run(side: &[f64], holds: impl Fn(f64) -> bool) -> usize {
    let (mut longest, mut run) = (0, 0);
    for &x in side {
        run = if holds(x) { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    longest
}

/// The highest level that `width` samples in a row keep to: the largest of all windows' minima.
///
/// A window holds no NaN; `None` when there is no window. Each sample enters and leaves the queue of
/// possible minima once, so the whole is linear.
pub(super) fn held_level(side: &[f64], width: usize) -> Option<f64> {
    let mut best: Option<f64> = None;
    let mut lows: VecDeque<(usize, f64)> = VecDeque::new();
    let mut start = 0;
    for (i, &x) in side.iter().enumerate() {
        if x.is_nan() {
            lows.clear();
            start = i + 1;
            continue;
        }
        while lows.back().is_some_and(|&(_, low)| low >= x) {
            lows.pop_back();
        }
        lows.push_back((i, x));
        if i + 1 < start + width {
            continue;
        }
        while lows.front().is_some_and(|&(at, _)| at + width <= i) {
            lows.pop_front();
        }
        best = lows.front().map(|&(_, low)| best.map_or(low, |b| b.max(low))).or(best);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every window in turn, every sample of it in turn.
    fn held_level_slowly(side: &[f64], width: usize) -> Option<f64> {
        side.windows(width)
            .filter(|window| window.iter().all(|x| !x.is_nan()))
            .map(|window| window.iter().copied().fold(f64::INFINITY, f64::min))
            .reduce(f64::max)
    }

    /// Every pair of ends in turn.
    fn longest_run_slowly(side: &[f64], holds: impl Fn(f64) -> bool) -> usize {
        (0..=side.len())
            .flat_map(|to| (0..=to).map(move |from| (from, to)))
            .filter(|&(from, to)| side[from..to].iter().all(|&x| holds(x)))
            .map(|(from, to)| to - from)
            .max()
            .unwrap_or(0)
    }

    fn levels() -> impl Strategy<Value = Vec<f64>> {
        let level = prop_oneof![9 => (0_u8..6).prop_map(f64::from), 1 => Just(f64::NAN)];
        prop::collection::vec(level, 0..60)
    }

    proptest! {
        #[test]
        fn the_queue_finds_what_trying_every_window_finds(side in levels(), width in 1_usize..12) {
            prop_assert_eq!(held_level(&side, width), held_level_slowly(&side, width));
        }

        #[test]
        fn the_longest_run_is_that_of_trying_every_run(side in levels()) {
            let low = |x: f64| x <= 2.0;
            prop_assert_eq!(longest_run(&side, low), longest_run_slowly(&side, low));
        }
    }

    /// Every filling from the two ends, then the mean, for up to six unseen numbers.
    fn sd_slowly(seen: &[f64], unseen: usize, floor: f64, ceiling: f64) -> (f64, f64) {
        let with = |fill: Vec<f64>| sd(&[seen, &fill].concat()).unwrap();
        let most = (0..=unseen)
            .map(|k| with([vec![floor; k], vec![ceiling; unseen - k]].concat()))
            .fold(0.0, f64::max);
        (with(vec![mean(seen).unwrap().clamp(floor, ceiling); unseen]), most)
    }

    proptest! {
        #[test]
        fn the_widest_standard_deviation_is_that_of_trying_every_split(
            seen in prop::collection::vec(40_u8..=100, 2..20),
            unseen in 0_usize..40,
        ) {
            let seen: Vec<f64> = seen.into_iter().map(f64::from).collect();
            let filled = |x: f64| [seen.clone(), vec![x; unseen]].concat();
            let sides = Sides { seen: seen.clone(), lowest: filled(50.0), highest: filled(100.0) };
            let found = sides.sd(50.0, 100.0).unwrap();
            let (least, most) = sd_slowly(&seen, unseen, 50.0, 100.0);
            prop_assert!((found.lowest - least.min(found.value)).abs() < 1e-9);
            prop_assert!((found.highest - most.max(found.value)).abs() < 1e-9);
        }
    }

    #[test]
    fn no_window_no_level() {
        assert_eq!(held_level(&[6.0, f64::NAN, 6.0], 2), None);
        assert_eq!(held_level(&[6.0, 6.5, 7.0, 6.0], 2), Some(6.5));
    }
}
