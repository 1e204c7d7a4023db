//! Statistics: means, percentiles, intervals, agreement.

/// The median; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let middle = sorted.len().checked_sub(1)? / 2;
    Some(f64::midpoint(sorted[middle], sorted[sorted.len() / 2]))
}
