//! Alveolar gas, and how oxygen hides a high CO2.

use engine::gas::{Inspired, alveolar_po2, alveolar_po2_short, saturation_from_po2};

use crate::{Figure, Limits, Outcome, Suite};

/// Inspired oxygen, barometer in mmHg, arterial PCO2 in mmHg, alveolar PO2 in mmHg, saturation in % when the
/// blood's PO2 is 10 mmHg less.
const TABLE: [(f64, f64, f64, f64, f64); 5] = [
    (0.21, 760.0, 40.0, 101.83, 97.12),
    (0.21, 760.0, 60.0, 77.88, 93.24),
    (0.21, 760.0, 80.0, 53.93, 79.61),
    (0.28, 760.0, 60.0, 128.84, 98.64),
    (0.21, 630.0, 40.0, 74.53, 92.25),
];

/// Five breaths by the full equation, two by the short one.
pub(super) fn suite() -> Suite {
    let breath =
        |oxygen, barometer_mmhg| Inspired { oxygen, barometer_mmhg, respiratory_quotient: 0.8 };
    let mut rows = Vec::new();
    for (oxygen, barometer, paco2, po2, saturation) in TABLE {
        let at = format!("FiO2 {oxygen:.2}, {barometer} mmHg, PaCO2 {paco2}");
        let found = alveolar_po2(&breath(oxygen, barometer), paco2);
        rows.push(Figure::new(format!("{at}: PAO2, mmHg"), po2, found));
        rows.push(Figure::new(
            format!("{at}: saturation 10 mmHg lower, %"),
            saturation,
            100.0 * saturation_from_po2(found - 10.0),
        ));
    }
    for (paco2, po2) in [(40.0, 99.73), (60.0, 74.73)] {
        rows.push(Figure::new(
            format!("short form on air, PaCO2 {paco2}: PAO2, mmHg"),
            po2,
            alveolar_po2_short(&breath(0.21, 760.0), paco2),
        ));
    }
    Suite {
        title: "Alveolar gas",
        source: "alveolar-gas",
        place: "arithmetic on the textbook's equation",
        outcome: Outcome::Figures { rows, digits: 2, limits: Limits::last_digit(5.1e-3) },
    }
}
