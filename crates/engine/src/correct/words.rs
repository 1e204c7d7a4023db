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

/// A length of time: `35 min`, `2 h 01 min`.
pub(super) fn length(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round();
    let hours = (minutes / 60.0).floor();
    if hours < 1.0 {
        return format!("{minutes:.0} min");
    }
    format!("{hours:.0} h {:02.0} min", minutes - hours * 60.0)
}

/// What does not agree, in one sentence with every number and time and one on what follows; `None` where
/// all agrees.
pub(super) fn disagreement(bounds: &Bounds, anchors: &[Anchor], clock: &Clock) -> Option<String> {
    let is = |known: &Known, anchor: &Anchor| {
        known.anchor().is_some_and(|(kind, point)| {
            kind == anchor.kind && point.at_s.total_cmp(&anchor.at_s).is_eq()
        })
    };
    let party = |anchor: &&Anchor| bounds.apart().any(|known| is(known, anchor));
    let parties: Vec<&Anchor> = anchors.iter().filter(party).collect();
    if parties.is_empty() {
        return None;
    }
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
    let (aside, agree) = (bounds.aside().count(), bounds.agree());
    let held = match aside {
        _ if agree => "",
        0 => {
            " None is left out: the band around CO2 holds each, and what they would answer differently is \
              left open."
        }
        _ => {
            " No blood gas is left out: the band around CO2 holds each, and what they would answer differently \
              is left open."
        }
    };
    let checks = match aside {
        0 if agree => " What the anchors tell together is not used.",
        0 => "",
        1 => {
            " A check tells the electrode and not the blood: the gas check, which does not agree with the \
              blood gas, moves nothing."
        }
        _ => {
            " A check tells the electrode and not the blood: the gas checks, which do not agree with the blood \
              gas, move nothing."
        }
    };
    Some(format!("{lead} {DO_NOT_AGREE} {}{beyond}.{held}{checks}", told.join("; ")))
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
