//! Delimited text: one row for each moment, or one row for each channel and moment.
//!
//! Nothing is taken for granted: separator, decimal mark, encoding, header, units and the writing of
//! time are found by content, and what cannot be found for certain is refused with what to put in a
//! [column map](super::map).

mod cells;
mod codes;
mod decode;
mod grid;
mod heads;
mod marks;
mod night;
mod number;
mod plan;
pub(super) mod probe;
mod rows;
mod stamp;
mod table;
mod tidy;
mod units;
mod when;
pub(super) mod words;
mod zone;

use sha2::{Digest, Sha256};

use super::map::ColumnMap;
use super::untaken::{self, Kind, LeftOut, Thinned};
use super::{Input, ReadError, ReadOptions};
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Recording;

use plan::Plan;
use rows::{Rows, Unread};
use table::Table;
use when::Known;
use words::Role;

/// Reads the file.
///
/// # Errors
/// [`ReadError`] when the columns, the times or the units are not understood or contradict the numbers.
pub fn read(input: Input<'_>, options: &ReadOptions) -> Result<Recording, ReadError> {
    let unmapped = ColumnMap::default();
    let map = options.map.as_ref().unwrap_or(&unmapped);
    let decoded = decode::decode(input.bytes, map.encoding.as_deref())?;
    let table = table::open(&decoded.text, map)?;
    if map.header_line.is_none() {
        heads::none_above(&table)?;
    }
    let plan = plan::plan(&table, map)?;
    let mut rows = rows::read(&table, &plan, map)?;
    let mut findings: Vec<Finding> = decoded.finding.into_iter().collect();
    findings.extend(plan.findings.iter().cloned());
    if newest_first(&rows) {
        turn_round(&mut rows);
        let sentence = "The rows run from the latest to the earliest; they were turned round.";
        findings.push(Finding::new("rows_reversed", Weight::Note, sentence));
    }
    if plan.long.is_some() {
        let mut channels: Vec<_> = rows.series.iter().map(|series| series.plan.clone()).collect();
        plan::stand_back(&mut channels);
        plan::one_of_each(&channels)?;
        for (series, plan) in rows.series.iter_mut().zip(channels) {
            series.plan = plan;
        }
    }
    let known = known(&table, options, map)?;
    let line = when::line(&rows.stamps, &plan.time, &known)?;
    findings.extend(line.findings.iter().cloned());
    unread(&rows.unread, &table, &mut findings);
    // Their moments are known now, and a night has many rows.
    rows.stamps = Vec::new();
    let mut left_out = plan.left_out.clone();
    left_out.extend(watched(&plan, std::mem::take(&mut rows.watched)));
    let mapped = rows.series.iter().filter(|series| series.plan.mapped);
    let told: Vec<String> = mapped.map(|series| series.plan.label.clone()).collect();
    let bytes = input.bytes.len();
    let mut recording = night::recording(rows, &line, bytes, (findings, &mut left_out))?;
    let of = (Kind::Column, &told[..]);
    recording.findings.extend(untaken::findings(&recording.channels, &left_out, of));
    recording.monitor = monitor(&table);
    recording.input_sha256 = crate::hex(&Sha256::digest(input.bytes));
    Ok(recording)
}

/// The columns that are no channels by their names, with what their numbers showed.
fn watched(plan: &Plan, numbers: Vec<Thinned>) -> impl Iterator<Item = LeftOut> {
    plan.watched.iter().zip(numbers).map(|(plan, numbers)| {
        let of = |because| LeftOut::watched(&plan.label, because, numbers);
        match plan.role {
            Role::Identity => of("its name is that of a person's data").of_a_person(),
            Role::Date | Role::Event => of("its name is that of no samples").changing(),
            _ if plan.label.starts_with('#') => of("it has no name"),
            _ => of("its name is that of a count or a time"),
        }
    })
}

/// More lines than this below the rows are no summary: they may be the rest of the night, written otherwise.
/// Common practice, no source.
const SUMMARY_LINES: usize = 300;

/// Tells the rows that were not understood.
fn unread(unread: &Unread, table: &Table<'_>, findings: &mut Vec<Finding>) {
    if let Some((line, what)) = &unread.first {
        let sentence = format!(
            "Rows not understood: {}, left out; the first is line {line}: {what}.",
            unread.inside
        );
        findings.push(Finding::new("rows_not_understood", Weight::Caution, sentence));
    }
    if let Some((line, _)) = &unread.first_trailing {
        let sentence = format!(
            "Lines after the last row that are no rows: {}, from line {line}, left out.",
            unread.trailing
        );
        let weight = if unread.trailing > SUMMARY_LINES { Weight::Serious } else { Weight::Note };
        findings.push(Finding::new("lines_after_rows", weight, sentence));
    }
    if let Some(line) = unread.first_again {
        let sentence = format!(
            "Lines that say again what the top of the file says: {}, from line {line}, passed over: two \
             files may be joined.",
            unread.again
        );
        findings.push(Finding::new("head_repeated", Weight::Note, sentence));
    }
    if unread.cut {
        let sentence = format!(
            "The last row breaks off before its {} cells are complete and was left out: the file may \
             be cut short.",
            table.names.len()
        );
        findings.push(Finding::new("file_cut_short", Weight::Caution, sentence));
    }
}

/// Whether most rows are earlier than the row before.
fn newest_first(rows: &Rows) -> bool {
    let mut before = None;
    let (mut up, mut down) = (0_usize, 0_usize);
    for stamp in &rows.stamps {
        let day = stamp.date.days(stamp::DateOrder::DayFirst);
        let key = Some((day.or(stamp.date.days(stamp::DateOrder::MonthFirst)), stamp.us));
        up += usize::from(before.is_some() && key > before);
        down += usize::from(before.is_some() && key < before);
        before = key;
    }
    down > up && down > 1
}

fn turn_round(rows: &mut Rows) {
    let last = rows.stamps.len().saturating_sub(1);
    rows.stamps.reverse();
    for series in &mut rows.series {
        series.values.reverse();
        if let Some(of) = &mut series.rows {
            of.reverse();
            for row in of.iter_mut() {
                *row = last - *row;
            }
        }
    }
    for event in &mut rows.events {
        (event.from, event.to) = (last - event.to, last - event.from);
    }
}

/// What the map, the options and the lines above the header tell about the time.
fn known(table: &Table<'_>, options: &ReadOptions, map: &ColumnMap) -> Result<Known, ReadError> {
    let wrong = |what: &str, text: &str| {
        ReadError::not_understood(format!("the column map's {what} `{text}` is not understood"))
    };
    let (above_day, above_clock) = plan::preamble_start(table);
    let mut known = Known {
        zone: options.zone.clone(),
        day: above_day,
        clock: above_clock,
        from_preamble: above_day.is_some(),
    };
    if let Some(text) = &map.time.date {
        known.day = match stamp::moment(text.as_bytes()) {
            Some(stamp::Moment::Day(stamp::Date::Days(day))) => Some(day),
            _ => return Err(wrong("date", text).hint("write it as 2024-10-26")),
        };
        known.from_preamble = false;
    }
    if let Some(text) = &map.time.start {
        known.clock = match stamp::moment(text.as_bytes()) {
            Some(stamp::Moment::Clock(us)) if us < stamp::DAY => Some(us),
            _ => return Err(wrong("start", text).hint("write it as 22:30")),
        };
    }
    Ok(known)
}

/// The monitor's name or serial number above the header, where a line begins with such a word.
fn monitor(table: &Table<'_>) -> Option<String> {
    table.preamble.iter().find_map(|cells| {
        let (name, inline) = cells.first()?.split_once(':').unwrap_or((cells.first()?, ""));
        let key = name.trim().to_lowercase();
        let about = ["monitor", "device", "serial", "serial number", "serial no", "monitor serial"];
        let value = if inline.trim().is_empty() { cells.get(1)?.trim() } else { inline.trim() };
        (about.contains(&key.as_str()) && !value.is_empty()).then(|| value.to_owned())
    })
}
