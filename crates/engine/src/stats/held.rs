//! Levels held for a while: the farthest one that a number of neighbours in a row all keep to.

/// The highest level that some `count` numbers in a row all reach.
///
/// Between NaN there is no row. `None` when no row is long enough; `count` is 1 at least.
pub fn highest_held(numbers: &[f64], count: usize) -> Option<f64> {
    farthest(numbers, count, 1.0)
}

/// The lowest level that some `count` numbers in a row all stay down to; the rest as [`highest_held`].
pub fn lowest_held(numbers: &[f64], count: usize) -> Option<f64> {
    farthest(numbers, count, -1.0).map(|level| -level)
}

fn farthest(numbers: &[f64], count: usize, sign: f64) -> Option<f64> {
    numbers
        .split(|x| x.is_nan())
        .filter(|row| row.len() >= count)
        .map(|row| farthest_window(row, count, sign))
        .reduce(greater)
}

/// The largest, over all windows of `count` numbers, of the smallest number times `sign`.
///
/// The row is cut into blocks of one window's length. A window is the end of one block and the start of
/// the next, so its smallest number is the smaller of two running ones, and each number is looked at a
/// fixed number of times however long the window.
fn farthest_window(row: &[f64], count: usize, sign: f64) -> f64 {
    if count == 1 {
        return row.iter().fold(f64::NEG_INFINITY, |most, x| greater(most, sign * x));
    }
    let mut best = f64::NEG_INFINITY;
    let mut ends = vec![0.0; count];
    for start in (0..=row.len() - count).step_by(count) {
        let (block, after) = row[start..].split_at(count);
        let mut least = f64::INFINITY;
        for (x, end) in block.iter().zip(&mut ends).rev() {
            least = lesser(least, sign * x);
            *end = least;
        }
        best = greater(best, least);
        let mut least = f64::INFINITY;
        for (x, end) in after.iter().zip(&ends[1..]) {
            least = lesser(least, sign * x);
            best = greater(best, lesser(least, *end));
        }
    }
    best
}

/// The smaller of two numbers that are no NaN: one instruction, where [`f64::min`] looks for a NaN too.
fn lesser(a: f64, b: f64) -> f64 {
    if b < a { b } else { a }
}

/// The greater of two numbers that are no NaN.
fn greater(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every window in turn, every number of it in turn.
    fn highest_held_slowly(numbers: &[f64], count: usize) -> Option<f64> {
        numbers
            .windows(count)
            .filter(|window| window.iter().all(|x| !x.is_nan()))
            .map(|window| window.iter().copied().fold(f64::INFINITY, f64::min))
            .reduce(f64::max)
    }

    proptest! {
        #[test]
        fn the_level_is_that_of_trying_every_window(
            numbers in prop::collection::vec(
                prop_oneof![19 => 80.0..100.0_f64, 1 => Just(f64::NAN)], 0..120
            ),
            count in 1_usize..20,
        ) {
            prop_assert_eq!(highest_held(&numbers, count), highest_held_slowly(&numbers, count));
            let turned: Vec<f64> = numbers.iter().map(|x| -x).collect();
            let lowest = highest_held_slowly(&turned, count).map(|level| -level);
            prop_assert_eq!(lowest_held(&numbers, count), lowest);
        }
    }

    #[test]
    fn no_window_no_level() {
        assert_eq!(highest_held(&[6.0, f64::NAN, 6.0], 2), None);
        assert_eq!(highest_held(&[6.0, 6.5, 7.0, 6.0], 2), Some(6.5));
        assert_eq!(lowest_held(&[6.0, 6.5, 7.0, 6.0], 2), Some(6.5));
    }
}
