//! How far the sensor's error may have moved between two moments: the band around a rise.
//!
//! A rise is the difference of two readings of one sensor on one skin. What does not change between them,
//! the skin's offset and an anchor's own error, falls out of the difference; only drift is left, and the
//! error of the line's slope between anchors. So a rise is surer than either level.

use crate::correct::line::Line;

/// What of CO2's error may have changed from one moment to another.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wander {
    /// Growth of the variance of drift, kPa² a second; zero where nothing is known of the error.
    drift_kpa2_per_s: f64,
    /// The first and the last anchor's moments, and the variance of the difference of their errors, kPa².
    between: Option<(f64, f64, f64)>,
    /// How many standard deviations the band takes.
    band_sds: f64,
}

impl Wander {
    /// Of a line whose values are `scale_kpa`: 1 kPa for what is added, the level where it multiplies.
    pub(super) fn of(line: &Line, scale_kpa: f64, band_sds: f64) -> Self {
        let points = line.points();
        let between = points.first().zip(points.last()).filter(|(a, b)| a.at_s < b.at_s);
        let kpa2 = scale_kpa * scale_kpa;
        let between = between.map(|(a, b)| (a.at_s, b.at_s, kpa2 * (a.variance + b.variance)));
        Self { drift_kpa2_per_s: line.drift_kpa2_per_s(), between, band_sds }
    }

    /// Half the width of the band around what CO2 at one moment lies above what it was at another, kPa.
    ///
    /// Between the first and the last anchor drift is a Brownian bridge, of which a step of length `d` in `T`
    /// has the variance `s2 d (1 - d / T)`, and the slope's error adds its share; outside them it is a walk,
    /// `s2 d`.
    pub fn half_band_kpa(&self, at_s: f64, from_s: f64) -> f64 {
        let (walked_s, slope_kpa2) = match self.between {
            None => ((at_s - from_s).abs(), 0.0),
            Some((first_s, last_s, variance)) => {
                let inside = |s: f64| s.clamp(first_s, last_s);
                let apart_s = (inside(at_s) - inside(from_s)).abs();
                let share = apart_s / (last_s - first_s);
                let outside_s = (at_s - inside(at_s) - (from_s - inside(from_s))).abs();
                let across = (at_s - inside(at_s)) * (from_s - inside(from_s)) < 0.0;
                let both_s = (at_s - inside(at_s)).abs() + (from_s - inside(from_s)).abs();
                let outside_s = if across { both_s } else { outside_s };
                (outside_s + apart_s * (1.0 - share), share * share * variance)
            }
        };
        self.band_sds * (self.drift_kpa2_per_s * walked_s + slope_kpa2).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::line::Point;

    /// One anchor: a walk of 0.54 kPa in 8 h (`aarrestad-2016`), whatever the anchor's own error. Two, 8 h
    /// apart: a bridge, 0.54² / 4 at 4 h from an end, and a quarter of the two anchors' variances.
    #[test]
    fn a_rise_is_as_unsure_as_the_sensor_drifts() {
        let point = |hours: f64, variance| Point { at_s: hours * 3600.0, value: 0.2, variance };
        let one = Line::through(vec![point(8.0, 0.08)], 0.54).unwrap();
        let band = |line: &Line, at: f64, from: f64| {
            Wander::of(line, 1.0, 1.0).half_band_kpa(at * 3600.0, from * 3600.0)
        };
        assert!((band(&one, 8.0, 0.0) - 0.54).abs() < 1e-9);
        assert!(band(&one, 3.0, 3.0).abs() < 1e-12);
        let two = Line::through(vec![point(0.0, 0.01), point(8.0, 0.01)], 0.54).unwrap();
        let expected = (0.54_f64 * 0.54 / 4.0 + 0.25 * 0.02).sqrt();
        assert!((band(&two, 4.0, 0.0) - expected).abs() < 1e-9);
        // From half an hour before the first anchor: a walk to it, and the bridge from there.
        let before = (0.54_f64 * 0.54 * 0.5 / 8.0 + expected * expected).sqrt();
        assert!((band(&two, 4.0, -0.5) - before).abs() < 1e-9);
        assert!(Wander::default().half_band_kpa(9e3, 0.0).abs() < 1e-12);
    }
}
