//! Agreement of two methods that measure the same thing.

use super::{mean, sd, sum, t_quantile};

/// A stretch of numbers, both ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Interval {
    /// From `middle - half` to `middle + half`.
    fn around(middle: f64, half: f64) -> Self {
        Self { low: middle - half, high: middle + half }
    }
}

/// How two methods agree, in the unit of their readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlandAltman {
    /// How many pairs.
    pub count: usize,
    /// Mean difference, the bias.
    pub mean: f64,
    /// Standard deviation of the differences.
    pub sd: f64,
    /// Limits of agreement.
    pub limits: Interval,
    /// Standard error of the mean difference.
    pub mean_se: f64,
    /// Standard error of either limit.
    pub limit_se: f64,
    /// 95 % confidence interval of the mean difference.
    pub mean_ci: Interval,
    /// 95 % confidence interval of the lower limit.
    pub low_ci: Interval,
    /// 95 % confidence interval of the upper limit.
    pub high_ci: Interval,
}

/// Agreement from differences, one a subject, with limits at the mean ± `sds` standard deviations.
///
/// `sds` is 2 in the paper of 1986 and 1.96 in that of 1999. The standard error of a limit is
/// √(3 s²/n) and the intervals take Student's t with n − 1 degrees of freedom, as in 1986. `None` of
/// fewer than two differences.
///
/// # Sources
/// `bland-altman-1986`, `bland-altman-1999`
pub fn bland_altman(differences: &[f64], sds: f64) -> Option<BlandAltman> {
    let n = differences.len() as f64;
    let mean = mean(differences)?;
    let sd = sd(differences)?;
    let t = t_quantile(0.975, n - 1.0)?;
    let mean_se = sd / n.sqrt();
    let limit_se = (3.0 * sd * sd / n).sqrt();
    let limits = Interval::around(mean, sds * sd);
    Some(BlandAltman {
        count: differences.len(),
        mean,
        sd,
        limits,
        mean_se,
        limit_se,
        mean_ci: Interval::around(mean, t * mean_se),
        low_ci: Interval::around(limits.low, t * limit_se),
        high_ci: Interval::around(limits.high, t * limit_se),
    })
}

/// Standard deviation of the differences between a method's two readings of each subject, about zero.
///
/// The method is taken to agree with itself on average, so the mean square is taken about zero and
/// divided by n. Twice this is the coefficient of repeatability of 1986. `None` of nothing.
///
/// # Sources
/// `bland-altman-1986`
pub fn repeatability(differences: &[f64]) -> Option<f64> {
    let squares = sum(differences.iter().map(|d| d * d));
    (!differences.is_empty()).then(|| (squares / differences.len() as f64).sqrt())
}

/// Standard deviation of the difference of single readings, when each method was read twice and
/// `sd_of_means` is that of the differences of the two readings' means.
///
/// `repeat_a` and `repeat_b` are the standard deviations of each method's own differences.
///
/// # Sources
/// `bland-altman-1986`
pub fn sd_of_single_readings(sd_of_means: f64, repeat_a: f64, repeat_b: f64) -> f64 {
    (sd_of_means * sd_of_means + 0.25 * repeat_a * repeat_a + 0.25 * repeat_b * repeat_b).sqrt()
}
