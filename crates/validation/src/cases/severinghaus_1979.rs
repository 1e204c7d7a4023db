//! The saturation curve, its published inverse, and the factors of temperature and pH.

use engine::gas::{
    ln_po2_per_celsius, ln_po2_per_ph, po2_from_saturation, po2_from_saturation_published,
    saturation_from_po2,
};

use crate::{Figure, Limits, Outcome, Suite};

/// Saturation at eleven pressures.
pub(super) fn curve() -> Suite {
    let table = [
        (10.0, 9.653),
        (20.0, 31.977),
        (30.0, 57.377),
        (40.0, 74.946),
        (50.0, 84.990),
        (60.0, 90.580),
        (70.0, 93.791),
        (80.0, 95.725),
        (90.0, 96.945),
        (100.0, 97.747),
        (150.0, 99.316),
    ];
    let rows = table.map(|(po2, percent)| {
        Figure::new(
            format!("saturation at {po2} mmHg, %"),
            percent,
            100.0 * saturation_from_po2(po2),
        )
    });
    Suite {
        title: "Saturation from PO2",
        source: "severinghaus-1979",
        place: "arithmetic on equation 1",
        outcome: Outcome::Figures {
            rows: rows.into(),
            digits: 3,
            limits: Limits::last_digit(5.1e-4),
        },
    }
}

/// Pressure at nine saturations, by the exact root and by the published inverse, which differ.
pub(super) fn inverse() -> Suite {
    let exact = [
        (0.50, 26.857),
        (0.80, 44.303),
        (0.85, 50.013),
        (0.88, 54.670),
        (0.90, 58.655),
        (0.92, 63.787),
        (0.94, 70.871),
        (0.95, 75.668),
        (0.96, 81.898),
        (0.98, 104.188),
    ];
    let published = [
        (0.80, 44.336),
        (0.85, 49.768),
        (0.88, 54.182),
        (0.90, 57.983),
        (0.92, 62.937),
        (0.94, 69.916),
        (0.95, 74.741),
        (0.96, 81.127),
        (0.98, 104.961),
    ];
    let rows = exact
        .into_iter()
        .map(|(s, po2)| {
            Figure::new(
                format!("PO2 at {s:.2}, equation 1 solved, mmHg"),
                po2,
                po2_from_saturation(s),
            )
        })
        .chain(published.into_iter().map(|(s, po2)| {
            let found = po2_from_saturation_published(s);
            Figure::new(format!("PO2 at {s:.2}, equation 2, mmHg"), po2, found)
        }))
        .collect();
    Suite {
        title: "PO2 from saturation",
        source: "severinghaus-1979",
        place: "arithmetic on equations 1 and 2, which are no exact inverses of each other",
        outcome: Outcome::Figures { rows, digits: 3, limits: Limits::last_digit(5.1e-4) },
    }
}

/// How PO2 moves with temperature and with pH.
pub(super) fn factors() -> Suite {
    let celsius = [(40.0, 0.070_99), (60.0, 0.070_97), (100.0, 0.070_76)];
    let ph = [(26.6, -1.2000), (60.0, -1.0385), (100.0, -0.9241)];
    let rows = celsius
        .into_iter()
        .map(|(po2, d)| {
            Figure::new(format!("d ln P / dT at {po2} mmHg"), d, ln_po2_per_celsius(po2))
        })
        .chain(ph.into_iter().map(|(po2, d)| {
            Figure::new(format!("d ln P / dpH at {po2} mmHg"), d, ln_po2_per_ph(po2))
        }))
        .collect();
    Suite {
        title: "Temperature and pH factors of PO2",
        source: "severinghaus-1979",
        place: "arithmetic on equations 3 and 4",
        outcome: Outcome::Figures { rows, digits: 5, limits: Limits::last_digit(5.1e-5) },
    }
}
