//! What is known of the sensor's error, each thing alone.

use super::bounds::{Range, Spread};
use super::{AnchorKind, Point};

/// One thing that says where the error lay.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Known {
    /// How sensors err that nothing checked: about none at the recording's start, with this variance, kPa².
    Unchecked {
        /// Variance at the start.
        kpa2: f64,
    },
    /// A blood gas: the whole error.
    Gas(Point),
    /// A gas check: the sensor's part of it.
    Check {
        /// What the check alone tells, of the electrode.
        point: Point,
        /// Variance of what patients' skins differ by, which no check tells.
        skin_kpa2: f64,
    },
    /// Two of a kind, between their moments.
    Between {
        /// Of which kind.
        kind: AnchorKind,
        /// The earlier.
        a: Point,
        /// The later.
        b: Point,
        /// Variance of what neither tells: the skin's, of two checks.
        untold_kpa2: f64,
    },
    /// The shape of two checks through a blood gas.
    Shaped {
        /// The blood gas.
        gas: Point,
        /// The earlier check.
        a: Point,
        /// The later.
        b: Point,
    },
}

impl Known {
    /// Where it says that the error lay at a moment; `None` where it says nothing.
    pub(super) fn level(&self, at_s: f64, spread: &Spread) -> Option<Range> {
        let walked = |from_s: f64| spread.drift_kpa2_per_s * (at_s - from_s).abs();
        let (value, variance) = match *self {
            Self::Unchecked { kpa2 } => (0.0, kpa2 + walked(0.0)),
            Self::Gas(point) => (point.value, point.variance + walked(point.at_s)),
            Self::Check { point, skin_kpa2 } => {
                (point.value, point.variance + skin_kpa2 + walked(point.at_s))
            }
            Self::Between { a, b, untold_kpa2, .. } => {
                if !(a.at_s..=b.at_s).contains(&at_s) {
                    return None;
                }
                let length_s = b.at_s - a.at_s;
                let w = (at_s - a.at_s) / length_s;
                // The anchors err independently, so their shares' squares weigh.
                let anchors = (1.0 - w) * (1.0 - w) * a.variance + w * w * b.variance;
                let bridge = spread.drift_kpa2_per_s * w * (1.0 - w) * length_s;
                (a.value + (b.value - a.value) * w, anchors + bridge + untold_kpa2)
            }
            Self::Shaped { gas, a, b } => {
                let (moved, variance) = moved((a, b), at_s, gas.at_s, spread);
                (gas.value + moved, gas.variance + variance)
            }
        };
        Some(about(value, variance, spread))
    }

    /// How far it says that the error moved from one moment to another; `None` where it says nothing.
    pub(super) fn change(&self, at_s: f64, from_s: f64, spread: &Spread) -> Option<Range> {
        match *self {
            Self::Unchecked { .. } => {
                Some(about(0.0, spread.drift_kpa2_per_s * (at_s - from_s).abs(), spread))
            }
            Self::Between { a, b, .. } => {
                let (moved, variance) = moved((a, b), at_s, from_s, spread);
                Some(about(moved, variance, spread))
            }
            // One anchor's error is the same at both moments; a shape is told by its checks.
            Self::Gas(_) | Self::Check { .. } | Self::Shaped { .. } => None,
        }
    }

    /// The same of the electrode alone, where checks alone tell it: the skin is one and the same for each.
    pub(super) fn electrode(&self) -> Option<Self> {
        match *self {
            Self::Check { point, .. } => Some(Self::Check { point, skin_kpa2: 0.0 }),
            Self::Between { kind: kind @ AnchorKind::GasCheck, a, b, .. } => {
                Some(Self::Between { kind, a, b, untold_kpa2: 0.0 })
            }
            _ => None,
        }
    }

    /// The anchor of what stands on one alone.
    pub(super) fn anchor(&self) -> Option<(AnchorKind, Point)> {
        match *self {
            Self::Gas(point) => Some((AnchorKind::BloodGas, point)),
            Self::Check { point, .. } => Some((AnchorKind::GasCheck, point)),
            _ => None,
        }
    }

    /// Whether it is what several anchors tell together.
    pub(super) fn of_several(&self) -> bool {
        matches!(self, Self::Between { .. } | Self::Shaped { .. })
    }

    /// Whether blood gases alone tell it.
    pub(super) fn of_blood(&self) -> bool {
        matches!(self, Self::Gas(_) | Self::Between { kind: AnchorKind::BloodGas, .. })
    }

    /// Whether a gas check has a part in it.
    pub(super) fn of_checks(&self) -> bool {
        !self.of_blood() && !self.is_unchecked()
    }

    /// Whether it is what gas checks tell together.
    pub(super) fn is_shape(&self) -> bool {
        self.of_several() && self.of_checks()
    }

    /// Whether it is what sensors err by that nothing checked.
    pub(super) fn is_unchecked(&self) -> bool {
        matches!(self, Self::Unchecked { .. })
    }

    /// Whether it stands on this one anchor and others.
    pub(super) fn stands_on(&self, single: &Self) -> bool {
        let Some((of, point)) = single.anchor() else { return false };
        match *self {
            Self::Between { kind, a, b, .. } => kind == of && (a.is(point) || b.is(point)),
            Self::Shaped { gas, a, b } => match of {
                AnchorKind::BloodGas => gas.is(point),
                AnchorKind::GasCheck => a.is(point) || b.is(point),
            },
            _ => false,
        }
    }
}

/// A range about a value.
fn about(value: f64, variance: f64, spread: &Spread) -> Range {
    let half = spread.sds * variance.sqrt();
    (value - half, value + half)
}

/// How far the error moved from one moment to another by two anchors, and the variance of that.
///
/// Between the two drift is a Brownian bridge, of which a step of length `d` in `T` has the variance
/// `s2 d (1 - d / T)`, and the slope's error adds its share; outside them it is a walk, `s2 d`.
fn moved((a, b): (Point, Point), at_s: f64, from_s: f64, spread: &Spread) -> (f64, f64) {
    let inside = |s: f64| s.clamp(a.at_s, b.at_s);
    let length_s = b.at_s - a.at_s;
    let apart_s = inside(at_s) - inside(from_s);
    let share = apart_s / length_s;
    let (out, from_out) = (at_s - inside(at_s), from_s - inside(from_s));
    // On one side of both anchors the walk is that between the moments; on either side it is both walks.
    let outside_s =
        if out * from_out < 0.0 { out.abs() + from_out.abs() } else { (out - from_out).abs() };
    let walked_s = outside_s + apart_s.abs() * (1.0 - share.abs());
    let variance = spread.drift_kpa2_per_s * walked_s + share * share * (a.variance + b.variance);
    ((b.value - a.value) * share, variance)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0.54 kPa in 8 h (`aarrestad-2016`), one standard deviation.
    const SPREAD: Spread = Spread { drift_kpa2_per_s: 0.54 * 0.54 / 28_800.0, sds: 1.0 };

    fn point(hours: f64, value: f64, variance: f64) -> Point {
        Point { at_s: hours * 3600.0, value, variance }
    }

    fn half(range: Option<Range>) -> f64 {
        range.map_or(f64::NAN, |range| (range.1 - range.0) / 2.0)
    }

    /// The variance of a Brownian bridge is greatest halfway, s2 T / 4: 0.54² / 4 kPa² over 8 h; of a
    /// walk, s2 t: 0.54² at 8 h past the anchor.
    #[test]
    fn the_band_is_narrow_at_anchors_and_widens_away_from_them() {
        let (a, b) = (point(0.0, 0.2, 0.01), point(8.0, 0.4, 0.04));
        let between = Known::Between { kind: AnchorKind::BloodGas, a, b, untold_kpa2: 0.0 };
        let middle = between.level(4.0 * 3600.0, &SPREAD);
        let expected = f64::sqrt(0.25 * 0.01 + 0.25 * 0.04 + 0.54 * 0.54 / 4.0);
        assert!((half(middle) - expected).abs() < 1e-12);
        assert!((middle.unwrap().0 + expected - 0.3).abs() < 1e-12);
        assert!((half(between.level(0.0, &SPREAD)) - 0.1).abs() < 1e-12);
        assert_eq!(between.level(9.0 * 3600.0, &SPREAD), None);
        let alone = half(Known::Gas(b).level(16.0 * 3600.0, &SPREAD));
        assert!((alone - f64::sqrt(0.04 + 0.54 * 0.54)).abs() < 1e-12);
    }

    /// A walk of 0.54 kPa in 8 h, whatever an anchor's own error. Two anchors 8 h apart: a bridge, 0.54² / 4
    /// at 4 h from an end, and a quarter of the two anchors' variances.
    #[test]
    fn a_rise_is_as_unsure_as_the_sensor_drifts() {
        let walk = Known::Unchecked { kpa2: 0.2 };
        let change = |known: Known, at: f64, from: f64| {
            half(known.change(at * 3600.0, from * 3600.0, &SPREAD))
        };
        assert!((change(walk, 8.0, 0.0) - 0.54).abs() < 1e-9);
        assert!(change(walk, 3.0, 3.0).abs() < 1e-12);
        let (a, b) = (point(0.0, 0.2, 0.01), point(8.0, 0.2, 0.01));
        let two = Known::Between { kind: AnchorKind::GasCheck, a, b, untold_kpa2: 0.1 };
        let expected = (0.54_f64 * 0.54 / 4.0 + 0.25 * 0.02).sqrt();
        assert!((change(two, 4.0, 0.0) - expected).abs() < 1e-9);
        // From half an hour before the first anchor: a walk to it, and the bridge from there.
        let before = (0.54_f64 * 0.54 * 0.5 / 8.0 + expected * expected).sqrt();
        assert!((change(two, 4.0, -0.5) - before).abs() < 1e-9);
    }

    /// At the blood gas a shape knows what the gas alone knows.
    #[test]
    fn checks_shape_what_a_blood_gas_levels() {
        let (a, b) = (point(0.0, 0.0, 0.01), point(8.0, -0.6, 0.01));
        let gas = point(4.0, -0.5, 0.08);
        let shaped = Known::Shaped { gas, a, b };
        let at = shaped.level(4.0 * 3600.0, &SPREAD);
        assert!((half(at) - f64::sqrt(0.08)).abs() < 1e-12);
        let end = shaped.level(8.0 * 3600.0, &SPREAD);
        assert!((end.map_or(0.0, |r| f64::midpoint(r.0, r.1)) + 0.8).abs() < 1e-12);
        let alone = Known::Gas(gas).level(8.0 * 3600.0, &SPREAD);
        assert!(half(end) < half(alone));
    }
}
