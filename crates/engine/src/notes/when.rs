//! Times as people write them in notes, and where in the night they lie.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset};
use jiff::{Timestamp, ToSpan};

use crate::notes::file::{Moment, NotesError};
use crate::recording::Recording;
use crate::time::ClockError;

/// A time as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum When {
    /// A time of day; the date is found from the recording.
    OfDay(Time),
    /// Date and time of day on the monitor's clock.
    Civil(DateTime),
    /// A moment that carries its offset from UTC.
    Instant(Timestamp),
}

impl When {
    /// Reads a TOML string or date-time; the error is what is wrong with it.
    pub(super) fn parse(value: &toml::Value) -> Result<Self, String> {
        match value {
            toml::Value::String(text) => {
                Self::from_text(text.trim()).ok_or_else(|| format!("`{text}` is no time"))
            }
            toml::Value::Datetime(written) => Self::from_text(&written.to_string())
                .ok_or_else(|| format!("{written} has no time of day")),
            other => Err(format!("{other} is no time")),
        }
    }

    fn from_text(text: &str) -> Option<Self> {
        // 9:05 is written as often as 09:05.
        let early = text.as_bytes().get(1) == Some(&b':');
        let padded = if early { format!("0{text}") } else { text.to_owned() };
        if padded.as_bytes().get(2) == Some(&b':') {
            return padded.parse::<Time>().ok().map(Self::OfDay);
        }
        if !padded.contains(':') {
            return None;
        }
        if let Ok(instant) = padded.parse::<Timestamp>() {
            return Some(Self::Instant(instant));
        }
        // A civil time must not swallow an offset that failed to be read.
        let clock = padded.get(11..)?;
        let plain = clock.bytes().all(|b| b.is_ascii_digit() || b":.".contains(&b));
        plain.then(|| padded.parse::<DateTime>().ok())?.map(Self::Civil)
    }
}

/// Seconds from the recording's start to a moment of the notes.
///
/// A time of day means the occurrence that lies inside the recording; when none does, the one nearest
/// to it, so that a gas check in the evening before and a blood gas in the morning after find their
/// place. Of two as near, the earlier.
pub(super) fn place(moment: &Moment, recording: &Recording) -> Result<f64, NotesError> {
    let clock = &recording.clock;
    match moment.when {
        When::Instant(instant) => {
            let start = clock.start_instant().ok_or_else(|| {
                NotesError::new(
                    "a time carries an offset, but the zone of the recording is not known",
                    moment.line,
                )
                .hint("give the zone, or write the time without its offset")
            })?;
            Ok(instant.duration_since(start).as_secs_f64())
        }
        When::Civil(_) if !clock.date_known() => {
            Err(NotesError::new("a time carries a date, but the recording has none", moment.line)
                .hint("write the time of day alone"))
        }
        When::Civil(civil) => {
            clock.seconds_to(civil).map_err(|error| doubt(&error, moment, recording))
        }
        When::OfDay(time) => {
            of_day(time, recording).map_err(|error| doubt(&error, moment, recording))
        }
    }
}

fn of_day(time: Time, recording: &Recording) -> Result<f64, ClockError> {
    let clock = &recording.clock;
    let start = clock.start();
    let on = |days: i64| start.date().checked_add(days.days()).map(|d: Date| d.to_datetime(time));
    let mut best: Option<(f64, Result<f64, ClockError>)> = None;
    for civil in (-1..=4).filter_map(|days| on(days).ok()) {
        let placed = clock.seconds_to(civil);
        // A time that came twice or never still lies somewhere: that is enough to choose the day.
        let about = civil.duration_since(start).as_secs_f64();
        let at_s = placed.as_ref().copied().unwrap_or(about);
        let outside_s = (-at_s).max(at_s - recording.duration_s).max(0.0);
        if best.as_ref().is_none_or(|(nearest, _)| outside_s < *nearest) {
            best = Some((outside_s, placed));
        }
    }
    best.map_or(Ok(0.0), |(_, placed)| placed)
}

fn doubt(error: &ClockError, moment: &Moment, recording: &Recording) -> NotesError {
    let hint = match (error, recording.clock.zone()) {
        (ClockError::Fold(civil, _), Some(zone)) => {
            match zone.to_ambiguous_timestamp(*civil).offset() {
                AmbiguousOffset::Fold { before, after } => format!(
                    "write which one, with its offset from UTC: {civil}{} or {civil}{}",
                    written(before),
                    written(after)
                ),
                _ => "write it with its offset from UTC".to_owned(),
            }
        }
        _ => "look at the clock of the monitor that night".to_owned(),
    };
    NotesError::new(error.to_string(), moment.line).hint(hint)
}

/// An offset as notes write it: `+01:00`.
fn written(offset: Offset) -> String {
    let minutes = offset.seconds() / 60;
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60)
}
