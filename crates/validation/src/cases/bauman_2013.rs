//! CO2 at or above 50 mmHg, or saturation at or below 88 %, for 5 % of the time.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

/// Eight hours.
const NIGHT_S: usize = 28_800;
const CO2: &str = "co2_at_or_above_50mmhg_5pct";
const SPO2: &str = "spo2_at_or_below_88_5pct";

/// Eight hours of which so many seconds are at exactly 50.0 mmHg, in two stretches.
fn at_50(seconds: usize) -> Night {
    let piece = |curve: Curve, s| curve.ramp(49.9, 300).hold(50.0, s).ramp(44.0, 300);
    let curve = piece(Curve::awake(44.0).rest(44.0, 3600), seconds / 2).rest(44.0, 3600);
    Night::of_co2(piece(curve, seconds - seconds / 2).until(44.0, NIGHT_S))
}

/// Eight hours of which so many seconds are at exactly 88 %.
fn at_88(seconds: usize) -> Night {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(89.0, 60);
    Night::of_spo2(curve.hold(88.0, seconds).ramp(96.0, 60).until(96.0, NIGHT_S))
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let cases: Vec<Case> = vec![
        ("50.0 mmHg for 24:00 of 8 h", CO2, "met", at_50(1440)),
        ("50.0 mmHg for 23:59 of 8 h", CO2, "not met", at_50(1439)),
        ("88 % for 24:00 of 8 h", SPO2, "met", at_88(1440)),
        ("88 % for 23:59 of 8 h", SPO2, "not met", at_88(1439)),
    ];
    Suite {
        title: "Five per cent of the night",
        source: "bauman-2013",
        place: "the criteria's words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}

/// One night, three published rules, three answers: why the department must choose.
pub(super) fn three_answers() -> Suite {
    let cases: Vec<Case> = vec![
        ("24 min of 8 h at 50.0 mmHg", CO2, "met", at_50(1440)),
        ("the same night", "co2_above_50mmhg_25pct", "not met", at_50(1440)),
        ("the same night", "co2_at_or_above_49mmhg_peak", "met", at_50(1440)),
    ];
    Suite {
        title: "One night, three rules",
        source: "bauman-2013",
        place: "with trucco-2018 and orlikowski-2017",
        outcome: Outcome::Answers(answers(cases)),
    }
}
