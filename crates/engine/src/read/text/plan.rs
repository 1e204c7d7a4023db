//! What each column is for.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::map::{ColumnMap, TimeFormat};
use crate::read::text::rows::CHANNELS_MOST;
use crate::read::text::stamp::{self, Date, DateOrder, Moment};
use crate::read::text::table::Table;
use crate::read::text::words::{self, Name, Role};
use crate::read::untaken::LeftOut;
use crate::recording::Quantity;

/// How the file tells the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeKind {
    /// Date and time of day.
    Civil,
    /// Time of day.
    Clock,
    /// Count since 1970, this many microseconds a step.
    Epoch(f64),
    /// Count since the start, this many microseconds a step; or `hh:mm:ss`.
    Elapsed(f64),
}

/// Where the time stands and how it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TimePlan {
    /// A column with the date alone.
    pub(super) date: Option<usize>,
    /// The column with the time.
    pub(super) time: usize,
    /// What it holds.
    pub(super) kind: TimeKind,
    /// Day or month first, when a map tells.
    pub(super) order: Option<DateOrder>,
}

/// One channel to be read.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ChannelPlan {
    /// The column it stands in; in long form the column of values.
    pub(super) column: usize,
    /// What it measures.
    pub(super) quantity: Quantity,
    /// The name as the file wrote it.
    pub(super) label: String,
    /// The unit as the file or the map wrote it.
    pub(super) unit: String,
    /// Cells that mean "no reading", when a map lists them.
    pub(super) missing: Option<Vec<String>>,
    /// A map says what it is.
    pub(super) mapped: bool,
}

/// A column that is no channel by its name, whose numbers are looked at all the same.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct WatchPlan {
    /// The column.
    pub(super) column: usize,
    /// Its name, or its number where it has none.
    pub(super) label: String,
    /// What its name says.
    pub(super) role: Role,
}

/// Columns of the long form: one value in each row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Long {
    /// Which channel.
    pub(super) channel: usize,
    /// Its value.
    pub(super) value: usize,
    /// Its unit, when there is such a column.
    pub(super) unit: Option<usize>,
}

/// What each column is for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Plan {
    /// The time.
    pub(super) time: TimePlan,
    /// The channels; empty in long form, where the rows name them.
    pub(super) channels: Vec<ChannelPlan>,
    /// Columns of words about moments.
    pub(super) events: Vec<usize>,
    /// Columns that are no channels by their names.
    pub(super) watched: Vec<WatchPlan>,
    /// The long form.
    pub(super) long: Option<Long>,
    /// What to tell about the plan.
    pub(super) findings: Vec<Finding>,
    /// What the map leaves out.
    pub(super) left_out: Vec<LeftOut>,
}

/// Makes the plan from the header, the first rows and the map.
pub(super) fn plan(table: &Table<'_>, map: &ColumnMap) -> Result<Plan, ReadError> {
    let mut findings = Vec::new();
    let time = time_plan(table, map, &mut findings)?;
    let at = |role: Role| table.names.iter().position(|name| name.role() == Some(role));
    let long = at(Role::Channel).zip(at(Role::Value)).map(|(channel, value)| Long {
        channel,
        value,
        unit: at(Role::Unit),
    });
    let mut wide = Wide::default();
    if long.is_none() {
        wide = self::wide(table, map, time)?;
        one_of_each(&wide.channels)?;
    }
    let Wide { channels, events, watched } = wide;
    let left_out = map.ignore.iter().filter_map(|name| table.column(name).ok());
    let left_out = left_out.map(|at| LeftOut::by_map(&table.names[at].label)).collect();
    Ok(Plan { time, channels, events, watched, long, findings, left_out })
}

/// What the columns of a table with one row for each moment are for.
#[derive(Default)]
struct Wide {
    channels: Vec<ChannelPlan>,
    events: Vec<usize>,
    watched: Vec<WatchPlan>,
}

fn wide(table: &Table<'_>, map: &ColumnMap, time: TimePlan) -> Result<Wide, ReadError> {
    let ignored =
        map.ignore.iter().map(|name| table.column(name)).collect::<Result<Vec<_>, _>>()?;
    let mapped = map
        .columns
        .iter()
        .map(|entry| table.column(&entry.column))
        .collect::<Result<Vec<_>, _>>()?;
    let Wide { mut channels, mut events, mut watched } = Wide::default();
    for (index, name) in table.names.iter().enumerate() {
        if index == time.time || Some(index) == time.date || ignored.contains(&index) {
            continue;
        }
        let entry = mapped.iter().position(|at| *at == index).map(|at| &map.columns[at]);
        if let Some(quantity) = entry.and_then(|entry| Quantity::from_id(&entry.quantity)) {
            channels.push(ChannelPlan {
                column: index,
                quantity,
                label: name.label.clone(),
                unit: entry.and_then(|e| e.unit.clone()).unwrap_or_else(|| name.unit.clone()),
                missing: entry.and_then(|e| e.missing.clone()),
                mapped: true,
            });
            continue;
        }
        match name.role() {
            Some(Role::Event) => {
                events.push(index);
                watched.push(watch(index, name, Role::Event));
            }
            Some(Role::Samples(quantity)) => channels.push(guessed(index, name, quantity, map)),
            Some(Role::Channel | Role::Value | Role::Unit) | None => {
                channels.push(guessed(index, name, Quantity::Other, map));
            }
            Some(role) => watched.push(watch(index, name, role)),
        }
    }
    stand_back(&mut channels);
    watched.truncate(CHANNELS_MOST);
    if channels.len() > CHANNELS_MOST {
        return Err(ReadError::not_understood(format!(
            "{} columns of samples: expected at most {CHANNELS_MOST}",
            channels.len()
        ))
        .at(format!("line {}", table.header_line))
        .hint("is the table turned on its side? every moment should have a row"));
    }
    Ok(Wide { channels, events, watched })
}

fn watch(column: usize, name: &Name, role: Role) -> WatchPlan {
    let nameless = || format!("#{}", column + 1);
    let label = if name.label.is_empty() { nameless() } else { name.label.clone() };
    WatchPlan { column, label, role }
}

/// Of two columns of one quantity the one whose name says it less plainly is only kept.
pub(super) fn stand_back(channels: &mut [ChannelPlan]) {
    for at in 0..channels.len() {
        let one = &channels[at];
        let back = |one: &ChannelPlan| !one.mapped && words::stands_back(&one.label);
        let plainer = |other: &ChannelPlan| other.quantity == one.quantity && !back(other);
        if one.quantity != Quantity::Other && back(one) && channels.iter().any(plainer) {
            channels[at].quantity = Quantity::Other;
        }
    }
}

/// A channel by its name alone; where the map gives the quantity to another column, it is only kept.
pub(super) fn guessed(
    column: usize,
    name: &Name,
    quantity: Quantity,
    map: &ColumnMap,
) -> ChannelPlan {
    let taken = map.columns.iter().any(|entry| entry.quantity == quantity.id());
    ChannelPlan {
        column,
        quantity: if taken { Quantity::Other } else { quantity },
        label: name.label.clone(),
        unit: name.unit.clone(),
        missing: None,
        mapped: false,
    }
}

/// Refuses two columns of one scored quantity, and a file without any.
pub(super) fn one_of_each(channels: &[ChannelPlan]) -> Result<(), ReadError> {
    for quantity in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        let mut of = channels.iter().filter(|channel| channel.quantity == quantity);
        if let (Some(first), Some(second)) = (of.next(), of.next()) {
            return Err(ReadError::not_understood(format!(
                "two columns could be {}: `{}` and `{}`",
                quantity.name(),
                first.label,
                second.label
            ))
            .hint("a column map picks one of them"));
        }
    }
    if channels.iter().all(|channel| channel.quantity == Quantity::Other) {
        return Err(ReadError::not_understood("no column holds SpO2, pulse or CO2")
            .hint("name the columns in a column map"));
    }
    Ok(())
}

/// What most filled cells of a column hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Holds {
    Civil,
    Midnights,
    Days,
    Clock,
    Count,
    Nothing,
}

fn holds(table: &Table<'_>, column: usize) -> Holds {
    let mut counts = [0_usize; 6];
    let filled = table.sample.iter().filter_map(|row| row.get(column)).filter(|c| !c.is_empty());
    for cell in filled {
        counts[match stamp::moment(cell.as_bytes()) {
            Some(Moment::Civil(_, 0, None)) => 1,
            Some(Moment::Civil(..)) => 0,
            Some(Moment::Day(_)) => 2,
            Some(Moment::Clock(_)) => 3,
            Some(Moment::Count(_)) => 4,
            None => 5,
        }] += 1;
    }
    // A real time may be midnight once in a while; a date column is midnight always.
    if counts[0] > 0 {
        counts[0] += std::mem::take(&mut counts[1]);
    }
    let kinds =
        [Holds::Civil, Holds::Midnights, Holds::Days, Holds::Clock, Holds::Count, Holds::Nothing];
    let most = counts.iter().copied().max().unwrap_or(0);
    let at = counts.iter().position(|count| *count == most && most > 0);
    at.map_or(Holds::Nothing, |at| kinds[at])
}

fn time_plan(
    table: &Table<'_>,
    map: &ColumnMap,
    findings: &mut Vec<Finding>,
) -> Result<TimePlan, ReadError> {
    let given: Vec<usize> =
        map.time.columns.iter().map(|name| table.column(name)).collect::<Result<_, _>>()?;
    let named = |role: Role| table.names.iter().position(|name| name.role() == Some(role));
    let candidates: Vec<usize> = if given.is_empty() {
        [Role::Time, Role::Date, Role::Elapsed].into_iter().filter_map(named).collect()
    } else {
        given
    };
    let mut plan = found(table, &candidates)
        .or_else(|| by_content(table, &candidates, findings))
        .ok_or_else(|| no_time(table, &candidates))?;
    match map.time.format {
        Some(TimeFormat::DayFirst) => plan.order = Some(DateOrder::DayFirst),
        Some(TimeFormat::MonthFirst) => plan.order = Some(DateOrder::MonthFirst),
        Some(TimeFormat::EpochS) => plan.kind = TimeKind::Epoch(1e6),
        Some(TimeFormat::EpochMs) => plan.kind = TimeKind::Epoch(1e3),
        Some(TimeFormat::TimeOnly) => plan.kind = TimeKind::Clock,
        Some(TimeFormat::ElapsedS) => plan.kind = TimeKind::Elapsed(1e6),
        Some(TimeFormat::Iso) => plan.kind = TimeKind::Civil,
        None if plan.kind == TimeKind::Elapsed(0.0) => {
            plan.kind = TimeKind::Elapsed(1e6);
            let sentence = format!(
                "The column `{}` names no unit; its numbers were taken as seconds since the start.",
                table.names[plan.time].label
            );
            findings.push(Finding::new("time_unit_assumed", Weight::Caution, sentence));
        }
        None => {}
    }
    Ok(plan)
}

/// The time, as far as names and cells tell; `None` when they do not.
pub(super) fn time_of(table: &Table<'_>) -> Option<TimePlan> {
    time_plan(table, &ColumnMap::default(), &mut Vec::new()).ok()
}

/// The time among columns known by name: the fullest writing wins.
fn found(table: &Table<'_>, candidates: &[usize]) -> Option<TimePlan> {
    let with = |wanted: Holds| candidates.iter().copied().find(|c| holds(table, *c) == wanted);
    let elapsed = |column: usize| table.names[column].role() == Some(Role::Elapsed);
    let whole = |time, kind| Some(TimePlan { date: None, time, kind, order: None });
    if let Some(time) = with(Holds::Civil) {
        return whole(time, TimeKind::Civil);
    }
    let clock =
        candidates.iter().copied().find(|c| holds(table, *c) == Holds::Clock && !elapsed(*c));
    let date = with(Holds::Days).or_else(|| with(Holds::Midnights));
    if let (Some(date), Some(time)) = (date, clock) {
        return Some(TimePlan { date: Some(date), time, kind: TimeKind::Civil, order: None });
    }
    if let Some(time) = with(Holds::Midnights) {
        return whole(time, TimeKind::Civil);
    }
    if let Some(time) = clock {
        return whole(time, TimeKind::Clock);
    }
    if let Some(time) = with(Holds::Clock) {
        return whole(time, TimeKind::Elapsed(1e6));
    }
    let time = with(Holds::Count)?;
    whole(time, count_kind(table, time))
}

/// How a column of plain numbers counts: by its unit, or since 1970 by its size; 0 when neither tells.
fn count_kind(table: &Table<'_>, column: usize) -> TimeKind {
    let cells = table.sample.iter().filter_map(|row| row.get(column));
    let first = cells.filter_map(|cell| match stamp::moment(cell.as_bytes()) {
        Some(Moment::Count(value)) => Some(value),
        _ => None,
    });
    let first = first.take(1).sum::<f64>();
    let name = &table.names[column];
    let unit = if name.unit.is_empty() { name.key.as_str() } else { name.unit.as_str() };
    match unit.to_lowercase().as_str() {
        // From 1980 to 2100, the numbers that a count since 1970 gives for a night of this trade.
        _ if (3e8..4.2e9).contains(&first) => TimeKind::Epoch(1e6),
        _ if (3e11..4.2e12).contains(&first) => TimeKind::Epoch(1e3),
        "s" | "sec" | "secs" | "second" | "seconds" => TimeKind::Elapsed(1e6),
        "ms" | "msec" => TimeKind::Elapsed(1e3),
        "min" | "minutes" => TimeKind::Elapsed(60e6),
        "h" | "hours" => TimeKind::Elapsed(3600e6),
        _ => TimeKind::Elapsed(0.0),
    }
}

/// A column that no word knows, but whose cells are dates and times.
fn by_content(
    table: &Table<'_>,
    candidates: &[usize],
    findings: &mut Vec<Finding>,
) -> Option<TimePlan> {
    let unknown = |c: &usize| !candidates.contains(c) && table.names[*c].role().is_none();
    let mut columns =
        (0..table.names.len()).filter(unknown).filter(|c| holds(table, *c) == Holds::Civil);
    let time = columns.next().filter(|_| columns.next().is_none())?;
    let label = &table.names[time].label;
    let sentence =
        format!("The column `{label}` was taken as the time because its cells are times.");
    findings.push(Finding::new("time_by_content", Weight::Note, sentence));
    Some(TimePlan { date: None, time, kind: TimeKind::Civil, order: None })
}

fn no_time(table: &Table<'_>, candidates: &[usize]) -> ReadError {
    let hint = "say in a column map which column is the time and how it is written";
    let Some(&column) = candidates.first() else {
        return ReadError::not_understood(format!(
            "no column holds the time: the header names {}",
            table.listed()
        ))
        .at(format!("line {}", table.header_line))
        .hint(hint);
    };
    let label = &table.names[column].label;
    if holds(table, column) == Holds::Days {
        return ReadError::not_understood(format!(
            "the column `{label}` holds dates without times of day"
        ))
        .hint(hint);
    }
    let cell = table.sample.iter().filter_map(|row| row.get(column)).find(|cell| !cell.is_empty());
    ReadError::not_understood(format!(
        "the times in column `{label}` are not understood: the first is `{}`",
        cell.map_or("", String::as_str)
    ))
    .at(format!("line {}", table.body_line))
    .hint(hint)
}

/// A date or date and time somewhere in the lines above the header, when it stands there beyond doubt.
pub(super) fn preamble_start(table: &Table<'_>) -> (Option<i64>, Option<i64>) {
    let mut day = None;
    let mut clock = None;
    for cells in &table.preamble {
        let Some((name, values)) = cells.split_first() else { continue };
        let key = name.to_lowercase();
        let about = ["date", "start", "recording"].iter().any(|word| key.contains(word));
        if !about || ["birth", "print", "report", "export"].iter().any(|word| key.contains(word)) {
            continue;
        }
        let inline = name.split_once(':').map(|(_, rest)| rest.trim().to_owned());
        for cell in inline.iter().chain(values) {
            match stamp::moment(cell.as_bytes()) {
                Some(Moment::Civil(date, us, None)) => {
                    day = day.or_else(|| settled(date));
                    clock = clock.or(Some(us));
                }
                Some(Moment::Day(date)) => day = day.or_else(|| settled(date)),
                Some(Moment::Clock(us)) if key.contains("time") => clock = clock.or(Some(us)),
                _ => {}
            }
        }
    }
    (day, clock)
}

/// The day of a date that can be read one way only.
fn settled(date: Date) -> Option<i64> {
    match (date.days(DateOrder::DayFirst), date.days(DateOrder::MonthFirst)) {
        (Some(day), Some(month)) => (day == month).then_some(day),
        (day, month) => day.or(month),
    }
}
