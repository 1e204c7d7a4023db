//! Blood gases that the sensor can hardly have been paired with rightly.
//!
//! A clip or membrane that lets air in reads low, and a blood gas paired with it then would take that
//! error out of the whole night. So a blood gas is held against what else is known of the sensor's error:
//! another blood gas, else the gas checks, else that sensors at the ear read about as the blood does
//! (`conway-2019`). One that lies more standard deviations off than the criteria allow is doubted: it is
//! not used, a finding says so, and unless another blood gas stands the band is widened to hold it.

use crate::correct::line::Line;
use crate::correct::{Anchor, AnchorKind};
use crate::criteria::CorrectCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::time::Stretch;

/// What doubt leaves.
pub(super) struct Doubted {
    /// The anchors to use, in order of time.
    pub(super) anchors: Vec<Anchor>,
    /// How far off the doubted blood gases lie, kPa; zero where none is doubted or another one stands.
    pub(super) widen_kpa: f64,
    /// What was noticed.
    pub(super) findings: Vec<Finding>,
}

/// Leaves doubtful blood gases out. `factor` as in the choice of a model.
pub(super) fn leave_out(anchors: Vec<Anchor>, factor: f64, limits: &CorrectCriteria) -> Doubted {
    let checks = anchors.iter().filter(|anchor| anchor.kind == AnchorKind::GasCheck);
    let points = checks.map(|check| super::model::added(check, factor)).collect();
    let checks = Line::through(points, limits.drift_sd_kpa_per_8h.value);
    let gases: Vec<Anchor> =
        anchors.iter().filter(|anchor| anchor.kind == AnchorKind::BloodGas).copied().collect();
    let (mut kept, mut findings, mut widen_kpa) = (Vec::new(), Vec::new(), 0.0_f64);
    for anchor in anchors {
        let off = (anchor.kind == AnchorKind::BloodGas)
            .then(|| farther_than_allowed(&anchor, &gases, checks.as_ref(), limits))
            .flatten();
        match off {
            None => kept.push(anchor),
            Some((off_kpa, against)) => {
                widen_kpa = widen_kpa.max(off_kpa.abs());
                findings.push(told(&anchor, against));
            }
        }
    }
    if kept.iter().any(|anchor| anchor.kind == AnchorKind::BloodGas) {
        widen_kpa = 0.0;
    }
    Doubted { anchors: kept, widen_kpa, findings }
}

fn error(anchor: &Anchor) -> f64 {
    anchor.reference_kpa - anchor.observed_kpa
}

/// How far off a blood gas lies, kPa, and against what, when that is farther than the criteria allow.
fn farther_than_allowed(
    gas: &Anchor,
    gases: &[Anchor],
    checks: Option<&Line>,
    limits: &CorrectCriteria,
) -> Option<(f64, &'static str)> {
    let drift_kpa2 = |from_s: f64, to_s: f64| {
        let sd = limits.drift_sd_kpa_per_8h.value;
        sd * sd * (to_s - from_s).abs() / (8.0 * 3600.0)
    };
    let beyond = |off_kpa: f64, variance: f64| {
        off_kpa.abs() > limits.anchor_doubt_sds.value * (variance + gas.sd_kpa * gas.sd_kpa).sqrt()
    };
    let squared = |sd: f64| sd * sd;
    // Of two that disagree, the one with the greater error is the one to doubt.
    let against_gas = gases.iter().find(|other| {
        let apart = squared(other.sd_kpa) + drift_kpa2(other.at_s, gas.at_s);
        beyond(error(gas) - error(other), apart) && error(gas).abs() > error(other).abs()
    });
    if gases.len() > 1 {
        return against_gas.map(|other| (error(gas) - error(other), "another blood gas"));
    }
    let (expected_kpa, variance, against) = if let Some(checks) = checks {
        let at = checks.at(gas.at_s);
        let variance = at.variance + at.drift_kpa2 + squared(limits.skin_sd_kpa.value);
        (at.value, variance, "the gas checks")
    } else {
        let variance = squared(limits.uncorrected_sd_kpa.value) + drift_kpa2(0.0, gas.at_s);
        (0.0, variance, "what sensors are known to err by")
    };
    let off_kpa = error(gas) - expected_kpa;
    beyond(off_kpa, variance).then_some((off_kpa, against))
}

fn told(gas: &Anchor, against: &str) -> Finding {
    let side = if error(gas) > 0.0 { "under" } else { "over" };
    let sentence = format!(
        "A blood gas is not used to correct CO2: the sensor read {:.2} kPa {side} it, too far for {against}. \
         The sensor may have been loose or not settled then.",
        error(gas).abs()
    );
    Finding::new("blood_gas_doubted", Weight::Caution, sentence)
        .on("tcpco2")
        .at(Stretch::new(gas.at_s, gas.at_s))
}
