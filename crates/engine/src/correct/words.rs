//! What correcting tells in words.

use super::bounds::Bounds;
use super::known::Known;
use super::{Anchor, AnchorKind};
use crate::time::Clock;
use crate::unit::mmhg_from_kpa;

/// How the sentence begins by which a disagreement is known again.
pub(crate) const DO_NOT_AGREE: &str = "do not agree:";

/// A level in both units.
pub(super) fn both_units(kpa: f64) -> String {
    format!("{kpa:.2} kPa ({:.1} mmHg)", mmhg_from_kpa(kpa))
}

/// What does not agree, in one sentence with every number and time and one on what follows; `None` where
/// all agrees.
pub(super) fn disagreement(bounds: &Bounds, anchors: &[Anchor], clock: &Clock) -> Option<String> {
    if bounds.agree() {
        return None;
    }
    let party = |anchor: &&Anchor| {
        bounds.apart().any(|known| match (known, anchor.kind) {
            (Known::Gas(point), AnchorKind::BloodGas)
            | (Known::Check(point), AnchorKind::GasCheck) => {
                point.at_s.total_cmp(&anchor.at_s).is_eq()
            }
            _ => false,
        })
    };
    let parties: Vec<&Anchor> = anchors.iter().filter(party).collect();
    let gases = parties.iter().filter(|anchor| anchor.kind == AnchorKind::BloodGas).count();
    let lead = match (gases, parties.len() - gases) {
        (0, 1) => "The gas check and what sensors are known to err by",
        (0, _) => "The gas checks",
        (1, 0) => "The blood gas and the sensor",
        (_, 0) => "The blood gases and the sensor",
        (1, _) => "The blood gas and the gas checks",
        (_, _) => "The blood gases and the gas checks",
    };
    let told: Vec<String> = parties.iter().map(|anchor| told(anchor, clock)).collect();
    let beyond = bounds.apart().any(|known| matches!(known, Known::Unchecked { .. }));
    let beyond = if beyond { ", more than sensors at the ear are known to err by" } else { "" };
    Some(format!(
        "{lead} {DO_NOT_AGREE} {}{beyond}. None is left out: the band around CO2 holds each, and what they \
         would answer differently is left open.",
        told.join("; ")
    ))
}

fn told(anchor: &Anchor, clock: &Clock) -> String {
    let at = clock.label(anchor.taken_s, false);
    let (reference, observed) = (both_units(anchor.reference_kpa), both_units(anchor.observed_kpa));
    match anchor.kind {
        AnchorKind::BloodGas => {
            format!("at {at} the blood gas was {reference} and the sensor read {observed}")
        }
        AnchorKind::GasCheck => {
            format!("at {at} the sensor read {observed} in a gas of {reference}")
        }
    }
}
