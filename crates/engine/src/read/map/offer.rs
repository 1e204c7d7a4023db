//! What a text holds, for whoever says what its columns mean without writing a map: its columns by name with
//! their first values, and a map made of what was chosen.

use super::ColumnEntry;
use super::ColumnMap;
use super::TimeFormat;
use crate::read::edf;
use crate::read::text::probe;
use crate::recording::Quantity;
use crate::recording::Recording;

/// So many bytes show the header and the first rows.
const HEAD_BYTES: usize = 256 << 10;

/// What may be chosen for a column, by an id: what it is and in which unit.
pub const MEANINGS: [(&str, &str); 9] = [
    ("spo2", "SpO2, in %"),
    ("pulse", "pulse, in beats a minute"),
    ("tcpco2-kpa", "CO2 through the skin, in kPa"),
    ("tcpco2-mmhg", "CO2 through the skin, in mmHg"),
    ("perfusion", "perfusion index"),
    ("sensor_temp", "temperature of the sensor, in \u{b0}C"),
    ("heater", "power of the heater, in mW"),
    ("other", "something else: kept, and not scored"),
    ("ignore", "not to be read at all"),
];

/// How a time may be written, by an id.
pub const WRITTEN: [(TimeFormat, &str); 7] = [
    (TimeFormat::Iso, "year first, as 2024-10-26 22:30:00"),
    (TimeFormat::DayFirst, "day first, as 26/10/2024 22:30:00"),
    (TimeFormat::MonthFirst, "month first, as 10/26/2024 22:30:00"),
    (TimeFormat::TimeOnly, "time of day without a date, as 22:30:00"),
    (TimeFormat::ElapsedS, "seconds, or hh:mm:ss, since the start"),
    (TimeFormat::EpochS, "seconds since 1970"),
    (TimeFormat::EpochMs, "milliseconds since 1970"),
];

/// One column on offer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offered {
    /// How a map speaks of it.
    pub reference: String,
    /// Its name in the file; empty when it has none.
    pub label: String,
    /// Which it is, from 1.
    pub number: usize,
    /// Its first values as they are written.
    pub first: Vec<String>,
    /// What its name says it is, in words; `None` when it says nothing.
    pub says: Option<&'static str>,
}

/// A text as it is offered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer {
    /// The names in the header; empty when it has none.
    pub head: Vec<String>,
    /// The line they stand in; 0 when there is none.
    pub header_line: u64,
    /// Its columns, without the time and without those of a person's data.
    pub columns: Vec<Offered>,
    /// Where the time was not found: the columns it may be in, reference and words.
    pub time: Option<Vec<(String, String)>>,
    /// The first time, where no number in the dates tells day from month.
    pub in_doubt: Option<String>,
}

/// What was chosen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Chosen {
    /// Reference of a column, and the id of its meaning.
    pub columns: Vec<(String, String)>,
    /// The column of the time.
    pub time: Option<String>,
    /// The id of how it is written.
    pub written: Option<String>,
    /// The evening's date, where the rows have none.
    pub date: Option<String>,
    /// The time of day of the first row, where the rows count from the start.
    pub start: Option<String>,
}

/// What a delimited text holds; `None` when the bytes are none.
pub fn offer(bytes: &[u8]) -> Option<Offer> {
    if edf::looks_like(bytes) {
        return None;
    }
    let probe = probe::probe(start_of(bytes))?;
    let words = |(reference, label, first): (String, String, String)| {
        let name = if label.is_empty() { reference.clone() } else { label };
        (reference, format!("{name} (first value {first})"))
    };
    let time = probe.time_columns.is_empty();
    Some(Offer {
        head: probe.head,
        header_line: probe.header_line,
        columns: probe
            .columns
            .into_iter()
            .map(|column| Offered {
                says: column.quantity.filter(|q| *q != Quantity::Other).map(Quantity::name),
                reference: column.reference,
                label: if column.label.starts_with('#') { String::new() } else { column.label },
                number: column.number,
                first: column.firsts,
            })
            .collect(),
        time: time.then(|| probe.perhaps_time.into_iter().map(words).collect()),
        in_doubt: probe.dates_in_doubt.then_some(probe.first_time),
    })
}

/// The first lines of a text, whole.
fn start_of(bytes: &[u8]) -> &[u8] {
    let Some(start) = bytes.get(..HEAD_BYTES) else { return bytes };
    let end = start.iter().rposition(|byte| *byte == b'\n').map_or(start.len(), |at| at + 1);
    // In two bytes a sign the second of a line end may stand behind its first.
    &bytes[..end + usize::from(bytes.get(end) == Some(&0))]
}

/// The map of what was chosen. A column for which nothing was chosen is read by its name.
///
/// # Errors
/// What cannot be, in words: an unknown choice, one thing in two columns, nothing that is scored.
pub fn chosen(offer: &Offer, chosen: &Chosen) -> Result<ColumnMap, String> {
    let mut map = ColumnMap::default();
    let name = |reference: &str| {
        let column = offer.columns.iter().find(|column| column.reference == reference);
        column.map(shown).ok_or_else(|| format!("the file has no column {reference} to choose for"))
    };
    for (reference, meaning) in &chosen.columns {
        let this = name(reference)?;
        if !MEANINGS.iter().any(|(id, _)| id == meaning) {
            return Err(format!("{meaning} is no meaning of a column"));
        }
        if meaning == "ignore" {
            map.ignore.push(reference.clone());
            continue;
        }
        let (quantity, unit) = match meaning.split_once('-') {
            Some((quantity, "kpa")) => (quantity, Some("kPa")),
            Some((quantity, _)) => (quantity, Some("mmHg")),
            None if meaning == "spo2" => ("spo2", Some("%")),
            None if meaning == "pulse" => ("pulse", Some("/min")),
            None => (meaning.as_str(), None),
        };
        let scored = unit.is_some();
        let same = map.columns.iter().find(|entry| scored && entry.quantity == quantity);
        if let Some(before) = same {
            let (first, what) = (name(&before.column)?, name_of(quantity));
            return Err(format!(
                "{what} was chosen for two columns, {first} and {this}: choose one"
            ));
        }
        map.columns.push(ColumnEntry {
            column: reference.clone(),
            quantity: quantity.to_owned(),
            unit: unit.map(str::to_owned),
            missing: None,
        });
    }
    // Where no name speaks of a column the header is not found by its names.
    let by_name = map.columns.iter().any(|entry| offer.head.contains(&entry.column));
    map.header_line = (!by_name).then_some(offer.header_line);
    map.time.columns = chosen.time.iter().cloned().collect();
    map.time.format = match &chosen.written {
        Some(id) => {
            let known = WRITTEN.iter().find(|(format, _)| format.id() == id);
            Some(known.ok_or_else(|| format!("{id} is no way to write a time"))?.0)
        }
        None => None,
    };
    map.time.date.clone_from(&chosen.date);
    map.time.start.clone_from(&chosen.start);
    Ok(map)
}

fn shown(column: &Offered) -> String {
    if column.label.is_empty() { format!("column {}", column.number) } else { column.label.clone() }
}

fn name_of(quantity: &str) -> &'static str {
    Quantity::from_id(quantity).map_or("it", Quantity::name)
}

/// What a map makes of a night that cannot be, in words: numbers that no person has in that unit.
pub fn cannot_be(recording: &Recording, map: &ColumnMap) -> Option<String> {
    map.columns.iter().find_map(|entry| {
        let quantity = Quantity::from_id(&entry.quantity)?;
        let channel = recording.channel(quantity)?;
        let median = crate::read::untaken::unlike(channel)?;
        let unit = channel.unit.symbol();
        Some(format!(
            "{} is called {}, but its numbers lie around {median} {unit}, where those of a person do not",
            entry.column,
            quantity.name()
        ))
    })
}
