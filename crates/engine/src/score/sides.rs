//! One channel three times: as seen, and with its unbelieved time filled lowest and highest.

use crate::stats::{mean, percentile, sort, sum};
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

/// A channel in the period three times over.
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
    /// Numbers in ascending order, of which the unbelieved may be anything from `floor` to `ceiling`.
    pub(super) fn anything(trace: &Trace, floor: f64, ceiling: f64) -> Self {
        let period = trace.inside.iter().filter(|&&inside| inside).count();
        let mut seen = Vec::with_capacity(period);
        seen.extend(trace.counted());
        sort(&mut seen);
        let filled = |x: f64| {
            let below = seen.partition_point(|&other| other < x);
            let mut filled = Vec::with_capacity(period);
            filled.extend_from_slice(&seen[..below]);
            filled.resize(below + period - seen.len(), x);
            filled.extend_from_slice(&seen[below..]);
            filled
        };
        Self { lowest: filled(floor), highest: filled(ceiling), seen }
    }

    /// One number a sample, NaN where there is none: on two sides the lowest and the highest that each
    /// sample of the period could have been.
    pub(super) fn between(trace: &Trace, (lowest, highest): (Vec<f64>, Vec<f64>)) -> Self {
        let seen = (0..trace.len())
            .map(|i| if trace.counts(i) { trace.values[i] } else { f64::NAN })
            .collect();
        Self { seen, lowest, highest }
    }

    /// The numbers alone, in the same order.
    pub(super) fn numbers(mut self) -> Self {
        for side in [&mut self.seen, &mut self.lowest, &mut self.highest] {
            side.retain(|x| !x.is_nan());
        }
        self
    }

    /// The numbers alone, in ascending order.
    ///
    /// Where what was seen is the same on all sides only the gaps are sorted and merged in.
    pub(super) fn ordered(self) -> Self {
        let fresh = |side: &[f64]| -> (Vec<f64>, bool) {
            let pairs = || self.seen.iter().zip(side);
            let same = pairs().all(|(seen, x)| seen.is_nan() || seen.total_cmp(x).is_eq());
            let mut fresh = Vec::with_capacity(side.len());
            let new = pairs().filter(|(seen, x)| !x.is_nan() && (seen.is_nan() || !same));
            fresh.extend(new.map(|(_, x)| *x));
            sort(&mut fresh);
            (fresh, same)
        };
        let (lowest, highest) = (fresh(&self.lowest), fresh(&self.highest));
        let mut seen = self.seen;
        seen.retain(|x| !x.is_nan());
        sort(&mut seen);
        let whole = |(mut side, same): (Vec<f64>, bool)| {
            if same {
                side.extend_from_slice(&seen);
                // Stable: it finds the two runs that already ascend.
                side.sort_by(f64::total_cmp);
            }
            side
        };
        Self { lowest: whole(lowest), highest: whole(highest), seen }
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
        let mean = mean(&self.seen)?;
        let squares = sum(self.seen.iter().map(|x| (x - mean) * (x - mean)));
        let freedom = self.seen.len().checked_sub(1).filter(|&freedom| freedom > 0)?;
        let value = (squares / freedom as f64).sqrt();
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

    /// The share that `count` finds of numbers in ascending order, %.
    pub(super) fn share(&self, count: impl Fn(&[f64]) -> usize) -> Option<Span> {
        self.figure(|side| {
            (!side.is_empty()).then(|| 100.0 * count(side) as f64 / side.len() as f64)
        })
    }
}

/// The longest run of samples, of `count`, for which `holds`.
pub(super) fn longest_run(count: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut longest, mut run) = (0, 0);
    for i in 0..count {
        run = if holds(i) { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::sd;
    use proptest::prelude::*;

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
        fn the_longest_run_is_that_of_trying_every_run(side in levels()) {
            let low = |x: f64| x <= 2.0;
            let found = longest_run(side.len(), |i| low(side[i]));
            prop_assert_eq!(found, longest_run_slowly(&side, low));
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
        /// With and without a band around what was seen.
        #[test]
        fn every_side_comes_out_in_order(
            seen in levels(), shifts in prop::collection::vec(0_u8..3, 60), band in 0_u8..2,
        ) {
            let band = f64::from(band);
            let side = |sign: f64| -> Vec<f64> {
                seen.iter()
                    .zip(&shifts)
                    .map(|(x, &s)| if x.is_nan() { 3.0 } else { x + sign * band * f64::from(s) })
                    .collect()
            };
            let sides = Sides { seen: seen.clone(), lowest: side(-1.0), highest: side(1.0) };
            let found = sides.clone().ordered();
            let sorted = |mut side: Vec<f64>| {
                side.retain(|x| !x.is_nan());
                side.sort_by(f64::total_cmp);
                side
            };
            prop_assert_eq!(found.seen, sorted(sides.seen));
            prop_assert_eq!(found.lowest, sorted(sides.lowest));
            prop_assert_eq!(found.highest, sorted(sides.highest));
        }

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
}
