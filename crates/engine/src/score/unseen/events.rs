//! How many falls of SpO2 the gaps could hide.

use std::collections::VecDeque;
use std::ops::Range;

use crate::criteria::Criteria;
use crate::score::events::BASELINE_S;
use crate::score::unseen::oxygen::{CEILING_PCT, is_known, is_short};
use crate::trace::Trace;
use crate::unit::above;

/// Which level a fall is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FallsFrom {
    /// The preceding peak.
    Peak,
    /// The mean of the time before, which may reach back beyond the period.
    Mean,
}

/// How many samples the two ends of a fall lie apart.
struct Apart {
    from: FallsFrom,
    least: usize,
    most: usize,
}

/// The gaps of the period.
fn gaps(trace: &Trace) -> Vec<Range<usize>> {
    trace.runs(|i| trace.inside[i] && !trace.believed[i])
}

/// The most events that a gap could hide: as many as the criteria's greatest rate allows, and one more
/// that it may have cut.
fn most_in(trace: &Trace, gap: &Range<usize>, criteria: &Criteria) -> usize {
    let hours = gap.len() as f64 * trace.period_s / 3600.0;
    whole(hours * criteria.score.events_most_per_h.value) + 1
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a small count of events, never negative"
)]
fn whole(count: f64) -> usize {
    count.floor().max(0.0) as usize
}

/// The gaps of the period, each with the most events that it could hide when nothing bounds them.
pub fn hidden_events(trace: &Trace, criteria: &Criteria) -> Vec<(Range<usize>, usize)> {
    let most = |gap: Range<usize>| (gap.clone(), most_in(trace, &gap, criteria));
    gaps(trace).into_iter().map(most).collect()
}

/// How many events all gaps could hide.
pub fn in_all(hidden: &[(Range<usize>, usize)]) -> f64 {
    hidden.iter().map(|(_, most)| *most as f64).sum()
}

/// The gaps of the period, as ranges of samples, that could hide a fall of `depth` (%), where SpO2 lay in
/// the envelope `within`: those in and about which it could have fallen that far.
pub fn hiding(
    trace: &Trace,
    within: (&[f64], &[f64]),
    criteria: &Criteria,
    (depth, from): (f64, FallsFrom),
) -> Vec<Range<usize>> {
    let score = &criteria.score;
    let apart = match from {
        FallsFrom::Peak => Apart {
            from,
            least: trace.samples_in(score.fall_least_s.value),
            most: trace.samples_in(score.fall_most_s.value),
        },
        FallsFrom::Mean => Apart { from, least: 1, most: trace.samples_in(BASELINE_S) },
    };
    let mut hiding = gaps(trace);
    hiding.retain(|gap| above(greatest_fall(trace, within, gap, &apart), depth, false));
    hiding
}

/// Those gaps, each with the most falls that it could hide; `nadirs` are those counted, as samples in order.
///
/// A short gap of a night that is known holds no more than the criteria's multiple of the most that any
/// stretch as long was seen to hold, and one that it may have cut.
pub fn hidden_falls(
    trace: &Trace,
    within: (&[f64], &[f64]),
    criteria: &Criteria,
    (counted, nadirs): ((f64, FallsFrom), &[usize]),
) -> Vec<(Range<usize>, usize)> {
    let times = criteria.score.gap_events_times.value;
    let known = is_known(trace, criteria);
    let most = |gap: &Range<usize>| {
        let most = most_in(trace, gap, criteria);
        if known && is_short(trace, gap, criteria) {
            most.min(whole(times * most_seen(nadirs, gap.len()) as f64) + 1)
        } else {
            most
        }
    };
    let gaps = hiding(trace, within, criteria, counted);
    gaps.into_iter().map(|gap| (gap.clone(), most(&gap))).collect()
}

/// The most of the counted falls whose nadirs lie within so many samples.
fn most_seen(nadirs: &[usize], samples: usize) -> usize {
    let mut from = 0;
    let mut most = 0;
    for (to, &nadir) in nadirs.iter().enumerate() {
        while nadir - nadirs[from] >= samples {
            from += 1;
        }
        most = most.max(to + 1 - from);
    }
    most
}

/// How far SpO2 could have fallen where the gap has a part in it: from its highest before or in the gap to
/// its lowest in it or after, as far apart in time as the definition asks. For falls from a mean any sample
/// before counts, for the gap's values are part of the mean.
fn greatest_fall(
    trace: &Trace,
    (lowest, highest): (&[f64], &[f64]),
    gap: &Range<usize>,
    apart: &Apart,
) -> f64 {
    let about = gap.start.saturating_sub(apart.most)..trace.len().min(gap.end + apart.most);
    let mut peaks: VecDeque<(usize, f64)> = VecDeque::new();
    let mut greatest = 0.0_f64;
    // Nothing before this sample can be a peak.
    let mut from = about.start;
    for (i, low) in about.clone().zip(&lowest[about]) {
        if apart.from == FallsFrom::Peak && !trace.inside[i] {
            peaks.clear();
            from = i + 1;
            continue;
        }
        while peaks.front().is_some_and(|&(at, _)| at + apart.most < i) {
            peaks.pop_front();
        }
        let peak = i.checked_sub(apart.least).filter(|&peak| peak >= from);
        if let Some(peak) = peak.filter(|&peak| peak < gap.end || apart.from == FallsFrom::Mean) {
            let level = match (trace.inside[peak], trace.believed[peak]) {
                (true, _) => highest[peak],
                (false, true) => trace.values[peak],
                (false, false) => CEILING_PCT,
            };
            while peaks.back().is_some_and(|&(_, before)| before <= level) {
                peaks.pop_back();
            }
            peaks.push_back((peak, level));
        }
        if let (true, Some(&(_, peak))) = (i >= gap.start && trace.inside[i], peaks.front()) {
            greatest = greatest.max(peak - low);
        }
    }
    greatest
}
