//! What the unbelieved time could have held.

pub mod events;
pub mod longest_low;
pub mod oxygen;

use crate::criteria::Criteria;
use crate::trace::Trace;
use crate::unit::TOLERANCE;
use crate::unit::kpa_from_mmhg;

/// How fast a channel may move where it is not believed, and between which values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Greatest fall, in the channel's unit a second.
    pub fall_per_s: f64,
    /// Greatest rise.
    pub rise_per_s: f64,
    /// The lowest it may be.
    pub lowest: f64,
    /// The highest.
    pub highest: f64,
    /// How much further it may lie there: readings are rounded and noisy.
    pub rounding: f64,
}

impl Reach {
    /// Of CO2 at a greatest rate, between room air and the highest plausible, kPa.
    pub fn co2(criteria: &Criteria, rate_mmhg_per_min: f64) -> Self {
        let rate_kpa_per_s = kpa_from_mmhg(rate_mmhg_per_min) / 60.0;
        Self {
            fall_per_s: rate_kpa_per_s,
            rise_per_s: rate_kpa_per_s,
            lowest: criteria.screen.tcpco2_off_below_kpa.value,
            highest: criteria.screen.tcpco2_highest_kpa.value,
            rounding: criteria.judge.co2_gap_rounding_kpa.value,
        }
    }
}

/// The lowest and the highest that a channel may have been at every sample of the period, in its unit.
///
/// A believed sample gives its value less and plus its band. An unbelieved one gives the envelope
/// reachable at the rates of `reach` from the nearest believed samples on either side (inside the period
/// or not), **each anywhere in its band**: what is not known at a gap's edges is not known inside it
/// either. On one side only at the night's edges; the hull of what each edge allows when the two cannot be
/// joined at those rates; all of `reach` when nothing is believed. It stays between the ends of `reach`,
/// which the sample's own band widens, and `rounding` further. Samples outside the period are NaN. Linear in the samples.
pub fn envelope(trace: &Trace, reach: &Reach) -> (Vec<f64>, Vec<f64>) {
    let fall = reach.fall_per_s * trace.period_s;
    let rise = reach.rise_per_s * trace.period_s;
    let seen = |i: usize| trace.believed[i].then(|| (trace.edges(i), trace.values[i]));
    let count = trace.len();
    let (mut lowest, mut highest) = (Vec::with_capacity(count), Vec::with_capacity(count));
    let mut middles = Vec::with_capacity(count);
    let mut before = Cone::default();
    for i in 0..count {
        before = before.at(seen(i), (fall, rise));
        lowest.push(before.edges.0);
        highest.push(before.edges.1);
        middles.push(before.middle);
    }
    let mut after = Cone::default();
    for i in (0..count).rev() {
        // Backwards in time a rise leads down.
        after = after.at(seen(i), (rise, fall));
        let band = trace.band[i];
        let clamp = (reach.lowest - band.below, reach.highest + band.above);
        (lowest[i], highest[i]) = match (trace.inside[i], trace.believed[i]) {
            (false, _) => (f64::NAN, f64::NAN),
            (true, true) => after.edges,
            (true, false) => {
                let before = Cone { edges: (lowest[i], highest[i]), middle: middles[i] };
                let (low, high) = before.meeting(after);
                within(clamp, (low - reach.rounding, high + reach.rounding))
            }
        };
    }
    (lowest, highest)
}

/// Where a channel may be when nothing is known of it: lowest and highest.
const ANYWHERE: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

/// Where a channel may be at a sample coming from one side.
#[derive(Clone, Copy)]
struct Cone {
    /// From anywhere in the band of the last that was believed.
    edges: (f64, f64),
    /// From its value: whether the two sides can be joined must not depend on how wide the band is.
    middle: (f64, f64),
}

impl Default for Cone {
    fn default() -> Self {
        Self { edges: ANYWHERE, middle: ANYWHERE }
    }
}

impl Cone {
    /// The same one sample on: where that one may lie and its value, when it is believed, else as far as the
    /// channel goes down and up between the two.
    fn at(self, seen: Option<((f64, f64), f64)>, (down, up): (f64, f64)) -> Self {
        let wider = |(low, high): (f64, f64)| (low - down, high + up);
        match seen {
            Some((edges, value)) => Self { edges, middle: (value, value) },
            None => Self { edges: wider(self.edges), middle: wider(self.middle) },
        }
    }

    /// Where a channel may be, coming from both sides: in both cones, or in their hull when their middles
    /// cannot be joined.
    fn meeting(self, other: Self) -> (f64, f64) {
        let both = |a: (f64, f64), b: (f64, f64)| (a.0.max(b.0), a.1.min(b.1));
        let middles = both(self.middle, other.middle);
        let (a, b) = (self.edges, other.edges);
        // Edges a hair too far apart by rounding alone can be joined: by one straight line.
        if middles.0 <= middles.1 + TOLERANCE {
            let (low, high) = both(a, b);
            (low.min(high), low.max(high))
        } else {
            (a.0.min(b.0), a.1.max(b.1))
        }
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
    use crate::trace::Band;

    const REACH: Reach = Reach {
        fall_per_s: 0.1 / 60.0,
        rise_per_s: 0.1 / 60.0,
        lowest: 2.0,
        highest: 15.0,
        rounding: 0.0,
    };

    fn trace(values: &[f64]) -> Trace {
        let n = values.len();
        Trace {
            quantity: Quantity::Tcpco2,
            period_s: 60.0,
            offset_s: 0.0,
            values: values.to_vec(),
            band: vec![Band::default(); n],
            inside: vec![true; n],
            believed: values.iter().map(|x| x.is_finite()).collect(),
        }
    }

    fn assert_envelope(trace: &Trace, lowest: &[f64], highest: &[f64]) {
        let (low, high) = envelope(trace, &REACH);
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

    /// From 96 down at 1 a sample, up to 96 again at 3 a sample.
    #[test]
    fn a_fall_and_a_rise_have_rates_of_their_own() {
        let gap = trace(&[96.0, UNSEEN, UNSEEN, UNSEEN, 96.0]);
        let (fall_per_s, rise_per_s) = (1.0 / 60.0, 3.0 / 60.0);
        let reach = Reach { fall_per_s, rise_per_s, lowest: 50.0, highest: 100.0, rounding: 0.0 };
        let (low, high) = envelope(&gap, &reach);
        assert_eq!(low, [96.0, 95.0, 94.0, 93.0, 96.0]);
        assert_eq!(high, [96.0, 99.0, 98.0, 97.0, 96.0]);
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
        low.band = vec![Band::either(0.3); 3];
        assert_envelope(&low, &[1.75, 1.7, 1.7], &[2.35, 2.45, 2.55]);
    }

    /// The first sample may be 5.9 to 6.1, the last 6.2 to 6.8, and CO2 moves 0.1 a sample.
    #[test]
    fn the_band_at_the_edges_of_a_gap_is_in_the_gap_too() {
        let mut gap = trace(&[6.0, UNSEEN, UNSEEN, 6.3]);
        gap.band = vec![
            Band::either(0.1),
            Band::default(),
            Band::default(),
            Band { below: 0.1, above: 0.5 },
        ];
        assert_envelope(&gap, &[5.9, 6.0, 6.1, 6.2], &[6.1, 6.2, 6.3, 6.8]);
    }

    #[test]
    fn a_believed_sample_outside_the_period_bounds_the_gap_but_is_not_in_it() {
        let mut cut = trace(&[6.0, UNSEEN, 6.0]);
        cut.inside = vec![false, true, true];
        assert_envelope(&cut, &[UNSEEN, 5.9, 6.0], &[UNSEEN, 6.1, 6.0]);
    }
}
