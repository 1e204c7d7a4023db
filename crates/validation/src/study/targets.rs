//! What was sought before anything was measured, and whether it was found.

use crate::study::results::{FigureRow, Results};
use crate::study::tally::{Errors, Share};

/// One target.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// What is measured.
    pub what: &'static str,
    /// What is sought.
    pub sought: &'static str,
    /// What was found.
    pub found: String,
    /// Whether it is met.
    pub met: bool,
    /// Why it is missed, as far as is known; said where it is missed.
    pub cause: &'static str,
}

/// Every target against the results; one that could not be measured is missed.
pub fn targets(results: &Results) -> Vec<Target> {
    let mut found = belief(results);
    found.extend(oxygen(results));
    found.extend(carbon_dioxide(results));
    found.extend(answers(results));
    found
}

fn belief(results: &Results) -> Vec<Target> {
    let share = |what: &str, name: &'static str| {
        let share = results.share("minute", "all", what);
        let value = share.map_or(f64::NAN, |share| share.value());
        let (low, high) = share.map_or((0.0, 1.0), |share| (share.low, share.high));
        Target {
            what: name,
            sought: "≥ 0.98",
            found: format!("{value:.4} ({low:.4} to {high:.4})"),
            met: value >= 0.98,
            cause: causes::of(name),
        }
    };
    vec![
        share("together", "minutes off, settling, slipped or dropped out that are not believed"),
        share("honest believed", "honest minutes that are believed"),
    ]
}

/// A target on the errors of one figure, and which.
struct Sought {
    what: &'static str,
    words: &'static str,
    most: f64,
    of: fn(&Errors) -> f64,
}

fn errors(row: Option<&FigureRow>, errors: fn(&FigureRow) -> &Errors, sought: &Sought) -> Target {
    let value = row.map_or(f64::NAN, |row| (sought.of)(errors(row)));
    Target {
        what: sought.what,
        sought: sought.words,
        found: format!("{value:.3}"),
        met: value <= sought.most,
        cause: causes::of(sought.what),
    }
}

fn oxygen(results: &Results) -> Vec<Target> {
    let median = |what| Sought { what, words: "median ≤ 0.5/h", most: 0.5, of: |e| e.median };
    let most = |what| Sought { what, words: "95 % ≤ 2/h", most: 2.0, of: |e| e.q95 };
    let point = |what| Sought { what, words: "95 % ≤ 1 point", most: 1.0, of: |e| e.q95 };
    let mut found = Vec::new();
    for (id, truth, own) in [
        ("spo2.odi3", "error of ODI3", "error of ODI3, the tool's own"),
        ("spo2.odi4", "error of ODI4", "error of ODI4, the tool's own"),
    ] {
        let row = results.errors(id, "all");
        found.push(errors(row, |row| &row.found, &median(truth)));
        found.push(errors(row, |row| &row.found, &most(truth)));
        found.push(errors(row, |row| &row.own, &median(own)));
        found.push(errors(row, |row| &row.own, &most(own)));
    }
    let row = results.errors("spo2.time_below_90", "all");
    found.push(errors(row, |row| &row.found, &point("error of time below 90 %")));
    found.push(errors(row, |row| &row.own, &point("error of time below 90 %, the tool's own")));
    found
}

fn carbon_dioxide(results: &Results) -> Vec<Target> {
    let row = results.errors("tcpco2.sustained10", "blood gas");
    let what = "error of sustained CO2 corrected by blood gas";
    let sought = Sought { what, words: "95 % ≤ 0.15 kPa", most: 0.15, of: |e| e.q95 };
    vec![errors(row, |row| &row.found, &sought)]
}

fn answers(results: &Results) -> Vec<Target> {
    let Some(all) = results.rules.iter().find(|row| row.id == "all") else { return Vec::new() };
    let untold = all.cannot_tell_believed;
    vec![
        contradicted("answers met or not met that the truth contradicts", &all.contradicted),
        contradicted("answers that the monitor alone contradicts", &all.against_unharmed),
        Target {
            what: "answers cannot tell on nights ≥ 90 % believed",
            sought: "< 5 %",
            found: format!(
                "{:.2} % ({:.2} to {:.2})",
                100.0 * untold.value(),
                100.0 * untold.low,
                100.0 * untold.high
            ),
            met: untold.value() < 0.05,
            cause: causes::of("answers cannot tell on nights ≥ 90 % believed"),
        },
    ]
}

fn contradicted(what: &'static str, share: &Share) -> Target {
    Target {
        what,
        sought: "≤ 1 in 1,000",
        found: format!(
            "{} of {}, {:.2} in 1,000 ({:.2} to {:.2})",
            share.hit,
            share.of,
            1e3 * share.value(),
            1e3 * share.low,
            1e3 * share.high
        ),
        met: share.value() <= 0.001,
        cause: causes::of(what),
    }
}

/// Why a target is missed, in a sentence.
mod causes {
    pub(super) fn of(what: &str) -> &'static str {
        let _ = what;
        "not yet known"
    }
}
