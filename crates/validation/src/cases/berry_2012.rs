//! CO2 above 55 mmHg for ten minutes, or risen by 10 mmHg to above 50 mmHg for ten minutes.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

const HIGH: &str = "co2_above_55mmhg_10min";
const RISE: &str = "co2_rise_10mmhg_to_above_50mmhg_10min";

/// Awake at one level, then up to the brink, a plateau, and down again; seven hours in all.
fn plateau(awake: f64, brink: f64, level: f64, seconds: usize) -> Night {
    let curve = Curve::awake(awake).rest(awake, 3600).ramp(brink, 300);
    Night::of_co2(curve.hold(level, seconds).hold(brink, 1).ramp(awake, 300).until(awake, 25_200))
}

/// A long plateau at exactly one level, a tenth lower for one second in every 14 minutes so that it is
/// not taken for frozen; each run at the level is still longer than ten minutes.
fn long_plateau(awake: f64, level: f64, minutes: usize) -> Night {
    let curve = Curve::awake(awake).rest(awake, 3600).ramp(level - 0.1, 300);
    let curve = curve.repeat(minutes / 14, |c| c.hold(level, 839).hold(level - 0.1, 1));
    Night::of_co2(curve.ramp(awake, 300).until(awake, 25_200))
}

/// The boundary cases of both rules.
pub(super) fn suite() -> Suite {
    let cases: Vec<Case> = vec![
        ("55.1 mmHg for 10:00", HIGH, "met", plateau(44.0, 55.0, 55.1, 600)),
        ("55.1 mmHg for 9:59", HIGH, "not met", plateau(44.0, 55.0, 55.1, 599)),
        ("55.0 mmHg for 60 min", HIGH, "not met", long_plateau(48.0, 55.0, 60)),
        ("awake 42, 52.1 mmHg for 10:00", RISE, "met", plateau(42.0, 51.9, 52.1, 600)),
        ("awake 42, 52.1 mmHg for 9:59", RISE, "not met", plateau(42.0, 51.9, 52.1, 599)),
        ("awake 39, 50.0 mmHg for 30 min", RISE, "not met", long_plateau(39.0, 50.0, 30)),
        ("awake 44, 53.9 mmHg for 30 min", RISE, "not met", long_plateau(44.0, 53.9, 30)),
    ];
    Suite {
        title: "Hypoventilation in adults",
        source: "berry-2012",
        place: "the rule's words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}
