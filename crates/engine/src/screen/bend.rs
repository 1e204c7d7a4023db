//! A level that bends: least squares on a constant that a parabola leaves.

/// Fewest points before the bend, and after it.
const LEAST: usize = 3;

/// The best bend in a run of even points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bend {
    /// The index of the last point on the level.
    pub(super) at: usize,
    /// The level.
    pub(super) level: f64,
    /// What the curve gains by a point after the bend, and by a point squared.
    slope: [f64; 2],
}

impl Bend {
    /// The bend with the least squares; `None` of too few points.
    ///
    /// All that depends on where it bends are sums of the points, their places and the places' squares
    /// from there on, so each place costs the same few sums.
    pub(super) fn find(points: &[f64]) -> Option<Self> {
        let count = points.len() as f64;
        let mean = points.iter().sum::<f64>() / count;
        let (mut rest, mut best) = ([0.0; 3], None);
        for at in (0..points.len()).rev() {
            let (y, k) = (points[at] - mean, at as f64);
            for (sum, value) in rest.iter_mut().zip([y, k * y, k * k * y]) {
                *sum += value;
            }
            if at < LEAST || at + LEAST >= points.len() {
                continue;
            }
            let [sum, first, second] = rest;
            // Sums of s y and s² y, with s the points since the bend.
            let right = [0.0, first - k * sum, second - 2.0 * k * first + k * k * sum];
            let Some(x) = solved(places(count, (points.len() - 1 - at) as f64), right) else {
                continue;
            };
            // What the fit takes off the squares: the most is the best.
            let taken = x[1] * right[1] + x[2] * right[2];
            if best.is_none_or(|(most, _)| taken > most) {
                best = Some((taken, Self { at, level: mean + x[0], slope: [x[1], x[2]] }));
            }
        }
        best.map(|(_, bend)| bend)
    }

    /// How far the fitted curve lies above its level at a point.
    pub(super) fn above(&self, index: usize) -> f64 {
        let since = index.saturating_sub(self.at) as f64;
        since * (self.slope[0] + since * self.slope[1])
    }
}

/// Sums of the products of 1, s and s² over `count` points, of which the last `m` have s = 1 … m and the
/// others 0.
fn places(count: f64, m: f64) -> [[f64; 3]; 3] {
    let s1 = m * (m + 1.0) / 2.0;
    let s2 = s1 * (2.0 * m + 1.0) / 3.0;
    let s3 = s1 * s1;
    let s4 = s2 * (3.0 * m * m + 3.0 * m - 1.0) / 5.0;
    [[count, s1, s2], [s1, s2, s3], [s2, s3, s4]]
}

/// Three equations in three unknowns, by elimination; `None` when they have no one answer.
fn solved(left: [[f64; 3]; 3], right: [f64; 3]) -> Option<[f64; 3]> {
    let mut rows = [0, 1, 2].map(|a| [left[a][0], left[a][1], left[a][2], right[a]]);
    for a in 0..3 {
        let pivot = rows[a];
        if pivot[a].abs() < 1e-9 {
            return None;
        }
        for (b, row) in rows.iter_mut().enumerate() {
            if b != a {
                let times = row[a] / pivot[a];
                for (value, pivot) in row.iter_mut().zip(pivot) {
                    *value -= times * pivot;
                }
            }
        }
    }
    Some([0, 1, 2].map(|a| rows[a][3] / rows[a][a]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exact_bend_is_found() {
        let since = |k: i32| f64::from((k - 40).max(0));
        let curve = |k| 5.5 - 0.02 * since(k) - 0.001 * since(k) * since(k);
        let points: Vec<f64> = (0..90).map(curve).collect();
        let bend = Bend::find(&points).unwrap();
        assert_eq!(bend.at, 40);
        assert!((bend.level - 5.5).abs() < 1e-9 && (bend.above(60) + 0.8).abs() < 1e-9, "{bend:?}");
    }

    #[test]
    fn few_points_have_no_bend_and_equal_ones_none_to_speak_of() {
        assert_eq!(Bend::find(&[5.0; 5]), None);
        let flat = Bend::find(&[5.0; 50]).unwrap();
        assert!(flat.above(49).abs() < 1e-9);
    }
}
