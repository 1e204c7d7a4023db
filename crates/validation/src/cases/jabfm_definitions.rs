//! The fall from the mean of the preceding 120 s.

use crate::made::{Curve, Night, every_rule};
use crate::{Figure, Limits, Outcome, Suite};

/// How many falls of 4 % one hour holds, when saturation is at a level for so many seconds.
fn count(level: f64, seconds: usize) -> f64 {
    let curve = Curve::awake(96.0).hold(96.0, 1800).hold(level, seconds).until(96.0, 3600);
    every_rule("").map_or(f64::NAN, |criteria| {
        let scores = Night::of_spo2(curve).judge(&criteria).scores;
        scores.falls.mean4.len() as f64
    })
}

/// One fall or none.
pub(super) fn suite() -> Suite {
    let rows = vec![
        Figure::new("120 s at 96, 12 s at 92", 1.0, count(92.0, 12)),
        Figure::new("the same, 10 s (matins counts 10 s or longer)", 1.0, count(92.0, 10)),
        Figure::new("the same, 9 s", 0.0, count(92.0, 9)),
        Figure::new("12 s at 92.1", 0.0, count(92.1, 12)),
    ];
    Suite {
        title: "Falls from the mean of 120 s",
        source: "jabfm-definitions",
        place: "its words; sleep-science-mean120 has 10 s or longer, which matins takes",
        outcome: Outcome::Figures { rows, digits: 0, limits: Limits::last_digit(0.0) },
    }
}
