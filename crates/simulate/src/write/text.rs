//! Delimited text with the plain header that always reads without a column map.

use std::fmt::Write as _;

use engine::recording::Channel;
use engine::recording::Quantity;
use engine::recording::Recording;
use engine::unit::Unit;

/// The scored quantities, in the order of their columns.
const SCORED: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// The recording as comma-separated text: `time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)`, one row for each
/// sample of the finest scored channel, local ISO times, missing samples empty.
///
/// A channel with a longer period repeats its sample for the time it stands for. Channels that are not
/// scored follow as further columns when they have the rows' own period; others, and marks, are left
/// out: text has no place for them. Times carry their offset when the clocks change inside the night,
/// and no date where the recording has none.
pub fn text(recording: &Recording) -> String {
    let columns = columns(recording);
    let mut text = String::from("time");
    for channel in &columns {
        let _ = write!(text, ",{}", name(channel));
    }
    text.push('\n');
    let Some(period_s) = columns.iter().map(|channel| channel.period_s).reduce(f64::min) else {
        return text;
    };
    let with_offset = !recording.clock.changes_within(recording.duration_s).is_empty();
    let first_s = columns.iter().map(|channel| channel.offset_s).fold(f64::INFINITY, f64::min);
    let lasts = columns.iter().map(|channel| channel.time_s(channel.samples.len()));
    let end_s = lasts.fold(0.0, f64::max);
    let rows = (0_u32..).map(|row| first_s + f64::from(row) * period_s);
    // Half a period of slack, so that rounding neither adds a row nor loses one.
    for at_s in rows.take_while(|at_s| *at_s < end_s - period_s / 2.0) {
        text.push_str(&stamp(recording, at_s, with_offset));
        for channel in &columns {
            text.push(',');
            let value = sample_at(channel, at_s + period_s / 2.0);
            if value.is_finite() {
                let _ = write!(text, "{value}");
            }
        }
        text.push('\n');
    }
    text
}

fn columns(recording: &Recording) -> Vec<&Channel> {
    let scored: Vec<&Channel> =
        SCORED.iter().filter_map(|quantity| recording.channel(*quantity)).collect();
    let finest_s = scored.iter().map(|channel| channel.period_s).reduce(f64::min);
    let others = recording.channels.iter().filter(|channel| {
        // Without a scored channel the first one sets the rows.
        let rows_s = finest_s.or(recording.channels.first().map(|first| first.period_s));
        !SCORED.contains(&channel.quantity)
            && rows_s.is_some_and(|rows_s| (channel.period_s - rows_s).abs() <= 1e-9 * rows_s)
    });
    scored.iter().copied().chain(others).collect()
}

/// The column's name with its unit: `SpO2 (%)`. A comma, quote or line break becomes a space.
fn name(channel: &Channel) -> String {
    let label = match channel.quantity {
        Quantity::Other => channel.file_label.as_str(),
        known => known.name(),
    };
    let symbol = channel.unit.symbol();
    let name = match (&channel.unit, symbol) {
        (Unit::One, _) | (_, "") => label.to_owned(),
        _ => format!("{label} ({symbol})"),
    };
    name.replace([',', '"', '\n', '\r', ';', '\t'], " ")
}

fn stamp(recording: &Recording, at_s: f64, with_offset: bool) -> String {
    // Rounded to the millisecond, so that a sum of periods does not show its last bits.
    let wall = recording.clock.at((at_s * 1000.0).round() / 1000.0);
    let civil = wall.civil;
    let whole = civil.subsec_nanosecond() == 0;
    let format = match (recording.clock.date_known(), whole) {
        (true, true) => "%Y-%m-%dT%H:%M:%S",
        (true, false) => "%Y-%m-%dT%H:%M:%S%.3f",
        (false, true) => "%H:%M:%S",
        (false, false) => "%H:%M:%S%.3f",
    };
    let mut stamp = civil.strftime(format).to_string();
    if let Some(offset) = wall.offset.filter(|_| with_offset) {
        let minutes = offset.seconds() / 60;
        let sign = if minutes < 0 { '-' } else { '+' };
        let _ = write!(stamp, "{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60);
    }
    stamp
}

#[expect(clippy::cast_possible_truncation, reason = "a place outside the samples gives none")]
fn sample_at(channel: &Channel, at_s: f64) -> f64 {
    let place = ((at_s - channel.offset_s) / channel.period_s).floor() as i64;
    usize::try_from(place)
        .ok()
        .and_then(|index| channel.samples.get(index))
        .copied()
        .unwrap_or(f64::NAN)
}
