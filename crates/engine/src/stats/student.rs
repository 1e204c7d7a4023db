//! Student's t.

/// The quantile of Student's t: the value below which `share` of the distribution lies.
///
/// `freedom` is the degrees of freedom and need not be whole. `None` unless 0 < `share` < 1 and
/// `freedom` > 0. Found by halving an interval until it can be halved no more.
///
/// # Sources
/// `abramowitz-stegun-1964`, 26.7.1 (through the incomplete beta function, 26.5.8).
pub fn t_quantile(share: f64, freedom: f64) -> Option<f64> {
    let asked = share > 0.0 && share < 1.0 && freedom > 0.0 && freedom.is_finite();
    if !asked {
        return None;
    }
    let tail = share.min(1.0 - share);
    let mut high = 1.0;
    while upper_tail(high, freedom) > tail && high < f64::MAX / 4.0 {
        high *= 2.0;
    }
    let (mut low, mut middle) = (0.0, 0.5 * high);
    while low < middle && middle < high {
        if upper_tail(middle, freedom) > tail {
            low = middle;
        } else {
            high = middle;
        }
        middle = 0.5 * (low + high);
    }
    Some(if share < 0.5 { -middle } else { middle })
}

/// Probability of exceeding `t`, which is not negative.
fn upper_tail(t: f64, freedom: f64) -> f64 {
    0.5 * incomplete_beta(freedom / (freedom + t * t), 0.5 * freedom, 0.5)
}

/// The regularised incomplete beta function of `x` with parameters `a` and `b`.
fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    let log_front = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b)
        + a * libm::log(x)
        + b * libm::log1p(-x);
    let front = libm::exp(log_front);
    // The fraction converges quickly on this side of the mean only; the other follows by symmetry.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(x, a, b) / a
    } else {
        1.0 - front * beta_fraction(1.0 - x, b, a) / b
    }
}

/// The continued fraction of the incomplete beta function, by the modified method of Lentz.
fn beta_fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    const MOST_TERMS: u32 = 10_000;
    let away = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut above = 1.0;
    let mut below = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = below;
    for term in 1..MOST_TERMS {
        let m = f64::from(term);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for numerator in [even, odd] {
            below = 1.0 / away(1.0 + numerator * below);
            above = away(1.0 + numerator / above);
            change = above * below;
            fraction *= change;
        }
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    fraction
}
