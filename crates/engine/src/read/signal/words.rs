//! The words that labels and dimensions are made of.

use crate::read::text::words::Oximeter;
use crate::read::text::words::co2;
use crate::read::text::words::is_skin_oxygen;
use crate::read::text::words::oximeter;
use crate::read::text::words::split_unit;
use crate::read::text::words::words_of;
use crate::recording::Quantity;
use crate::unit::Unit;

/// Words for the quantities, without spaces and marks, in capitals. The EDF+ standard text for oxygen
/// saturation is `SaO2`; the others are words of the trade, common practice, no source.
const WORDS: [(Quantity, &[&str]); 9] = [
    (
        Quantity::Spo2,
        &["SAO2", "SPO2", "OSAT", "O2SAT", "SATO2", "SAT", "OXYGENSATURATION", "SATURATION"],
    ),
    (Quantity::Pulse, &["PULSE", "PR", "PULSERATE", "PULS"]),
    (
        Quantity::Tcpco2,
        &["TCCO2", "TCPCO2", "PTCCO2", "PTCO2", "PCO2TC", "CO2TC", "PTCCO2TC", "TRANSCUTANEOUSCO2"],
    ),
    (Quantity::Perfusion, &["PI", "PERF", "PERFUSION", "PERFUSIONINDEX", "PERFINDEX"]),
    (Quantity::Heater, &["HEATER", "HEATERPOWER", "HEATINGPOWER", "HEATPOWER"]),
    (Quantity::SensorTemp, &["SENSORTEMP", "SENSORTEMPERATURE", "TSENSOR", "TEMPSENSOR"]),
    (Quantity::Pleth, &["PLETH", "PPG", "PLETHYSMOGRAM", "PLETHYSMOGRAPH"]),
    (Quantity::Flow, &["FLOW", "AIRFLOW"]),
    (Quantity::Leak, &["LEAK", "LEAKAGE"]),
];

/// Words for a heart rate that need not come from the oximeter.
const HEART_RATE: [&str; 3] = ["HR", "HEARTRATE", "HEART"];

/// Letters and digits in capitals; subscript digits as digits.
fn plain(text: &str) -> String {
    let digit = |c: char| match u32::from(c).checked_sub(u32::from('₀')) {
        Some(value @ 0..=9) => char::from_digit(value, 10).unwrap_or(c),
        _ => c,
    };
    text.chars().map(digit).filter(char::is_ascii_alphanumeric).collect::<String>().to_uppercase()
}

/// What a label says, and whether it says it plainly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Says {
    Quantity(Quantity),
    /// A heart rate, which stands for the pulse where nothing better does.
    HeartRate,
    Nothing,
}

/// The whole label, else its name without a unit, else its first word (EDF+ labels are a type, a space and
/// a specification).
pub(super) fn says(label: &str) -> Says {
    if is_skin_oxygen(label) {
        return Says::Nothing;
    }
    let (name, _) = split_unit(label.trim());
    let first = label.split([' ', '(', '[', ',']).next().unwrap_or_default();
    let words = words_of(&name);
    if co2(&words) == Some(true) {
        return Says::Quantity(Quantity::Tcpco2);
    }
    match oximeter(&words) {
        Some(Oximeter::Pulse) => return Says::Quantity(Quantity::Pulse),
        Some(Oximeter::Either) => return Says::Nothing,
        None => {}
    }
    // The first word alone says what a signal is a type of; not where the rest tells a wave from its rate.
    let of_the_wave = ["wave", "ampl", "transit", "volume", "quality"];
    let rest = words.get(1..).unwrap_or_default();
    let wave = rest.iter().any(|word| of_the_wave.iter().any(|part| word.starts_with(part)));
    let first = if wave { "" } else { first };
    for word in [plain(label), plain(&name), plain(first)] {
        if HEART_RATE.contains(&word.as_str()) {
            return Says::HeartRate;
        }
        let known = WORDS.iter().find(|(_, words)| words.contains(&word.as_str()));
        if let Some((quantity, _)) = known {
            return Says::Quantity(*quantity);
        }
    }
    Says::Nothing
}

/// The unit that a label carries, as it writes it; empty when it carries none that is known.
pub(super) fn unit_in(label: &str) -> String {
    let (_, unit) = split_unit(label.trim());
    if crate::read::text::words::unit(&unit).is_some() { unit } else { String::new() }
}

/// The unit a dimension names; one that is not known is kept as written.
pub(super) fn unit(dimension: &str) -> Unit {
    let word = dimension.trim();
    match word.to_lowercase().replace([' ', '.'], "").as_str() {
        "" => Unit::One,
        "%" | "percent" | "pct" => Unit::Percent,
        "bpm" | "/min" | "1/min" | "b/m" | "b/min" | "beats/min" | "min-1" | "p/min" => {
            Unit::PerMinute
        }
        "kpa" => Unit::Kilopascal,
        "mmhg" | "mm[hg]" | "torr" => Unit::MillimetreOfMercury,
        "degc" | "°c" | "c" | "cel" => Unit::Celsius,
        "mw" => Unit::Milliwatt,
        "l/min" | "lpm" => Unit::LitrePerMinute,
        "s" => Unit::Second,
        _ => crate::read::text::words::unit(word).unwrap_or_else(|| Unit::Other(word.to_owned())),
    }
}

/// The units a quantity may come in; empty: any. A dimension left out is told by the label.
pub(super) fn fits(quantity: Quantity, unit: &Unit) -> bool {
    match quantity {
        Quantity::Spo2 => matches!(unit, Unit::Percent | Unit::One),
        Quantity::Pulse => matches!(unit, Unit::PerMinute | Unit::One),
        _ => true,
    }
}

/// Lowercase letters and digits with single underscores; `signal` when nothing is left, and never the
/// id of a known quantity.
pub(super) fn slug(label: &str) -> String {
    let words = label.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    let slug = words.map(str::to_lowercase).collect::<Vec<_>>().join("_");
    match Quantity::from_id(&slug) {
        _ if slug.is_empty() => "signal".to_owned(),
        Some(_) => format!("{slug}_signal"),
        None => slug,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_the_trade_are_known() {
        for (label, quantity) in [
            ("SaO2", Quantity::Spo2),
            ("SpO₂ finger", Quantity::Spo2),
            ("OSAT", Quantity::Spo2),
            ("Pulse", Quantity::Pulse),
            ("Pulse rate", Quantity::Pulse),
            ("tcPCO2", Quantity::Tcpco2),
            ("PtcCO2", Quantity::Tcpco2),
            ("TcCO2 ear", Quantity::Tcpco2),
        ] {
            assert_eq!(says(label), Says::Quantity(quantity), "{label}");
        }
        for label in ["EtCO2", "CO2", "EEG Fpz-Cz", ""] {
            assert_eq!(says(label), Says::Nothing, "{label}");
        }
    }
}
