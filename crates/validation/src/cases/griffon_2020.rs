//! Children on support: 2 % of the night, and means too high or too low.

use crate::made::{AWAKE_S, Case, Curve, Night, answers};
use crate::{Outcome, Suite};

/// Eight hours.
const NIGHT_S: usize = 28_800;
const SPO2: &str = "spo2_below_90_2pct";
const ANY: &str = "child_on_support_any";

/// Eight hours of which so many seconds are at 50.1 mmHg.
fn co2_above_50(seconds: usize) -> Night {
    let curve = Curve::awake(42.0).rest(42.0, 3600).ramp(50.0, 300);
    Night::of_co2(curve.hold(50.1, seconds).hold(50.0, 1).ramp(42.0, 300).until(42.0, NIGHT_S))
}

/// Eight hours of which so many seconds are at 89 %.
fn spo2_at_89(seconds: usize) -> Night {
    let curve = Curve::awake(98.0).rest(97.0, 3600).ramp(90.0, 60);
    Night::of_spo2(curve.hold(89.0, seconds).hold(90.0, 1).ramp(97.0, 60).until(97.0, NIGHT_S))
}

/// Eight hours a third of a mmHg over and under a level in turn, so that the mean is the level.
fn co2_mean(level: f64) -> Night {
    let curve = Curve::awake(level)
        .repeat(NIGHT_S / 60, |c| c.ramp(level + 0.3, 15).ramp(level - 0.3, 30).ramp(level, 15));
    assert_eq!(curve.seconds(), AWAKE_S + NIGHT_S);
    Night::of_co2(curve)
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let cases: Vec<Case> = vec![
        ("50.1 mmHg for 576 s of 8 h", "co2_above_50mmhg_2pct", "met", co2_above_50(576)),
        ("50.1 mmHg for 575 s of 8 h", "co2_above_50mmhg_2pct", "not met", co2_above_50(575)),
        ("89 % for 576 s of 8 h", SPO2, "met", spo2_at_89(576)),
        ("89 % for 575 s of 8 h", SPO2, "not met", spo2_at_89(575)),
        ("mean 50.0 mmHg", "co2_mean_at_or_above_50mmhg", "met", co2_mean(50.0)),
        ("mean 49.9 mmHg", "co2_mean_at_or_above_50mmhg", "not met", co2_mean(49.9)),
        ("mean 34.9 mmHg", "co2_mean_below_35mmhg", "met", co2_mean(34.9)),
        ("mean 35.0 mmHg", "co2_mean_below_35mmhg", "not met", co2_mean(35.0)),
        ("89 % for 576 s, CO2 quiet", ANY, "met", spo2_at_89(576)),
        ("89 % for 575 s, CO2 quiet", ANY, "not met", spo2_at_89(575)),
    ];
    Suite {
        title: "Children on support at home",
        source: "griffon-2020",
        place: "the criteria's words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}
