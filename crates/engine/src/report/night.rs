//! When the night was, in words.

use super::Night;
use crate::judge::Judgement;
use crate::notes::Notes;
use crate::recording::Channel;
use crate::recording::Mark;
use crate::recording::Recording;
use crate::report::words;
use crate::screen::Period;
use crate::screen::PeriodBasis;
use crate::time;
use crate::time::Clock;
use crate::time::Stretch;
use jiff::civil::DateTime;

pub(super) fn night(judgement: &Judgement) -> Night {
    let screened = &judgement.scores.corrected.screened;
    let (recording, notes) = (&screened.recording, &screened.notes);
    let clock = &recording.clock;
    let end = clock.at(recording.duration_s).civil;
    Night {
        date: clock.date_known().then(|| dates(clock.start(), end)),
        end_date: clock.date_known().then(|| (end.year(), end.month(), end.day())),
        start: clock.label(0.0, false),
        end: clock.label(recording.duration_s, false),
        zone: clock.zone().map(time::zone_name),
        length: words::duration(recording.duration_s),
        period: period(&screened.period, clock),
        breathing: notes.breathing.clone(),
        representative: representative(notes).into(),
        told: told(notes, recording),
        format: recording.format.name().into(),
        channels: recording.channels.iter().map(channel).collect(),
        monitor: monitor(recording, notes),
    }
}

/// `14 to 15 March 2026`, `31 March to 1 April 2026`.
fn dates(start: DateTime, end: DateTime) -> String {
    let day = |at: DateTime| at.strftime("%-d %B %Y").to_string();
    if start.date() == end.date() {
        return day(start);
    }
    let first = match (start.year() == end.year(), start.month() == end.month()) {
        (true, true) => start.strftime("%-d").to_string(),
        (true, false) => start.strftime("%-d %B").to_string(),
        _ => day(start),
    };
    format!("{first} to {}", day(end))
}

fn period(period: &Period, clock: &Clock) -> String {
    let (Some(first), Some(last)) = (period.stretches.first(), period.stretches.last()) else {
        return "Nothing was scored: no time lies between lights out and lights on.".into();
    };
    let (start_s, end_s) = (first.start_s, last.end_s);
    let (from, to) = (clock.label(start_s, false), clock.label(end_s, false));
    let cut_s = end_s - start_s - time::total_s(&period.stretches);
    let less = if cut_s >= 1.0 {
        format!(", less {} marked awake or up", words::duration(cut_s))
    } else {
        String::new()
    };
    match period.basis {
        PeriodBasis::LightsMarked => {
            format!("Scored from lights out at {from} to lights on at {to}{less}.")
        }
        PeriodBasis::OneLightMarked => format!(
            "Scored from {from} to {to}{less}; only one of lights out and lights on was marked."
        ),
        PeriodBasis::WholeRecording => format!(
            "Scored from {from} to {to}{less}: the whole recording, because no lights were marked."
        ),
    }
}

fn representative(notes: &Notes) -> &'static str {
    match notes.representative {
        Some(true) => "The patient says it was a usual night.",
        Some(false) => "The patient says it was not a usual night.",
        None => "The patient did not say whether it was a usual night.",
    }
}

/// What was told of the night, each with what it answers: answers without a time, then marks with words.
fn told(notes: &Notes, recording: &Recording) -> Vec<String> {
    let clock = &recording.clock;
    let answers =
        notes.told.iter().map(|one| format!("{} {}", colon(one.asked()), one.says.trim()));
    // A note that only repeats an answer at the time that it names says nothing more.
    let repeats = |mark: &Mark| notes.told.iter().any(|one| mark.text.contains(one.says.trim()));
    let marks =
        notes.marks.iter().filter(|mark| !mark.text.trim().is_empty() && !repeats(mark)).map(
            |mark| {
                let at = match mark.end_s {
                    Some(end_s) => words::clock_span(clock, &Stretch::new(mark.start_s, end_s)),
                    None => clock.dated(mark.start_s, recording.duration_s),
                };
                format!("{at} {}: {}", mark.kind.id().replace('_', " "), mark.text.trim())
            },
        );
    answers.chain(marks).map(|line| words::whole_sentence(&line)).collect()
}

/// A question as it is, other words with a colon.
fn colon(asked: &str) -> String {
    if asked.ends_with('?') { asked.to_owned() } else { format!("{asked}:") }
}

fn channel(channel: &Channel) -> String {
    let unit = words::with_unit(&channel.id, channel.unit.symbol());
    let period = words::fixed(channel.period_s, if channel.period_s < 1.0 { 3 } else { 0 });
    let written = if channel.file_unit.is_empty() {
        String::new()
    } else {
        format!(", written in {}", channel.file_unit)
    };
    format!("{unit}, one value every {period} s{written}")
}

fn monitor(recording: &Recording, notes: &Notes) -> Vec<String> {
    let settings = &notes.monitor;
    let mut lines = Vec::new();
    lines.extend(recording.monitor.as_ref().map(|name| format!("Monitor: {name}.")));
    lines.extend(settings.corrected.map(|corrected| {
        if corrected {
            "The monitor corrects CO2 for temperature and metabolism itself.".to_owned()
        } else {
            "The monitor does not correct CO2 for temperature and metabolism.".to_owned()
        }
    }));
    lines.extend(
        settings.sensor_temp_c.map(|t| format!("Sensor heated to {} °C.", words::fixed(t, 1))),
    );
    lines.push(settings.averaging_s.map_or_else(
        || "Averaging time of the oximeter: not told.".to_owned(),
        |s| format!("Averaging time of the oximeter: {} s.", words::fixed(s, 0)),
    ));
    lines
}
