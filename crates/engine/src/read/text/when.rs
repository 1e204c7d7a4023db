//! From stamps to one line of microseconds: dates settled, midnights counted, zones applied.

use jiff::Timestamp;
use jiff::civil::{Date as CivilDate, DateTime};
use jiff::tz::{Offset, TimeZone};

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::text::plan::{TimeKind, TimePlan};
use crate::read::text::rows::Stamp;
use crate::read::text::stamp::{self, DAY, Date, DateOrder, SECOND};
use crate::read::text::zone;
use crate::time::{self, Clock};

/// A night longer than this is a wrong date.
pub(super) const NIGHT_MOST_S: i64 = 72 * 3600;

/// What is known of the time beside the rows.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    /// The zone of the monitor's clock.
    pub(super) zone: Option<TimeZone>,
    /// Day of the first row, counted from 1970.
    pub(super) day: Option<i64>,
    /// Time of day of the first row, in microseconds.
    pub(super) clock: Option<i64>,
    /// The two come from lines above the header, not from a map.
    pub(super) from_preamble: bool,
}

/// On which clock the microseconds count.
#[derive(Clone, Debug)]
enum Frame {
    /// UTC, shown in a zone.
    Instant(TimeZone),
    /// The wall's clock, its zone not known.
    Wall,
    /// The time of day; the date is not known.
    TimeOfDay,
}

/// Rows on one line of time.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// Microseconds of each row, in the file's order.
    pub(super) at_us: Vec<i64>,
    frame: Frame,
    /// What to tell.
    pub(super) findings: Vec<Finding>,
}

impl Line {
    /// The clock of a recording that starts at `start_us`.
    pub(super) fn clock(&self, start_us: i64) -> Result<Clock, ReadError> {
        let clock = match &self.frame {
            Frame::Instant(zone) => Timestamp::from_microsecond(start_us)
                .ok()
                .map(|instant| Clock::instant(instant, zone.clone())),
            Frame::Wall => civil(start_us).map(Clock::civil),
            Frame::TimeOfDay => civil(start_us).map(|start| Clock::time_only(start.time())),
        };
        clock.ok_or_else(|| ReadError::not_understood("the first row lies outside the calendar"))
    }
}

/// A wall time from its microseconds since 1970.
pub(super) fn civil(us: i64) -> Option<DateTime> {
    Some(Offset::UTC.to_datetime(Timestamp::from_microsecond(us).ok()?))
}

/// Puts the rows on one line of time.
pub(super) fn line(stamps: &[Stamp], plan: &TimePlan, known: &Known) -> Result<Line, ReadError> {
    let mut findings = Vec::new();
    match plan.kind {
        TimeKind::Civil => {
            let order = order(stamps, plan.order, &mut findings)?;
            let wall = |s: &Stamp| s.date.days(order).unwrap_or(0) * DAY + s.us;
            let at_us: Vec<i64> = stamps.iter().map(wall).collect();
            one_night(&at_us, stamps)?;
            if stamps.iter().any(|s| s.offset_s.is_some()) {
                return with_offsets(at_us, stamps, known, findings);
            }
            on_the_wall(at_us, stamps, known, findings)
        }
        TimeKind::Clock => {
            let at_us = unwrapped(stamps);
            let Some(day) = known.day else {
                zone::no_hour_back(&at_us, stamps, "and its date")?;
                let frame = Frame::TimeOfDay;
                one_night(&at_us, stamps)?;
                let unknown_day = stamp::days(2000, 1, 1).unwrap_or(0);
                let at_us = at_us.iter().map(|us| us + unknown_day * DAY).collect();
                let (weight, sentence) = if known.zone.is_some() {
                    let sentence = "The file gives times of day without a date; the zone could not be \
                                    used.";
                    (Weight::Caution, sentence)
                } else {
                    (Weight::Note, "The file gives times of day without a date.")
                };
                findings.push(Finding::new("date_not_known", weight, sentence));
                return Ok(Line { at_us, frame, findings });
            };
            tell_preamble(known, &mut findings);
            let at_us: Vec<i64> = at_us.iter().map(|us| us + day * DAY).collect();
            one_night(&at_us, stamps)?;
            on_the_wall(at_us, stamps, known, findings)
        }
        TimeKind::Epoch(_) => {
            let at_us: Vec<i64> = stamps.iter().map(|s| s.us).collect();
            one_night(&at_us, stamps)?;
            let zone = known.zone.clone().unwrap_or_else(|| {
                let sentence = "The file counts seconds since 1970 and no zone was given: times of \
                                day are shown in UTC.";
                findings.push(Finding::new("zone_not_known", Weight::Caution, sentence));
                TimeZone::UTC
            });
            Ok(Line { at_us, frame: Frame::Instant(zone), findings })
        }
        TimeKind::Elapsed(_) => elapsed(stamps, known, findings),
    }
}

/// Which number is the day: told, settled by the rows, or refused.
fn order(
    stamps: &[Stamp],
    told: Option<DateOrder>,
    findings: &mut Vec<Finding>,
) -> Result<DateOrder, ReadError> {
    let open = || {
        stamps.iter().filter_map(|s| match s.date {
            Date::Open { a, b, short, .. } => Some((a, b, short, s.line)),
            Date::Days(_) => None,
        })
    };
    if open().any(|(_, _, short, _)| short) {
        let sentence = "Years are written with two digits; 00 to 79 were taken as 2000 to 2079.";
        findings.push(Finding::new("short_years", Weight::Note, sentence));
    }
    let first_day = open().find(|(a, ..)| *a > 12).map(|(.., line)| line);
    let first_month = open().find(|(_, b, ..)| *b > 12).map(|(.., line)| line);
    match (first_day, first_month, told) {
        (Some(day), Some(month), _) => Err(ReadError::not_understood(
            "the dates contradict each other: some can only be day first, some only month first",
        )
        .at(format!("line {day} and line {month}"))),
        (Some(line), _, Some(DateOrder::MonthFirst))
        | (_, Some(line), Some(DateOrder::DayFirst)) => Err(ReadError::not_understood(
            "a date is written the other way round than the column map says",
        )
        .at(format!("line {line}"))),
        (_, _, Some(told)) => Ok(told),
        (Some(_), None, None) => Ok(DateOrder::DayFirst),
        (None, Some(_), None) => Ok(DateOrder::MonthFirst),
        (None, None, None) => settled_by_midnight(stamps, findings),
    }
}

/// With no number above twelve, only a night that crosses midnight can settle the order.
fn settled_by_midnight(
    stamps: &[Stamp],
    findings: &mut Vec<Finding>,
) -> Result<DateOrder, ReadError> {
    let same = |s: &Stamp| s.date.days(DateOrder::DayFirst) == s.date.days(DateOrder::MonthFirst);
    let Some(doubtful) = stamps.iter().find(|s| !same(s)) else { return Ok(DateOrder::DayFirst) };
    let fits = |order| {
        let days = || stamps.iter().filter_map(|s: &Stamp| s.date.days(order));
        let span = days().max().unwrap_or(0) - days().min().unwrap_or(0);
        span * 86_400 <= NIGHT_MOST_S
    };
    let (order, words) = match (fits(DateOrder::DayFirst), fits(DateOrder::MonthFirst)) {
        (true, false) => (DateOrder::DayFirst, "day first"),
        (false, true) => (DateOrder::MonthFirst, "month first"),
        _ => {
            return Err(ReadError::not_understood(
                "dates can be read day first or month first, and no row settles it",
            )
            .at(format!("line {}", doubtful.line))
            .hint("put format = \"day-first\" or \"month-first\" under [time] in a column map"));
        }
    };
    let sentence =
        format!("Dates were read {words}: the other way round, the night would last weeks.");
    findings.push(Finding::new("date_order_settled", Weight::Note, sentence));
    Ok(order)
}

/// Refuses rows that lie further apart than a night, naming the two.
fn one_night(at_us: &[i64], stamps: &[Stamp]) -> Result<(), ReadError> {
    let (Some(&min), Some(&max)) = (at_us.iter().min(), at_us.iter().max()) else {
        return Err(ReadError::not_understood("no row could be read"));
    };
    if max - min <= NIGHT_MOST_S * SECOND {
        return Ok(());
    }
    let mut order: Vec<usize> = (0..at_us.len()).collect();
    order.sort_by_key(|&row| at_us[row]);
    let widest = order.windows(2).max_by_key(|pair| at_us[pair[1]] - at_us[pair[0]]);
    let mut lines = widest.map_or([0, 0], |pair| [stamps[pair[0]].line, stamps[pair[1]].line]);
    lines.sort_unstable();
    Err(ReadError::not_understood(format!(
        "the rows span {} h; a night lasts at most {} h",
        (max - min) / (3600 * SECOND),
        NIGHT_MOST_S / 3600
    ))
    .at(format!("line {} and line {}", lines[0], lines[1]))
    .hint("the widest step lies between these two: one of their times is wrong"))
}

/// Times of day counted on over midnight: a step of more than half a day is a midnight.
fn unwrapped(stamps: &[Stamp]) -> Vec<i64> {
    let mut day = 0;
    let mut before = stamps.first().map_or(0, |s| s.us);
    let count_on = |s: &Stamp| {
        let step = s.us - before;
        day += i64::from(step < -DAY / 2) - i64::from(step > DAY / 2);
        before = s.us;
        s.us + day * DAY
    };
    stamps.iter().map(count_on).collect()
}

fn with_offsets(
    mut at_us: Vec<i64>,
    stamps: &[Stamp],
    known: &Known,
    mut findings: Vec<Finding>,
) -> Result<Line, ReadError> {
    let with = stamps.iter().find(|s| s.offset_s.is_some());
    if let (Some(with), Some(without)) = (with, stamps.iter().find(|s| s.offset_s.is_none())) {
        return Err(ReadError::not_understood(
            "some times carry an offset from UTC and some do not",
        )
        .at(format!("line {} and line {}", with.line, without.line)));
    }
    for (us, stamp) in at_us.iter_mut().zip(stamps) {
        *us -= stamp.offset_s.unwrap_or(0) * SECOND;
    }
    let first = stamps.first().and_then(|s| s.offset_s).unwrap_or(0);
    let written = i32::try_from(first).ok().and_then(|s| Offset::from_seconds(s).ok());
    let Some(zone) = known.zone.clone() else {
        if stamps.iter().any(|s| s.offset_s != Some(first)) {
            let sentence = "The offset from UTC changes inside the night and no zone was given: \
                            times of day are shown with the first row's offset.";
            findings.push(Finding::new("zone_not_known", Weight::Caution, sentence));
        }
        let zone = written.map_or(TimeZone::UTC, TimeZone::fixed);
        return Ok(Line { at_us, frame: Frame::Instant(zone), findings });
    };
    let start = at_us.first().and_then(|us| Timestamp::from_microsecond(*us).ok());
    // A file that writes UTC says nothing of the zone.
    if let (Some(start), Some(written)) = (start, written)
        && written != Offset::UTC
        && zone.to_offset(start) != written
    {
        let sentence = format!(
            "The first row carries the offset {written}, but {} was at {} then: the rows' own \
             offsets were used.",
            time::zone_name(&zone),
            zone.to_offset(start)
        );
        findings.push(Finding::new("offset_differs", Weight::Caution, sentence));
    }
    Ok(Line { at_us, frame: Frame::Instant(zone), findings })
}

/// Wall times: in their zone when it is known, else as one count.
fn on_the_wall(
    at_us: Vec<i64>,
    stamps: &[Stamp],
    known: &Known,
    mut findings: Vec<Finding>,
) -> Result<Line, ReadError> {
    let Some(zone) = known.zone.clone() else {
        zone::no_hour_back(&at_us, stamps, "")?;
        return Ok(Line { at_us, frame: Frame::Wall, findings });
    };
    let at_us = zone::instants(at_us, &zone, &mut findings);
    Ok(Line { at_us, frame: Frame::Instant(zone), findings })
}

fn elapsed(stamps: &[Stamp], known: &Known, mut findings: Vec<Finding>) -> Result<Line, ReadError> {
    let mut at_us: Vec<i64> = stamps.iter().map(|s| s.us).collect();
    one_night(&at_us, stamps)?;
    let Some(clock) = known.clock else {
        let sentence = "The file counts the time from its start and does not say when that was: \
                        00:00 stands for the start.";
        findings.push(Finding::new("start_not_known", Weight::Caution, sentence));
        let day = stamp::days(2000, 1, 1).unwrap_or(0) * DAY;
        for us in &mut at_us {
            *us += day;
        }
        return Ok(Line { at_us, frame: Frame::TimeOfDay, findings });
    };
    tell_preamble(known, &mut findings);
    let day = known.day.or(stamp::days(2000, 1, 1)).unwrap_or(0);
    let mut start = day * DAY + clock;
    let mut frame = if known.day.is_some() { Frame::Wall } else { Frame::TimeOfDay };
    if let (Some(zone), Some(_)) = (&known.zone, known.day) {
        let wall = vec![start];
        start = zone::instants(wall, zone, &mut findings)[0];
        frame = Frame::Instant(zone.clone());
    }
    for us in &mut at_us {
        *us += start;
    }
    Ok(Line { at_us, frame, findings })
}

fn tell_preamble(known: &Known, findings: &mut Vec<Finding>) {
    if known.from_preamble {
        let day = known.day.and_then(|day| civil(day * DAY)).map(DateTime::date);
        let date = day.map_or_else(String::new, |day: CivilDate| format!(" ({day})"));
        let sentence = format!("The date of the night{date} was taken from above the header.");
        findings.push(Finding::new("date_from_preamble", Weight::Note, sentence));
    }
}
