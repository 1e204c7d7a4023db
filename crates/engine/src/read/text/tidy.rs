//! Rows in order of time, each time once.

use crate::finding::Finding;
use crate::finding::Weight;

/// What putting rows in order had to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tidied {
    /// Rows that came after a later one.
    pub(super) unordered: usize,
    /// Rows that repeat time and values.
    pub(super) repeated: usize,
    /// Rows that fill what an earlier row of the same time left empty.
    pub(super) joined: usize,
    /// Rows that contradict an earlier row of the same time.
    pub(super) contradicting: usize,
}

impl Tidied {
    /// Adds the counts of another set of rows.
    pub(super) fn add(&mut self, other: Self) {
        self.unordered += other.unordered;
        self.repeated += other.repeated;
        self.joined += other.joined;
        self.contradicting += other.contradicting;
    }

    /// What to tell.
    pub(super) fn findings(&self) -> Vec<Finding> {
        let told = [
            (
                self.unordered,
                "rows_unordered",
                Weight::Note,
                "Rows that came after later ones",
                "put in order of time",
            ),
            (
                self.repeated,
                "rows_repeated",
                Weight::Note,
                "Rows that repeat an earlier one, time and values alike",
                "left out",
            ),
            (
                self.joined,
                "rows_joined",
                Weight::Note,
                "Rows that fill cells an earlier row of the same time left empty",
                "joined to it",
            ),
            (
                self.contradicting,
                "rows_contradict",
                Weight::Caution,
                "Rows that give other values for a time an earlier row gave",
                "left out",
            ),
        ];
        told.into_iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, code, weight, what, done)| {
                Finding::new(code, weight, format!("{what}: {count}, {done}."))
            })
            .collect()
    }
}

/// Puts rows in order of time and keeps one row for each time.
pub(super) fn tidy(at_us: &mut Vec<i64>, columns: &mut [&mut Vec<f64>]) -> Tidied {
    let mut done = Tidied::default();
    if at_us.is_sorted_by(|a, b| a < b) {
        return done;
    }
    let mut latest = i64::MIN;
    for &us in at_us.iter() {
        done.unordered += usize::from(us < latest);
        latest = latest.max(us);
    }
    if done.unordered > 0 {
        // Stable, so that of two rows with one time the file's first stays first.
        let mut order: Vec<usize> = (0..at_us.len()).collect();
        order.sort_by_key(|&row| at_us[row]);
        *at_us = order.iter().map(|&row| at_us[row]).collect();
        for column in columns.iter_mut() {
            **column = order.iter().map(|&row| column[row]).collect();
        }
    }
    once_each(at_us, columns, &mut done);
    done
}

fn once_each(at_us: &mut Vec<i64>, columns: &mut [&mut Vec<f64>], done: &mut Tidied) {
    let mut kept = 0;
    for row in 1..at_us.len() {
        if at_us[row] != at_us[kept] {
            kept += 1;
            at_us[kept] = at_us[row];
            for column in columns.iter_mut() {
                column[kept] = column[row];
            }
            continue;
        }
        let same = |a: f64, b: f64| a.to_bits() == b.to_bits() || (a.is_nan() && b.is_nan());
        let fits = |a: f64, b: f64| same(a, b) || a.is_nan() || b.is_nan();
        if columns.iter().all(|column| same(column[kept], column[row])) {
            done.repeated += 1;
        } else if columns.iter().all(|column| fits(column[kept], column[row])) {
            done.joined += 1;
            for column in columns.iter_mut().filter(|column| column[kept].is_nan()) {
                column[kept] = column[row];
            }
        } else {
            done.contradicting += 1;
        }
    }
    let length = kept + 1;
    at_us.truncate(length);
    for column in columns.iter_mut() {
        column.truncate(length);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_time_stays_once_and_in_order() {
        let mut at_us = vec![2, 1, 2, 3, 3, 3];
        let mut a = vec![97.0, 96.0, 97.0, f64::NAN, 95.0, 94.0];
        let done = tidy(&mut at_us, &mut [&mut a]);
        assert_eq!(at_us, [1, 2, 3]);
        assert_eq!(a, [96.0, 97.0, 95.0]);
        assert_eq!(done, Tidied { unordered: 1, repeated: 1, joined: 1, contradicting: 1 });
    }
}
