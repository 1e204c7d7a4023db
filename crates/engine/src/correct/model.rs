//! Which model the anchors allow, and what each anchor says of the error.
//!
//! | blood gases | gas checks | model |
//! |---|---|---|
//! | none | none | none |
//! | one | none or one | offset, from the blood gas |
//! | none | one | offset, from the check |
//! | none | two or more | ratio: the electrode is logarithmic, so its drift multiplies |
//! | one | two or more | additive: the checks give the shape, the blood gas the level |
//! | two or more | any | additive, from the blood gases (`berlowitz-2011`) |
//!
//! The model gives the middle line; how far the error may lie from it the bounds tell, by every anchor,
//! whichever model was taken. A gas check tells what the electrode does, not how this patient's skin
//! differs from the blood: where only checks stand, a check's range is as wide as patients differ
//! (`aarrestad-2016`: 0.28 kPa about the blood with sensors that had been checked in gas), and a finding
//! says so. Their mean difference, 0.23 kPa, is not taken out: it belongs to one make of sensor and one
//! clinic.

use super::bounds::{Bounds, Spread};
use super::known::Known;
use super::line::Line;
use super::{Anchor, AnchorKind, Model, Point};
use crate::criteria::CorrectCriteria;
use crate::finding::Finding;
use crate::finding::Weight;

/// So many anchors of a kind are taken two by two; more than that, far more than any night has, tell
/// each alone.
const PAIRED_MOST: usize = 8;

/// The model and its line; `None` without anchors. `factor` is what the temperature correction divides
/// the sensor's readings by, and so its errors in gas too; 1 when there is none.
pub(super) fn choose(
    anchors: &[Anchor],
    factor: f64,
    limits: &CorrectCriteria,
) -> (Option<(Model, Line)>, Vec<Finding>) {
    let apart_s = limits.anchors_apart_min.value * 60.0;
    let ratios = of(anchors, AnchorKind::GasCheck).map(ratio).collect();
    let gases = Line::through(gas_points(anchors), apart_s);
    let checks = Line::through(check_points(anchors, factor), apart_s);
    let several = |line: &Line| line.points().len() > 1;
    match (gases, checks) {
        (None, None) => (None, vec![no_anchor()]),
        (None, Some(checks)) => {
            let ratios = Line::through(ratios, apart_s).filter(|_| several(&checks));
            let chosen = match ratios {
                Some(ratios) => (Model::Ratio, ratios),
                None => (Model::Offset, checks),
            };
            (Some(chosen), vec![skin_not_known()])
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

/// Where the error lay by everything that is known of it; nothing where the criteria ask for no band.
pub(super) fn bounds(
    anchors: &[Anchor],
    factor: f64,
    limits: &CorrectCriteria,
    span_s: (f64, f64),
) -> Bounds {
    let spread = spread(limits);
    if spread.sds <= 0.0 {
        return Bounds::default();
    }
    Bounds::of(known(anchors, factor, limits), spread, span_s)
}

/// How ranges are made of variances.
pub(super) fn spread(limits: &CorrectCriteria) -> Spread {
    let drift_sd_kpa = limits.drift_sd_kpa_per_8h.value;
    Spread {
        drift_kpa2_per_s: drift_sd_kpa * drift_sd_kpa / (8.0 * 3600.0),
        sds: limits.band_sds.value,
    }
}

/// Everything that is known of the error: how unchecked sensors err, each anchor, and what two tell
/// together.
pub(super) fn known(anchors: &[Anchor], factor: f64, limits: &CorrectCriteria) -> Vec<Known> {
    let squared = |sd: f64| sd * sd;
    let skin_kpa2 = squared(limits.skin_sd_kpa.value);
    let apart_s = (limits.anchors_apart_min.value * 60.0).max(1.0);
    let mut known = vec![Known::Unchecked { kpa2: squared(limits.uncorrected_sd_kpa.value) }];
    let gases = gas_points(anchors);
    let checks = check_points(anchors, factor);
    known.extend(gases.iter().map(|gas| Known::Gas(*gas)));
    known.extend(checks.iter().map(|check| Known::Check { point: *check, skin_kpa2 }));
    let two = |kind, a, b, untold_kpa2| Known::Between { kind, a, b, untold_kpa2 };
    let of_gases = pairs(&gases, apart_s);
    known.extend(of_gases.map(|(a, b)| two(AnchorKind::BloodGas, a, b, 0.0)));
    for (a, b) in pairs(&checks, apart_s) {
        known.push(two(AnchorKind::GasCheck, a, b, skin_kpa2));
        known.extend(gases.iter().take(PAIRED_MOST).map(|gas| Known::Shaped { gas: *gas, a, b }));
    }
    known
}

/// How far the error moved between two anchors of a kind, the later less the earlier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moved {
    pub(super) kind: AnchorKind,
    pub(super) kpa: f64,
    /// The moments of the two.
    pub(super) at_s: (f64, f64),
}

impl Moved {
    /// The largest of several.
    pub(super) fn largest(all: impl Iterator<Item = Self>) -> Option<Self> {
        all.reduce(|a, b| if b.kpa.abs() > a.kpa.abs() { b } else { a })
    }
}

/// How far the error moved between every two anchors of a kind that lie far enough apart to tell. Whatever
/// model was taken, and whether or not they agree.
pub(super) fn moves(
    anchors: &[Anchor],
    factor: f64,
    level_kpa: Option<f64>,
    limits: &CorrectCriteria,
) -> Vec<Moved> {
    let apart_s = (limits.anchors_apart_min.value * 60.0).max(1.0);
    let between = |kind, points: &[Point], scale_kpa: f64| -> Vec<Moved> {
        let of_two = |(a, b): (Point, Point)| {
            let kpa = scale_kpa * (b.value - a.value);
            Moved { kind, kpa, at_s: (a.at_s, b.at_s) }
        };
        pairs(points, apart_s).map(of_two).collect()
    };
    let mut moves = between(AnchorKind::BloodGas, &gas_points(anchors), 1.0);
    moves.extend(match level_kpa {
        Some(level_kpa) => {
            let ratios: Vec<Point> = of(anchors, AnchorKind::GasCheck).map(ratio).collect();
            between(AnchorKind::GasCheck, &ratios, level_kpa)
        }
        None => between(AnchorKind::GasCheck, &check_points(anchors, factor), 1.0),
    });
    moves
}

fn of(anchors: &[Anchor], kind: AnchorKind) -> impl Iterator<Item = &Anchor> {
    anchors.iter().filter(move |anchor| anchor.kind == kind)
}

fn gas_points(anchors: &[Anchor]) -> Vec<Point> {
    of(anchors, AnchorKind::BloodGas).map(|anchor| added(anchor, 1.0)).collect()
}

fn check_points(anchors: &[Anchor], factor: f64) -> Vec<Point> {
    of(anchors, AnchorKind::GasCheck).map(|anchor| added(anchor, factor)).collect()
}

/// Every two of the first few that lie far enough apart, the earlier first.
fn pairs(points: &[Point], apart_s: f64) -> impl Iterator<Item = (Point, Point)> + '_ {
    let few = &points[..points.len().min(PAIRED_MOST)];
    few.iter().enumerate().flat_map(move |(i, a)| {
        let later = few[i + 1..].iter().filter(move |b| b.at_s - a.at_s >= apart_s);
        later.map(move |b| (*a, *b))
    })
}

fn added(anchor: &Anchor, factor: f64) -> Point {
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

fn no_anchor() -> Finding {
    finding(
        "co2_not_corrected",
        Weight::Caution,
        "No blood gas and no gas check can be used: CO2 is not corrected for offset and drift. Its band is \
         what unchecked sensors are known to err by, widening through the night as they drift.",
    )
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
        "Gas checks do not move CO2 where the blood gases do: those tell the whole error, and the checks \
         only the sensor's part of it. Those that agree narrow the band.",
    )
}
