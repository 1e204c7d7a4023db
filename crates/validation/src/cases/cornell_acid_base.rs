//! Henderson–Hasselbalch and the standard base excess.

use engine::gas::{
    CO2_SOLUBILITY, CO2_SOLUBILITY_BEDSIDE, bicarbonate_from, ph_from, standard_base_excess,
};

use crate::{Figure, Limits, Outcome, Suite};

/// pH, PCO2 in mmHg, then bicarbonate with either solubility and the standard base excess, mmol/L.
const TABLE: [(f64, f64, f64, f64, f64); 4] = [
    (7.40, 40.0, 24.502, 23.943, 0.095),
    (7.36, 50.0, 27.932, 27.296, 2.730),
    (7.38, 55.0, 32.174, 31.440, 6.944),
    (7.35, 60.0, 32.756, 32.009, 7.071),
];

/// Bicarbonate, base excess, and pH back from bicarbonate.
pub(super) fn suite() -> Suite {
    let rows = TABLE
        .iter()
        .flat_map(|&(ph, pco2, fine, bedside, excess)| {
            let at = format!("pH {ph:.2}, PCO2 {pco2} mmHg");
            let bicarbonate = bicarbonate_from(ph, pco2, CO2_SOLUBILITY);
            [
                Figure::new(format!("{at}: HCO3 with 0.0307, mmol/L"), fine, bicarbonate),
                Figure::new(
                    format!("{at}: HCO3 with 0.03, mmol/L"),
                    bedside,
                    bicarbonate_from(ph, pco2, CO2_SOLUBILITY_BEDSIDE),
                ),
                Figure::new(
                    format!("{at}: standard base excess, mmol/L"),
                    excess,
                    standard_base_excess(bicarbonate, ph),
                ),
                Figure::new(
                    format!("{at}: pH back"),
                    ph,
                    ph_from(bicarbonate, pco2, CO2_SOLUBILITY),
                ),
            ]
        })
        .collect();
    Suite {
        title: "Acid and base",
        source: "cornell-acid-base",
        place: "arithmetic on its two formulas",
        outcome: Outcome::Figures { rows, digits: 3, limits: Limits::last_digit(5.1e-4) },
    }
}
