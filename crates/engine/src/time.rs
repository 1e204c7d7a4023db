//! Time inside a night: stretches counted in seconds from the start, and the civil clock on the wall.

use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{SignedDuration, Timestamp};

/// Further than this outside a night, another day's moment of the same time of day is nearer to it.
const HALF_A_DAY_S: f64 = 12.0 * 3600.0;

/// A stretch of the night, from `start_s` up to but not including `end_s`.
///
/// Seconds count from the recording's start.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Stretch {
    /// First second, included.
    pub start_s: f64,
    /// End, not included.
    pub end_s: f64,
}

impl Stretch {
    /// A stretch from `start_s` to `end_s`.
    pub fn new(start_s: f64, end_s: f64) -> Self {
        Self { start_s, end_s }
    }

    /// How long it lasts, in seconds; never negative.
    pub fn length_s(&self) -> f64 {
        (self.end_s - self.start_s).max(0.0)
    }

    /// Whether `at_s` lies inside.
    pub fn contains(&self, at_s: f64) -> bool {
        self.start_s <= at_s && at_s < self.end_s
    }

    /// Whether the two share any time.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.start_s < other.end_s && other.start_s < self.end_s
    }
}

/// Stretches in order with touching and overlapping ones joined; empty ones dropped.
pub fn join(mut stretches: Vec<Stretch>) -> Vec<Stretch> {
    stretches.retain(|s| s.length_s() > 0.0);
    stretches.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    let mut joined: Vec<Stretch> = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        match joined.last_mut() {
            Some(last) if stretch.start_s <= last.end_s => {
                last.end_s = last.end_s.max(stretch.end_s);
            }
            _ => joined.push(stretch),
        }
    }
    joined
}

/// What is left of `from` when every stretch of `taken` is cut out.
pub fn without(from: &[Stretch], taken: &[Stretch]) -> Vec<Stretch> {
    let taken = join(taken.to_vec());
    let mut left = Vec::new();
    for stretch in join(from.to_vec()) {
        let mut start_s = stretch.start_s;
        for cut in taken.iter().filter(|cut| cut.overlaps(&stretch)) {
            left.push(Stretch::new(start_s, cut.start_s));
            start_s = start_s.max(cut.end_s);
        }
        left.push(Stretch::new(start_s, stretch.end_s));
    }
    left.retain(|s| s.length_s() > 0.0);
    left
}

/// Sum of the lengths, in seconds, of stretches that do not overlap.
pub fn total_s(stretches: &[Stretch]) -> f64 {
    stretches.iter().map(Stretch::length_s).sum()
}

/// Where the recording's start lies on the civil clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Clock {
    start: DateTime,
    date_known: bool,
    zoned: Option<(Timestamp, TimeZone)>,
}

/// Why a civil time could not be placed in the night.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ClockError {
    /// The clocks went back and the time came twice.
    #[error("{0} came twice in {1} when the clocks went back")]
    Fold(DateTime, String),
    /// The clocks went forward over the time.
    #[error("{0} did not exist in {1}: the clocks went forward over it")]
    Gap(DateTime, String),
}

/// What the wall clock shows at one moment of the night.
#[derive(Clone, Debug, PartialEq)]
pub struct WallTime {
    /// Date and time on the wall.
    pub civil: DateTime,
    /// Offset from UTC, when the zone is known.
    pub offset: Option<Offset>,
}

/// The zone with this IANA name, or a fixed offset written `+01:00`; from the database in the binary.
pub fn zone_named(name: &str) -> Option<TimeZone> {
    if name == "UTC" || name == "Z" {
        return Some(TimeZone::UTC);
    }
    fixed_offset(name).or_else(|| jiff::tz::TimeZoneDatabase::bundled().get(name).ok())
}

fn fixed_offset(text: &str) -> Option<TimeZone> {
    let (sign, rest) = match text.as_bytes().first()? {
        b'+' => (1, &text[1..]),
        b'-' => (-1, &text[1..]),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let seconds = hours.parse::<i32>().ok()? * 3600 + minutes.parse::<i32>().ok()? * 60;
    Some(TimeZone::fixed(Offset::from_seconds(sign * seconds).ok()?))
}

/// The name to print for a zone.
pub fn zone_name(zone: &TimeZone) -> String {
    zone.iana_name().map_or_else(
        || zone.to_fixed_offset().map_or_else(|_| "unnamed".into(), |offset| offset.to_string()),
        str::to_owned,
    )
}

impl Clock {
    /// A civil clock with no zone: seconds are counted as if no clock change fell in the night.
    pub fn civil(start: DateTime) -> Self {
        Self { start, date_known: true, zoned: None }
    }

    /// A clock that knows the time of day only.
    ///
    /// The date is held as 1 January 2000 inside and is never printed.
    pub fn time_only(start: jiff::civil::Time) -> Self {
        Self {
            start: Date::constant(2000, 1, 1).to_datetime(start),
            date_known: false,
            zoned: None,
        }
    }

    /// A clock whose start instant is known.
    pub fn instant(start: Timestamp, zone: TimeZone) -> Self {
        let civil = zone.to_datetime(start);
        Self { start: civil, date_known: true, zoned: Some((start, zone)) }
    }

    /// A civil start read in a zone.
    ///
    /// # Errors
    /// [`ClockError`] when the start came twice or never.
    pub fn in_zone(start: DateTime, zone: TimeZone) -> Result<Self, ClockError> {
        let instant = resolve(start, &zone)?;
        Ok(Self::instant(instant, zone))
    }

    /// Date and time on the wall at the start.
    pub fn start(&self) -> DateTime {
        self.start
    }

    /// Whether the date is known; a file may carry times of day only.
    pub fn date_known(&self) -> bool {
        self.date_known
    }

    /// The zone, when one was given.
    pub fn zone(&self) -> Option<&TimeZone> {
        self.zoned.as_ref().map(|(_, zone)| zone)
    }

    /// The start instant, when a zone was given.
    pub fn start_instant(&self) -> Option<Timestamp> {
        self.zoned.as_ref().map(|(instant, _)| *instant)
    }

    /// What the wall clock shows `at_s` seconds into the night.
    pub fn at(&self, at_s: f64) -> WallTime {
        let since = seconds(at_s);
        match &self.zoned {
            Some((start, zone)) => {
                let instant = start.saturating_add(since).unwrap_or(*start);
                let offset = zone.to_offset(instant);
                WallTime { civil: offset.to_datetime(instant), offset: Some(offset) }
            }
            None => WallTime { civil: self.start.saturating_add(since), offset: None },
        }
    }

    /// `02:10`, or `02:10:30` when `with_seconds`.
    pub fn label(&self, at_s: f64, with_seconds: bool) -> String {
        let format = if with_seconds { "%H:%M:%S" } else { "%H:%M" };
        self.at(at_s).civil.strftime(format).to_string()
    }

    /// A stretch on the wall: `02:10–02:25`, with seconds when it is shorter than two minutes, and once where
    /// both ends of such a short one read the same.
    pub fn span(&self, stretch: &Stretch) -> String {
        let short = stretch.length_s() < 120.0;
        let start = self.label(stretch.start_s, short);
        let end = self.label(stretch.end_s, short);
        if short && start == end { start } else { format!("{start}\u{2013}{end}") }
    }

    /// The same without seconds, and with its date where it lies so far outside a night of `duration_s` that the
    /// time of day alone would name a moment nearer to it.
    pub fn dated(&self, at_s: f64, duration_s: f64) -> String {
        let far = (-at_s).max(at_s - duration_s) > HALF_A_DAY_S;
        let format = if far && self.date_known { "%Y-%m-%d %H:%M" } else { "%H:%M" };
        self.at(at_s).civil.strftime(format).to_string()
    }

    /// Seconds from the start to a civil time on the wall.
    ///
    /// # Errors
    /// [`ClockError`] when the time came twice or never in this zone.
    pub fn seconds_to(&self, civil: DateTime) -> Result<f64, ClockError> {
        match &self.zoned {
            Some((start, zone)) => {
                let instant = resolve(civil, zone)?;
                Ok(instant.duration_since(*start).as_secs_f64())
            }
            None => Ok(civil.duration_since(self.start).as_secs_f64()),
        }
    }

    /// The clock changes inside the first `duration_s` seconds: when, and the offsets before and after.
    pub fn changes_within(&self, duration_s: f64) -> Vec<(f64, Offset, Offset)> {
        let Some((start, zone)) = &self.zoned else { return Vec::new() };
        zone.following(*start)
            .map(|change| {
                let at_s = change.timestamp().duration_since(*start).as_secs_f64();
                let before = zone.to_offset(
                    change
                        .timestamp()
                        .saturating_sub(SignedDuration::from_secs(1))
                        .unwrap_or(change.timestamp()),
                );
                (at_s, before, change.offset())
            })
            .take_while(|(at_s, _, _)| *at_s < duration_s)
            .collect()
    }
}

fn seconds(at_s: f64) -> SignedDuration {
    SignedDuration::try_from_secs_f64(at_s).unwrap_or(SignedDuration::ZERO)
}

fn resolve(civil: DateTime, zone: &TimeZone) -> Result<Timestamp, ClockError> {
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    match ambiguous.offset() {
        AmbiguousOffset::Fold { .. } => Err(ClockError::Fold(civil, zone_name(zone))),
        AmbiguousOffset::Gap { .. } => Err(ClockError::Gap(civil, zone_name(zone))),
        AmbiguousOffset::Unambiguous { .. } => {
            Ok(ambiguous.compatible().unwrap_or(Timestamp::UNIX_EPOCH))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::datetime;

    /// Lengths computed by the zone library of Python 3.11 for the two nights of 2024.
    #[test]
    fn a_night_over_a_clock_change_has_its_real_length() {
        let london = zone_named("Europe/London").unwrap();
        let autumn = Clock::in_zone(datetime(2024, 10, 26, 22, 30, 0, 0), london.clone()).unwrap();
        let end = datetime(2024, 10, 27, 6, 10, 0, 0);
        assert_eq!(autumn.seconds_to(end), Ok(f64::from((8 * 60 + 40) * 60)));
        assert_eq!(autumn.changes_within(40_000.0).len(), 1);
        let spring = Clock::in_zone(datetime(2024, 3, 30, 22, 30, 0, 0), london.clone()).unwrap();
        let end = datetime(2024, 3, 31, 6, 10, 0, 0);
        assert_eq!(spring.seconds_to(end), Ok(f64::from((6 * 60 + 40) * 60)));
        let fold = datetime(2024, 10, 27, 1, 30, 0, 0);
        assert!(matches!(autumn.seconds_to(fold), Err(ClockError::Fold(..))));
        let gap = datetime(2024, 3, 31, 1, 30, 0, 0);
        assert!(matches!(spring.seconds_to(gap), Err(ClockError::Gap(..))));
    }

    #[test]
    fn cutting_leaves_the_rest() {
        let left = without(
            &[Stretch::new(0.0, 100.0)],
            &[Stretch::new(10.0, 20.0), Stretch::new(15.0, 30.0), Stretch::new(90.0, 120.0)],
        );
        assert_eq!(left, vec![Stretch::new(0.0, 10.0), Stretch::new(30.0, 90.0)]);
        assert!((total_s(&left) - 70.0).abs() < 1e-9);
    }

    #[test]
    fn a_stretch_tells_two_times_only_where_they_differ() {
        let clock = Clock::civil(jiff::civil::datetime(2026, 1, 10, 1, 0, 0, 0));
        for (start_s, end_s, words) in [
            (1800.0, 1800.0, "01:30:00"),
            (1800.2, 1800.7, "01:30:00"),
            (1800.0, 1830.0, "01:30:00\u{2013}01:30:30"),
            (1800.0, 2700.0, "01:30\u{2013}01:45"),
        ] {
            assert_eq!(clock.span(&Stretch::new(start_s, end_s)), words);
        }
    }
}
