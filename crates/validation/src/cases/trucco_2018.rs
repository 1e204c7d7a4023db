//! CO2 above 50 mmHg for more than a quarter of the time; saturation below 88 % for more than five minutes.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

const CO2: &str = "co2_above_50mmhg_25pct";
const SPO2: &str = "spo2_below_88_5min";

/// A thousand parts of 24 s: so many of them above the level.
fn parts_above(level: f64, parts: usize) -> Night {
    let curve = Curve::awake(45.0).rest(45.0, 1800).ramp(50.0, 300);
    let curve = curve.repeat(parts, |c| c.hold(level, 23).hold(level + 0.1, 1));
    Night::of_co2(curve.hold(50.0, 1).ramp(45.0, 300).until(45.0, 24_000))
}

/// Seven hours with saturation at `level` for so many seconds in two stretches.
fn low(level: f64, seconds: usize) -> Night {
    let piece = |c: Curve, s| c.ramp(88.0, 60).hold(level, s).hold(88.0, 1).ramp(96.0, 60);
    let curve = piece(Curve::awake(97.0).rest(96.0, 3600), seconds / 2).rest(96.0, 600);
    Night::of_spo2(piece(curve, seconds - seconds / 2).until(96.0, 25_200))
}

/// Exactly 50.0 mmHg for two fifths of the night, a tenth lower for one second in every 14 minutes.
fn at_level() -> Night {
    let curve = Curve::awake(45.0).rest(45.0, 1800).ramp(49.9, 300);
    let curve = curve.repeat(12, |c| c.hold(50.0, 839).hold(49.9, 1));
    Night::of_co2(curve.ramp(45.0, 300).until(45.0, 24_000))
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let cases: Vec<Case> = vec![
        ("50.1 mmHg for 25.0 % of the night", CO2, "not met", parts_above(50.1, 250)),
        ("50.1 mmHg for 25.1 % of the night", CO2, "met", parts_above(50.1, 251)),
        ("50.0 mmHg for 42 % of the night", CO2, "not met", at_level()),
        ("87 % for 300 s in two stretches", SPO2, "not met", low(87.0, 300)),
        ("87 % for 301 s in two stretches", SPO2, "met", low(87.0, 301)),
        ("88 % for 900 s", SPO2, "not met", low(88.0, 900)),
    ];
    Suite {
        title: "A quarter of the night",
        source: "trucco-2018",
        place: "the criteria's words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}
