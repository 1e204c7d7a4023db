//! The conventional millimetre of mercury.

use engine::unit::{kpa_from_mmhg, mmhg_from_kpa};

use crate::{Figure, Limits, Outcome, Suite};

/// Pressures that rules and referrals speak of, both ways.
pub(super) fn suite() -> Suite {
    let to_kpa = [(49.0, 6.5328), (50.0, 6.6661), (55.0, 7.3327), (10.0, 1.3332), (45.0, 5.9995)];
    let to_mmhg = [(6.5, 48.7540), (6.0, 45.0037), (7.0, 52.5043), (8.0, 60.0049), (1.0, 7.5006)];
    let rows = to_kpa
        .into_iter()
        .map(|(mmhg, kpa)| Figure::new(format!("{mmhg} mmHg in kPa"), kpa, kpa_from_mmhg(mmhg)))
        .chain(to_mmhg.into_iter().map(|(kpa, mmhg)| {
            Figure::new(format!("{kpa:.1} kPa in mmHg"), mmhg, mmhg_from_kpa(kpa))
        }))
        .collect();
    Suite {
        title: "Kilopascal and millimetre of mercury",
        source: "nist-sp811",
        place: "arithmetic on 133.322387415 Pa",
        outcome: Outcome::Figures { rows, digits: 4, limits: Limits::last_digit(5.1e-5) },
    }
}
