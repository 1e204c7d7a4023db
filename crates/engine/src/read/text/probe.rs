//! A look at a text whose columns may not be understood: what a proposal for a column map stands on.

use crate::read::map::ColumnMap;
use crate::read::text::codes;
use crate::read::text::decode;
use crate::read::text::number::{self, Cell};
use crate::read::text::plan;
use crate::read::text::stamp::{self, Date, DateOrder, Moment};
use crate::read::text::table::{self, Table};
use crate::read::text::units;
use crate::read::text::words::Role;
use crate::recording::Quantity;

/// So many of a column's cells show what it holds.
const SHOWN: usize = 3;

/// One column that holds samples, or may.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Column {
    /// How a map speaks of it.
    pub(crate) reference: String,
    /// Its name, to print.
    pub(crate) label: String,
    /// Which it is in the table, from 1.
    pub(crate) number: usize,
    /// Its first filled cell, to print.
    pub(crate) first: String,
    /// Its first filled cells, to print.
    pub(crate) firsts: Vec<String>,
    /// What its name says; `Other` when the name says nothing and it holds numbers.
    pub(crate) quantity: Option<Quantity>,
    /// The unit its name carries.
    pub(crate) unit: String,
    /// The unit its numbers would have, were they CO2.
    pub(crate) looks_like: Option<&'static str>,
}

/// What a first look found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Probe {
    /// Separator.
    pub(crate) delimiter: u8,
    /// Line of the header; 0 when there is none.
    pub(crate) header_line: u64,
    /// The time column, or date and time; empty when not found.
    pub(crate) time_columns: Vec<String>,
    /// The first time as written.
    pub(crate) first_time: String,
    /// No number above twelve tells day from month.
    pub(crate) dates_in_doubt: bool,
    /// The other columns.
    pub(crate) columns: Vec<Column>,
    /// The names in the header, all of them; empty when there is none.
    pub(crate) head: Vec<String>,
    /// Every column that may hold the time: how a map speaks of it, its name, its first cell.
    pub(crate) perhaps_time: Vec<(String, String, String)>,
}

/// Looks at a text; `None` when it is none, or has no columns.
pub(crate) fn probe(bytes: &[u8]) -> Option<Probe> {
    let decoded = decode::decode(bytes, None).ok()?;
    let map = ColumnMap::default();
    let table = table::open(&decoded.text, &map).or_else(|_| {
        let line = first_wide_line(&decoded.text)?;
        let header = ColumnMap { header_line: Some(line), ..ColumnMap::default() };
        table::open(&decoded.text, &header)
    });
    let table = table.ok()?;
    let time = plan::time_of(&table);
    let time_columns: Vec<usize> =
        time.map_or_else(Vec::new, |time| time.date.into_iter().chain([time.time]).collect());
    let first_time = time_columns.first().map_or_else(String::new, |c| first(&table, *c));
    let in_doubt = |row: &Vec<String>| {
        let cell = row.get(*time_columns.first()?)?;
        let (Moment::Civil(date, ..) | Moment::Day(date)) = stamp::moment(cell.as_bytes())? else {
            return None;
        };
        let open = matches!(date, Date::Open { .. });
        Some(open.then(|| [DateOrder::DayFirst, DateOrder::MonthFirst].map(|o| date.days(o))))
    };
    let orders: Vec<_> = table.sample.iter().filter_map(in_doubt).flatten().collect();
    let dates_in_doubt = orders.iter().all(|[a, b]| a.is_some() && b.is_some())
        && orders.iter().any(|[a, b]| a != b);
    let columns = (0..table.names.len()).filter(|c| !time_columns.contains(c));
    let named = table.names.iter().filter(|_| table.header_line > 0);
    let identity = |c: &usize| table.names[*c].role() == Some(Role::Identity);
    let perhaps_time = (0..table.names.len()).filter(|c| !identity(c));
    Some(Probe {
        head: named.map(|name| name.label.clone()).collect(),
        perhaps_time: perhaps_time
            .map(|c| (reference(&table, c), table.names[c].label.clone(), first(&table, c)))
            .collect(),
        delimiter: table.delimiter,
        header_line: table.header_line,
        time_columns: time_columns.iter().map(|c| reference(&table, *c)).collect(),
        first_time,
        dates_in_doubt,
        columns: columns.filter_map(|c| column(&table, c)).collect(),
    })
}

/// The first line with as many columns as most: the header of a text whose words are not known.
fn first_wide_line(text: &str) -> Result<u64, crate::read::ReadError> {
    let headless = ColumnMap { header_line: Some(0), ..ColumnMap::default() };
    let table = table::open(text, &headless)?;
    let width = |row: &Vec<String>| row.iter().filter(|cell| !cell.is_empty()).count();
    let widest = table.sample.iter().map(width).max().unwrap_or(0);
    let at = table.sample.iter().position(|row| width(row) == widest).unwrap_or(0);
    let words = table
        .sample
        .get(at)
        .is_some_and(|row| row.iter().all(|cell| stamp::moment(cell.as_bytes()).is_none()));
    Ok(if words { table.lines.get(at).copied().unwrap_or(0) } else { 0 })
}

fn reference(table: &Table<'_>, column: usize) -> String {
    let label = &table.names[column].label;
    let twice = table.names.iter().filter(|name| &name.label == label).count() > 1;
    if label.is_empty() || twice { format!("#{}", column + 1) } else { label.clone() }
}

fn first(table: &Table<'_>, column: usize) -> String {
    firsts(table, column, 1).into_iter().next().unwrap_or_default()
}

/// The first filled cells of a column, wherever in the rows: a sensor is often put on long after the start.
fn firsts(table: &Table<'_>, column: usize, most: usize) -> Vec<String> {
    let mut found = Vec::new();
    let mut rows = table.rows();
    while let Ok(Some(row)) = rows.next() {
        let cell = row.cell(column).trim_ascii();
        if !cell.is_empty() && number::cell(cell) != Cell::NoReading {
            found.push(codes::short(cell));
        }
        if found.len() == most {
            break;
        }
    }
    found
}

fn column(table: &Table<'_>, column: usize) -> Option<Column> {
    let name = &table.names[column];
    let numbers: Vec<f64> = table
        .sample
        .iter()
        .filter_map(|row| match number::cell(row.get(column)?.as_bytes()) {
            Cell::Number(value, _) => Some(value),
            _ => None,
        })
        .collect();
    let quantity = match name.role() {
        Some(Role::Samples(quantity)) => Some(quantity),
        Some(Role::Identity | Role::Event | Role::Date | Role::Time | Role::Elapsed) => {
            return None;
        }
        _ if numbers.is_empty() => None,
        _ => Some(Quantity::Other),
    };
    Some(Column {
        reference: reference(table, column),
        label: name.label.clone(),
        number: column + 1,
        first: first(table, column),
        firsts: firsts(table, column, SHOWN),
        quantity,
        unit: name.unit.clone(),
        looks_like: units::looks_like(&numbers).map(|unit| match unit {
            crate::unit::Unit::Kilopascal => "kPa",
            _ => "mmHg",
        }),
    })
}
