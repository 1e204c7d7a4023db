//! The shape of a delimited text: separator, header, the rows below it.

use crate::read::ReadError;
use crate::read::limits;
use crate::read::map::ColumnMap;
use crate::read::text::cells::Cells;
use crate::read::text::words::{self, Name, Role};

/// Separators in the order they are preferred: a comma may be a decimal mark, a tab hardly anything else.
const SEPARATORS: [u8; 4] = [b'\t', b';', b'|', b','];
/// Lines and records looked at to find separator and header.
const LOOKED_AT: usize = 300;
/// Rows looked at to see what a column holds.
const SAMPLED: usize = 60;
/// A quoted cell over more lines than this is a quotation mark that nobody closed.
const LINES_IN_A_CELL: u64 = 50;

/// A delimited text whose header is found.
pub(super) struct Table<'a> {
    /// Separator.
    pub(super) delimiter: u8,
    /// Line of the header, from 1; 0 when there is none.
    pub(super) header_line: u64,
    /// One name for each column.
    pub(super) names: Vec<Name>,
    /// Records above the header.
    pub(super) preamble: Vec<Vec<String>>,
    /// The rows.
    pub(super) body: &'a str,
    /// Line of the first row.
    pub(super) body_line: u64,
    /// The first rows.
    pub(super) sample: Vec<Vec<String>>,
    /// The lines of the first rows.
    pub(super) lines: Vec<u64>,
}

struct Record {
    byte: usize,
    line: u64,
    cells: Vec<String>,
}

/// Finds separator, header and rows.
pub(super) fn open<'a>(text: &'a str, map: &ColumnMap) -> Result<Table<'a>, ReadError> {
    lines_end(text)?;
    let (told, skipped) = sep_line(text);
    let body = &text[skipped..];
    let first_line = 1 + u64::from(skipped > 0);
    let delimiter = map.delimiter_byte().or(told).or_else(|| separator(body)).ok_or_else(|| {
        ReadError::not_understood(
            "no separator found: expected columns parted by comma, semicolon, tab or bar",
        )
        .hint("a column map can name the separator")
    })?;
    let records = first_records(body, delimiter, first_line)?;
    let header = header(&records, map)?;
    let names = header.map_or_else(
        || (1..=records.iter().map(|r| r.cells.len()).max().unwrap_or(0)).map(numbered).collect(),
        |at| records[at].cells.iter().map(|cell| Name::parse(cell)).collect(),
    );
    let mut table = Table {
        delimiter,
        header_line: header.map_or(0, |at| records[at].line),
        names,
        preamble: records[..header.unwrap_or(0)].iter().map(|r| r.cells.clone()).collect(),
        body: "",
        body_line: 0,
        sample: Vec::new(),
        lines: Vec::new(),
    };
    let mut rows = &records[header.map_or(0, |at| at + 1)..];
    if let Some((first, rest)) = rows.split_first()
        && take_units(&mut table.names, &first.cells)
    {
        rows = rest;
    }
    let Some(first) = rows.first() else {
        return Err(ReadError::not_understood("no rows below the header")
            .at(format!("line {}", table.header_line)));
    };
    table.body = &body[first.byte..];
    table.body_line = first.line;
    table.sample = rows.iter().take(SAMPLED).map(|r| r.cells.clone()).collect();
    table.lines = rows.iter().take(SAMPLED).map(|r| r.line).collect();
    Ok(table)
}

impl Table<'_> {
    /// The column a map speaks of: `#3`, or a name in the header.
    pub(super) fn column(&self, reference: &str) -> Result<usize, ReadError> {
        let numbered = reference.strip_prefix('#').and_then(|n| n.parse::<usize>().ok());
        let by_number = numbered.and_then(|n| n.checked_sub(1)).filter(|n| *n < self.names.len());
        by_number
            .or_else(|| self.names.iter().position(|name| name.label == reference.trim()))
            .ok_or_else(|| {
                ReadError::not_understood(format!(
                    "the column map speaks of a column `{reference}`, the header of {}",
                    self.listed()
                ))
                .at(format!("line {}", self.header_line))
            })
    }

    /// The names in the header, to print.
    pub(super) fn listed(&self) -> String {
        let names: Vec<String> = self.names.iter().map(|n| format!("`{}`", n.label)).collect();
        names.join(", ")
    }

    /// The rows.
    pub(super) fn rows(&self) -> Cells<'_> {
        Cells::new(self.body, self.delimiter, self.body_line)
    }
}

fn numbered(number: usize) -> Name {
    let label = format!("#{number}");
    Name { key: label.clone(), label, ..Name::default() }
}

/// The CSV reader over a text.
pub(super) fn reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// Refuses a line that no row of a night fills: what is made of a line is many times its length.
fn lines_end(text: &str) -> Result<(), ReadError> {
    let mut lines = (1_u64..).zip(text.as_bytes().split(|byte| matches!(byte, b'\n' | b'\r')));
    let Some((number, long)) = lines.find(|(_, line)| line.len() > limits::LINE_BYTES) else {
        return Ok(());
    };
    // Both signs of a line end part the text; only the one is counted where they stand together.
    let number = if text.contains("\r\n") { number.div_ceil(2) } else { number };
    Err(ReadError::not_understood(format!(
        "the line is too long: expected at most {} bytes, found {}",
        limits::LINE_BYTES,
        long.len()
    ))
    .at(format!("line {number}"))
    .hint("is the table turned on its side? every moment should have a row"))
}

/// A first line `sep=;`: the separator it tells, and its length.
fn sep_line(text: &str) -> (Option<u8>, usize) {
    let end = text.find('\n').map_or(text.len(), |at| at + 1);
    let line = text[..end].trim().trim_matches('"');
    let told = line.get(..4).filter(|word| word.eq_ignore_ascii_case("sep="));
    match (told, &line.as_bytes()[line.len().min(4)..]) {
        (Some(_), [separator]) => (Some(*separator), end),
        (Some(_), []) => (Some(b'\t'), end),
        _ => (None, 0),
    }
}

/// The separator that gives most lines the same number of columns.
fn separator(text: &str) -> Option<u8> {
    let fit = |separator: u8| {
        let mut counts = std::collections::BTreeMap::new();
        for line in text.lines().take(LOOKED_AT) {
            let columns = 1 + unquoted(line.as_bytes(), separator);
            *counts.entry(columns).or_insert(0_usize) += usize::from(columns > 1);
        }
        counts.into_values().max().unwrap_or(0)
    };
    let fits = SEPARATORS.map(|separator| (separator, fit(separator)));
    let best = fits.iter().map(|(_, fit)| *fit).max().filter(|best| *best > 0)?;
    fits.iter().find(|(_, fit)| fit * 10 >= best * 9).map(|(separator, _)| *separator)
}

/// How often a separator stands outside quotation marks.
fn unquoted(line: &[u8], separator: u8) -> usize {
    let mut inside = false;
    let mut count = 0;
    for &byte in line {
        inside ^= byte == b'"';
        count += usize::from(byte == separator && !inside);
    }
    count
}

fn first_records(body: &str, delimiter: u8, first_line: u64) -> Result<Vec<Record>, ReadError> {
    let mut reader = reader(body, delimiter);
    let mut record = csv::ByteRecord::new();
    let mut records = Vec::new();
    while records.len() < LOOKED_AT && read_record(&mut reader, &mut record, first_line)? {
        let place = record.position().cloned().unwrap_or_else(csv::Position::new);
        limits::columns(record.len(), "columns")
            .map_err(|error| error.at(format!("line {}", place.line() + first_line - 1)))?;
        records.push(Record {
            byte: usize::try_from(place.byte()).unwrap_or(0),
            line: place.line() + first_line - 1,
            cells: record.iter().map(|c| String::from_utf8_lossy(c).trim().to_owned()).collect(),
        });
    }
    Ok(records)
}

/// Reads the next record; `false` at the end. `first_line` is the line the reader began at.
pub(super) fn read_record(
    reader: &mut csv::Reader<&[u8]>,
    record: &mut csv::ByteRecord,
    first_line: u64,
) -> Result<bool, ReadError> {
    let more = reader
        .read_byte_record(record)
        .map_err(|error| ReadError::not_understood(format!("the text breaks off: {error}")))?;
    let from = record.position().map_or(0, csv::Position::line);
    if more && reader.position().line().saturating_sub(from) > LINES_IN_A_CELL {
        return Err(ReadError::not_understood("a quotation mark is opened and not closed")
            .at(format!("line {}", from + first_line - 1)));
    }
    Ok(more)
}

/// The header among the first records: the one with most names that the trade or the map knows.
fn header(records: &[Record], map: &ColumnMap) -> Result<Option<usize>, ReadError> {
    if let Some(line) = map.header_line {
        if line == 0 {
            return Ok(None);
        }
        return records.iter().position(|r| r.line == line).map(Some).ok_or_else(|| {
            ReadError::not_understood(format!("the column map's header line {line} is not there"))
        });
    }
    let known = |cells: &[String]| {
        let roles: Vec<Role> = cells.iter().filter_map(|cell| words::role(cell)).collect();
        let mapped = map.columns.iter().filter(|entry| cells.contains(&entry.column)).count();
        let samples = roles.iter().any(|role| matches!(role, Role::Samples(_)));
        let long = [Role::Channel, Role::Value].iter().all(|role| roles.contains(role));
        let useful = !matches!(cells, []) && (samples || long || mapped > 0);
        let telling = roles.iter().filter(|r| !matches!(r, Role::Identity | Role::Counter));
        let count = telling.count();
        if useful { count + mapped } else { 0 }
    };
    let counts: Vec<usize> = records.iter().map(|r| known(&r.cells)).collect();
    let best = counts.iter().copied().max().filter(|best| *best > 0).ok_or_else(no_header)?;
    Ok(counts.iter().position(|count| *count == best))
}

fn no_header() -> ReadError {
    ReadError::not_understood(
        "no header found: expected a line naming a time and SpO2, pulse or CO2 columns",
    )
    .hint("name the columns in a column map")
}

/// Whether cells are a row of units.
pub(super) fn are_units(cells: &[String]) -> bool {
    let filled = || cells.iter().filter(|cell| !cell.is_empty());
    let known = filled().any(|cell| words::unit(plain(cell)).is_some());
    known && filled().all(|cell| words::is_unit(plain(cell)) || is_format(cell))
}

/// A unit without the brackets it stands in.
fn plain(cell: &str) -> &str {
    cell.trim_matches(['(', ')'])
}

/// Takes a row of units below the header into the names; `false` when it is no such row.
fn take_units(names: &mut [Name], cells: &[String]) -> bool {
    if !are_units(cells) {
        return false;
    }
    for (name, cell) in names.iter_mut().zip(cells).filter(|(name, _)| name.unit.is_empty()) {
        let unit = if words::is_unit(plain(cell)) { plain(cell) } else { "" };
        unit.clone_into(&mut name.unit);
    }
    true
}

/// Whether a cell describes how a time is written: `hh:mm:ss`, `dd.mm.yyyy`.
fn is_format(cell: &str) -> bool {
    let mut letters = cell.chars().filter(|c| c.is_alphabetic()).map(|c| c.to_ascii_lowercase());
    let marks = cell.chars().any(|c| ":/.-".contains(c));
    marks && letters.all(|c| "dmyhst".contains(c)) && !cell.chars().any(|c| c.is_ascii_digit())
}
