//! Units: what each number on the paper is counted in, and the one conversion that hurts if wrong.

/// Kilopascal in one conventional millimetre of mercury.
///
/// 133.322387415 Pa exactly. UCUM's own table uses 133.322 Pa, 3 parts in a million
/// less, which no reading can show; matins converts with this number everywhere.
///
/// # Sources
/// `nist-sp811`
pub const KPA_PER_MMHG: f64 = 0.133_322_387_415;

/// Differences below this never decide a comparison: a millionth of a unit, far under any monitor's
/// last digit and far over the rounding of a conversion between mmHg and kPa.
pub const TOLERANCE: f64 = 1e-6;

/// What a number is counted in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Percent, of saturation or of time.
    Percent,
    /// Beats a minute.
    PerMinute,
    /// Events an hour.
    PerHour,
    /// Kilopascal.
    Kilopascal,
    /// Millimetre of mercury.
    MillimetreOfMercury,
    /// Degree Celsius.
    Celsius,
    /// Milliwatt, of a heater.
    Milliwatt,
    /// Litre a minute.
    LitrePerMinute,
    /// Second.
    Second,
    /// Second in each hour.
    SecondPerHour,
    /// Percent times minutes in each hour, of a desaturation area.
    PercentMinutePerHour,
    /// A pure number.
    One,
    /// Any other unit, kept as the file wrote it.
    Other(String),
}

impl Unit {
    /// The symbol as printed, `kPa`, `mmHg`, `%`.
    pub fn symbol(&self) -> &str {
        match self {
            Self::Percent => "%",
            Self::PerMinute => "/min",
            Self::PerHour => "/h",
            Self::Kilopascal => "kPa",
            Self::MillimetreOfMercury => "mmHg",
            Self::Celsius => "°C",
            Self::Milliwatt => "mW",
            Self::LitrePerMinute => "L/min",
            Self::Second => "s",
            Self::SecondPerHour => "s/h",
            Self::PercentMinutePerHour => "%·min/h",
            Self::One => "",
            Self::Other(symbol) => symbol,
        }
    }
}

/// Kilopascal from millimetres of mercury.
pub fn kpa_from_mmhg(mmhg: f64) -> f64 {
    mmhg * KPA_PER_MMHG
}

/// Millimetres of mercury from kilopascal.
pub fn mmhg_from_kpa(kpa: f64) -> f64 {
    kpa / KPA_PER_MMHG
}

/// Whether `x` lies above `level`: past it when `strict`, else at it or past it.
///
/// [`TOLERANCE`] keeps the rounding of a conversion from deciding. NaN is never above.
pub fn above(x: f64, level: f64, strict: bool) -> bool {
    if strict { x > level + TOLERANCE } else { x >= level - TOLERANCE }
}

/// Whether `x` lies below `level`: past it when `strict`, else at it or past it.
///
/// [`TOLERANCE`] keeps the rounding of a conversion from deciding. NaN is never below.
pub fn below(x: f64, level: f64, strict: bool) -> bool {
    if strict { x < level - TOLERANCE } else { x <= level + TOLERANCE }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_conversion_never_decides_a_comparison() {
        for mmhg in 30..100 {
            let level = kpa_from_mmhg(f64::from(mmhg));
            for x in [level, level * (1.0 + f64::EPSILON), level * (1.0 - f64::EPSILON)] {
                assert!(!above(x, level, true) && above(x, level, false), "{mmhg} mmHg");
                assert!(!below(x, level, true) && below(x, level, false), "{mmhg} mmHg");
            }
        }
        assert!(above(90.1, 90.0, true) && below(89.9, 90.0, true));
        assert!(!above(f64::NAN, 90.0, false) && !below(f64::NAN, 90.0, false));
    }

    /// Arithmetic on the conventional millimetre of mercury (`nist-sp811`), to the digits clinicians use.
    #[test]
    fn conversions_match_the_table() {
        for (mmhg, kpa) in [(49.0, 6.5328), (50.0, 6.6661), (55.0, 7.3327), (10.0, 1.3332)] {
            assert!((kpa_from_mmhg(mmhg) - kpa).abs() < 5e-5, "{mmhg} mmHg");
        }
        for (kpa, mmhg) in [(6.5, 48.754), (6.0, 45.0037), (7.0, 52.504), (8.0, 60.005)] {
            assert!((mmhg_from_kpa(kpa) - mmhg).abs() < 5e-4, "{kpa} kPa");
        }
    }
}
