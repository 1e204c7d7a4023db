//! What the top of a file holds and stands again among its rows: two exports were joined to one file.
//!
//! Read on by the first head, a column in another place or another unit would be taken for what the first
//! head says: a pulse for a saturation. So the same head is passed over, and another one is refused.

use crate::read::ReadError;
use crate::read::text::cells::Row;
use crate::read::text::codes;
use crate::read::text::number::{self, Cell};
use crate::read::text::stamp::{self, Moment};
use crate::read::text::table::{self, Table};
use crate::read::text::words::{self, Name, Role};

/// What a line that is no row says again.
pub(super) enum Again {
    /// What the top of the file says, word for word.
    Same,
    /// Something else, by which the rows below it must not be read.
    Other {
        /// The refusal.
        error: ReadError,
        /// It names a time as well: no summary below the rows does.
        surely: bool,
    },
}

/// What a line that is no row says again; `None` where it is no head. `first`: no row stands above it.
pub(super) fn again(row: Row<'_>, table: &Table<'_>, first: bool) -> Option<Again> {
    let cells: Vec<String> =
        (0..row.len()).map(|at| String::from_utf8_lossy(row.cell(at)).trim().to_owned()).collect();
    let cells = filled(&cells);
    if cells.is_empty() || table.header_line == 0 {
        return None;
    }
    let head: Vec<String> = table.names.iter().map(|name| name.label.clone()).collect();
    let head = filled(&head);
    if cells == head || table.preamble.iter().any(|above| filled(above) == cells) {
        return Some(Again::Same);
    }
    let refused = |what: String, surely| {
        let error = ReadError::refused(what)
            .at(format!("line {}", row.line))
            .hint("two recordings are joined in this file: give the two parts as two files");
        Some(Again::Other { error, surely })
    };
    if table::are_units(cells) {
        return match other_unit(cells, table) {
            Some(what) => refused(what, false),
            None => Some(Again::Same),
        };
    }
    let surely = names_columns(cells, head)?;
    if first && !clashes(cells, table) {
        return None;
    }
    refused(format!("a second head differs from the first: {}", differs(cells, head)), surely)
}

/// Refuses a file whose head, the one that names most, stands below another head and its rows: those would be
/// left out as lines above the head.
pub(super) fn none_above(table: &Table<'_>) -> Result<(), ReadError> {
    let samples = |cell: &String| matches!(telling(cell), Some(Role::Samples(_)));
    let is_head = |cells: &Vec<String>| {
        cells.iter().any(samples) && names_columns(filled(cells), &[]) == Some(true)
    };
    let is_number = |cell: &String| matches!(number::cell(cell.as_bytes()), Cell::Number(..));
    let is_time = |cell: &String| {
        matches!(stamp::moment(cell.as_bytes()), Some(Moment::Civil(..) | Moment::Clock(_)))
    };
    let mut below = table.preamble.iter().skip_while(|cells| !is_head(cells));
    if !below.any(|cells| cells.iter().any(is_number) && cells.iter().any(is_time)) {
        return Ok(());
    }
    Err(ReadError::refused("a second head names more than the first, whose rows stand above it")
        .at(format!("line {}", table.header_line))
        .hint("two recordings are joined in this file: give the two parts as two files"))
}

/// The cells up to the last that is filled.
fn filled(cells: &[String]) -> &[String] {
    let last = cells.iter().rposition(|cell| !cell.is_empty());
    &cells[..last.map_or(0, |at| at + 1)]
}

/// Whether cells name columns: `Some(true)` when the time is one of them.
fn names_columns(cells: &[String], head: &[String]) -> Option<bool> {
    if cells.iter().any(|cell| matches!(number::cell(cell.as_bytes()), Cell::Number(..))) {
        return None;
    }
    let told =
        |cell: &&String| !cell.is_empty() && (head.contains(*cell) || telling(cell).is_some());
    let time =
        |cell: &String| matches!(telling(cell), Some(Role::Time | Role::Date | Role::Elapsed));
    (cells.iter().filter(told).count() >= 2).then(|| cells.iter().any(time))
}

/// What a cell names, when it is a time or samples.
fn telling(cell: &str) -> Option<Role> {
    let tells =
        |role: &Role| matches!(role, Role::Time | Role::Date | Role::Elapsed | Role::Samples(_));
    words::role(cell).filter(tells)
}

/// Whether a line directly below the head gives a column another meaning; it may say the same in other words.
fn clashes(cells: &[String], table: &Table<'_>) -> bool {
    table.names.iter().zip(cells).any(|(name, cell)| {
        let known = telling(&name.label).zip(telling(cell));
        let units = words::unit(&name.unit).zip(words::unit(&Name::parse(cell).unit));
        known.is_some_and(|(a, b)| a != b) || units.is_some_and(|(a, b)| a != b)
    })
}

/// The first column to which a row of units gives another unit than the top of the file.
fn other_unit(cells: &[String], table: &Table<'_>) -> Option<String> {
    let bare = |cell: &str| words::unit(cell.trim_matches(['(', ')']));
    let (name, cell) = table.names.iter().zip(cells).find(|(name, cell)| {
        let unit = bare(cell);
        unit.is_some() && unit != words::unit(&name.unit)
    })?;
    let before = if name.unit.is_empty() { "none" } else { name.unit.as_str() };
    Some(format!(
        "a second row of units differs: `{}` is in `{cell}`, at the top of the file its unit is {before}",
        name.label
    ))
}

/// The first column in which two heads differ.
fn differs(cells: &[String], head: &[String]) -> String {
    let short = |cell: &String| codes::short(cell.as_bytes());
    let mut pairs = (1..).zip(cells.iter().zip(head));
    match pairs.find(|(_, (here, there))| here != there) {
        Some((column, (here, there))) => {
            format!("column {column} is `{}`, in the first it is `{}`", short(here), short(there))
        }
        None => format!("it names {} columns, the first {}", cells.len(), head.len()),
    }
}
