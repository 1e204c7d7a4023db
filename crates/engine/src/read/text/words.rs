//! The trade's words: what a column's name says it holds.

use crate::recording::Quantity;
use crate::unit::Unit;

/// What a column is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// The date alone, or date and time.
    Date,
    /// Time of day, or date and time.
    Time,
    /// Time since the start.
    Elapsed,
    /// Samples of one quantity.
    Samples(Quantity),
    /// Words about a moment.
    Event,
    /// Who the patient is: never read.
    Identity,
    /// A running number: not read.
    Counter,
    /// Long form: which channel the row is about.
    Channel,
    /// Long form: its value.
    Value,
    /// Long form: its unit.
    Unit,
}

const WORDS: &[(Role, &[&str])] = &[
    (Role::Date, &["date", "day", "recorddate"]),
    (
        Role::Time,
        &[
            "time",
            "datetime",
            "dateandtime",
            "datetimelocal",
            "timestamp",
            "clock",
            "clocktime",
            "localtime",
            "timeofday",
            "recordtime",
            "sampletime",
            "epoch",
            "unixtime",
        ],
    ),
    (
        Role::Elapsed,
        &[
            "elapsed",
            "elapsedtime",
            "timeelapsed",
            "sec",
            "secs",
            "second",
            "seconds",
            "s",
            "t",
            "relativetime",
            "timefromstart",
            "ms",
            "msec",
        ],
    ),
    (
        Role::Samples(Quantity::Spo2),
        &[
            "spo2",
            "sao2",
            "so2",
            "o2sat",
            "o2saturation",
            "oxygensaturation",
            "oxygensat",
            "saturation",
            "sat",
            "sats",
            "spo2value",
        ],
    ),
    (
        Role::Samples(Quantity::Pulse),
        &["pulse", "pulserate", "prate", "pr", "hr", "heartrate", "bpm", "pulsevalue"],
    ),
    (
        Role::Samples(Quantity::Tcpco2),
        &[
            "tcpco2",
            "tcco2",
            "ptcco2",
            "co2",
            "pco2",
            "transcutaneousco2",
            "transcutaneouspco2",
            "tcpco2value",
        ],
    ),
    (Role::Samples(Quantity::Perfusion), &["perfusion", "perfusionindex", "pi", "perf"]),
    (Role::Samples(Quantity::Heater), &["heater", "heaterpower", "heatingpower", "power"]),
    (
        Role::Samples(Quantity::SensorTemp),
        &["temperature", "temp", "sensortemp", "sensortemperature", "tempsensor"],
    ),
    (Role::Samples(Quantity::Pleth), &["pleth", "plethysmogram", "ppg"]),
    (Role::Samples(Quantity::Flow), &["flow", "airflow"]),
    (Role::Samples(Quantity::Leak), &["leak", "leakage"]),
    (
        Role::Event,
        &[
            "event",
            "events",
            "mark",
            "marks",
            "marker",
            "markers",
            "annotation",
            "annotations",
            "note",
            "notes",
            "comment",
            "comments",
            "remark",
            "remarks",
            "alarm",
            "alarms",
        ],
    ),
    (
        Role::Identity,
        &[
            "patient",
            "patientid",
            "patientname",
            "patientnumber",
            "name",
            "surname",
            "firstname",
            "lastname",
            "forename",
            "id",
            "nhs",
            "nhsnumber",
            "nhsno",
            "mrn",
            "hospitalnumber",
            "hospitalno",
            "dob",
            "dateofbirth",
            "birthdate",
            "sex",
            "gender",
            "address",
            "postcode",
        ],
    ),
    (
        Role::Counter,
        &[
            "",
            "no",
            "nr",
            "index",
            "idx",
            "row",
            "record",
            "recordnumber",
            "sample",
            "samplenumber",
            "number",
            "count",
        ],
    ),
    (
        Role::Channel,
        &["channel", "parameter", "signal", "quantity", "variable", "measure", "measurement"],
    ),
    (Role::Value, &["value", "reading", "result"]),
    (Role::Unit, &["unit", "units", "uom"]),
];

/// A column's name taken apart.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Name {
    /// As the file wrote it, trimmed.
    pub(crate) label: String,
    /// Letters and digits of the name without its unit, in lower case.
    pub(crate) key: String,
    /// The unit written with the name; empty when there is none.
    pub(crate) unit: String,
}

impl Name {
    /// Takes a header cell apart: `SpO2 (%)`, `tcPCO2 [mmHg]`, `CO2 mmHg`, `Pulse_/min`.
    pub(crate) fn parse(raw: &str) -> Self {
        let label = raw.trim().to_owned();
        let (name, unit) = split_unit(&label);
        Self { key: key(name), unit: unit.trim().to_owned(), label }
    }

    /// What the name says the column is for; `None` when the trade has no such word.
    pub(crate) fn role(&self) -> Option<Role> {
        let role = WORDS.iter().find(|(_, words)| words.contains(&self.key.as_str()))?.0;
        let seconds = matches!(self.unit.to_lowercase().as_str(), "s" | "sec" | "seconds" | "ms");
        Some(if role == Role::Time && seconds { Role::Elapsed } else { role })
    }
}

/// What a header cell says its column is for.
pub(super) fn role(cell: &str) -> Option<Role> {
    // No word of the trade begins with a digit, and most cells do.
    if cell.starts_with(|c: char| c.is_ascii_digit()) { None } else { Name::parse(cell).role() }
}

fn key(name: &str) -> String {
    let plain = name.replace('₂', "2");
    plain.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn split_unit(label: &str) -> (&str, &str) {
    for (open, close) in [('(', ')'), ('[', ']')] {
        // The first bracket opens the unit and the last closes it, so that (mm[Hg]) stays whole.
        let at = label.find(open).filter(|&at| at > 0 && !label[..at].ends_with("mm"));
        if let (Some(at), Some(end)) = (at, label.rfind(close))
            && at < end
        {
            return (&label[..at], &label[at + 1..end]);
        }
    }
    let breaks = label.char_indices().filter(|(_, c)| matches!(c, ' ' | '_' | ',' | ';' | ':'));
    for (at, mark) in breaks {
        let rest = label[at + mark.len_utf8()..].trim();
        if at > 0 && is_unit(rest) {
            return (&label[..at], rest);
        }
    }
    match label.strip_suffix('%') {
        Some(name) if !name.trim().is_empty() => (name, "%"),
        _ => (label, ""),
    }
}

/// Whether a text is a unit this tool knows, or a way of writing time.
pub(super) fn is_unit(text: &str) -> bool {
    let lower = text.trim().to_lowercase();
    let time = ["s", "sec", "ms", "hh:mm:ss", "hh:mm", "yyyy-mm-dd", "dd/mm/yyyy", "dd.mm.yyyy"];
    time.contains(&lower.as_str()) || unit(text).is_some()
}

/// The unit a text names; `None` when unknown.
pub(crate) fn unit(text: &str) -> Option<Unit> {
    let plain: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    Some(match plain.to_lowercase().as_str() {
        "%" | "percent" | "pct" | "%spo2" | "%sat" => Unit::Percent,
        "/min" | "1/min" | "min-1" | "min^-1" | "min⁻¹" | "bpm" | "b/min" | "b/m" | "beats/min"
        | "{beats}/min" | "beatsperminute" | "perminute" | "p/min" => Unit::PerMinute,
        "kpa" => Unit::Kilopascal,
        "mmhg" | "mm[hg]" | "torr" => Unit::MillimetreOfMercury,
        "°c" | "c" | "degc" | "cel" | "celsius" | "ºc" => Unit::Celsius,
        "mw" => Unit::Milliwatt,
        "l/min" | "lpm" => Unit::LitrePerMinute,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_known_by_the_trades_words() {
        for (label, quantity, unit) in [
            ("SpO2 (%)", Quantity::Spo2, "%"),
            ("SpO₂ [%]", Quantity::Spo2, "%"),
            ("O2 sat, %", Quantity::Spo2, "%"),
            ("SPO2%", Quantity::Spo2, "%"),
            ("Pulse (/min)", Quantity::Pulse, "/min"),
            ("Heart Rate bpm", Quantity::Pulse, "bpm"),
            ("tcPCO2 [mmHg]", Quantity::Tcpco2, "mmHg"),
            ("PtcCO2 mm Hg", Quantity::Tcpco2, "mm Hg"),
            ("tc-CO2 (mm[Hg])", Quantity::Tcpco2, "mm[Hg]"),
            ("tcpco2 mm[Hg]", Quantity::Tcpco2, "mm[Hg]"),
            ("TCPCO2_kPa", Quantity::Tcpco2, "kPa"),
            ("Sensor temperature (°C)", Quantity::SensorTemp, "°C"),
            ("Perfusion index", Quantity::Perfusion, ""),
        ] {
            let name = Name::parse(label);
            let expected = (Some(Role::Samples(quantity)), unit);
            assert_eq!((name.role(), name.unit.as_str()), expected, "{label}");
        }
        assert_eq!(Name::parse("EtCO2 (kPa)").role(), None);
        assert_eq!(Name::parse("Time (s)").role(), Some(Role::Elapsed));
        assert_eq!(Name::parse("Patient name").role(), Some(Role::Identity));
    }
}
