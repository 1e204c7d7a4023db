//! One pass over the rows: stamps, numbers, words.

use crate::read::ReadError;
use crate::read::limits;
use crate::read::map::ColumnMap;
use crate::read::text::cells::Row;
use crate::read::text::codes::{self, Tally};
use crate::read::text::heads::{self, Again};
use crate::read::text::number::{self, Cell};
use crate::read::text::plan::{self, ChannelPlan, Plan, TimeKind};
use crate::read::text::stamp::{self, DAY, Date, Minute, Moment};
use crate::read::text::table::Table;
use crate::read::text::words::{self, Name, Role};
use crate::read::untaken::Thinned;
use crate::recording::Quantity;
use crate::unit::Unit;

/// More channels than this are something else than channels: a table turned on its side, or a long form
/// whose channel column holds values.
pub(super) const CHANNELS_MOST: usize = 64;

/// What a value is called whose row names no channel.
const WITHOUT_A_NAME: &[u8] = b"(no name)";

/// When a row is, as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stamp {
    /// The date; day 0 where the file has none.
    pub(super) date: Date,
    /// Microseconds: of the day, since 1970 or since the start.
    pub(super) us: i64,
    /// Offset from UTC in seconds, where written.
    pub(super) offset_s: Option<i64>,
    /// Line in the file.
    pub(super) line: u64,
}

/// One channel's numbers.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Series {
    /// What it is.
    pub(super) plan: ChannelPlan,
    /// The unit read, when known.
    pub(super) unit: Option<Unit>,
    /// The rows its numbers stand in; `None`: every row.
    pub(super) rows: Option<Vec<usize>>,
    /// The numbers; NaN for no reading.
    pub(super) values: Vec<f64>,
    /// What the cells held.
    pub(super) tally: Tally,
}

/// Words that stand in consecutive rows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Event {
    /// First row.
    pub(super) from: usize,
    /// Last row.
    pub(super) to: usize,
    /// Which column.
    pub(super) column: usize,
    /// The words.
    pub(super) text: String,
}

/// Rows that were not understood.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Unread {
    /// How many between rows that were.
    pub(super) inside: usize,
    /// The first of them: line and words.
    pub(super) first: Option<(u64, String)>,
    /// How many after the last row that was.
    pub(super) trailing: usize,
    /// The first of those.
    pub(super) first_trailing: Option<(u64, String)>,
    /// The last row breaks off.
    pub(super) cut: bool,
    /// How many lines say again what the top of the file says.
    pub(super) again: usize,
    /// The first of those.
    pub(super) first_again: Option<u64>,
}

/// What the rows hold.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rows {
    /// When each row is.
    pub(super) stamps: Vec<Stamp>,
    /// The channels.
    pub(super) series: Vec<Series>,
    /// The words.
    pub(super) events: Vec<Event>,
    /// What was not understood.
    pub(super) unread: Unread,
    /// Numbers of the columns that are no channels by their names.
    pub(super) watched: Vec<Thinned>,
}

struct Pass<'a> {
    table: &'a Table<'a>,
    plan: &'a Plan,
    map: &'a ColumnMap,
    rows: Rows,
    /// First line with a decimal point and with a decimal comma.
    marks: [Option<u64>; 2],
    /// Position of SpO2 and pulse among the series.
    pair: Option<(usize, usize)>,
    /// The minute of the row before.
    minute: Option<Minute>,
    /// Another head, which is refused once a row follows it.
    other_head: Option<ReadError>,
}

/// Reads every row.
pub(super) fn read(table: &Table<'_>, plan: &Plan, map: &ColumnMap) -> Result<Rows, ReadError> {
    let series: Vec<Series> = plan.channels.iter().map(|c| new_series(c.clone(), false)).collect();
    let at = |quantity| series.iter().position(|s| s.plan.quantity == quantity);
    let pair = at(Quantity::Spo2).zip(at(Quantity::Pulse));
    let watched = vec![Thinned::default(); plan.watched.len()];
    let (stamps, events, unread) = (Vec::new(), Vec::new(), Unread::default());
    let rows = Rows { stamps, series, events, unread, watched };
    let (minute, other_head) = (None, None);
    let mut pass = Pass { table, plan, map, rows, marks: [None; 2], pair, minute, other_head };
    pass.reserve();
    let mut rows = table.rows();
    while let Some(row) = rows.next()? {
        if row.last && pass.breaks_off(row) {
            pass.rows.unread.cut = true;
            break;
        }
        if let Err(what) = pass.row(row)? {
            pass.no_row(row, what)?;
        }
    }
    pass.finish()
}

fn new_series(plan: ChannelPlan, long: bool) -> Series {
    let unit = words::unit(&plan.unit);
    let rows = long.then(Vec::new);
    Series { plan, unit, rows, values: Vec::new(), tally: Tally::default() }
}

impl Pass<'_> {
    /// Makes room for as many rows as the first ones let expect: growing would copy them time and again.
    fn reserve(&mut self) {
        let sample = &self.table.sample;
        let bytes: usize = sample.iter().flatten().map(|cell| cell.len() + 1).sum();
        let rows = self.table.body.len() / (bytes / sample.len().max(1)).max(1) + 1;
        // A first row much shorter than the rest must not ask for room that nobody will fill.
        let most = limits::samples_of(self.table.body.len()) / self.rows.series.len().max(1);
        let rows = rows.min(1 << 20).min(most);
        self.rows.stamps.reserve(rows);
        for series in &mut self.rows.series {
            series.values.reserve(rows);
        }
    }

    /// Whether the last row is cut: no line end, and cells are lacking.
    fn breaks_off(&self, row: Row<'_>) -> bool {
        !self.table.body.ends_with(['\n', '\r', '\u{1a}'])
            && row.len() < self.table.names.len().min(self.usual_width())
    }

    fn usual_width(&self) -> usize {
        self.table.sample.first().map_or(0, Vec::len)
    }

    /// Reads one row; the inner error is what is wrong with this row alone.
    fn row(&mut self, cells: Row<'_>) -> Result<Result<(), String>, ReadError> {
        let names = self.table.names.len();
        if (names..cells.len()).any(|column| !cells.cell(column).trim_ascii().is_empty()) {
            let cells = cells.len();
            return Ok(Err(format!("{cells} cells where the header names {names}")));
        }
        let Some(stamp) = stamp_of(cells, self.plan, &mut self.minute) else {
            let cell = cells.cell(self.plan.time.time);
            return Ok(Err(format!("`{}` is not the time", codes::short(cell))));
        };
        if let Some(other) = self.other_head.take() {
            return Err(other);
        }
        let row = self.rows.stamps.len();
        self.room(row).map_err(|error| error.at(format!("line {}", cells.line)))?;
        self.rows.stamps.push(stamp);
        if self.plan.long.is_some() {
            self.long_row(cells, row)?;
        } else {
            self.wide_row(cells);
        }
        for (plan, thinned) in self.plan.watched.iter().zip(&mut self.rows.watched) {
            if let Cell::Number(value, _) = number::cell(cells.cell(plan.column)) {
                thinned.push(value);
            }
        }
        for &column in &self.plan.events {
            let cell = cells.cell(column).trim_ascii();
            if !cell.is_empty() && cell != b"0" && number::cell(cell) != Cell::NoReading {
                note_event(&mut self.rows.events, row, column, cell);
            }
        }
        // Unread rows that a good one follows stand inside.
        let unread = &mut self.rows.unread;
        if unread.trailing > 0 {
            unread.inside += std::mem::take(&mut unread.trailing);
            let first = unread.first_trailing.take();
            unread.first = unread.first.take().or(first);
        }
        Ok(Ok(()))
    }

    /// Counts a line that is no row; refuses another head than the first.
    fn no_row(&mut self, row: Row<'_>, what: String) -> Result<(), ReadError> {
        let again = heads::again(row, self.table, self.rows.stamps.is_empty());
        let unread = &mut self.rows.unread;
        match again {
            Some(Again::Same) => {
                unread.again += 1;
                unread.first_again.get_or_insert(row.line);
                return Ok(());
            }
            Some(Again::Other { error, surely: true }) => return Err(error),
            Some(Again::Other { error, surely: false }) => {
                self.other_head.get_or_insert(error);
            }
            None => {}
        }
        unread.trailing += 1;
        unread.first_trailing.get_or_insert((row.line, what));
        Ok(())
    }

    /// Whether a text of this length can have a row more, and the samples in it: short rows under a wide
    /// header would make many times as much of it.
    fn room(&self, row: usize) -> Result<(), ReadError> {
        let bytes = self.table.body.len();
        let most = limits::rows_of(bytes);
        if row >= most {
            return Err(ReadError::not_understood(format!(
                "too many rows: expected at most {most} in {bytes} bytes of text, found more"
            ))
            .hint("a row has a time and a value at least"));
        }
        if self.plan.long.is_none() {
            limits::samples((row + 1) * self.rows.series.len(), bytes)?;
        }
        limits::marks(self.rows.events.len())
    }

    fn wide_row(&mut self, row: Row<'_>) {
        for series in &mut self.rows.series {
            let raw = row.cell(series.plan.column);
            let value = series_value(series, raw, row.line, &mut self.marks, self.map);
            series.values.push(value);
        }
        if let Some((spo2, pulse)) = self.pair {
            self.pulse_follows(row, spo2, pulse);
        }
    }

    /// Takes a pulse back that is a code because the saturation beside it is one.
    fn pulse_follows(&mut self, row: Row<'_>, spo2: usize, pulse: usize) {
        let value = self.rows.series[pulse].values.last().copied().unwrap_or(f64::NAN);
        let told = self.rows.series[pulse].plan.missing.is_some();
        // Only the rare pulse that could be a code needs a look at the saturation.
        if told || value.is_nan() || value < 127.0 {
            return;
        }
        let cell = |series: &Series| row.cell(series.plan.column);
        let Cell::Number(beside, _) = number::cell(cell(&self.rows.series[spo2])) else { return };
        if codes::follows(value, beside) {
            let series = &mut self.rows.series[pulse];
            let raw = cell(series);
            series.tally.numbers -= 1;
            series.tally.code(raw);
            if let Some(last) = series.values.last_mut() {
                *last = f64::NAN;
            }
        }
    }

    fn long_row(&mut self, cells: Row<'_>, row: usize) -> Result<(), ReadError> {
        let Some(long) = self.plan.long else { return Ok(()) };
        let text = |column: usize| cells.cell(column).trim_ascii();
        let (label, unit) = (text(long.channel), long.unit.map_or(&b""[..], text));
        let label = match (label.is_empty(), text(long.value).is_empty()) {
            (true, true) => return Ok(()),
            (true, false) => WITHOUT_A_NAME,
            (false, _) => label,
        };
        let known =
            self.rows.series.iter().position(|series| series.plan.label.as_bytes() == label);
        let at = match known {
            Some(at) => at,
            None if Name::parse(&codes::short(label)).role() == Some(Role::Event) => {
                let words = text(long.value).to_vec();
                note_event(&mut self.rows.events, row, long.channel, &words);
                return Ok(());
            }
            None => self.add_channel(label, unit, long.value)?,
        };
        let mapped = self.mapped(label);
        let series = &mut self.rows.series[at];
        if !unit.is_empty() && series.plan.unit.as_bytes() != unit && !mapped {
            return Err(ReadError::refused(format!(
                "`{}` is given in `{}` and in `{}`",
                codes::short(label),
                self.rows.series[at].plan.unit,
                codes::short(unit)
            ))
            .at(format!("line {}", cells.line)));
        }
        let value = series_value(series, text(long.value), cells.line, &mut self.marks, self.map);
        series.values.push(value);
        if let Some(rows) = &mut series.rows {
            rows.push(row);
        }
        Ok(())
    }

    fn mapped(&self, label: &[u8]) -> bool {
        self.map.columns.iter().any(|e| e.column.as_bytes() == label && e.unit.is_some())
    }

    fn add_channel(
        &mut self,
        label: &[u8],
        unit: &[u8],
        column: usize,
    ) -> Result<usize, ReadError> {
        if self.rows.series.len() == CHANNELS_MOST {
            return Err(ReadError::not_understood(format!(
                "more than {CHANNELS_MOST} names of channels in column `{}`",
                self.plan.long.map_or("", |long| self.table.names[long.channel].label.as_str())
            )));
        }
        let mut name = Name::parse(&String::from_utf8_lossy(label));
        if name.unit.is_empty() {
            name.unit = String::from_utf8_lossy(unit).into_owned();
        }
        let entry = self.map.columns.iter().find(|entry| entry.column == name.label);
        let quantity = match name.role() {
            Some(Role::Samples(quantity)) => quantity,
            _ => Quantity::Other,
        };
        let mut channel = plan::guessed(column, &name, quantity, self.map);
        if let Some(entry) = entry {
            channel.quantity = Quantity::from_id(&entry.quantity).unwrap_or(Quantity::Other);
            channel.unit = entry.unit.clone().unwrap_or(channel.unit);
            channel.missing.clone_from(&entry.missing);
            channel.mapped = true;
        }
        self.rows.series.push(new_series(channel, true));
        Ok(self.rows.series.len() - 1)
    }

    fn finish(self) -> Result<Rows, ReadError> {
        let Rows { stamps, series, events, unread, watched } = self.rows;
        let bad = unread.inside + unread.trailing;
        if bad > stamps.len() {
            let first = unread.first.or(unread.first_trailing);
            let (line, what) = first.unwrap_or_default();
            return Err(ReadError::not_understood(format!(
                "{bad} of {} rows are not understood: in the first, {what}",
                bad + stamps.len()
            ))
            .at(format!("line {line}"))
            .hint("say in a column map how the columns are separated and the time is written"));
        }
        if let [Some(point), Some(comma)] = self.marks {
            return Err(ReadError::not_understood(
                "numbers are written both with a decimal point and with a decimal comma",
            )
            .at(format!("line {point} and line {comma}"))
            .hint("say in a column map which is the decimal mark"));
        }
        Ok(Rows { stamps, series, events, unread, watched })
    }
}

/// One cell of a channel: its number, or NaN with the reason counted.
fn series_value(
    series: &mut Series,
    raw: &[u8],
    line: u64,
    marks: &mut [Option<u64>; 2],
    map: &ColumnMap,
) -> f64 {
    let tally = &mut series.tally;
    if let Some(codes) = &series.plan.missing
        && codes.iter().any(|code| code.as_bytes() == raw.trim_ascii())
    {
        tally.code(raw);
        return f64::NAN;
    }
    match number::cell(raw) {
        Cell::Number(value, mark) => {
            if let Some(mark) = mark {
                if map.decimal.as_ref().is_some_and(|told| told.as_bytes() != [mark]) {
                    tally.bad(line, raw);
                    return f64::NAN;
                }
                marks[usize::from(mark == b',')].get_or_insert(line);
            }
            let guess = series.plan.missing.is_none();
            let code = codes::is_code(series.plan.quantity, series.unit.as_ref(), value);
            if guess && code {
                tally.code(raw);
                return f64::NAN;
            }
            tally.numbers += 1;
            value
        }
        Cell::Empty => {
            tally.empty += 1;
            f64::NAN
        }
        Cell::NoReading => {
            tally.code(raw);
            f64::NAN
        }
        Cell::Bad => {
            tally.bad(line, raw);
            f64::NAN
        }
    }
}

fn note_event(events: &mut Vec<Event>, row: usize, column: usize, cell: &[u8]) {
    let last = events.iter_mut().rev().find(|event| event.column == column);
    match last {
        Some(last) if last.to + 1 == row && last.text.as_bytes() == cell => last.to = row,
        _ => events.push(Event {
            from: row,
            to: row,
            column,
            text: String::from_utf8_lossy(cell).into_owned(),
        }),
    }
}

/// When a row is; `None` when its time cannot be read.
#[expect(clippy::cast_possible_truncation, reason = "checked to be far inside an i64")]
fn stamp_of(row: Row<'_>, plan: &Plan, minute: &mut Option<Minute>) -> Option<Stamp> {
    let cell = row.cell(plan.time.time);
    let soon = minute.as_ref().and_then(|minute| minute.moment(cell));
    let moment = soon.or_else(|| stamp::moment(cell))?;
    if soon.is_none() {
        *minute = Minute::of(cell, moment);
    }
    let none = Date::Days(0);
    let new = |date, us, offset_s| Some(Stamp { date, us, offset_s, line: row.line });
    let count = |value: f64, scale: f64| {
        let us = libm::rint(value * scale);
        // A century in microseconds is 3e15; the count since 1970 stays below this too.
        (us.abs() < 1e16).then_some(us as i64)
    };
    match (plan.time.kind, moment) {
        (TimeKind::Civil, Moment::Civil(date, us, offset)) if plan.time.date.is_none() => {
            new(date, us, offset)
        }
        (TimeKind::Civil, Moment::Clock(us)) if us < DAY => {
            match stamp::moment(row.cell(plan.time.date?))? {
                Moment::Day(date) | Moment::Civil(date, 0, None) => new(date, us, None),
                _ => None,
            }
        }
        (TimeKind::Clock, Moment::Clock(us)) if us < DAY => new(none, us, None),
        (TimeKind::Epoch(scale) | TimeKind::Elapsed(scale), Moment::Count(value)) => {
            new(none, count(value, scale)?, None)
        }
        (TimeKind::Elapsed(_), Moment::Clock(us)) => new(none, us, None),
        _ => None,
    }
}
