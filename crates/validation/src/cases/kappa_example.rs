//! Agreement of two readers beyond chance.

use engine::stats::{Kappa, Weights, kappa};

use crate::{Figure, Limits, Outcome, Suite};

const NONE: Kappa = Kappa {
    kappa: f64::NAN,
    observed: f64::NAN,
    expected: f64::NAN,
    se: f64::NAN,
    se0: f64::NAN,
    z: f64::NAN,
};

/// The worked 3 × 3 table, its weighted forms, and three 2 × 2 tables that show the paradox.
pub(super) fn suite() -> Suite {
    let of = |table: &[&[u64]], weights| {
        let table: Vec<Vec<u64>> = table.iter().map(|row| row.to_vec()).collect();
        kappa(&table, weights).unwrap_or(NONE)
    };
    let three: [&[u64]; 3] = [&[25, 3, 5], &[6, 32, 8], &[1, 0, 20]];
    let plain = of(&three, Weights::None);
    let rows = [
        ("3 × 3: agreement seen", 0.770, plain.observed),
        ("3 × 3: agreement by chance", 0.336, plain.expected),
        ("3 × 3: kappa", 0.653_667, plain.kappa),
        ("3 × 3: standard error at 0", 0.069_374, plain.se0),
        ("3 × 3: z", 9.422_344, plain.z),
        ("3 × 3: standard error", 0.062_076, plain.se),
        ("3 × 3: kappa, linear weights", 0.654_844, of(&three, Weights::Linear).kappa),
        ("3 × 3: kappa, quadratic weights", 0.656_156, of(&three, Weights::Quadratic).kappa),
        ("20 5 / 10 15: kappa", 0.4, of(&[&[20, 5], &[10, 15]], Weights::None).kappa),
        ("85 5 / 5 5: kappa", 0.444_444, of(&[&[85, 5], &[5, 5]], Weights::None).kappa),
        ("47 5 / 5 43: kappa", 0.799_679, of(&[&[47, 5], &[5, 43]], Weights::None).kappa),
    ];
    Suite {
        title: "Kappa",
        source: "kappa-example",
        place: "its worked table; further tables by arithmetic",
        outcome: Outcome::Figures {
            rows: rows.map(|(what, expected, found)| Figure::new(what, expected, found)).into(),
            digits: 6,
            limits: Limits {
                q75: 1e-6,
                q99: 1e-3,
                max: 1e-3,
                because: "six digits from the table; the two shares are printed with three",
            },
        },
    }
}
