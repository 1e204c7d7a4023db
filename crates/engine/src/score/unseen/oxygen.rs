//! What SpO2 could have been where it is not believed.
//!
//! In a long gap: anything. In a short one it falls from its edges and rises back to them no faster than
//! blood does, or than this night shows where that is faster; and on a night believed long enough to
//! know the patient by, it lies no more than the criteria's step under the lowest seen.

use std::ops::Range;

use crate::criteria::Criteria;
use crate::score::unseen::{Reach, envelope};
use crate::stats::lowest_held;
use crate::trace::Trace;
use crate::unit::TOLERANCE;

/// The highest saturation there is, %.
pub const CEILING_PCT: f64 = 100.0;

/// The lowest and the highest that SpO2 may have been at every sample of the period, %; NaN outside it.
pub fn spo2_envelope(trace: &Trace, criteria: &Criteria) -> (Vec<f64>, Vec<f64>) {
    let (mut lowest, mut highest) = envelope(trace, &reach(trace, criteria));
    let (floor_pct, ceiling_pct) = anything(criteria);
    let rounding_pct = criteria.judge.spo2_gap_rounding_pct.value;
    for gap in trace.runs(|i| !trace.believed[i]) {
        let short = is_short(trace, &gap, criteria);
        for i in gap.filter(|&i| trace.inside[i]) {
            if short {
                lowest[i] = (lowest[i] - rounding_pct).max(floor_pct);
                highest[i] = (highest[i] + rounding_pct).min(ceiling_pct);
            } else {
                (lowest[i], highest[i]) = (floor_pct, ceiling_pct);
            }
        }
    }
    (lowest, highest)
}

/// Raises the lowest that SpO2 may have been in short gaps for a run of so many samples on end.
///
/// No such run lies more than the criteria's step under the lowest that the night kept to for as long,
/// unless an edge of the gap already does. Nothing is raised where the night was not seen for long enough.
pub fn raise_for_run(trace: &Trace, criteria: &Criteria, samples: usize, lowest: &mut [f64]) {
    if !is_known(trace, criteria) {
        return;
    }
    let seen: Vec<f64> = (0..trace.len())
        .map(|i| if trace.counts(i) { trace.values[i] } else { f64::NAN })
        .collect();
    let Some(kept_pct) = lowest_held(&seen, samples) else { return };
    let least_pct = kept_pct - criteria.judge.spo2_gap_deeper_pct.value;
    for gap in trace.runs(|i| !trace.believed[i]) {
        if !is_short(trace, &gap, criteria) {
            continue;
        }
        let before = gap.start.checked_sub(1).map(|i| trace.values[i]);
        let after = trace.values.get(gap.end).copied();
        let edges = before.into_iter().chain(after);
        let stays_pct = edges.fold(least_pct, f64::min);
        for i in gap.filter(|&i| trace.inside[i]) {
            lowest[i] = lowest[i].max(stays_pct);
        }
    }
}

/// Whether SpO2 is bounded in a gap of this length.
pub fn is_short(trace: &Trace, gap: &Range<usize>, criteria: &Criteria) -> bool {
    gap.len() as f64 * trace.period_s <= criteria.judge.spo2_gap_most_min.value * 60.0
}

/// Whether the night was seen for long enough to know the patient by it.
pub fn is_known(trace: &Trace, criteria: &Criteria) -> bool {
    trace.believed_s() + TOLERANCE >= criteria.judge.spo2_least_h.value * 3600.0
}

/// The lowest and the highest SpO2 of which nothing is known, %.
pub fn anything(criteria: &Criteria) -> (f64, f64) {
    (criteria.screen.spo2_lowest_pct.value, CEILING_PCT)
}

/// Whether some gap of the period is short enough for SpO2 in it to be bounded.
pub fn is_bounded(trace: &Trace, criteria: &Criteria) -> bool {
    let gaps = trace.runs(|i| !trace.believed[i]);
    gaps.into_iter().any(|mut gap| is_short(trace, &gap, criteria) && gap.any(|i| trace.inside[i]))
}

fn reach(trace: &Trace, criteria: &Criteria) -> Reach {
    let judge = &criteria.judge;
    let over = trace.samples_in(judge.spo2_gap_over_s.value);
    let over_s = over as f64 * trace.period_s;
    let (fall_pct, rise_pct) = greatest_moves(trace, over);
    Reach {
        fall_per_s: judge.spo2_gap_fall_pct_per_s.value.max(fall_pct / over_s),
        rise_per_s: judge.spo2_gap_rise_pct_per_s.value.max(rise_pct / over_s),
        lowest: floor_pct(trace, criteria),
        highest: CEILING_PCT,
        // Added below, and only in short gaps.
        rounding: 0.0,
    }
}

/// The step under the lowest seen where the night was seen for long enough, else the lowest plausible, %.
fn floor_pct(trace: &Trace, criteria: &Criteria) -> f64 {
    let plausible = criteria.screen.spo2_lowest_pct.value;
    if !is_known(trace, criteria) {
        return plausible;
    }
    let lowest = trace.counted().fold(CEILING_PCT, f64::min);
    (lowest - criteria.judge.spo2_gap_deeper_pct.value).max(plausible)
}

/// The greatest fall and the greatest rise over so many samples of believed time on end, %.
fn greatest_moves(trace: &Trace, over: usize) -> (f64, f64) {
    let (mut fall, mut rise, mut run) = (0.0_f64, 0.0_f64, 0);
    for (i, (&value, &believed)) in trace.values.iter().zip(&trace.believed).enumerate() {
        run = if believed { run + 1 } else { 0 };
        if run > over {
            let moved = value - trace.values[i - over];
            fall = fall.max(-moved);
            rise = rise.max(moved);
        }
    }
    (fall, rise)
}
