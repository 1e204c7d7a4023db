//! The heated sensor's temperature factor, and why the order of the correction matters.

use engine::gas::{
    BLOOD_EXPONENT_PER_C, TC_EXPONENT_PER_C, tc_divide_then_subtract, tc_subtract_then_divide,
    tc_temperature_factor, tc_temperature_factor_compound,
};

use crate::{Figure, Limits, Outcome, Suite};

/// Three forms of the factor at three sensor temperatures.
pub(super) fn factors() -> Suite {
    let table = [
        (42.0, 1.24451, 1.23737, 1.24618),
        (43.0, 1.30017, 1.29122, 1.30226),
        (44.0, 1.35831, 1.34741, 1.36086),
    ];
    let rows = table
        .iter()
        .flat_map(|&(celsius, working, blood, compound)| {
            [
                Figure::new(
                    format!("exponent 0.019 at {celsius} °C"),
                    working,
                    tc_temperature_factor(celsius, TC_EXPONENT_PER_C),
                ),
                Figure::new(
                    format!("exponent 0.0185 at {celsius} °C"),
                    blood,
                    tc_temperature_factor(celsius, BLOOD_EXPONENT_PER_C),
                ),
                Figure::new(
                    format!("4.5 % a degree at {celsius} °C"),
                    compound,
                    tc_temperature_factor_compound(celsius),
                ),
            ]
        })
        .collect();
    Suite {
        title: "Temperature factor of the heated sensor",
        source: "bradley-1956",
        place: "arithmetic on its form with three exponents",
        outcome: Outcome::Figures { rows, digits: 5, limits: Limits::last_digit(5.1e-6) },
    }
}

/// One reading of 70 mmHg at 43 °C corrected in either order, and a true 45 mmHg corrected twice.
pub(super) fn order() -> Suite {
    let factor = tc_temperature_factor(43.0, TC_EXPONENT_PER_C);
    let first = tc_subtract_then_divide(70.0, 5.0, factor);
    let second = tc_divide_then_subtract(70.0, 5.0, factor);
    let rows = vec![
        Figure::new("70 mmHg, 5 taken off and then divided, mmHg", 49.993, first),
        Figure::new("70 mmHg, divided and then 5 taken off, mmHg", 48.839, second),
        Figure::new("between the two, mmHg", 1.154, first - second),
        Figure::new(
            "a true 45 mmHg corrected a second time, mmHg",
            30.765,
            tc_subtract_then_divide(45.0, 5.0, factor),
        ),
    ];
    Suite {
        title: "Order of the sensor's correction",
        source: "eberhard-2007",
        place: "arithmetic on the working formula with a metabolic constant of 5 mmHg",
        outcome: Outcome::Figures { rows, digits: 3, limits: Limits::last_digit(5.1e-4) },
    }
}
