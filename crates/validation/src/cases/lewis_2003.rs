//! Time below 90 % and at or below 88 %, in the forms that are in use.

use crate::made::{Case, Curve, Night, answers};
use crate::{Outcome, Suite};

/// Eight hours.
const NIGHT_S: usize = 28_800;

/// Eight hours with saturation at a level for so many seconds.
fn at(level: f64, seconds: usize) -> Night {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(90.0, 60);
    Night::of_spo2(curve.hold(level, seconds).hold(90.0, 1).ramp(96.0, 60).until(96.0, NIGHT_S))
}

/// Eight hours with so many seconds below 90 %, most of them at a level some points deeper.
fn deep(level: f64, seconds: usize) -> Night {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(90.0, 60).hold(88.0, 1).hold(86.0, 1);
    let curve = curve.hold(level, seconds - 4).hold(86.0, 1).hold(88.0, 1).hold(90.0, 1);
    Night::of_spo2(curve.ramp(96.0, 60).until(96.0, NIGHT_S))
}

/// Eight hours with so many seconds at 90 %.
fn at_90(seconds: usize) -> Night {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(91.0, 60).hold(90.0, seconds);
    Night::of_spo2(curve.hold(91.0, 1).ramp(96.0, 60).until(96.0, NIGHT_S))
}

/// The same in two stretches with one second of 90 % between.
fn in_two(level: f64, seconds: usize) -> Night {
    let curve = Curve::awake(97.0).rest(96.0, 3600).ramp(90.0, 60).hold(level, seconds / 2);
    let curve = curve.hold(90.0, 1).hold(level, seconds - seconds / 2).hold(90.0, 1);
    Night::of_spo2(curve.ramp(96.0, 60).until(96.0, NIGHT_S))
}

/// The share of the night.
fn shares() -> Vec<Case> {
    const SHARE: &str = "spo2_below_90_30pct";
    const TARGET: &str = "spo2_at_or_below_90_at_least_10pct";
    const STRICTER: &str = "spo2_below_90_30pct_nadir_below_85";
    vec![
        ("89 % for 30.0 % of 8 h", SHARE, "met", at(89.0, 8640)),
        ("89 % for one second less", SHARE, "not met", at(89.0, 8639)),
        ("90 % for 7 h", SHARE, "not met", at(90.0, 25_000)),
        ("84 % for 30.0 %", STRICTER, "not met", deep(84.0, 8640)),
        ("84 % for one second more", STRICTER, "met", deep(84.0, 8641)),
        ("85 % for one second more", STRICTER, "not met", deep(85.0, 8641)),
        ("89 % for 2996 s of 8 h", "spo2_below_90_10_4pct", "met", at(89.0, 2996)),
        ("89 % for 2995 s of 8 h", "spo2_below_90_10_4pct", "not met", at(89.0, 2995)),
        ("90 % for 2879 s", TARGET, "not met", at_90(2879)),
        ("90 % for 2880 s", TARGET, "met", at_90(2880)),
    ]
}

/// Five minutes, on end or in all.
fn five_minutes() -> Vec<Case> {
    const ON_END: &str = "spo2_at_or_below_88_5min";
    const IN_ALL: &str = "spo2_at_or_below_88_5min_in_all";
    const CHILD: &str = "spo2_at_or_below_90_5min";
    vec![
        ("88 % for 5:00", ON_END, "met", at(88.0, 300)),
        ("88 % for 4:59", ON_END, "not met", at(88.0, 299)),
        ("88 % for 5:00 with a second of 90 % inside", ON_END, "not met", in_two(88.0, 300)),
        ("the same night", IN_ALL, "met", in_two(88.0, 300)),
        ("88 % for 4:59 in all", IN_ALL, "not met", in_two(88.0, 299)),
        ("89 % for 20 min", ON_END, "not met", at(89.0, 1200)),
        ("89 % for 20 min", CHILD, "met", at(89.0, 1200)),
        ("91 % for 20 min", CHILD, "not met", at(91.0, 1200)),
    ]
}

/// The boundary cases.
pub(super) fn suite() -> Suite {
    let cases = shares().into_iter().chain(five_minutes()).collect();
    Suite {
        title: "Time at low saturation",
        source: "lewis-2003",
        place: "with ers-pa4591-2015, erj-open-cohort, icsd3-2014 and janssens-2011, the words at their boundaries",
        outcome: Outcome::Answers(answers(cases)),
    }
}
