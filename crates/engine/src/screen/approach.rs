//! The approach of tcPCO2 to its level after a fitting, fitted to the curve.
//!
//! Two things happen after a fitting, each about exponential in time: CO2 crosses skin and membrane, and
//! the skin warms and its vessels open. Their sum climbs, or falls from a calibrating gas, to the level,
//! with an overshoot or without. So the curve is fitted by a level, a slope for the patient's own
//! change, and one or two exponentials. What the exponentials have left at a moment is the error that
//! remains then.
//!
//! The time constants are taken from a ladder, the amplitudes by least squares, so the fit has one best
//! answer and needs no start. Two exponentials of nearly one time constant can cancel to follow a
//! patient's own swings; so the slower is held to amplitudes of the size of a true overshoot
//! (`domingo-2010`: up to some 8 mmHg) unless the curve insists, and the slope to what sleep does.

use libm::exp;

/// Time constants tried, min: from a membrane's own (`oxford-tc-speed`: a step is complete in about 6
/// min, so under 2 min) to a bubble's under it.
const TAUS_MIN: [f64; 9] = [0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 13.5];

/// The slower time constant is this share of the window at most, or it would be the slope.
const SLOWEST: f64 = 0.31;

/// The faster is this share of the slower at most, or the two would be one.
const APART: f64 = 0.77;

/// Usual size of the slower exponential, kPa: its peak is then well over the highest overshoot.
const USUAL_KPA: f64 = 1.5;

/// Usual slope of a patient's own change, kPa a minute: half a kPa in a quarter of an hour.
const USUAL_KPA_PER_MIN: f64 = 0.03;

/// How far a patient's own swings move CO2, kPa, taken over a minute (as the swings last some minutes,
/// neighbouring points tell little more than one).
const SWING_KPA: f64 = 0.1;

/// Fewest points for a fit.
const LEAST_POINTS: usize = 10;

/// What a point of the curve is: minutes since the fitting, and kPa.
pub(super) type Point = (f64, f64);

/// The fitted approach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Approach {
    /// Time constant in minutes and amplitude in kPa of each exponential.
    parts: [(f64, f64); 2],
    /// The patient's own change.
    pub(super) slope_kpa_per_min: f64,
    /// Root mean square of what the fit leaves.
    pub(super) rest_kpa: f64,
}

impl Approach {
    /// The best approach for points in order of time, spread over `window_min`; `None` of too few.
    pub(super) fn fit(points: &[Point], window_min: f64) -> Option<Self> {
        if points.len() < LEAST_POINTS {
            return None;
        }
        let minutes_apart = window_min / points.len() as f64;
        let prior = SWING_KPA / minutes_apart.min(1.0).sqrt();
        let columns: Vec<Vec<f64>> = TAUS_MIN
            .iter()
            .filter(|&&tau| tau <= SLOWEST * window_min)
            .map(|tau| points.iter().map(|(minutes, _)| exp(-minutes / tau)).collect())
            .collect();
        let fitting = Least { points, columns: &columns, prior };
        (0..columns.len())
            .flat_map(|slow| (0..=slow).map(move |fast| (fast, slow)))
            .filter(|&(fast, slow)| fast == slow || TAUS_MIN[fast] <= APART * TAUS_MIN[slow])
            .filter_map(|(fast, slow)| fitting.solve(fast, slow))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, approach)| approach)
    }

    /// What is left of the approach so many minutes after the fitting, kPa.
    pub(super) fn error_kpa(&self, minutes: f64) -> f64 {
        self.parts.iter().map(|(tau, kpa)| kpa * exp(-minutes / tau)).sum()
    }

    /// Minutes after which the error stays within a limit; `most_min` when it does not by then.
    pub(super) fn settled_min(&self, within_kpa: f64, most_min: f64) -> f64 {
        let mut minutes = most_min;
        while minutes > 0.0 && self.error_kpa(minutes).abs() <= within_kpa {
            minutes -= STEP_MIN;
        }
        (minutes + STEP_MIN).min(most_min)
    }
}

/// How finely the end is looked for, min.
const STEP_MIN: f64 = 1.0 / 6.0;

/// Least squares on level, slope and one or two exponentials.
struct Least<'a> {
    points: &'a [Point],
    columns: &'a [Vec<f64>],
    prior: f64,
}

impl Least<'_> {
    /// The cost and the approach with these two time constants, one exponential when they are the same.
    fn solve(&self, fast: usize, slow: usize) -> Option<(f64, Approach)> {
        let (first, last) = (self.points.first()?, self.points.last()?);
        let middle_min = f64::midpoint(first.0, last.0);
        let count = if fast == slow { 3 } else { 4 };
        let row = |i: usize| {
            let minutes = self.points[i].0 - middle_min;
            [1.0, minutes, self.columns[fast][i], self.columns[slow][i]]
        };
        let mut sums = [[0.0; 5]; 4];
        for (i, point) in self.points.iter().enumerate() {
            let row = row(i);
            for a in 0..count {
                for b in 0..=a {
                    sums[a][b] += row[a] * row[b];
                }
                sums[a][4] += row[a] * (point.1 - last.1);
            }
        }
        let held = |usual: f64| (self.prior / usual) * (self.prior / usual);
        sums[1][1] += held(USUAL_KPA_PER_MIN);
        sums[3][3] += held(USUAL_KPA);
        let x = cholesky(&mut sums, count)?;
        let rest2: f64 = (0..self.points.len())
            .map(|i| {
                let fitted: f64 = row(i).iter().zip(&x).take(count).map(|(r, x)| r * x).sum();
                let left = self.points[i].1 - last.1 - fitted;
                left * left
            })
            .sum();
        let pulled = held(USUAL_KPA_PER_MIN) * x[1] * x[1] + held(USUAL_KPA) * x[3] * x[3];
        let approach = Approach {
            parts: [(TAUS_MIN[fast], x[2]), (TAUS_MIN[slow], x[3])],
            slope_kpa_per_min: x[1],
            rest_kpa: (rest2 / self.points.len() as f64).sqrt(),
        };
        Some((rest2 + pulled, approach))
    }
}

/// Solves the first `count` normal equations, given as lower triangle with the right side last; the
/// unknowns beyond are zero. `None` when they have no one answer.
fn cholesky(sums: &mut [[f64; 5]; 4], count: usize) -> Option<[f64; 4]> {
    for a in 0..count {
        for b in 0..=a {
            let inner: f64 = (0..b).map(|k| sums[a][k] * sums[b][k]).sum();
            let left = sums[a][b] - inner;
            if a == b {
                if left <= 1e-12 {
                    return None;
                }
                sums[a][a] = left.sqrt();
            } else {
                sums[a][b] = left / sums[b][b];
            }
        }
    }
    let mut x = [0.0; 4];
    for a in 0..count {
        let inner: f64 = (0..a).map(|k| sums[a][k] * x[k]).sum();
        x[a] = (sums[a][4] - inner) / sums[a][a];
    }
    for a in (0..count).rev() {
        let inner: f64 = (a + 1..count).map(|k| sums[k][a] * x[k]).sum();
        x[a] = (x[a] - inner) / sums[a][a];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(curve: impl Fn(f64) -> f64, window_min: f64) -> Vec<Point> {
        let count = 6 * 20;
        let minutes = (9..count).map(|i| window_min * f64::from(i) / f64::from(count));
        minutes.map(|minutes| (minutes, curve(minutes))).collect()
    }

    /// exp(-t / 2) of 5.5 kPa is under 0.1 kPa from 2 ln 55 = 8.01 min on.
    #[test]
    fn one_exponential_settles_when_its_error_is_small() {
        let curve = |minutes: f64| 5.5 * (1.0 - exp(-minutes / 2.0));
        let fit = Approach::fit(&points(curve, 20.0), 20.0).unwrap();
        assert!((fit.settled_min(0.1, 45.0) - 8.0).abs() < 1.0, "{fit:?}");
        assert!(fit.rest_kpa < 0.02, "{fit:?}");
    }

    /// 2 exp(-t / 4) is under 0.1 kPa from 4 ln 20 = 11.98 min on; the fast part is gone by then.
    #[test]
    fn an_overshoot_lasts_until_it_has_gone() {
        let curve = |minutes: f64| 5.5 - 7.5 * exp(-minutes / 1.2) + 2.0 * exp(-minutes / 4.0);
        let fit = Approach::fit(&points(curve, 20.0), 20.0).unwrap();
        assert!((fit.settled_min(0.1, 45.0) - 12.0).abs() < 2.0, "{fit:?}");
    }

    /// A sleeper's CO2 rising by 0.8 kPa in 20 min, after an approach over in 1.2 ln 60 = 4.9 min.
    #[test]
    fn a_patients_own_rise_is_no_approach() {
        let curve = |minutes: f64| 5.5 - 6.0 * exp(-minutes / 1.2) + 0.04 * minutes;
        let fit = Approach::fit(&points(curve, 20.0), 20.0).unwrap();
        assert!(fit.settled_min(0.1, 45.0) < 8.0, "{fit:?}");
        assert!((fit.slope_kpa_per_min - 0.04).abs() < 0.01, "{fit:?}");
    }

    #[test]
    fn too_few_points_give_no_fit_and_constant_ones_do() {
        assert_eq!(Approach::fit(&[(1.0, 5.0); 5], 20.0), None);
        let flat = Approach::fit(&points(|_| 5.0, 20.0), 20.0).unwrap();
        assert!(flat.settled_min(0.1, 45.0) < 0.5);
    }
}
