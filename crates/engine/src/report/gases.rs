//! Every blood gas of the night in one line.

use crate::correct::AnchorKind;
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::report::words;
use crate::unit::mmhg_from_kpa;

/// Each with its number and time in order of time, and what the sensor read then or why that cannot be told.
/// One noted twice is told once, as it counts.
pub(super) fn line(judgement: &Judgement) -> Option<String> {
    let corrected = &judgement.scores.corrected;
    let (recording, notes) = (&corrected.screened.recording, &corrected.screened.notes);
    let told = |at_s: f64, kpa: f64, beside: &str| {
        (at_s, format!("{} at {}, {beside}", level(kpa), recording.when(at_s)))
    };
    let mut all: Vec<(f64, String)> = if let Some(co2) = &corrected.tcpco2 {
        let gases = co2.anchors.iter().filter(|anchor| anchor.kind == AnchorKind::BloodGas);
        let paired = gases.map(|gas| {
            let sensor = format!("sensor {}", level(gas.observed_kpa));
            told(gas.taken_s, gas.reference_kpa, &sensor)
        });
        let unpaired = co2.unpaired.iter().map(|gas| {
            let why = format!("not held against the sensor: {}", gas.why);
            told(gas.at_s, gas.pco2_kpa, &why)
        });
        paired.chain(unpaired).collect()
    } else {
        let why = recording.lacks(Quantity::Tcpco2, Quantity::Tcpco2.name());
        let gases = notes.blood_gases.iter();
        gases.map(|gas| told(gas.at_s, gas.pco2_kpa, &why)).collect()
    };
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.dedup_by(|a, b| a.1 == b.1);
    let title = if all.len() == 1 { "Blood gas" } else { "Blood gases" };
    let all: Vec<String> = all.into_iter().map(|(_, words)| words).collect();
    (!all.is_empty()).then(|| format!("{title}: {}.", all.join("; ")))
}

/// A level in both units.
fn level(kpa: f64) -> String {
    format!("{} kPa ({} mmHg)", words::fixed(kpa, 2), words::fixed(mmhg_from_kpa(kpa), 1))
}
