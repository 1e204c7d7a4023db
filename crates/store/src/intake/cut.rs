//! Nights cut from a recording that runs on: the monitor was not switched off, or not emptied in between.
//!
//! A stretch of two hours without a sample ends a night, and so does noon. What is shorter than half an
//! hour is no night: the monitor was tried, not worn. All three are common practice, no source. Nothing is
//! taken out of the original; a night says from which second to which it lies in it.

use engine::recording::Channel;
use engine::recording::Mark;
use engine::recording::Recording;
use engine::time::Clock;
use engine::time::Stretch;

/// A gap this long ends a night, minutes.
const GAP_MIN: usize = 120;
/// A piece shorter than this is no night, s.
const LEAST_S: i64 = 1_800;

/// Where a night lies in its recording, whole seconds from its start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// First second, included.
    pub from_s: i64,
    /// End, not included.
    pub to_s: i64,
}

/// The nights of a recording, and pieces too short to be one. A recording of one night is one piece, whole.
pub fn pieces(recording: &Recording) -> (Vec<Piece>, Vec<Piece>) {
    let whole = Piece { from_s: 0, to_s: ceil(recording.duration_s) };
    let mut all = Vec::new();
    for piece in between_gaps(recording, whole) {
        let mut from_s = piece.from_s;
        for noon_s in noons(recording, piece) {
            all.push(Piece { from_s, to_s: noon_s });
            from_s = noon_s;
        }
        all.push(Piece { from_s, to_s: piece.to_s });
    }
    let (nights, short): (Vec<_>, Vec<_>) =
        all.into_iter().partition(|piece| piece.to_s - piece.from_s >= LEAST_S);
    match nights.as_slice() {
        // One night is left as the monitor wrote it, with all before and after.
        [] | [_] if short.is_empty() || nights.is_empty() => (vec![whole], Vec::new()),
        _ => (nights, short),
    }
}

fn between_gaps(recording: &Recording, whole: Piece) -> Vec<Piece> {
    let minutes = usize::try_from(whole.to_s / 60 + 1).unwrap_or(0);
    let mut seen = vec![false; minutes];
    for channel in &recording.channels {
        for (index, _) in channel.samples.iter().enumerate().filter(|(_, value)| !value.is_nan()) {
            let minute = usize::try_from(floor(channel.time_s(index)) / 60).unwrap_or(0);
            if let Some(seen) = seen.get_mut(minute) {
                *seen = true;
            }
        }
    }
    let mut pieces: Vec<Piece> = Vec::new();
    let mut quiet = GAP_MIN;
    for (minute, seen) in (0_i64..).zip(seen) {
        quiet = if seen { quiet } else { quiet + 1 };
        if !seen {
            continue;
        }
        let end_s = ((minute + 1) * 60).min(whole.to_s);
        match pieces.last_mut() {
            Some(last) if quiet < GAP_MIN => last.to_s = end_s,
            _ => pieces.push(Piece { from_s: minute * 60, to_s: end_s }),
        }
        quiet = 0;
    }
    if pieces.is_empty() { vec![whole] } else { pieces }
}

/// The noons inside a piece by the monitor's own clock.
fn noons(recording: &Recording, piece: Piece) -> Vec<i64> {
    let clock = &recording.clock;
    let first = clock.at(piece.from_s as f64).civil.date();
    let days = (piece.to_s - piece.from_s) / 86_400 + 2;
    let noon = jiff::civil::time(12, 0, 0, 0);
    (0..days)
        .filter_map(|later| {
            clock.seconds_to(crate::when::days_later(first, later).to_datetime(noon)).ok()
        })
        .map(floor)
        .filter(|at_s| piece.from_s < *at_s && *at_s < piece.to_s)
        .collect()
}

/// The night alone, as a recording of its own. A piece that is the whole recording changes nothing.
pub fn cut(recording: &Recording, piece: Piece) -> Recording {
    let mut night = recording.clone();
    if piece.from_s <= 0 && piece.to_s as f64 >= recording.duration_s {
        return night;
    }
    let from_s = piece.from_s as f64;
    let stretch = Stretch::new(from_s, (piece.to_s as f64).min(recording.duration_s));
    night.duration_s = stretch.length_s();
    night.clock = later(&recording.clock, piece.from_s);
    for channel in &mut night.channels {
        keep(channel, &stretch);
    }
    night.marks.retain(|mark| lies_in(mark, &stretch));
    for mark in &mut night.marks {
        mark.start_s -= from_s;
        mark.end_s = mark.end_s.map(|end_s| end_s - from_s);
    }
    night.findings.retain(|finding| finding.stretch.is_none_or(|at| at.overlaps(&stretch)));
    for finding in &mut night.findings {
        finding.stretch =
            finding.stretch.map(|at| Stretch::new(at.start_s - from_s, at.end_s - from_s));
    }
    night
}

fn keep(channel: &mut Channel, stretch: &Stretch) {
    let range = channel.indices(stretch);
    let first_s = channel.time_s(range.start);
    channel.samples = channel.samples.get(range).unwrap_or_default().into();
    channel.offset_s = first_s - stretch.start_s;
}

fn lies_in(mark: &Mark, stretch: &Stretch) -> bool {
    mark.start_s < stretch.end_s && mark.end_s.unwrap_or(mark.start_s) >= stretch.start_s
}

fn later(clock: &Clock, by_s: i64) -> Clock {
    let wall = clock.at(by_s as f64).civil;
    let by = jiff::SignedDuration::from_secs(by_s);
    match (clock.start_instant(), clock.zone()) {
        (Some(start), Some(zone)) => {
            Clock::instant(start.saturating_add(by).unwrap_or(start), zone.clone())
        }
        _ if clock.date_known() => Clock::civil(wall),
        _ => Clock::time_only(wall.time()),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a night's seconds are far inside the range")]
fn ceil(seconds: f64) -> i64 {
    seconds.ceil() as i64
}

#[expect(clippy::cast_possible_truncation, reason = "a night's seconds are far inside the range")]
fn floor(seconds: f64) -> i64 {
    seconds.floor() as i64
}

#[cfg(test)]
mod tests {
    use engine::recording::Author;
    use engine::recording::Format;
    use engine::recording::MarkKind;
    use engine::recording::Quantity;
    use engine::unit::Unit;

    use super::*;

    /// One sample a minute from 22:00, with samples where `seen` says so.
    fn minutes(count: usize, seen: impl Fn(usize) -> bool) -> Recording {
        let samples = (0..count).map(|at| if seen(at) { at as f64 } else { f64::NAN }).collect();
        let mark = |start_s: f64| Mark {
            kind: MarkKind::Note,
            start_s,
            end_s: None,
            text: String::new(),
            author: Author::File,
        };
        Recording {
            format: Format::Text,
            clock: Clock::civil(jiff::civil::datetime(2026, 11, 23, 22, 0, 0, 0)),
            duration_s: count as f64 * 60.0,
            channels: vec![Channel {
                id: "spo2".to_owned(),
                quantity: Quantity::Spo2,
                unit: Unit::Percent,
                file_label: String::new(),
                file_unit: String::new(),
                period_s: 60.0,
                offset_s: 0.0,
                samples,
            }],
            marks: vec![mark(600.0), mark(86_400.0)],
            monitor: None,
            findings: Vec::new(),
            input_sha256: String::new(),
        }
    }

    fn hours(recording: &Recording) -> Vec<(i64, i64)> {
        pieces(recording).0.iter().map(|piece| (piece.from_s / 3600, piece.to_s / 3600)).collect()
    }

    #[test]
    fn one_night_stays_whole() {
        assert_eq!(hours(&minutes(8 * 60, |_| true)), [(0, 8)]);
        // The sensor off for an hour and a half is still one night.
        assert_eq!(hours(&minutes(8 * 60, |at| !(180..270).contains(&at))), [(0, 8)]);
    }

    #[test]
    fn a_gap_of_two_hours_and_a_noon_end_a_night() {
        assert_eq!(hours(&minutes(32 * 60, |at| !(480..1440).contains(&at))), [(0, 8), (24, 32)]);
        assert_eq!(hours(&minutes(32 * 60, |_| true)), [(0, 14), (14, 32)]);
    }

    #[test]
    fn a_monitor_tried_for_ten_minutes_is_no_night() {
        let (nights, short) = pieces(&minutes(16 * 60, |at| !(10..300).contains(&at)));
        assert_eq!(
            nights,
            [Piece { from_s: 18_000, to_s: 50_400 }, Piece { from_s: 50_400, to_s: 57_600 }]
        );
        assert_eq!(short, [Piece { from_s: 0, to_s: 600 }]);
    }

    #[test]
    fn a_night_cut_out_has_its_own_clock_samples_and_marks() {
        let recording = minutes(32 * 60, |at| !(480..1440).contains(&at));
        let second = cut(&recording, pieces(&recording).0[1]);
        assert_eq!(second.clock.label(0.0, false), "22:00");
        assert_eq!(second.clock.start().date(), jiff::civil::date(2026, 11, 24));
        assert_eq!((second.duration_s, second.channels[0].samples.len()), (28_800.0, 480));
        assert_eq!((second.channels[0].samples[0], second.channels[0].offset_s), (1440.0, 0.0));
        assert_eq!(second.marks.iter().map(|mark| mark.start_s).collect::<Vec<_>>(), [0.0]);
    }
}
