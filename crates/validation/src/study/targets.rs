//! What was sought before anything was measured, and whether it was found.

use crate::study::results::Results;
use crate::study::tally::Errors;

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
        }
    };
    vec![
        share("together", "minutes off, settling, slipped or dropped out that are not believed"),
        share("honest believed", "honest minutes that are believed"),
    ]
}

/// A target on the errors of one figure.
fn errors(
    results: &Results,
    id: &str,
    nights: &str,
    what: &'static str,
    sought: (&'static str, f64),
    of: impl Fn(Errors) -> f64,
) -> Target {
    let value = results.errors(id, nights).map_or(f64::NAN, of);
    Target { what, sought: sought.0, found: format!("{value:.3}"), met: value <= sought.1 }
}

fn oxygen(results: &Results) -> Vec<Target> {
    let half = ("median ≤ 0.5/h", 0.5);
    let two = ("95 % ≤ 2/h", 2.0);
    let point = ("95 % ≤ 1 point", 1.0);
    vec![
        errors(results, "spo2.odi3", "all", "error of ODI3", half, |e| e.median),
        errors(results, "spo2.odi3", "all", "error of ODI3", two, |e| e.q95),
        errors(results, "spo2.odi4", "all", "error of ODI4", half, |e| e.median),
        errors(results, "spo2.odi4", "all", "error of ODI4", two, |e| e.q95),
        errors(results, "spo2.time_below_90", "all", "error of time below 90 %", point, |e| e.q95),
    ]
}

fn carbon_dioxide(results: &Results) -> Vec<Target> {
    let sought = ("95 % ≤ 0.15 kPa", 0.15);
    let what = "error of sustained CO2 corrected by blood gas";
    vec![errors(results, "tcpco2.sustained10", "blood gas", what, sought, |e| e.q95)]
}

fn answers(results: &Results) -> Vec<Target> {
    let Some(all) = results.rules.iter().find(|row| row.id == "all") else { return Vec::new() };
    let contradicted = all.contradicted;
    let untold = all.cannot_tell_believed;
    vec![
        Target {
            what: "answers met or not met that the truth contradicts",
            sought: "≤ 1 in 1,000",
            found: format!(
                "{} of {}, {:.2} in 1,000 ({:.2} to {:.2})",
                contradicted.hit,
                contradicted.of,
                1e3 * contradicted.value(),
                1e3 * contradicted.low,
                1e3 * contradicted.high
            ),
            met: contradicted.value() <= 0.001,
        },
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
        },
    ]
}
