//! Cautions: what a reader must bear in mind, on every report and on this one.

use crate::correct::AnchorKind;
use crate::criteria::Criteria;
use crate::criteria::Test;
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::report::words;

pub(super) fn cautions(judgement: &Judgement, criteria: &Criteria) -> Vec<String> {
    let mut cautions = vec![
        "Not a diagnosis: the clinician decides, under local policy and licensed practice."
            .to_owned(),
    ];
    cautions.extend(spo2_near_threshold(judgement, criteria));
    cautions.extend(co2_is_an_estimate(judgement));
    cautions
        .push("Sleep was not measured: rates are per believed hour, not per hour of sleep.".into());
    cautions.push("Not for alarms, nor for watching a patient as it happens.".into());
    cautions
}

fn co2_is_an_estimate(judgement: &Judgement) -> Option<String> {
    let co2 = judgement.scores.corrected.tcpco2.as_ref()?;
    let compared = co2.anchors.iter().any(|anchor| anchor.kind == AnchorKind::BloodGas);
    let was = match (compared, co2.unpaired.is_empty()) {
        (true, _) => "it was compared with a blood gas this night",
        (false, false) => "a blood gas was taken, but the sensor could not be compared with it",
        (false, true) => "no blood gas to compare it with was noted for this night",
    };
    Some(format!("Transcutaneous CO2 is an estimate of CO2 in the blood; {was}."))
}

/// The caution on readings that run high, when the lowest or mean SpO2 lies near a threshold.
fn spo2_near_threshold(judgement: &Judgement, criteria: &Criteria) -> Option<String> {
    let near_pct = criteria.report.spo2_caution_pct.value;
    let levels: Vec<f64> = criteria.rules.iter().flat_map(|rule| spo2_levels(&rule.test)).collect();
    let close = |value: f64| levels.iter().copied().find(|level| (value - level).abs() <= near_pct);
    let (which, value, level) = [("lowest", "spo2.min"), ("mean", "spo2.mean")]
        .into_iter()
        .filter_map(|(which, id)| Some((which, judgement.scores.value(id)?)))
        .find_map(|(which, value)| Some((which, value, close(value)?)))?;
    Some(format!(
        "The {which} SpO2 ({} %) lies within {} points of a threshold ({} %). SpO2 reads too high on \
         average in darker skin (by 1.1 %, 95 % CI 0.3 to 1.9: shi-2022), one reading may err by more, \
         and cold, poor perfusion, smoking and anaemia also mislead it (from memory).",
        words::fixed(value, 1),
        words::fixed(near_pct, 0),
        words::fixed(level, 0)
    ))
}

/// The levels of SpO2 a test compares with, %.
fn spo2_levels(test: &Test) -> Vec<f64> {
    match test {
        Test::Held { quantity: Quantity::Spo2, threshold, .. }
        | Test::Share { quantity: Quantity::Spo2, threshold, .. }
        | Test::Total { quantity: Quantity::Spo2, threshold, .. }
        | Test::Extreme { quantity: Quantity::Spo2, threshold }
        | Test::Mean { quantity: Quantity::Spo2, threshold } => vec![threshold.level],
        Test::All(tests) | Test::Any(tests) => tests.iter().flat_map(spo2_levels).collect(),
        _ => Vec::new(),
    }
}
