//! The straight line between two blood gases.

use engine::correct::Corrected;
use engine::notes::BloodGas;
use engine::unit::{kpa_from_mmhg, mmhg_from_kpa};

use crate::made::{AWAKE_S, Curve, Night, every_rule};
use crate::{Figure, Limits, Outcome, Suite};

/// Eight hours from the first blood gas to the last.
const BETWEEN_S: usize = 28_800;

/// CO2 reads 48 at the first gas (44 in the blood), 56 in the middle, 52 at the last (46 in the blood).
fn corrected() -> Option<Corrected> {
    let lag = 120;
    let curve = Curve::awake(48.0).rest(48.0, 600).ramp(56.0, 6000).rest(56.0, 15_600);
    let curve = curve.ramp(52.0, 6000).rest(52.0, 600 + lag).until(52.0, BETWEEN_S + 1200);
    let mut night = Night::of_co2(curve);
    let gas = |at: usize, mmhg: f64| BloodGas { at_s: at as f64, pco2_kpa: kpa_from_mmhg(mmhg) };
    night.notes.blood_gases = vec![gas(AWAKE_S, 44.0), gas(AWAKE_S + BETWEEN_S, 46.0)];
    every_rule("").ok().map(|criteria| night.judge(&criteria).scores.corrected)
}

/// Corrected CO2 at the first gas, after two hours, in the middle and at the last gas.
pub(super) fn suite() -> Suite {
    let found = corrected();
    let at = |after_s: usize| {
        found
            .as_ref()
            .and_then(|corrected| corrected.tcpco2.as_ref())
            .and_then(|co2| co2.values.get(AWAKE_S + 120 + after_s))
            .map_or(f64::NAN, |kpa| mmhg_from_kpa(*kpa))
    };
    let rows = vec![
        Figure::new("48 mmHg at 0 h, blood 44", 44.0, at(0)),
        Figure::new("56 mmHg at 2 h", 51.5, at(BETWEEN_S / 4)),
        Figure::new("56 mmHg at 4 h", 51.0, at(BETWEEN_S / 2 + 1)),
        Figure::new("52 mmHg at 8 h, blood 46", 46.0, at(BETWEEN_S)),
    ];
    Suite {
        title: "Drift between two blood gases",
        source: "berlowitz-2011",
        place: "arithmetic on the straight line of its method, mmHg",
        outcome: Outcome::Figures {
            rows,
            digits: 2,
            limits: Limits {
                q75: 0.02,
                q99: 0.02,
                max: 0.02,
                because: "the sensor is read around a moment, not at one sample",
            },
        },
    }
}
