//! What the name of a column or signal may speak of: something that is scored, or plainly something else.
//! Common practice, no source.

use crate::read::text::words::Oximeter;
use crate::read::text::words::oximeter;
use crate::read::text::words::split_unit;
use crate::read::text::words::words_of;
use crate::recording::Quantity;
use crate::unit::Unit;

/// Parts of names of CO2; the digit 0 is often written for the letter.
const CO2: [&str; 5] = ["co2", "c02", "carbondioxide", "kohlendioxid", "capno"];
/// Parts of names of saturation.
const SPO2: [&str; 10] = [
    "spo2",
    "sp02",
    "sao2",
    "sa02",
    "o2sat",
    "oxygensat",
    "saturation",
    "sättigung",
    "saettigung",
    "oximet",
];
/// Parts of names of the pulse.
const PULSE: [&str; 4] = ["pulserate", "heartrate", "pulsrate", "herzfreq"];
const PULSE_WORDS: [&str; 6] = ["pulse", "puls", "pr", "hr", "heart", "bpm"];
/// What is seen in the wave of a pulse is no rate.
const OF_THE_WAVE: [&str; 6] = ["wave", "amplitude", "transit", "pleth", "volume", "quality"];

/// The scored quantities that a name may speak of, however else they were measured.
pub(super) fn named(label: &str) -> Vec<Quantity> {
    let words = words_of(label);
    let whole: String = words.concat();
    let has = |parts: &[&str]| parts.iter().any(|part| whole.contains(part));
    let word = |all: &[&str]| words.iter().any(|word| all.contains(&word.as_str()));
    if has(&CO2) {
        return vec![Quantity::Tcpco2];
    }
    match oximeter(&words_of(&split_unit(label).0)) {
        Some(Oximeter::Pulse) => return vec![Quantity::Pulse],
        Some(Oximeter::Either) => return vec![Quantity::Spo2, Quantity::Pulse],
        None => {}
    }
    let mut named = Vec::new();
    if has(&SPO2) || word(&["sat", "sats"]) {
        named.push(Quantity::Spo2);
    }
    if (has(&PULSE) || word(&PULSE_WORDS)) && !has(&OF_THE_WAVE) {
        named.push(Quantity::Pulse);
    }
    named
}

/// Words of things that are no scored channel, whatever their numbers. A word that may stand beside CO2 or
/// saturation as well, such as pressure, index, signal, heat, is none of them: there the numbers tell.
const ELSE: [&str; 54] = [
    "flow",
    "leak",
    "pos",
    "position",
    "batt",
    "battery",
    "snore",
    "snoring",
    "sound",
    "noise",
    "light",
    "resp",
    "respiration",
    "breath",
    "breaths",
    "breathing",
    "rr",
    "emg",
    "eeg",
    "eog",
    "ecg",
    "ekg",
    "vt",
    "effort",
    "thorax",
    "thor",
    "abdomen",
    "abdo",
    "quality",
    "humidity",
    "bp",
    "nibp",
    "systolic",
    "diastolic",
    "cuff",
    "mask",
    "cpap",
    "peep",
    "fio2",
    "stage",
    "hypnogram",
    "activity",
    "perfusion",
    "perf",
    "pi",
    "pleth",
    "po2",
    "altitude",
    "age",
    "height",
    "weight",
    "bmi",
    "volts",
    "voltage",
];
/// The same as parts of words.
const ELSE_WITHIN: [&str; 7] = ["tcpo2", "pao2", "baro", "ambient", "epap", "ipap", "actigra"];
/// Words of codes, where the numbers are few and whole.
const FLAGS: [&str; 9] =
    ["flag", "flags", "status", "state", "alarm", "event", "events", "code", "error"];

/// Whether a name is plainly that of something else.
pub(super) fn is_something_else(label: &str) -> bool {
    let words = words_of(label);
    let whole: String = words.concat();
    words.iter().any(|word| ELSE.contains(&word.as_str()))
        || ELSE_WITHIN.iter().any(|part| whole.contains(part))
}

/// Whether a name is that of a code.
pub(super) fn is_flag(label: &str) -> bool {
    words_of(label).iter().any(|word| FLAGS.contains(&word.as_str()))
}

/// What the unit of a channel says of what it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum UnitSays {
    /// There is none, or one that nobody knows.
    Nothing,
    /// That of CO2.
    Pressure,
    /// That of saturation.
    Percent,
    /// That of the pulse.
    Rate,
    /// That of nothing that is scored.
    Else,
}

/// Units of things that are not scored, in lower case without blanks.
const ELSE_UNITS: [&str; 42] = [
    "v", "mv", "uv", "µv", "μv", "nv", "a", "ma", "w", "°f", "degf", "f", "k", "cmh2o", "hpa",
    "mbar", "bar", "l", "ml", "l/s", "ml/s", "ml/min", "ml/kg", "hz", "khz", "db", "ms", "min",
    "h", "g", "mg", "m/s2", "m/s^2", "deg", "°", "lux", "lx", "ohm", "kohm", "a.u.", "au", "years",
];

/// What a unit says.
pub(super) fn unit_says(unit: &Unit) -> UnitSays {
    match unit {
        Unit::Kilopascal | Unit::MillimetreOfMercury => UnitSays::Pressure,
        Unit::Percent => UnitSays::Percent,
        Unit::PerMinute => UnitSays::Rate,
        Unit::One => UnitSays::Nothing,
        Unit::Other(text) => {
            let plain: String = text.chars().filter(|c| !c.is_whitespace()).collect();
            let plain = plain.to_lowercase();
            if ELSE_UNITS.contains(&plain.as_str()) { UnitSays::Else } else { UnitSays::Nothing }
        }
        _ => UnitSays::Else,
    }
}
