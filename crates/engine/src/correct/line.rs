//! The sensor's error as a line through the anchors, and how unsure it is at each moment.
//!
//! Between two anchors the error runs straight (`berlowitz-2011`: time had a linear effect on it).
//! Outside them it is held, never extrapolated. Its variance has two parts: that of the anchors, and
//! that of drift that may have wandered in between. Drift is taken as a random walk whose spread over
//! eight hours is published (`aarrestad-2016`, 0.54 kPa), so between anchors `a` and `b` it is a
//! Brownian bridge, variance `s2 (t - a)(b - t) / (b - a)`, and outside them it grows as `s2` times the
//! time to the nearest.

/// A moment at which the error, or the ratio, is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) at_s: f64,
    /// kPa to add, or the factor to multiply by.
    pub(super) value: f64,
    /// Variance of `value`.
    pub(super) variance: f64,
}

/// The line through the points.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    points: Vec<Point>,
    /// Growth of the variance of drift, kPa² a second.
    drift_kpa2_per_s: f64,
    /// Variance of a constant added to all points, kPa².
    level_kpa2: f64,
    /// Variance of what no anchor tells, kPa².
    untold_kpa2: f64,
}

/// The line at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct At {
    /// kPa to add, or the factor to multiply by.
    pub(super) value: f64,
    /// Variance of `value` from the anchors.
    pub(super) variance: f64,
    /// Variance from drift, and from what no anchor tells, kPa².
    pub(super) drift_kpa2: f64,
}

impl Line {
    /// A line through points in order of time; those of one moment are averaged, each weighing
    /// `1 / variance`. `None` without points.
    pub(super) fn through(points: Vec<Point>, drift_sd_kpa_per_8h: f64) -> Option<Self> {
        let points = averaged(points);
        let drift_kpa2_per_s = drift_sd_kpa_per_8h * drift_sd_kpa_per_8h / (8.0 * 3600.0);
        (!points.is_empty()).then_some(Self {
            points,
            drift_kpa2_per_s,
            level_kpa2: 0.0,
            untold_kpa2: 0.0,
        })
    }

    /// The same shape, moved as a whole so that it passes through a point; the point's variance then
    /// counts everywhere. At the point itself that is a little more than is unknown.
    #[must_use]
    pub(super) fn moved_to(mut self, point: Point) -> Self {
        let shift = point.value - self.at(point.at_s).value;
        for known in &mut self.points {
            known.value += shift;
        }
        self.level_kpa2 = point.variance;
        self
    }

    /// The same line with an error everywhere that no anchor tells, by its standard deviation.
    #[must_use]
    pub(super) fn unsure_by(mut self, sd_kpa: f64) -> Self {
        self.untold_kpa2 = sd_kpa * sd_kpa;
        self
    }

    pub(super) fn drift_kpa2_per_s(&self) -> f64 {
        self.drift_kpa2_per_s
    }

    pub(super) fn points(&self) -> &[Point] {
        &self.points
    }

    pub(super) fn at(&self, at_s: f64) -> At {
        let after = self.points.partition_point(|point| point.at_s <= at_s);
        let (before, after) =
            (after.checked_sub(1).map(|i| self.points[i]), self.points.get(after));
        let mut at = match (before, after) {
            (Some(a), Some(b)) => self.between(a, *b, at_s),
            (Some(held), None) | (None, Some(&held)) => At {
                value: held.value,
                variance: held.variance,
                drift_kpa2: self.drift_kpa2_per_s * (at_s - held.at_s).abs(),
            },
            (None, None) => At { value: 0.0, variance: 0.0, drift_kpa2: 0.0 },
        };
        at.variance += self.level_kpa2;
        at.drift_kpa2 += self.untold_kpa2;
        at
    }

    fn between(&self, a: Point, b: Point, at_s: f64) -> At {
        let length_s = b.at_s - a.at_s;
        let w = (at_s - a.at_s) / length_s;
        At {
            value: a.value + (b.value - a.value) * w,
            // The anchors err independently, so their shares' squares weigh.
            variance: (1.0 - w) * (1.0 - w) * a.variance + w * w * b.variance,
            drift_kpa2: self.drift_kpa2_per_s * w * (1.0 - w) * length_s,
        }
    }
}

/// Points of one moment made one.
fn averaged(mut points: Vec<Point>) -> Vec<Point> {
    points.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let mut merged: Vec<Point> = Vec::with_capacity(points.len());
    for point in points {
        match merged.last_mut() {
            Some(last) if point.at_s - last.at_s < 1.0 => *last = average(*last, point),
            _ => merged.push(point),
        }
    }
    merged
}

fn average(a: Point, b: Point) -> Point {
    // A department may set an anchor's spread to zero: then the two weigh the same.
    let weight = |point: Point| 1.0 / point.variance.max(f64::MIN_POSITIVE.sqrt());
    let (wa, wb) = (weight(a), weight(b));
    Point {
        at_s: a.at_s,
        value: (a.value * wa + b.value * wb) / (wa + wb),
        variance: if a.variance.min(b.variance) > 0.0 { 1.0 / (wa + wb) } else { 0.0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(hours: f64, value: f64, variance: f64) -> Point {
        Point { at_s: hours * 3600.0, value, variance }
    }

    /// Check values worked from the method of `berlowitz-2011`, in mmHg: sensor 48 against blood 44 at
    /// 0 h, 52 against 46 at 8 h.
    #[test]
    fn the_error_runs_straight_between_two_blood_gases() {
        let line = Line::through(vec![point(0.0, -4.0, 0.1), point(8.0, -6.0, 0.1)], 0.54).unwrap();
        for (hours, sensor, corrected) in
            [(4.0, 56.0, 51.0), (2.0, 56.0, 51.5), (8.0, 52.0, 46.0), (0.0, 48.0, 44.0)]
        {
            let value = line.at(hours * 3600.0).value;
            assert!((sensor + value - corrected).abs() < 1e-9, "{hours} h");
        }
    }

    /// The variance of a Brownian bridge is greatest halfway, s2 T / 4: 0.54² / 4 kPa² over 8 h; of a
    /// walk, s2 t: 0.54² at 8 h past the last anchor (`aarrestad-2016` for 0.54).
    #[test]
    fn the_band_is_narrow_at_anchors_and_widens_away_from_them() {
        let line = Line::through(vec![point(0.0, 0.2, 0.01), point(8.0, 0.4, 0.04)], 0.54).unwrap();
        let drift = |hours: f64| line.at(hours * 3600.0).drift_kpa2;
        for (hours, expected) in [
            (0.0, 0.0),
            (4.0, 0.54 * 0.54 / 4.0),
            (8.0, 0.0),
            (16.0, 0.54 * 0.54),
            (-8.0, 0.54 * 0.54),
        ] {
            assert!((drift(hours) - expected).abs() < 1e-12, "{hours} h");
        }
        let middle = line.at(4.0 * 3600.0);
        assert!((middle.value - 0.3).abs() < 1e-12);
        assert!((middle.variance - (0.25 * 0.01 + 0.25 * 0.04)).abs() < 1e-12);
    }

    /// Inverse-variance weights 4 : 1.
    #[test]
    fn anchors_of_one_moment_are_averaged_by_their_precision() {
        let line = Line::through(vec![point(1.0, 0.0, 0.1), point(1.0, 1.0, 0.4)], 0.5).unwrap();
        assert_eq!(line.points().len(), 1);
        let at = line.at(3600.0);
        assert!((at.value - 0.2).abs() < 1e-12 && (at.variance - 0.08).abs() < 1e-12);
        let exact = Line::through(vec![point(1.0, 0.0, 0.0), point(1.0, 1.0, 0.0)], 0.5).unwrap();
        assert!((exact.at(3600.0).value - 0.5).abs() < 1e-12);
    }
}
