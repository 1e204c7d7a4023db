//! Agreement of readers who sort the same nights into classes.

use super::sum;

/// How much of an agreement two classes count as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weights {
    /// The same class or nothing.
    None,
    /// Less by equal steps for each class apart.
    Linear,
    /// Less by the square of the classes apart.
    Quadratic,
}

impl Weights {
    /// The weight of classes `i` and `j` of `classes`.
    fn of(self, i: usize, j: usize, classes: usize) -> f64 {
        let apart = i.abs_diff(j) as f64 / (classes - 1) as f64;
        match self {
            Self::None if i == j => 1.0,
            Self::None => 0.0,
            Self::Linear => 1.0 - apart,
            Self::Quadratic => 1.0 - apart * apart,
        }
    }
}

/// Agreement beyond chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kappa {
    /// Kappa: 1 for full agreement, 0 for what chance alone gives.
    pub kappa: f64,
    /// Agreement seen, a share of 1, weighted.
    pub observed: f64,
    /// Agreement that chance alone gives, a share of 1, weighted.
    pub expected: f64,
    /// Standard error, for an interval around kappa.
    pub se: f64,
    /// Standard error if kappa were 0, for the test.
    pub se0: f64,
    /// `kappa / se0`.
    pub z: f64,
}

/// Cohen's kappa of a square table: `table[i][j]` counts what reader A put in class `i` and B in `j`.
///
/// `None` when the table is not square, has fewer than two classes or no counts, or when chance alone
/// gives full agreement (both readers used one class).
///
/// # Sources
/// `cohen-1960`, `cohen-1968` (weights), `fleiss-cohen-everitt-1969` (standard errors).
pub fn kappa(table: &[Vec<u64>], weights: Weights) -> Option<Kappa> {
    let classes = table.len();
    let square = classes > 1 && table.iter().all(|row| row.len() == classes);
    let count = table.iter().flatten().sum::<u64>() as f64;
    if !square || count == 0.0 {
        return None;
    }
    let share = |i: usize, j: usize| table[i][j] as f64 / count;
    let rows: Vec<f64> = (0..classes).map(|i| sum((0..classes).map(|j| share(i, j)))).collect();
    let columns: Vec<f64> = (0..classes).map(|j| sum((0..classes).map(|i| share(i, j)))).collect();
    let weight = |i, j| weights.of(i, j, classes);
    let over = |term: &dyn Fn(usize, usize) -> f64| {
        sum((0..classes).flat_map(|i| (0..classes).map(move |j| term(i, j))))
    };
    let observed = over(&|i, j| weight(i, j) * share(i, j));
    let expected = over(&|i, j| weight(i, j) * rows[i] * columns[j]);
    let room = 1.0 - expected;
    if room <= 0.0 {
        return None;
    }
    let kappa = (observed - expected) / room;
    let row_mean = |i: usize| sum((0..classes).map(|j| columns[j] * weight(i, j)));
    let column_mean = |j: usize| sum((0..classes).map(|i| rows[i] * weight(i, j)));
    let spread = |i, j, kappa: f64| {
        let off = weight(i, j) - (row_mean(i) + column_mean(j)) * (1.0 - kappa);
        off * off
    };
    let variance = over(&|i, j| share(i, j) * spread(i, j, kappa))
        - (kappa - expected * (1.0 - kappa)) * (kappa - expected * (1.0 - kappa));
    let variance0 = over(&|i, j| rows[i] * columns[j] * spread(i, j, 0.0)) - expected * expected;
    // Rounding may leave a hair below zero where the variance is zero.
    let error = |variance: f64| variance.max(0.0).sqrt() / (room * count.sqrt());
    let (se, se0) = (error(variance), error(variance0));
    Some(Kappa { kappa, observed, expected, se, se0, z: kappa / se0 })
}

/// The table of two readers' classes, each below `classes`.
///
/// `None` when they sorted different numbers of nights or a class is out of range.
pub fn cross_table(a: &[usize], b: &[usize], classes: usize) -> Option<Vec<Vec<u64>>> {
    let fits = a.len() == b.len() && a.iter().chain(b).all(|&class| class < classes);
    fits.then(|| {
        let mut table = vec![vec![0; classes]; classes];
        for (&i, &j) in a.iter().zip(b) {
            table[i][j] += 1;
        }
        table
    })
}

/// Light's kappa of several readers: the mean of the kappas of every two of them.
///
/// `readers[r][s]` is the class, below `classes`, that reader `r` gave night `s`. `None` with fewer
/// than two readers or when any pair has no kappa.
///
/// # Sources
/// `light-1971`
pub fn light_kappa(readers: &[Vec<usize>], classes: usize, weights: Weights) -> Option<f64> {
    let mut kappas = Vec::new();
    for (first, a) in readers.iter().enumerate() {
        for b in &readers[first + 1..] {
            kappas.push(kappa(&cross_table(a, b, classes)?, weights)?.kappa);
        }
    }
    super::mean(&kappas)
}
