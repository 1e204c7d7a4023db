//! The delta index, and time below 90 %.

use engine::score::Scores;

use crate::made::{Curve, Night, every_rule};
use crate::{Figure, Limits, Outcome, Suite};

/// One hour.
const HOUR_S: usize = 3600;

fn scores(curve: Curve) -> Option<Scores> {
    every_rule("").ok().map(|criteria| Night::of_spo2(curve).judge(&criteria).scores)
}

fn value(curve: Curve, measure: &str) -> f64 {
    scores(curve).and_then(|scores| scores.value(measure)).unwrap_or(f64::NAN)
}

/// Readings every 12 s repeated: constant, in turn two apart, and stairs of one.
pub(super) fn delta() -> Suite {
    let id = "spo2.delta_index_12s";
    let constant = Curve::awake(96.0).hold(96.0, HOUR_S);
    let turns = Curve::awake(96.0).repeat(150, |c| c.hold(96.0, 12).hold(94.0, 12));
    let stairs = Curve::awake(97.0).repeat(50, |c| {
        c.hold(97.0, 12).hold(96.0, 12).hold(95.0, 12).hold(94.0, 12).hold(95.0, 12).hold(96.0, 12)
    });
    let rows = vec![
        Figure::new("96 96 96 96 …", 0.0, value(constant, id)),
        Figure::new("96 94 96 94 …", 2.0, value(turns, id)),
        Figure::new("97 96 95 94 95 96 …", 1.0, value(stairs, id)),
        Figure::new("apnoeas an hour that the regression gives for 0.4", 15.22, 18.8 * 0.4 + 7.7),
    ];
    Suite {
        title: "Delta index",
        source: "olson-1999",
        place: "arithmetic on its definition",
        outcome: Outcome::Figures { rows, digits: 4, limits: Limits::last_digit(1e-9) },
    }
}

/// At exactly 90 %, below is nothing and at or below is everything.
pub(super) fn time_below() -> Suite {
    let flat = || Curve::awake(96.0).ramp(90.0, 60).hold(90.0, 8 * HOUR_S - 60);
    let constant = || Curve::default().hold(90.0, 9 * HOUR_S);
    let rows = vec![
        Figure::new("constant 90 %: time below 90, %", 0.0, value(flat(), "spo2.time_below_90")),
        Figure::new(
            "constant 90 %: seconds at or below 90 in each hour (urschitz-2003)",
            3600.0,
            value(constant(), "spo2.seconds_at_or_below_90_per_h"),
        ),
    ];
    Suite {
        title: "Time below 90 %",
        source: "olson-1999",
        place: "its strict comparison, against the one of urschitz-2003",
        outcome: Outcome::Figures { rows, digits: 1, limits: Limits::last_digit(1e-9) },
    }
}
