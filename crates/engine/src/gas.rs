//! Gas physiology: the saturation curve, acid and base, the alveolar gas, and the heated sensor's factors.
//!
//! Published formulas as printed, each with its source. Pressures are in mmHg where the publication
//! uses mmHg and in kPa where it uses kPa; the name of every argument says which. Saturations and
//! inspired oxygen are fractions from 0 to 1. Arguments outside a formula's range give NaN or
//! a meaningless number, never a panic; the caller stays inside.

/// pH at which the standard saturation curve is drawn.
pub const STANDARD_PH: f64 = 7.4;

/// Temperature at which the standard saturation curve is drawn, °C.
pub const STANDARD_TEMP_C: f64 = 37.0;

/// Water vapour pressure at 37 °C, mmHg, as rounded in the alveolar gas equation (textbook, from memory).
pub const WATER_VAPOUR_MMHG: f64 = 47.0;

/// Solubility of CO2 in plasma at 37 °C, mmol/L per mmHg, four digits (from memory).
pub const CO2_SOLUBILITY: f64 = 0.0307;

/// Solubility of CO2 in plasma as rounded for the bedside, mmol/L per mmHg.
///
/// # Sources
/// `cornell-acid-base`
pub const CO2_SOLUBILITY_BEDSIDE: f64 = 0.03;

/// Saturation from PO2 at 37 °C and pH 7.40.
///
/// # Sources
/// `severinghaus-1979`, equation 1: within 0.0055 of the standard curve.
///
/// # Examples
/// ```
/// assert!((engine::gas::saturation_from_po2(60.0) - 0.9058).abs() < 5e-5);
/// ```
pub fn saturation_from_po2(po2_mmhg: f64) -> f64 {
    if po2_mmhg <= 0.0 {
        return 0.0;
    }
    1.0 / (23_400.0 / (po2_mmhg * po2_mmhg * po2_mmhg + 150.0 * po2_mmhg) + 1.0)
}

/// PO2 in mmHg from saturation at 37 °C and pH 7.40: the exact root of [`saturation_from_po2`].
///
/// The equation is a cubic in PO2 with one real root, given by Cardano's formula. Zero for a
/// saturation of zero or less, infinite at one or more.
///
/// # Sources
/// `severinghaus-1979`, equation 1.
pub fn po2_from_saturation(saturation: f64) -> f64 {
    if saturation <= 0.0 {
        return 0.0;
    }
    if saturation >= 1.0 {
        return f64::INFINITY;
    }
    let half = 11_700.0 * saturation / (1.0 - saturation);
    let root = libm::sqrt(half * half + 125_000.0);
    libm::cbrt(half + root) - libm::cbrt(root - half)
}

/// PO2 in mmHg from saturation at 37 °C and pH 7.40, by the separately published inverse.
///
/// It is not the exact inverse of [`saturation_from_po2`]: the two differ by up to 1 mmHg near a
/// saturation of 0.94, so a value must never be sent there and back.
///
/// # Sources
/// `severinghaus-1979`, equation 2.
pub fn po2_from_saturation_published(saturation: f64) -> f64 {
    let odds = saturation / (1.0 - saturation);
    libm::exp(
        0.385 * libm::log(odds) + 3.32
            - 1.0 / (72.0 * saturation)
            - 0.17 * libm::pow(saturation, 6.0),
    )
}

/// Change of ln PO2 for each °C at constant saturation.
///
/// # Sources
/// `severinghaus-1979`, equation 3.
pub fn ln_po2_per_celsius(po2_mmhg: f64) -> f64 {
    0.058 / (libm::pow(0.243 * po2_mmhg / 100.0, 3.88) + 1.0) + 0.013
}

/// Change of ln PO2 for each unit of pH at constant saturation; negative below about 1900 mmHg.
///
/// # Sources
/// `severinghaus-1979`, equation 4.
pub fn ln_po2_per_ph(po2_mmhg: f64) -> f64 {
    libm::pow(po2_mmhg / 26.6, 0.184) - 2.2
}

/// Saturation from PO2 at any pH, at 37 °C: the standard curve moved by [`ln_po2_per_ph`].
///
/// # Sources
/// `severinghaus-1979`, equations 1 and 4.
pub fn saturation_at_ph(po2_mmhg: f64, ph: f64) -> f64 {
    if po2_mmhg <= 0.0 {
        return 0.0;
    }
    let shift = ln_po2_per_ph(po2_mmhg) * (ph - STANDARD_PH);
    saturation_from_po2(po2_mmhg * libm::exp(-shift))
}

/// What the hyperbolic-tangent model of the saturation curve needs to know of the blood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blood {
    /// pH of plasma.
    pub ph: f64,
    /// Temperature, °C.
    pub temp_c: f64,
    /// Base excess, mmol/L.
    pub base_excess_mmol_per_l: f64,
    /// 2,3-diphosphoglycerate, mmol/L.
    pub dpg_mmol_per_l: f64,
}

impl Blood {
    /// Standard blood: pH 7.4, 37 °C, base excess 0, 5 mmol/L of 2,3-diphosphoglycerate.
    pub const STANDARD: Self = Self {
        ph: STANDARD_PH,
        temp_c: STANDARD_TEMP_C,
        base_excess_mmol_per_l: 0.0,
        dpg_mmol_per_l: 5.0,
    };
}

/// Saturation from PO2 by the hyperbolic-tangent model.
///
/// # Sources
/// `siggaard-andersen-1984`
pub fn saturation_tanh(po2_kpa: f64, blood: &Blood) -> f64 {
    if po2_kpa <= 0.0 {
        return 0.0;
    }
    let a = 1.04 * (STANDARD_PH - blood.ph)
        + 0.005 * blood.base_excess_mmol_per_l
        + 0.07 * (blood.dpg_mmol_per_l - 5.0);
    let b = 0.055 * (blood.temp_c - STANDARD_TEMP_C);
    let from_centre = libm::log(po2_kpa) - (1.946 + a + b);
    let y = 1.875 + from_centre + (3.5 + a) * libm::tanh(0.5343 * from_centre);
    1.0 / (1.0 + libm::exp(-y))
}

/// pH from bicarbonate and PCO2, with the solubility of CO2 in mmol/L per mmHg.
///
/// # Sources
/// Henderson–Hasselbalch equation, `cornell-acid-base`.
pub fn ph_from(bicarbonate_mmol_per_l: f64, pco2_mmhg: f64, solubility: f64) -> f64 {
    6.1 + libm::log10(bicarbonate_mmol_per_l / (solubility * pco2_mmhg))
}

/// Bicarbonate in mmol/L from pH and PCO2, with the solubility of CO2 in mmol/L per mmHg.
///
/// # Sources
/// Henderson–Hasselbalch equation, `cornell-acid-base`.
///
/// # Examples
/// ```
/// use engine::gas::{CO2_SOLUBILITY, bicarbonate_from};
/// assert!((bicarbonate_from(7.40, 40.0, CO2_SOLUBILITY) - 24.502).abs() < 5e-4);
/// ```
pub fn bicarbonate_from(ph: f64, pco2_mmhg: f64, solubility: f64) -> f64 {
    solubility * pco2_mmhg * libm::pow(10.0, ph - 6.1)
}

/// Standard base excess in mmol/L.
///
/// # Sources
/// Siggaard-Andersen's form in `cornell-acid-base`.
pub fn standard_base_excess(bicarbonate_mmol_per_l: f64, ph: f64) -> f64 {
    0.9287 * (bicarbonate_mmol_per_l - 24.4 + 14.83 * (ph - STANDARD_PH))
}

/// Base excess of blood in mmol/L from pH, PCO2, haemoglobin in g/dL and saturation.
///
/// # Sources
/// `lang-zander-2002`
pub fn base_excess_zander(
    ph: f64,
    pco2_mmhg: f64,
    haemoglobin_g_per_dl: f64,
    saturation: f64,
) -> f64 {
    let plasma = 0.0304 * pco2_mmhg * libm::pow(10.0, ph - 6.1) - 24.26;
    let buffer = (9.5 + 1.63 * haemoglobin_g_per_dl) * (ph - STANDARD_PH);
    (1.0 - 0.0143 * haemoglobin_g_per_dl) * (plasma + buffer)
        - 0.2 * haemoglobin_g_per_dl * (1.0 - saturation)
}

/// What is breathed and burnt, for the alveolar gas equation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inspired {
    /// Oxygen as a fraction of dry gas.
    pub oxygen: f64,
    /// Barometric pressure, mmHg.
    pub barometer_mmhg: f64,
    /// CO2 given out for each oxygen taken up; 0.8 by convention.
    pub respiratory_quotient: f64,
}

impl Inspired {
    /// PO2 of the moist inspired gas, mmHg.
    pub fn po2_mmhg(&self) -> f64 {
        self.oxygen * (self.barometer_mmhg - WATER_VAPOUR_MMHG)
    }
}

/// Alveolar PO2 in mmHg by the full equation.
///
/// # Sources
/// Textbook, from memory.
pub fn alveolar_po2(inspired: &Inspired, paco2_mmhg: f64) -> f64 {
    let factor = inspired.oxygen + (1.0 - inspired.oxygen) / inspired.respiratory_quotient;
    inspired.po2_mmhg() - paco2_mmhg * factor
}

/// Alveolar PO2 in mmHg by the short equation, up to 3 mmHg lower on air.
///
/// # Sources
/// Textbook, from memory.
pub fn alveolar_po2_short(inspired: &Inspired, paco2_mmhg: f64) -> f64 {
    inspired.po2_mmhg() - paco2_mmhg / inspired.respiratory_quotient
}

/// Exponent per °C of the heated sensor's working formula (from memory).
pub const TC_EXPONENT_PER_C: f64 = 0.019;

/// Exponent per °C calculated for blood.
///
/// # Sources
/// `bradley-1956`
pub const BLOOD_EXPONENT_PER_C: f64 = 0.0185;

/// How much higher PCO2 is at the sensor's temperature than at 37 °C: `10^(exponent × (T − 37))`.
///
/// # Sources
/// `bradley-1956` for the form; exponents [`TC_EXPONENT_PER_C`] and [`BLOOD_EXPONENT_PER_C`].
pub fn tc_temperature_factor(sensor_temp_c: f64, exponent_per_c: f64) -> f64 {
    libm::pow(10.0, exponent_per_c * (sensor_temp_c - STANDARD_TEMP_C))
}

/// The same factor as compound growth of 4.5 % for each °C.
///
/// # Sources
/// `severinghaus-1982`
pub fn tc_temperature_factor_compound(sensor_temp_c: f64) -> f64 {
    libm::pow(1.045, sensor_temp_c - STANDARD_TEMP_C)
}

/// PCO2 at 37 °C from what the heated sensor measures: metabolic constant taken off first, then divided.
///
/// Measured and metabolic pressures and the result share one unit, kPa or mmHg.
///
/// # Sources
/// Working formula, from memory. It differs from [`tc_divide_then_subtract`]: say which is used.
pub fn tc_subtract_then_divide(measured: f64, metabolic: f64, factor: f64) -> f64 {
    (measured - metabolic) / factor
}

/// PCO2 at 37 °C from what the heated sensor measures: divided first, then the metabolic constant taken off.
///
/// Measured and metabolic pressures and the result share one unit, kPa or mmHg.
///
/// # Sources
/// `severinghaus-1982`: 4.5 % per °C applied to the calibration, then 4 mmHg subtracted.
pub fn tc_divide_then_subtract(measured: f64, metabolic: f64, factor: f64) -> f64 {
    measured / factor - metabolic
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::kpa_from_mmhg;

    fn near(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "found {found}, expected {expected}");
    }

    /// Equation 1 of `severinghaus-1979`, worked by hand to five digits.
    #[test]
    fn the_saturation_curve_gives_its_published_points() {
        for (po2, percent) in [
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
        ] {
            near(100.0 * saturation_from_po2(po2), percent, 5e-4);
        }
    }

    /// Roots of equation 1 and values of equation 2 of `severinghaus-1979`; P50 is 27 mmHg in
    /// the Merck manual, rounded.
    #[test]
    fn the_two_published_inverses_differ_as_published() {
        for (saturation, exact, published) in [
            (0.80, 44.303, 44.336),
            (0.85, 50.013, 49.768),
            (0.88, 54.670, 54.182),
            (0.90, 58.655, 57.983),
            (0.92, 63.787, 62.937),
            (0.94, 70.871, 69.916),
            (0.95, 75.668, 74.741),
            (0.96, 81.898, 81.127),
            (0.98, 104.188, 104.961),
        ] {
            near(po2_from_saturation(saturation), exact, 5e-4);
            near(po2_from_saturation_published(saturation), published, 5e-4);
            near(saturation_from_po2(po2_from_saturation(saturation)), saturation, 1e-12);
        }
        near(po2_from_saturation(0.5), 26.857, 5e-4);
        near(kpa_from_mmhg(po2_from_saturation(0.5)), 3.581, 5e-4);
    }

    /// Equations 3 and 4 of `severinghaus-1979`.
    #[test]
    fn temperature_and_ph_move_the_curve_as_published() {
        for (po2, per_c) in [(40.0, 0.07099), (60.0, 0.07097), (100.0, 0.07076)] {
            near(ln_po2_per_celsius(po2), per_c, 1e-5);
        }
        for (po2, per_ph) in [(26.6, -1.2), (60.0, -1.0385), (100.0, -0.9241)] {
            near(ln_po2_per_ph(po2), per_ph, 5e-5);
        }
        // Acid blood lets oxygen go: the same PO2 holds less.
        assert!(saturation_at_ph(60.0, 7.3) < saturation_at_ph(60.0, 7.4));
        near(saturation_at_ph(60.0, 7.4), saturation_from_po2(60.0), 1e-12);
    }

    /// `siggaard-andersen-1984`: the curve passes through saturation 0.867 at 7 kPa by construction
    /// (y0 = ln(0.867/0.133), x0 = ln 7), and P50 is that of `severinghaus-1979` within 0.05 kPa.
    #[test]
    fn the_tanh_model_passes_through_its_centre() {
        near(saturation_tanh(7.0, &Blood::STANDARD), 0.867, 2e-4);
        near(saturation_tanh(3.581, &Blood::STANDARD), 0.5, 0.01);
        let warm = Blood { temp_c: 39.0, ..Blood::STANDARD };
        assert!(saturation_tanh(7.0, &warm) < saturation_tanh(7.0, &Blood::STANDARD));
    }

    /// Hand-worked values of the Henderson–Hasselbalch equation and of `cornell-acid-base`'s base
    /// excess; normal blood has a standard base excess of 0.095, not exactly 0.
    #[test]
    fn acid_and_base_give_the_worked_values() {
        for (ph, pco2, precise, bedside, excess) in [
            (7.40, 40.0, 24.502, 23.943, 0.095),
            (7.36, 50.0, 27.932, 27.296, 2.730),
            (7.38, 55.0, 32.174, 31.440, 6.944),
            (7.35, 60.0, 32.756, 32.009, 7.071),
        ] {
            let bicarbonate = bicarbonate_from(ph, pco2, CO2_SOLUBILITY);
            near(bicarbonate, precise, 5e-4);
            near(bicarbonate_from(ph, pco2, CO2_SOLUBILITY_BEDSIDE), bedside, 5e-4);
            near(standard_base_excess(bicarbonate, ph), excess, 1e-3);
            near(ph_from(bicarbonate, pco2, CO2_SOLUBILITY), ph, 1e-12);
        }
    }

    /// `lang-zander-2002`: normal blood has none (0.0304 × 40 × 10^1.3 = 24.262, so 0.0019), and losing
    /// a tenth of the oxygen at 15 g/dL takes off 0.2 × 15 × 0.1 = 0.3 mmol/L.
    #[test]
    fn normal_blood_has_no_base_excess() {
        near(base_excess_zander(7.4, 40.0, 15.0, 1.0), 0.0019, 1e-3);
        let lost =
            base_excess_zander(7.4, 40.0, 15.0, 1.0) - base_excess_zander(7.4, 40.0, 15.0, 0.9);
        near(lost, 0.3, 1e-9);
    }

    /// Worked by hand with 47 mmHg of water vapour and a quotient of 0.8. With a gap of 10 mmHg to the
    /// artery, oxygen hides what CO2 shows: 60 mmHg reads 93 % on air and 99 % on 28 %.
    #[test]
    fn the_alveolar_gas_equation_gives_the_worked_values() {
        for (oxygen, barometer, paco2, full, saturation_pct) in [
            (0.21, 760.0, 40.0, 101.83, 97.12),
            (0.21, 760.0, 60.0, 77.88, 93.24),
            (0.21, 760.0, 80.0, 53.93, 79.61),
            (0.28, 760.0, 60.0, 128.84, 98.64),
            (0.21, 630.0, 40.0, 74.53, 92.25),
        ] {
            let inspired =
                Inspired { oxygen, barometer_mmhg: barometer, respiratory_quotient: 0.8 };
            let alveolar = alveolar_po2(&inspired, paco2);
            near(alveolar, full, 5e-3);
            near(100.0 * saturation_from_po2(alveolar - 10.0), saturation_pct, 5e-3);
        }
        let air = Inspired { oxygen: 0.21, barometer_mmhg: 760.0, respiratory_quotient: 0.8 };
        near(alveolar_po2_short(&air, 40.0), 99.73, 5e-3);
        near(alveolar_po2_short(&air, 60.0), 74.73, 5e-3);
    }

    /// Powers worked by hand: `bradley-1956` (0.0185), the working formula (0.019), `severinghaus-1982`
    /// (4.5 % per °C).
    #[test]
    fn heated_sensor_factors_give_the_worked_values() {
        for (temp_c, working, blood, compound) in [
            (42.0, 1.24451, 1.23737, 1.24618),
            (43.0, 1.30017, 1.29122, 1.30226),
            (44.0, 1.35831, 1.34741, 1.36086),
        ] {
            near(tc_temperature_factor(temp_c, TC_EXPONENT_PER_C), working, 5e-6);
            near(tc_temperature_factor(temp_c, BLOOD_EXPONENT_PER_C), blood, 5e-6);
            near(tc_temperature_factor_compound(temp_c), compound, 5e-6);
        }
    }

    /// Raw 70 mmHg at 43 °C with a metabolic constant of 5: the two orders are 1.15 mmHg apart, and
    /// correcting a true 45 twice gives 30.8.
    #[test]
    fn the_order_of_the_metabolic_correction_matters() {
        let factor = tc_temperature_factor(43.0, TC_EXPONENT_PER_C);
        near(tc_subtract_then_divide(70.0, 5.0, factor), 49.993, 1e-3);
        near(tc_divide_then_subtract(70.0, 5.0, factor), 48.839, 1e-3);
        near(tc_subtract_then_divide(45.0, 5.0, factor), 30.8, 0.05);
    }
}
