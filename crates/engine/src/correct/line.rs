//! The sensor's error as a line through the anchors.
//!
//! Between two anchors the error runs straight (`berlowitz-2011`: time had a linear effect on it).
//! Outside them it is held, never extrapolated. How unsure it is at each moment the bounds tell.

use super::Point;

/// The line through the points.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    points: Vec<Point>,
}

impl Line {
    /// A line through points in order of time; those closer than `apart_s` are averaged, each weighing
    /// `1 / variance`, since they tell the error and not how it moves. `None` without points.
    pub(super) fn through(points: Vec<Point>, apart_s: f64) -> Option<Self> {
        let points = averaged(points, apart_s);
        (!points.is_empty()).then_some(Self { points })
    }

    /// The same shape, moved as a whole so that it passes through a point.
    #[must_use]
    pub(super) fn moved_to(mut self, point: Point) -> Self {
        let shift = point.value - self.at(point.at_s);
        for known in &mut self.points {
            known.value += shift;
        }
        self
    }

    pub(super) fn points(&self) -> &[Point] {
        &self.points
    }

    /// kPa to add, or the factor to multiply by.
    pub(super) fn at(&self, at_s: f64) -> f64 {
        let after = self.points.partition_point(|point| point.at_s <= at_s);
        match (after.checked_sub(1).map(|i| self.points[i]), self.points.get(after)) {
            (Some(a), Some(b)) => {
                let w = (at_s - a.at_s) / (b.at_s - a.at_s);
                a.value + (b.value - a.value) * w
            }
            (Some(held), None) | (None, Some(&held)) => held.value,
            (None, None) => 0.0,
        }
    }
}

/// Points close together made one.
fn averaged(mut points: Vec<Point>, apart_s: f64) -> Vec<Point> {
    points.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let mut merged: Vec<Point> = Vec::with_capacity(points.len());
    for point in points {
        match merged.last_mut() {
            // A second at least: no line runs through two points of one moment.
            Some(last) if point.at_s - last.at_s < apart_s.max(1.0) => {
                *last = average(*last, point);
            }
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
        let line = Line::through(vec![point(0.0, -4.0, 0.1), point(8.0, -6.0, 0.1)], 0.0).unwrap();
        for (hours, sensor, corrected) in
            [(4.0, 56.0, 51.0), (2.0, 56.0, 51.5), (8.0, 52.0, 46.0), (0.0, 48.0, 44.0)]
        {
            let value = line.at(hours * 3600.0);
            assert!((sensor + value - corrected).abs() < 1e-9, "{hours} h");
        }
    }

    /// Inverse-variance weights 4 : 1.
    #[test]
    fn anchors_of_one_moment_are_averaged_by_their_precision() {
        let line = Line::through(vec![point(1.0, 0.0, 0.1), point(1.0, 1.0, 0.4)], 0.0).unwrap();
        assert_eq!(line.points().len(), 1);
        assert!((line.at(3600.0) - 0.2).abs() < 1e-12);
        let exact = Line::through(vec![point(1.0, 0.0, 0.0), point(1.0, 1.0, 0.0)], 0.0).unwrap();
        assert!((exact.at(3600.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn anchors_close_together_are_one_point_and_give_no_slope() {
        let points = vec![point(1.0, 0.0, 0.1), point(1.1, 1.0, 0.1), point(8.0, 2.0, 0.1)];
        let line = Line::through(points, 1800.0).unwrap();
        assert_eq!(line.points().len(), 2);
        assert!((line.at(3600.0) - 0.5).abs() < 1e-12);
    }
}
