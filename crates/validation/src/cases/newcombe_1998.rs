//! The Wilson interval of a share.

use engine::stats::wilson;

use crate::{Figure, Limits, Outcome, Suite};

/// The normal quantile of 95 %.
const Z: f64 = 1.959_964;

/// Four worked examples, and shares that the other sources print.
pub(super) fn suite() -> Suite {
    let table = [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (23, 60, 0.2709, 0.5098),
        (9, 26, 0.194, 0.538),
    ];
    let rows = table
        .iter()
        .flat_map(|&(of, count, low, high)| {
            let found = wilson(of, count, Z).map_or((f64::NAN, f64::NAN), |i| (i.low, i.high));
            [
                Figure::new(format!("{of} of {count}, from"), low, found.0),
                Figure::new(format!("{of} of {count}, to"), high, found.1),
            ]
        })
        .collect();
    Suite {
        title: "Wilson interval",
        source: "newcombe-1998",
        place: "its four examples, and 23/60 and 9/26 by arithmetic",
        outcome: Outcome::Figures {
            rows,
            digits: 4,
            limits: Limits {
                q75: 5.1e-5,
                q99: 5.1e-4,
                max: 5.1e-4,
                because: "half of the last digit printed; 9/26 is printed with three",
            },
        },
    }
}
