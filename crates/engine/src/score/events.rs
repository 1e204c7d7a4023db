//! Falls and rises, found in one pass.

use std::collections::VecDeque;
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
    /// Least fall from peak to nadir.
    pub(super) depth: f64,
    /// Least seconds from the peak to the last sample at the nadir.
    pub(super) least_s: f64,
    /// Most seconds from the peak to the first sample at the nadir.
    pub(super) most_s: f64,
    /// Rise from the lowest level that ends the fall.
    pub(super) recovery: f64,
}

/// A fall that has begun and not ended.
#[derive(Clone, Copy, Debug)]
struct Open {
    peak: usize,
    from: f64,
    nadir: usize,
    nadir_last: usize,
    nadir_level: f64,
    /// The lowest since it began; may lie under the nadir when the signal sinks on too slowly.
    lowest: f64,
}

/// The falls from a peak, in order. `value(i)` is `None` where nothing counts.
pub(super) fn peak_falls(
    count: usize,
    period_s: f64,
    rule: PeakRule,
    value: impl Fn(usize) -> Option<f64>,
) -> Vec<Event> {
    let reach = samples_within(rule.most_s, period_s);
    let mut events = Vec::new();
    let mut peaks: VecDeque<(usize, f64)> = VecDeque::new();
    let mut open: Option<Open> = None;
    for i in 0..=count {
        let Some(x) = (i < count).then(|| value(i)).flatten() else {
            events.extend(open.take().and_then(|fall| fall.end(i, period_s, rule)));
            peaks.clear();
            continue;
        };
        if let Some(fall) = open.take_if(|fall| above(x, fall.lowest + rule.recovery, false)) {
            events.extend(fall.end(i, period_s, rule));
            peaks.clear();
        }
        let (peak, from) = highest_within(&mut peaks, i, x, reach);
        let deep = above(from - x, rule.depth, false);
        match &mut open {
            Some(fall) => fall.go_on(i, x, deep.then_some((peak, from))),
            None if deep => open = Some(Open::begin(i, x, peak, from)),
            None => {}
        }
    }
    events
}

impl Open {
    fn begin(i: usize, x: f64, peak: usize, from: f64) -> Self {
        Self { peak, from, nadir: i, nadir_last: i, nadir_level: x, lowest: x }
    }

    /// Takes in sample `i`; `peak` is the peak before it when it lies deep enough under one.
    fn go_on(&mut self, i: usize, x: f64, peak: Option<(usize, f64)>) {
        self.lowest = self.lowest.min(x);
        if below(x, self.nadir_level, true) {
            if let Some((peak, from)) = peak {
                *self = Self { lowest: self.lowest, ..Self::begin(i, x, peak, from) };
            }
        } else if below(x, self.nadir_level, false) {
            self.nadir_last = i;
        }
    }

    /// The event, when it took long enough.
    fn end(self, end: usize, period_s: f64, rule: PeakRule) -> Option<Event> {
        let took_s = (self.nadir_last - self.peak) as f64 * period_s;
        above(took_s, rule.least_s, false).then_some(Event {
            samples: self.peak..end,
            nadir: self.nadir,
            from: self.from,
            lowest: self.nadir_level,
        })
    }
}

/// The highest of the last `reach` samples and this one, the latest of equals, after taking `x` in.
fn highest_within(
    peaks: &mut VecDeque<(usize, f64)>,
    i: usize,
    x: f64,
    reach: usize,
) -> (usize, f64) {
    while peaks.back().is_some_and(|&(_, level)| level <= x) {
        peaks.pop_back();
    }
    peaks.push_back((i, x));
    while peaks.front().is_some_and(|&(at, _)| at + reach < i) {
        peaks.pop_front();
    }
    peaks.front().copied().unwrap_or((i, x))
}

/// The falls of `depth` from the mean of the preceding 120 s, lasting at least `least_s`, in order.
pub(super) fn mean_falls(trace: &Trace, depth: f64, least_s: f64) -> Vec<Event> {
    let baseline = Baseline::of(trace);
    let mut events = Vec::new();
    let mut open: Option<Event> = None;
    for i in 0..=trace.len() {
        let counted = (i < trace.len() && trace.counts(i)).then(|| trace.values[i]);
        let ends = |fall: &mut Event| counted.is_none_or(|x| above(x, fall.from - depth, true));
        if let Some(mut fall) = open.take_if(ends) {
            fall.samples.end = i;
            let lasted_s = fall.samples.len() as f64 * trace.period_s;
            events.extend(above(lasted_s, least_s, false).then_some(fall));
        }
        let Some(x) = counted else { continue };
        match &mut open {
            Some(fall) if x < fall.lowest => (fall.nadir, fall.lowest) = (i, x),
            Some(_) => {}
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
struct Baseline {
    sums: Vec<f64>,
    counts: Vec<u32>,
    reach: usize,
    least_s: f64,
    period_s: f64,
}

impl Baseline {
    fn of(trace: &Trace) -> Self {
        let (mut sum, mut count) = (0.0, 0);
        let mut sums = vec![0.0];
        let mut counts = vec![0];
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
