//! What the unbelieved time could have held.

use crate::trace::Trace;
use crate::unit::TOLERANCE;

/// The lowest and the highest that CO2 may have been at every sample of the period, kPa.
///
/// A believed sample gives its value less and plus its `half_band`. An unbelieved one gives the
/// envelope reachable from the nearest believed samples on either side (inside the period or not) at
/// `rate_kpa_per_s`; on one side only at the night's edges; the hull of what each edge allows when the
/// two cannot be joined at that rate; all of `clamp` when nothing is believed. It stays inside `clamp`
/// (lowest and highest plausible, kPa) and is then widened by `half_band`. Samples outside the period
/// are NaN. Linear in the samples.
pub fn co2_envelope(trace: &Trace, rate_kpa_per_s: f64, clamp: (f64, f64)) -> (Vec<f64>, Vec<f64>) {
    let step = rate_kpa_per_s * trace.period_s;
    let seen = || trace.values.iter().copied().zip(trace.believed.iter().copied());
    let mut before = ANYWHERE;
    let from_before = seen().map(|sample| {
        before = cone(sample, before, step);
        before
    });
    let (mut lowest, mut highest): (Vec<f64>, Vec<f64>) = from_before.unzip();
    let judged = seen().zip(trace.inside.iter().zip(&trace.half_band));
    let mut after = ANYWHERE;
    for ((sample, (&inside, half_band)), (low, high)) in
        judged.zip(lowest.iter_mut().zip(&mut highest)).rev()
    {
        after = cone(sample, after, step);
        (*low, *high) = match (inside, sample.1) {
            (false, _) => (f64::NAN, f64::NAN),
            (true, true) => after,
            (true, false) => within(clamp, meeting((*low, *high), after)),
        };
        *low -= half_band;
        *high += half_band;
    }
    (lowest, highest)
}

/// Where CO2 may be when nothing is known of it: lowest and highest.
const ANYWHERE: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

/// Where CO2 may be at a sample (its value, and whether it is believed) coming from one side, given where
/// it may be at the sample before.
fn cone((value, believed): (f64, bool), last: (f64, f64), step: f64) -> (f64, f64) {
    if believed { (value, value) } else { (last.0 - step, last.1 + step) }
}

/// Where CO2 may be, coming from both sides: in both cones, or in their hull when the edges cannot be
/// joined.
fn meeting(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    let both = (a.0.max(b.0), a.1.min(b.1));
    // Edges a hair too far apart by rounding alone can be joined: by one straight line.
    if both.0 <= both.1 + TOLERANCE {
        (both.0.min(both.1), both.0.max(both.1))
    } else {
        (a.0.min(b.0), a.1.max(b.1))
    }
}

/// A range held to the plausible.
fn within(clamp: (f64, f64), range: (f64, f64)) -> (f64, f64) {
    let held = |x: f64| x.min(clamp.1).max(clamp.0);
    (held(range.0), held(range.1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Quantity;

    fn trace(values: &[f64]) -> Trace {
        let n = values.len();
        Trace {
            quantity: Quantity::Tcpco2,
            period_s: 60.0,
            offset_s: 0.0,
            values: values.to_vec(),
            half_band: vec![0.0; n],
            inside: vec![true; n],
            believed: values.iter().map(|x| x.is_finite()).collect(),
        }
    }

    fn assert_envelope(trace: &Trace, lowest: &[f64], highest: &[f64]) {
        let (low, high) = co2_envelope(trace, 0.1 / 60.0, (2.0, 15.0));
        for (found, expected) in low.iter().zip(lowest).chain(high.iter().zip(highest)) {
            let same = (found - expected).abs() < 1e-9 || (found.is_nan() && expected.is_nan());
            assert!(same, "{low:?} {high:?}");
        }
    }

    const UNSEEN: f64 = f64::NAN;

    #[test]
    fn a_gap_is_reached_from_both_its_edges() {
        let gap = trace(&[6.0, UNSEEN, UNSEEN, UNSEEN, 6.2]);
        assert_envelope(&gap, &[6.0, 5.9, 6.0, 6.1, 6.2], &[6.0, 6.1, 6.2, 6.3, 6.2]);
    }

    #[test]
    fn a_night_edge_is_reached_from_one_side() {
        let edge = trace(&[UNSEEN, UNSEEN, 6.0, UNSEEN]);
        assert_envelope(&edge, &[5.8, 5.9, 6.0, 5.9], &[6.2, 6.1, 6.0, 6.1]);
        assert_envelope(&trace(&[UNSEEN]), &[2.0], &[15.0]);
    }

    #[test]
    fn edges_that_can_just_be_joined_give_a_line() {
        let just = trace(&[6.0, UNSEEN, UNSEEN, 6.3]);
        assert_envelope(&just, &[6.0, 6.1, 6.2, 6.3], &[6.0, 6.1, 6.2, 6.3]);
    }

    #[test]
    fn edges_that_cannot_be_joined_give_their_hull() {
        assert_envelope(&trace(&[6.0, UNSEEN, 8.0]), &[6.0, 5.9, 8.0], &[6.0, 8.1, 8.0]);
    }

    #[test]
    fn the_envelope_stays_plausible_and_takes_the_band() {
        let mut low = trace(&[2.05, UNSEEN, UNSEEN]);
        low.half_band = vec![0.3; 3];
        assert_envelope(&low, &[1.75, 1.7, 1.7], &[2.35, 2.45, 2.55]);
    }

    #[test]
    fn a_believed_sample_outside_the_period_bounds_the_gap_but_is_not_in_it() {
        let mut cut = trace(&[6.0, UNSEEN, 6.0]);
        cut.inside = vec![false, true, true];
        assert_envelope(&cut, &[UNSEEN, 5.9, 6.0], &[UNSEEN, 6.1, 6.0]);
    }
}
