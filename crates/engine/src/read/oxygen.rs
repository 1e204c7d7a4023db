//! `PTCO2` in capitals, or in small letters: CO2 through the skin (`PtCO2`) or oxygen (`PtcO2`).
//!
//! The name cannot tell, and the ranges overlap: CO2 of a living person lies about from 3 to 13 kPa (22 to 98
//! mmHg), oxygen through the skin commonly from 40 to 100 mmHg (common practice, no source). Below, it is CO2;
//! above, it is none; between, it is read as CO2 as the trade mostly writes it, and that is told.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Quantity;
use crate::unit::kpa_from_mmhg;
use crate::unit::mmhg_from_kpa;

/// The least of oxygen and the most of CO2, mmHg.
const OXYGEN_LEAST: f64 = 40.0;
const CO2_MOST: f64 = 98.0;

/// What was made of it.
pub(super) struct Told {
    /// It was taken for CO2.
    pub(super) taken: bool,
    /// What is told.
    pub(super) finding: Finding,
}

/// What the numbers of a column of such a name tell, in kPa; `None` without any.
pub(super) fn told(label: &str, kpa: &[f64]) -> Option<Told> {
    let mut numbers: Vec<f64> = kpa.iter().copied().filter(|x| x.is_finite() && *x > 0.0).collect();
    let middle = numbers.len() / 2;
    let median =
        (!numbers.is_empty()).then(|| *numbers.select_nth_unstable_by(middle, f64::total_cmp).1)?;
    let says = |taken, weight, rest: &str| {
        let sentence = format!(
            "The name `{label}` can mean CO2 (PtCO2) and oxygen (PtcO2); its numbers lie around \
             {median:.1} kPa ({:.0} mmHg): {rest}.",
            mmhg_from_kpa(median)
        );
        let finding = Finding::new("co2_or_oxygen", weight, sentence);
        let finding = if taken { finding.on(Quantity::Tcpco2.id()) } else { finding };
        Some(Told { taken, finding })
    };
    if median > kpa_from_mmhg(CO2_MOST) {
        says(false, Weight::Serious, "no CO2 of a person, and it was not taken for it")
    } else if median < kpa_from_mmhg(OXYGEN_LEAST) {
        says(true, Weight::Note, "low for oxygen, so it was read as CO2")
    } else {
        says(
            true,
            Weight::Serious,
            "both can have them, and it was read as CO2. A column map says which it is",
        )
    }
}
