//! Falls an hour at the bands' edges.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

/// Eight hours.
const NIGHT_S: usize = 28_800;

/// Eight hours with so many falls of `depth` from 96 %, each 16 s down and 16 s up, spread evenly.
fn falls(count: usize, depth: f64) -> Night {
    let every = NIGHT_S / count.max(1);
    let curve = Curve::awake(97.0).repeat(count, |c| {
        let quiet = (every - 40) / 2;
        c.hold(96.0, quiet)
            .ramp(96.0 - depth, 16)
            .hold(96.0 - depth, 8)
            .ramp(96.0, 16)
            .hold(96.0, every - 40 - quiet)
    });
    Night::of_spo2(curve.until(96.0, NIGHT_S))
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let cases: Vec<Case> = vec![
        ("40 falls of 4 % in 8 h", "odi4_at_least_5_per_h", "met", falls(40, 4.0)),
        ("39 falls of 4 % in 8 h", "odi4_at_least_5_per_h", "not met", falls(39, 4.0)),
        ("120 falls of 4 % in 8 h", "odi4_at_least_15_per_h", "met", falls(120, 4.0)),
        ("119 falls of 4 % in 8 h", "odi4_at_least_15_per_h", "not met", falls(119, 4.0)),
        ("240 falls of 4 % in 8 h", "odi4_more_than_30_per_h", "not met", falls(240, 4.0)),
        ("241 falls of 4 % in 8 h", "odi4_more_than_30_per_h", "met", falls(241, 4.0)),
        ("56 falls of 3 % in 8 h", "odi3_at_least_7_per_h", "met", falls(56, 3.0)),
        ("55 falls of 3 % in 8 h", "odi3_at_least_7_per_h", "not met", falls(55, 3.0)),
        ("56 falls of 3 % in 8 h", "odi4_at_least_5_per_h", "not met", falls(56, 3.0)),
    ];
    Suite {
        title: "Falls an hour",
        source: "stoewhas-2017",
        place: "with child-reference-2021, the bands' edges",
        outcome: Outcome::Answers(answers(cases)),
    }
}
