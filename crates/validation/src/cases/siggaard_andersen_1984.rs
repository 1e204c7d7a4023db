//! The hyperbolic-tangent model of the saturation curve, held against the rational one.

use engine::gas::{Blood, saturation_from_po2, saturation_tanh};
use engine::unit::kpa_from_mmhg;

use crate::{Figure, Limits, Outcome, Suite};

/// Two published curves of the same blood: how far they lie apart from 30 to 150 mmHg.
pub(super) fn suite() -> Suite {
    let rows = (3..=15)
        .map(|tens| {
            let po2 = f64::from(tens) * 10.0;
            let found = 100.0 * saturation_tanh(kpa_from_mmhg(po2), &Blood::STANDARD);
            let expected = 100.0 * saturation_from_po2(po2);
            Figure::new(format!("saturation at {po2} mmHg, %"), expected, found)
        })
        .collect();
    Suite {
        title: "Two saturation curves against each other",
        source: "siggaard-andersen-1984",
        place: "its model against equation 1 of severinghaus-1979",
        outcome: Outcome::Figures {
            rows,
            digits: 2,
            limits: Limits {
                q75: 0.6,
                q99: 1.1,
                max: 1.1,
                because: "each claims about half a percent of the standard curve",
            },
        },
    }
}
