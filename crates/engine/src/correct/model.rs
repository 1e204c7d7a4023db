//! Which model the anchors allow.
//!
//! | blood gases | gas checks | model |
//! |---|---|---|
//! | none | none | none; a band all the same, as wide as unchecked sensors err (`conway-2019`) |
//! | one | none or one | offset, from the blood gas |
//! | none | one | offset, from the check |
//! | none | two or more | ratio: the electrode is logarithmic, so its drift multiplies |
//! | one | two or more | additive: the checks give the shape, the blood gas the level |
//! | two or more | any | additive, from the blood gases (`berlowitz-2011`) |
//!
//! A gas check tells what the electrode does, not how this patient's skin differs from the blood. So a
//! check never corrects the level where a blood gas stands. Where only checks stand, the offset of the
//! skin stays unknown: the band is as wide as patients differ (`aarrestad-2016`: 0.28 kPa about the
//! blood with sensors that had been checked in gas), and a finding says so. Their mean difference, 0.23
//! kPa, is not taken out: it belongs to one make of sensor and one clinic.

use crate::criteria::CorrectCriteria;
use crate::finding::Finding;
use crate::finding::Weight;

use crate::correct::line::{Line, Point};
use crate::correct::{Anchor, AnchorKind, Model};

/// The model and its line; `None` without anchors. `factor` is what the temperature correction divides
/// the sensor's readings by, and so its errors in gas too; 1 when there is none. `widen_kpa` is how far off a
/// doubted blood gas lies, which the band must hold.
pub(super) fn choose(
    anchors: &[Anchor],
    (factor, widen_kpa): (f64, f64),
    limits: &CorrectCriteria,
) -> (Option<(Model, Line)>, Vec<Finding>) {
    let of = |kind| anchors.iter().filter(move |anchor| anchor.kind == kind);
    let drift_sd = limits.drift_sd_kpa_per_8h.value;
    let gases = of(AnchorKind::BloodGas).map(|anchor| added(anchor, 1.0)).collect();
    let checks = of(AnchorKind::GasCheck).map(|anchor| added(anchor, factor)).collect();
    let ratios = of(AnchorKind::GasCheck).map(ratio).collect();
    let [gases, checks, ratios] =
        [gases, checks, ratios].map(|points| Line::through(points, drift_sd));
    let several = |line: &Line| line.points().len() > 1;
    match (gases, checks) {
        (None, None) => (None, vec![no_anchor(unchecked(widen_kpa, limits).is_some())]),
        (None, Some(checks)) => {
            let (model, line) = match ratios.filter(|_| several(&checks)) {
                Some(ratios) => (Model::Ratio, ratios),
                None => (Model::Offset, checks),
            };
            let unsure_kpa = both(limits.skin_sd_kpa.value, widen_kpa);
            (Some((model, line.unsure_by(unsure_kpa))), vec![skin_not_known()])
        }
        (Some(gases), None) if several(&gases) => (Some((Model::Additive, gases)), vec![]),
        (Some(gases), None) => (Some((Model::Offset, gases)), vec![]),
        (Some(gases), Some(_)) if several(&gases) => {
            (Some((Model::Additive, gases)), vec![checks_not_used()])
        }
        (Some(gases), Some(checks)) if several(&checks) => {
            let level = gases.points()[0];
            (Some((Model::Additive, checks.moved_to(level))), vec![])
        }
        (Some(gases), Some(_)) => (Some((Model::Offset, gases)), vec![checks_not_used()]),
    }
}

/// The error of a sensor that nothing checked: about none at the start, with the spread that such sensors
/// show against the blood, and drift from there on; `None` where the criteria give it no band and no gas was doubted.
pub(super) fn unchecked(widen_kpa: f64, limits: &CorrectCriteria) -> Option<Line> {
    // A gas that was doubted is itself a sign that the sensor may err.
    if limits.uncorrected_banded.value < 1.0 && widen_kpa <= 0.0 {
        return None;
    }
    let sd_kpa = limits.uncorrected_sd_kpa.value;
    let variance = sd_kpa * sd_kpa;
    let start = Point { at_s: 0.0, value: 0.0, variance };
    let line = Line::through(vec![start], limits.drift_sd_kpa_per_8h.value)?;
    Some(line.unsure_by(widen_kpa))
}

/// Two independent standard deviations as one.
fn both(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

pub(super) fn added(anchor: &Anchor, factor: f64) -> Point {
    let sd_kpa = anchor.sd_kpa / factor;
    Point {
        at_s: anchor.at_s,
        value: (anchor.reference_kpa - anchor.observed_kpa) / factor,
        variance: sd_kpa * sd_kpa,
    }
}

fn ratio(anchor: &Anchor) -> Point {
    let value = anchor.reference_kpa / anchor.observed_kpa;
    let sd = anchor.sd_kpa * value / anchor.observed_kpa;
    Point { at_s: anchor.at_s, value, variance: sd * sd }
}

fn finding(code: &'static str, weight: Weight, sentence: &str) -> Finding {
    Finding::new(code, weight, sentence).on("tcpco2")
}

fn no_anchor(banded: bool) -> Finding {
    let sentence = if banded {
        "No blood gas and no gas check can be used: CO2 is not corrected for offset and drift. Its band is \
         what unchecked sensors are known to err by, widening through the night as they drift."
    } else {
        "No blood gas and no gas check can be used: CO2 is not corrected for offset and drift, and \
         nothing is known of its error."
    };
    finding("co2_not_corrected", Weight::Caution, sentence)
}

fn skin_not_known() -> Finding {
    finding(
        "co2_skin_offset_not_known",
        Weight::Note,
        "CO2 is corrected by gas checks only: they show the sensor's error, not how far this \
         patient's skin lies from the blood. The band allows for what patients differ by.",
    )
}

fn checks_not_used() -> Finding {
    finding(
        "gas_checks_not_used",
        Weight::Note,
        "Gas checks are not used for the correction: the blood gases tell the whole error, and the \
         checks only the sensor's part of it.",
    )
}
