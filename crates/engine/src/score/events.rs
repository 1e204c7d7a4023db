//! Falls and rises, found in one pass.

use std::ops::Range;

use crate::trace::Trace;
use crate::unit::{TOLERANCE, above, below};

/// The time before a sample whose mean is its baseline, by the definition of the mean-120 fall.
pub(super) const BASELINE_S: f64 = 120.0;
/// How much of it must be believed.
const BASELINE_LEAST_S: f64 = 60.0;

/// One event, by index of sample.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Event {
    /// From the peak (or the onset) to the end, not included.
    pub(super) samples: Range<usize>,
    /// The first sample at the lowest level.
    pub(super) nadir: usize,
    /// The level fallen from.
    pub(super) from: f64,
    /// The lowest level.
    pub(super) lowest: f64,
}

/// What makes a fall from a peak; a rise is a fall of the negated signal.
#[derive(Clone, Copy, Debug)]
pub(super) struct PeakRule {
    /// Least fall from the peak.
    pub(super) depth: f64,
    /// Least seconds after the peak at which it must lie so deep.
    pub(super) least_s: f64,
    /// Most seconds after the peak at which it must lie so deep.
    pub(super) most_s: f64,
    /// Rise from the lowest level that ends the fall.
    pub(super) recovery: f64,
}

/// The falls from a peak, in order. `value(i)` is `None` where nothing counts.
///
/// A fall is taken as soon as it counts and the search goes on as soon as it has recovered, which finds
/// the greatest number of separate falls: a smaller depth never finds fewer.
pub(super) fn peak_falls(
    count: usize,
    period_s: f64,
    rule: PeakRule,
    value: impl Fn(usize) -> Option<f64>,
) -> Vec<Event> {
    let reach = samples_within(rule.most_s, period_s);
    let mut events = Vec::new();
    let mut peaks = Peaks::default();
    let mut open: Option<Event> = None;
    for i in 0..count {
        let Some(x) = value(i) else {
            events.extend(open.take().map(|fall| fall.until(i)));
            peaks.clear();
            continue;
        };
        if let Some(fall) = &mut open {
            if !above(x, fall.lowest + rule.recovery, false) {
                fall.go_on(i, x);
                continue;
            }
            events.extend(open.take().map(|fall| fall.until(i)));
            peaks.clear();
        }
        let (peak, from) = peaks.highest_within(i, x, reach);
        let after_s = (i - peak) as f64 * period_s;
        if above(from - x, rule.depth, false) && above(after_s, rule.least_s, false) {
            let mut fall = Event { samples: peak..i, nadir: peak, from, lowest: from };
            (peak + 1..=i).for_each(|j| fall.go_on(j, value(j).unwrap_or(from)));
            open = Some(fall);
        }
    }
    events.extend(open.map(|fall| fall.until(count)));
    events
}

impl Event {
    /// Takes in sample `i`.
    fn go_on(&mut self, i: usize, x: f64) {
        if x < self.lowest {
            (self.nadir, self.lowest) = (i, x);
        }
    }

    /// The event, ended before sample `end`.
    fn until(mut self, end: usize) -> Self {
        self.samples.end = end;
        self
    }
}

/// The samples that may yet be the highest, each lower than the one before it.
#[derive(Default)]
struct Peaks {
    falling: Vec<(usize, f64)>,
    /// How many of them lie too far back.
    passed: usize,
}

impl Peaks {
    fn clear(&mut self) {
        self.falling.clear();
        self.passed = 0;
    }

    /// The highest of the last `reach` samples and this one, the latest of equals, after taking `x` in.
    fn highest_within(&mut self, i: usize, x: f64, reach: usize) -> (usize, f64) {
        while self.falling.len() > self.passed
            && self.falling.last().is_some_and(|&(_, level)| level <= x)
        {
            self.falling.pop();
        }
        self.falling.push((i, x));
        while self.falling[self.passed].0 + reach < i {
            self.passed += 1;
        }
        self.falling[self.passed]
    }
}

/// The falls of `depth` from the mean of the preceding 120 s, lasting at least `least_s`, in order.
pub(super) fn mean_falls(
    trace: &Trace,
    baseline: &Baseline,
    depth: f64,
    least_s: f64,
) -> Vec<Event> {
    let mut events = Vec::new();
    let mut open: Option<Event> = None;
    for i in 0..=trace.len() {
        let counted = (i < trace.len() && trace.counts(i)).then(|| trace.values[i]);
        let ends = |fall: &mut Event| counted.is_none_or(|x| above(x, fall.from - depth, true));
        if let Some(fall) = open.take_if(ends).map(|fall| fall.until(i)) {
            let lasted_s = fall.samples.len() as f64 * trace.period_s;
            events.extend(above(lasted_s, least_s, false).then_some(fall));
        }
        let Some(x) = counted else { continue };
        match &mut open {
            Some(fall) => fall.go_on(i, x),
            None => {
                open = baseline
                    .before(i)
                    .filter(|from| below(x, from - depth, false))
                    .map(|from| Event { samples: i..i, nadir: i, from, lowest: x });
            }
        }
    }
    events
}

/// Running sums of believed samples, inside the period or not, from which any mean is two look-ups.
pub(super) struct Baseline {
    sums: Vec<f64>,
    counts: Vec<u32>,
    reach: usize,
    least_s: f64,
    period_s: f64,
}

impl Baseline {
    /// Of a trace.
    pub(super) fn of(trace: &Trace) -> Self {
        let (mut sum, mut count) = (0.0, 0);
        let mut sums = Vec::with_capacity(trace.len() + 1);
        let mut counts = Vec::with_capacity(trace.len() + 1);
        sums.push(sum);
        counts.push(count);
        for (&x, &believed) in trace.values.iter().zip(&trace.believed) {
            if believed {
                sum += x;
                count += 1;
            }
            sums.push(sum);
            counts.push(count);
        }
        let reach = samples_within(BASELINE_S, trace.period_s);
        Self { sums, counts, reach, least_s: BASELINE_LEAST_S, period_s: trace.period_s }
    }

    /// The mean of the believed samples in the 120 s before sample `i`.
    fn before(&self, i: usize) -> Option<f64> {
        let from = i.saturating_sub(self.reach);
        let count = f64::from(self.counts[i] - self.counts[from]);
        above(count * self.period_s, self.least_s, false)
            .then(|| (self.sums[i] - self.sums[from]) / count)
    }
}

/// How many whole samples fit in `seconds`.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a non-negative count of samples in a night"
)]
pub(super) fn samples_within(seconds: f64, period_s: f64) -> usize {
    (seconds / period_s + TOLERANCE).floor().max(0.0) as usize
}

/// The area under the level fallen from, in units of the signal times seconds, over all events.
///
/// Each area runs from the peak until the signal regains the level fallen from, or nothing counts, or
/// the next event's peak, or `most` samples after the nadir, whichever comes first.
pub(super) fn area_below(
    events: &[Event],
    period_s: f64,
    most: usize,
    value: impl Fn(usize) -> Option<f64>,
) -> f64 {
    let ends = events.iter().skip(1).map(|next| next.samples.start).chain([usize::MAX]);
    let areas = events.iter().zip(ends).map(|(event, next)| {
        let until = next.min(event.nadir.saturating_add(most).saturating_add(1));
        let deficits = (event.samples.start + 1..until)
            .map_while(|i| value(i).map(|x| event.from - x))
            .take_while(|&deficit| above(deficit, 0.0, true));
        crate::stats::sum(deficits) * period_s
    });
    crate::stats::sum(areas)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Quantity;
    use proptest::prelude::*;

    fn trace(samples: &[Option<f64>], period_s: f64) -> Trace {
        Trace {
            quantity: Quantity::Spo2,
            period_s,
            offset_s: 0.0,
            values: samples.iter().map(|x| x.unwrap_or(f64::NAN)).collect(),
            band: vec![crate::trace::Band::default(); samples.len()],
            inside: vec![true; samples.len()],
            believed: samples.iter().map(Option::is_some).collect(),
        }
    }

    /// The definition word for word: at every sample every peak of the time before is tried.
    fn peak_falls_slowly(samples: &[Option<f64>], rule: PeakRule) -> Vec<(usize, usize, usize)> {
        let mut falls = Vec::new();
        let mut search = 0;
        while search < samples.len() {
            let gap = (search..samples.len()).find(|&i| samples[i].is_none());
            let run_end = gap.unwrap_or(samples.len());
            let x = |i: usize| samples[i].unwrap();
            let counts = |p: usize, t: usize| {
                let after_s = (t - p) as f64;
                let since = (p + 1..=t).all(|j| x(j) < x(p));
                let in_time = rule.least_s <= after_s && after_s <= rule.most_s;
                since && in_time && x(p) - x(t) >= rule.depth
            };
            let highest = |t: usize| {
                (search..=t)
                    .filter(|&p| counts(p, t))
                    .reduce(|best, p| if x(p) > x(best) { p } else { best })
            };
            let found = (search..run_end).find_map(|t| Some((highest(t)?, t)));
            let Some((peak, from)) = found else {
                search = run_end + 1;
                continue;
            };
            let lowest = |end: usize| (peak..end).map(x).fold(f64::INFINITY, f64::min);
            let recovered = |&i: &usize| x(i) >= lowest(i) + rule.recovery;
            let end = (from + 1..run_end).find(recovered).unwrap_or(run_end);
            let nadir = (peak..end).find(|&i| x(i) <= lowest(end)).unwrap();
            falls.push((peak, nadir, end));
            search = end;
        }
        falls
    }

    /// The definition word for word: the baseline is summed anew at every sample.
    fn mean_falls_slowly(trace: &Trace, depth: f64, least_s: f64) -> Vec<(usize, usize)> {
        let mut falls = Vec::new();
        let mut t = 0;
        while t < trace.len() {
            let before: Vec<f64> = (t.saturating_sub(120)..t)
                .filter(|&i| trace.believed[i])
                .map(|i| trace.values[i])
                .collect();
            let baseline = before.iter().sum::<f64>() / before.len() as f64;
            let onset =
                trace.counts(t) && before.len() >= 60 && trace.values[t] <= baseline - depth + 1e-6;
            if !onset {
                t += 1;
                continue;
            }
            let end = (t..trace.len())
                .find(|&i| !trace.counts(i) || trace.values[i] > baseline - depth + 1e-6)
                .unwrap_or(trace.len());
            if (end - t) as f64 >= least_s {
                falls.push((t, end));
            }
            t = end.max(t + 1);
        }
        falls
    }

    /// A wandering signal of small steps, a few of them missing.
    fn wandering(length: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Option<f64>>> {
        let step = prop_oneof![30 => -1_i32..=1, 3 => -4_i32..=4];
        let sample = (step, prop::bool::weighted(0.02));
        prop::collection::vec(sample, length).prop_map(|steps| {
            let mut level = 95;
            steps
                .into_iter()
                .map(|(step, missing)| {
                    level = (level + step).clamp(80, 100);
                    (!missing).then(|| f64::from(level))
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn peak_falls_are_those_of_the_definition_word_for_word(
            samples in wandering(0..200),
            depth in 2_u8..5,
            least_s in 0_u8..12,
            most_s in 5_u8..40,
            recovery in 1_u8..4,
        ) {
            let rule = PeakRule {
                depth: f64::from(depth),
                least_s: f64::from(least_s),
                most_s: f64::from(most_s),
                recovery: f64::from(recovery),
            };
            let found: Vec<_> = peak_falls(samples.len(), 1.0, rule, |i| samples[i])
                .iter()
                .map(|e| (e.samples.start, e.nadir, e.samples.end))
                .collect();
            prop_assert_eq!(found, peak_falls_slowly(&samples, rule));
        }

        #[test]
        fn a_smaller_depth_never_finds_fewer_falls(samples in wandering(0..2000)) {
            let counts = [2.0, 3.0, 4.0, 5.0].map(|depth| {
                peak_falls(samples.len(), 1.0, PeakRule { depth, ..RULE }, |i| samples[i]).len()
            });
            prop_assert!(counts.is_sorted_by(|a, b| a >= b), "{counts:?}");
        }

        #[test]
        fn mean_falls_are_those_of_the_definition_word_for_word(
            samples in wandering(100..900),
            depth in 1_u8..5,
            cut in 0_usize..900,
        ) {
            let mut trace = trace(&samples, 1.0);
            for i in cut..(cut + 20).min(samples.len()) {
                trace.inside[i] = false;
            }
            let baseline = Baseline::of(&trace);
            let found: Vec<_> = mean_falls(&trace, &baseline, f64::from(depth), 10.0)
                .iter()
                .map(|e| (e.samples.start, e.samples.end))
                .collect();
            prop_assert_eq!(found, mean_falls_slowly(&trace, f64::from(depth), 10.0));
        }
    }

    const RULE: PeakRule = PeakRule { depth: 4.0, least_s: 10.0, most_s: 120.0, recovery: 1.0 };

    /// Stretches of (value, samples), in order.
    fn samples(parts: &[(f64, usize)]) -> Vec<Option<f64>> {
        let part = |&(x, count): &(f64, usize)| vec![(!x.is_nan()).then_some(x); count];
        parts.iter().flat_map(part).collect()
    }

    fn falls(parts: &[(f64, usize)]) -> Vec<Event> {
        let samples = samples(parts);
        peak_falls(samples.len(), 1.0, RULE, |i| samples[i])
    }

    #[test]
    fn a_fall_runs_from_the_last_sample_at_the_peak_to_the_recovery() {
        let found = falls(&[(96.0, 60), (94.0, 6), (91.0, 6), (95.0, 30)]);
        assert_eq!(found, [Event { samples: 59..72, nadir: 66, from: 96.0, lowest: 91.0 }]);
    }

    #[test]
    fn a_dip_shorter_than_the_least_is_no_fall() {
        assert_eq!(falls(&[(96.0, 60), (92.0, 10), (96.0, 60)]).len(), 1);
        assert_eq!(falls(&[(96.0, 60), (92.0, 9), (96.0, 60)]).len(), 0);
    }

    #[test]
    fn a_fall_slower_than_the_most_is_no_fall() {
        assert_eq!(falls(&[(96.0, 60), (94.0, 118), (92.0, 20)]).len(), 1);
        assert_eq!(falls(&[(96.0, 60), (94.0, 120), (92.0, 20)]).len(), 0);
    }

    #[test]
    fn a_low_plateau_is_one_fall_however_long() {
        assert_eq!(falls(&[(96.0, 60), (90.0, 1200), (96.0, 60)]).len(), 1);
    }

    #[test]
    fn without_recovery_two_falls_are_one() {
        assert_eq!(falls(&[(96.0, 60), (92.0, 15), (92.5, 5), (88.0, 15), (96.0, 9)]).len(), 1);
        assert_eq!(falls(&[(96.0, 60), (92.0, 15), (93.0, 5), (88.0, 15), (96.0, 9)]).len(), 2);
    }

    #[test]
    fn a_gap_ends_a_fall_and_no_fall_spans_one() {
        let gap = (f64::NAN, 1);
        assert_eq!(falls(&[(96.0, 60), (92.0, 15), gap, (92.0, 60)]).len(), 1);
        assert_eq!(falls(&[(96.0, 60), gap, (92.0, 60)]).len(), 0);
    }

    /// By arithmetic: 2 % for 6 s, 5 % for 6 s, 1 % for 4 s until the level is regained.
    #[test]
    fn the_area_runs_until_the_level_is_regained() {
        let parts = [(96.0, 60), (94.0, 6), (91.0, 6), (95.0, 4), (96.0, 60)];
        let samples = samples(&parts);
        let value = |i: usize| samples.get(i).copied().flatten();
        let area = area_below(&falls(&parts), 1.0, 120, value);
        assert!((area - (12.0 + 30.0 + 4.0)).abs() < 1e-9, "{area}");
        // Cut 3 samples after the nadir: 2 % for 6 s and 5 % for 4 s.
        let cut = area_below(&falls(&parts), 1.0, 3, value);
        assert!((cut - 32.0).abs() < 1e-9, "{cut}");
    }
}
