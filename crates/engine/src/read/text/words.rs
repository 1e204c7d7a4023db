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
            "ptco2",
            "co2",
            "pco2",
            "transcutaneousco2",
            "transcutaneouspco2",
            "tcpco2value",
        ],
    ),
    (
        Role::Samples(Quantity::Perfusion),
        &["perfusion", "perfusionindex", "pi", "perf", "perfindex"],
    ),
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
    /// Its words, in lower case.
    pub(crate) words: Vec<String>,
    /// The unit written with the name; empty when there is none.
    pub(crate) unit: String,
}

impl Name {
    /// Takes a header cell apart: `SpO2 (%)`, `tcPCO2 [mmHg]`, `CO2 mmHg`, `Pulse_/min`.
    pub(crate) fn parse(raw: &str) -> Self {
        let label = raw.trim().to_owned();
        let bare = label.trim_matches(['(', ')', '[', ']', '{', '}', '<', '>']).trim();
        // A letter alone may be anything.
        let letter = bare.len() == 1 && bare != "%";
        if !letter
            && self::unit(bare).is_some()
            && !matches!(known(&key(bare)), Some(Role::Samples(_)))
        {
            let unit = bare.to_owned();
            return Self { label, unit, ..Self::default() };
        }
        let (name, unit) = split_unit(&label);
        Self { key: key(&name), unit: unit.trim().to_owned(), words: words_of(&name), label }
    }

    /// What the name says the column is for; `None` when the trade has no such word.
    pub(crate) fn role(&self) -> Option<Role> {
        // A unit alone is no name, and a blank one with a unit is no running number.
        if is_skin_oxygen(&self.label) || (self.key.is_empty() && !self.unit.is_empty()) {
            return None;
        }
        match oximeter(&self.words) {
            Some(Oximeter::Pulse) => return Some(Role::Samples(Quantity::Pulse)),
            Some(Oximeter::Either) => return None,
            None => {}
        }
        let role = known(&self.key).or_else(|| self.in_several_words())?;
        let seconds = matches!(self.unit.to_lowercase().as_str(), "s" | "sec" | "seconds" | "ms");
        Some(if role == Role::Time && seconds { Role::Elapsed } else { role })
    }

    /// What is scored, told in more words than one: where the sensor sits, or that it goes through the skin.
    fn in_several_words(&self) -> Option<Role> {
        if self.words.len() < 2 {
            return None;
        }
        if co2(&self.words).is_some() {
            return Some(Role::Samples(Quantity::Tcpco2));
        }
        let bare: String =
            self.words.iter().filter(|w| !PLACES.contains(&w.as_str())).cloned().collect();
        known(&bare).filter(|role| matches!(role, Role::Samples(_)))
    }
}

/// Where a sensor sits; said beside what it measures.
const PLACES: [&str; 10] =
    ["finger", "ear", "earlobe", "lobe", "toe", "forehead", "sensor", "probe", "left", "right"];

/// Words that say that CO2 was measured through the skin.
const THROUGH_SKIN: [&str; 6] = ["tc", "ptc", "pt", "tcp", "transcutaneous", "transcutan"];

/// Whether a name is that of oxygen through the skin: `PtcO2` and `tcO2` differ from CO2 by the size of a letter
/// or by a blank alone, and to score one for the other is to report pressures of oxygen as severe CO2.
pub(in crate::read) fn is_skin_oxygen(label: &str) -> bool {
    let plain = letters(label);
    let words = words_of(&split_unit(label).0);
    let word = |all: &[&str]| words.iter().any(|word| all.contains(&word.as_str()));
    ["tcO2", "TcO2", "tcpO2", "TcpO2", "tcPO2", "TcPO2", "TCPO2", "tcpo2"]
        .iter()
        .any(|name| plain.contains(name))
        || (word(&["o2", "po2", "oxygen"])
            && word(&["tc", "ptc", "tcp", "transcutaneous", "transcutan"])
            && !words.iter().any(|word| word.contains("co2")))
        || ptco2_parts(&words).is_some_and(|parts| parts.last().is_some_and(|last| *last == "o2"))
}

/// Whether a name can mean CO2 (`PtCO2`) and oxygen (`PtcO2`) alike, because the size of its letters does not
/// tell: it is all in capitals, or all in small letters.
pub(in crate::read) fn co2_or_oxygen(label: &str) -> bool {
    let name = split_unit(label).0;
    let words = words_of(&name);
    let Some(parts) = ptco2_parts(&words) else { return false };
    let parted = parts.last().is_some_and(|last| *last == "co2" || *last == "o2");
    let plain = letters(&name);
    let small = plain.to_lowercase();
    let at = small.find("ptco2").filter(|_| small.len() == plain.len());
    let as_written = at.and_then(|at| plain.get(at..at + 5)).unwrap_or_default();
    let tells = |written: &str| match written.as_bytes() {
        // P t C O: the C begins a word, or ends one.
        [_, t, c, o, _] => {
            (t.is_ascii_lowercase() && c.is_ascii_uppercase())
                || (c.is_ascii_lowercase() && o.is_ascii_uppercase())
        }
        _ => false,
    };
    !parted && !tells(as_written)
}

/// The words of a name that spell `ptco2` and nothing else, beside where the sensor sits.
fn ptco2_parts(words: &[String]) -> Option<Vec<&str>> {
    let beside = |word: &str| {
        PLACES.contains(&word) || ["partial", "pressure", "of", "tension", "value"].contains(&word)
    };
    let parts: Vec<&str> = words.iter().map(String::as_str).filter(|word| !beside(word)).collect();
    (parts.concat() == "ptco2").then_some(parts)
}

/// Letters and digits as they are written, digits level.
fn letters(label: &str) -> String {
    label.chars().map(level_digit).filter(|c| c.is_alphanumeric()).collect()
}

/// What a name in words of both numbers of an oximeter means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::read) enum Oximeter {
    /// The pulse as the oximeter counts it: `SpO2 pulse`, `PR_SpO2`.
    Pulse,
    /// Either: `Pulse ox` is the name of the instrument, `Pulse SpO2` one of its two numbers.
    Either,
}

/// What a name in words of both numbers of an oximeter means; `None` for any other name.
pub(in crate::read) fn oximeter(words: &[String]) -> Option<Oximeter> {
    const RATE: [&str; 6] = ["pr", "hr", "pulserate", "heartrate", "prate", "bpm"];
    let whole: String =
        words.iter().filter(|word| !PLACES.contains(&word.as_str())).cloned().collect();
    if ["pulseox", "pulsox", "pulseoxi", "pulseoximeter", "pulseoximetry", "oximeter", "oximetry"]
        .contains(&whole.as_str())
    {
        return Some(Oximeter::Either);
    }
    for saturation in ["spo2", "sao2"] {
        if let Some(rest) = whole.strip_prefix(saturation)
            && (RATE.contains(&rest) || ["pulse", "puls"].contains(&rest))
        {
            return Some(Oximeter::Pulse);
        }
        match whole.strip_suffix(saturation) {
            Some(rest) if RATE.contains(&rest) => return Some(Oximeter::Pulse),
            Some("pulse" | "puls") => return Some(Oximeter::Either),
            _ => {}
        }
    }
    None
}

/// Whether a name stands back where another says the same quantity plainly: it may be of another sensor, or
/// mean something else.
pub(in crate::read) fn stands_back(label: &str) -> bool {
    co2_or_oxygen(label) || oximeter(&words_of(&split_unit(label).0)) == Some(Oximeter::Pulse)
}

/// Words that may stand beside CO2 and say nothing else.
const BESIDE_CO2: [&str; 5] = ["p", "partial", "pressure", "of", "tension"];

/// Whether the words of a name are CO2 and nothing else: `Some(true)` where they say that it was measured
/// through the skin, `Some(false)` where they do not say how. End-tidal and arterial CO2 are neither.
pub(in crate::read) fn co2(words: &[String]) -> Option<bool> {
    let skin = words.iter().any(|word| THROUGH_SKIN.contains(&word.as_str()));
    let said: &[&[&str]] = &[&THROUGH_SKIN, &BESIDE_CO2, &PLACES];
    let rest: String = words
        .iter()
        .filter(|word| !said.iter().any(|list| list.contains(&word.as_str())))
        .cloned()
        .collect();
    match rest.as_str() {
        "co2" | "pco2" | "carbondioxide" => Some(skin),
        "tcpco2" | "tcco2" | "ptcco2" | "ptco2" | "transcutaneousco2" | "transcutaneouspco2" => {
            Some(true)
        }
        _ => None,
    }
}

fn known(key: &str) -> Option<Role> {
    WORDS.iter().find(|(_, words)| words.contains(&key)).map(|(role, _)| *role)
}

/// What a header cell says its column is for.
pub(super) fn role(cell: &str) -> Option<Role> {
    // No word of the trade begins with a digit, and most cells do.
    if cell.starts_with(|c: char| c.is_ascii_digit()) { None } else { Name::parse(cell).role() }
}

/// A digit written low or high as the digit.
fn level_digit(c: char) -> char {
    let digit = match c {
        '\u{b2}' => Some(2),
        '\u{b3}' => Some(3),
        '\u{2080}'..='\u{2089}' => Some(u32::from(c) - 0x2080),
        _ => None,
    };
    digit.and_then(|digit| char::from_digit(digit, 10)).unwrap_or(c)
}

fn key(name: &str) -> String {
    let plain = name.chars().map(level_digit);
    plain.filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// The words of a name, in lower case.
pub(in crate::read) fn words_of(name: &str) -> Vec<String> {
    let parts = name.split(|c: char| !level_digit(c).is_alphanumeric());
    parts.map(key).filter(|word| !word.is_empty()).collect()
}

/// The name and the unit of a label: in brackets of any kind, behind a mark, or written on.
pub(in crate::read) fn split_unit(label: &str) -> (String, String) {
    let whole = || (label.to_owned(), String::new());
    if let Some((before, unit, after)) = bracketed(label).into_iter().find(|(_, x, _)| is_unit(x)) {
        return (format!("{before}{after}"), unit.to_owned());
    }
    if let Some((name, unit)) = behind_a_mark(label) {
        return (name.to_owned(), unit.to_owned());
    }
    if let Some((before, inside, _)) = bracketed(label).first() {
        // What stands in brackets and is no unit is one that this tool does not know, unless it says how
        // or where the sensor measures.
        let words = words_of(inside);
        let says = |word: &String| {
            THROUGH_SKIN.contains(&word.as_str()) || PLACES.contains(&word.as_str())
        };
        let qualifies = !words.is_empty() && words.iter().all(says);
        return if qualifies { whole() } else { ((*before).to_owned(), (*inside).to_owned()) };
    }
    match label.strip_suffix('%') {
        Some(name) if !name.trim().is_empty() => (name.to_owned(), "%".to_owned()),
        _ => written_on(label).unwrap_or_else(whole),
    }
}

/// What stands before, in and behind the brackets of a label, one for each kind of bracket.
fn bracketed(label: &str) -> Vec<(&str, &str, &str)> {
    let one = |(open, close): (char, char)| {
        // The first bracket opens the unit and the last closes it, so that (mm[Hg]) stays whole.
        let at = label.find(open).filter(|&at| at > 0 && !label[..at].ends_with("mm"))?;
        let end = label.rfind(close).filter(|&end| at < end)?;
        let (inside, after) = (&label[at + 1..end], &label[end + 1..]);
        // Two pairs of one kind: the unit is in the first, or in the last.
        match (inside.split_once(close), inside.rsplit_once(open)) {
            (Some((first, _)), _) if is_unit(first) => {
                Some((&label[..at], first, &label[at + 1 + first.len() + close.len_utf8()..]))
            }
            (_, Some((_, last))) if is_unit(last) => {
                Some((&label[..end - last.len() - open.len_utf8()], last, after))
            }
            _ => Some((&label[..at], inside, after)),
        }
    };
    [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')].into_iter().filter_map(one).collect()
}

/// `CO2 mmHg`, `CO2, kPa`, `CO2_kPa`, `CO2/kPa`, `CO2 in kPa`, `Pulse/min`.
fn behind_a_mark(label: &str) -> Option<(&str, &str)> {
    let mut marks = label.char_indices().filter(|(at, _)| *at > 0);
    marks.find_map(|(at, mark)| {
        let rest = label[at + mark.len_utf8()..].trim();
        let rest = rest.strip_prefix("in ").unwrap_or(rest).trim();
        let unit = match mark {
            ' ' | '_' | ',' | ';' | ':' if is_unit(rest) => rest,
            '/' | '-' | '.' | '|' | '=' if unit(rest).is_some() => rest,
            '/' if unit(&label[at..]).is_some() => &label[at..],
            _ => return None,
        };
        Some((&label[..at], unit))
    })
}

/// `tcPCO2kPa`: a unit of CO2 written on to a name that is known.
fn written_on(label: &str) -> Option<(String, String)> {
    let lower = label.to_ascii_lowercase();
    let unit = ["kpa", "mmhg"].into_iter().find(|unit| lower.ends_with(unit))?;
    let name = &label[..label.len() - unit.len()];
    let known = known(&key(name)).or_else(|| co2(&words_of(name)).map(|_| Role::Value));
    known.map(|_| (name.to_owned(), label[name.len()..].to_owned()))
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
        "mmhg" | "mm[hg]" | "mm(hg)" | "torr" => Unit::MillimetreOfMercury,
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
