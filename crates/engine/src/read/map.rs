//! Column maps: what the columns of a delimited text mean, where its own header does not tell.
//!
//! ```toml
//! name = "sleep ward export"
//! encoding = "windows-1252"   # how the characters are written; left out: found by content
//! delimiter = ";"             # "," ";" "|" or "tab"; left out: found by content
//! decimal = ","               # "." or ","; left out: either, but not both
//! header_line = 4             # the line with the column names, from 1; 0: there is none
//! ignore = ["Remarks"]        # columns that are not read
//!
//! [time]
//! columns = ["Date", "Time"]  # one column, or a date and a time; "#1" is the first column
//! format = "day-first"        # iso, day-first, month-first, epoch-s, epoch-ms, time-only, elapsed-s
//! date = "2024-10-26"         # the evening's date, for time-only and elapsed-s
//! start = "22:30"             # the time of day of the first row, for elapsed-s
//!
//! [[column]]
//! column = "Chan 3"           # the name in the header, or "#3"; in long form the channel's name
//! quantity = "tcpco2"         # spo2, pulse, tcpco2, perfusion, heater, sensor_temp, pleth, flow, leak, other
//! unit = "mmHg"
//! missing = ["0", "ERR"]      # cells that mean "no reading", beside empty ones and dashes
//! ```

use serde::Deserialize;

use crate::recording::Quantity;

mod offer;
mod propose;

pub use offer::Chosen;
pub use offer::MEANINGS;
pub use offer::Offer;
pub use offer::Offered;
pub use offer::WRITTEN;
pub use offer::cannot_be;
pub use offer::chosen;
pub use offer::offer;
pub use propose::Choice;
pub use propose::Question;
pub use propose::propose;

/// How the time column is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimeFormat {
    /// Year first: 2024-10-26T22:30:00, with or without an offset.
    Iso,
    /// 26/10/2024 22:30.
    DayFirst,
    /// 10/26/2024 22:30.
    MonthFirst,
    /// Seconds since 1970, UTC.
    EpochS,
    /// Milliseconds since 1970, UTC.
    EpochMs,
    /// Times of day without a date.
    TimeOnly,
    /// Seconds, or hh:mm:ss, since the start.
    ElapsedS,
}

impl TimeFormat {
    /// The word used in a column map.
    pub fn id(self) -> &'static str {
        match self {
            Self::Iso => "iso",
            Self::DayFirst => "day-first",
            Self::MonthFirst => "month-first",
            Self::EpochS => "epoch-s",
            Self::EpochMs => "epoch-ms",
            Self::TimeOnly => "time-only",
            Self::ElapsedS => "elapsed-s",
        }
    }
}

/// The time column.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct TimeMap {
    /// One column, or a date column and a time column; empty: found by name.
    pub columns: Vec<String>,
    /// How it is written; `None`: found by content.
    pub format: Option<TimeFormat>,
    /// Date of the first row, `2024-10-26`, where the rows have none.
    pub date: Option<String>,
    /// Time of day of the first row, `22:30`, where the rows count from the start.
    pub start: Option<String>,
}

/// One column of samples.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ColumnEntry {
    /// Its name in the header, or `#3` for the third.
    pub column: String,
    /// Id of the quantity.
    pub quantity: String,
    /// Its unit; `None`: as the header says.
    pub unit: Option<String>,
    /// Cells that mean "no reading"; `None`: the usual codes.
    pub missing: Option<Vec<String>>,
}

/// What the columns of a delimited text mean, read from a small TOML file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ColumnMap {
    /// A name to keep it by.
    pub name: Option<String>,
    /// How the characters are written; `None`: found by content.
    pub encoding: Option<String>,
    /// `,`, `;`, `|` or `tab`; `None`: found by content.
    pub delimiter: Option<String>,
    /// `.` or `,`; `None`: either.
    pub decimal: Option<String>,
    /// The line with the column names, from 1; 0: there is none; `None`: found by content.
    pub header_line: Option<u64>,
    /// Columns that are not read.
    pub ignore: Vec<String>,
    /// The time.
    pub time: TimeMap,
    /// The samples.
    #[serde(rename = "column")]
    pub columns: Vec<ColumnEntry>,
}

/// Why a column map could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("column map: {what}{}", line.map(|n| format!(" (line {n})")).unwrap_or_default())]
pub struct MapError {
    /// What is wrong, with expected and found.
    pub what: String,
    /// The line in the map.
    pub line: Option<usize>,
}

impl ColumnMap {
    /// Reads a column map.
    ///
    /// # Errors
    /// [`MapError`] when it is no TOML, has a key that is not known, or says what cannot be.
    pub fn parse(text: &str) -> Result<Self, MapError> {
        let map: Self = toml::from_str(text).map_err(|error| {
            let line = error.span().map(|span| 1 + text[..span.start].matches('\n').count());
            MapError { what: error.message().replace('\n', " "), line }
        })?;
        map.check().map(|()| map).map_err(|what| MapError { what, line: None })
    }

    fn check(&self) -> Result<(), String> {
        if let Some(mark) = &self.delimiter
            && self.delimiter_byte().is_none()
        {
            return Err(format!("delimiter `{mark}` is not one of `,` `;` `|` `tab`"));
        }
        if let Some(mark) = self.decimal.as_ref().filter(|mark| *mark != "." && *mark != ",") {
            return Err(format!("decimal `{mark}` is not one of `.` `,`"));
        }
        if self.time.columns.len() > 2 {
            return Err("time columns: expected one, or a date and a time".into());
        }
        for entry in &self.columns {
            let quantity = Quantity::from_id(&entry.quantity)
                .ok_or_else(|| format!("quantity `{}` is not known", entry.quantity))?;
            let single = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2].contains(&quantity);
            if single && self.columns.iter().filter(|e| e.quantity == entry.quantity).count() > 1 {
                return Err(format!("quantity `{}` is given to two columns", entry.quantity));
            }
        }
        Ok(())
    }

    /// The separator as a byte; `None` when not told.
    pub(crate) fn delimiter_byte(&self) -> Option<u8> {
        match self.delimiter.as_deref()? {
            "tab" | "\t" => Some(b'\t'),
            "," => Some(b','),
            ";" => Some(b';'),
            "|" => Some(b'|'),
            _ => None,
        }
    }

    /// The map as TOML that [`ColumnMap::parse`] reads back equal.
    pub fn to_toml(&self) -> String {
        let mut out = String::from("# A column map: what the columns of a delimited text mean.\n");
        let mut line = |key: &str, value: Option<String>| {
            if let Some(value) = value {
                out.extend([key, " = ", &value, "\n"]);
            }
        };
        line("name", self.name.as_deref().map(quoted));
        line("encoding", self.encoding.as_deref().map(quoted));
        line("delimiter", self.delimiter.as_deref().map(quoted));
        line("decimal", self.decimal.as_deref().map(quoted));
        line("header_line", self.header_line.map(|n| n.to_string()));
        line("ignore", listed(&self.ignore));
        if self.time != TimeMap::default() {
            line("\n[time]\ncolumns", Some(listed(&self.time.columns).unwrap_or("[]".into())));
            line("format", self.time.format.map(|f| quoted(f.id())));
            line("date", self.time.date.as_deref().map(quoted));
            line("start", self.time.start.as_deref().map(quoted));
        }
        for entry in &self.columns {
            line("\n[[column]]\ncolumn", Some(quoted(&entry.column)));
            line("quantity", Some(quoted(&entry.quantity)));
            line("unit", entry.unit.as_deref().map(quoted));
            let missing = entry.missing.as_ref();
            line("missing", missing.map(|codes| listed(codes).unwrap_or("[]".into())));
        }
        out
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn listed(items: &[String]) -> Option<String> {
    let items: Vec<String> = items.iter().map(|item| quoted(item)).collect();
    (!items.is_empty()).then(|| format!("[{}]", items.join(", ")))
}
