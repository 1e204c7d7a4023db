//! A rule of several parts.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

/// Eight hours.
const NIGHT_S: usize = 28_800;
const RULE: &str = "co2_at_or_above_50mmhg_with_spo2_below_88_60min";

/// CO2 peaks at a level; saturation is at 87 % for so many seconds.
fn night(peak_mmhg: f64, low_s: usize) -> Night {
    let co2 = Curve::awake(42.0).rest(42.0, 3600).ramp(peak_mmhg - 0.1, 300).hold(peak_mmhg, 60);
    let co2 = co2.ramp(42.0, 300).until(42.0, NIGHT_S);
    Night::of(low(87.0, low_s), co2)
}

fn low(level: f64, seconds: usize) -> Curve {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(90.0, 60);
    curve.hold(level, seconds).hold(90.0, 1).ramp(96.0, 60).until(96.0, NIGHT_S)
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let quiet = Curve::awake(40.0).until(40.0, NIGHT_S);
    let cases: Vec<Case> = vec![
        ("peak 50.0 mmHg, 87 % for 60:00", RULE, "met", night(50.0, 3600)),
        ("peak 50.0 mmHg, 87 % for 59:59", RULE, "not met", night(50.0, 3599)),
        ("peak 49.9 mmHg, 87 % for 60:00", RULE, "not met", night(49.9, 3600)),
        ("CO2 quiet, 89 % for 30.0 %", RULE, "not met", Night::of(low(89.0, 8640), quiet.clone())),
        ("CO2 quiet, 89 % for one second more", RULE, "met", Night::of(low(89.0, 8641), quiet)),
    ];
    Suite {
        title: "A rule of three parts",
        source: "belgian-support-text",
        place: "the text's words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}
