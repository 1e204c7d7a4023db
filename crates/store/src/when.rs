//! Instants, nights and the clock.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::civil::Time;
use jiff::tz::TimeZone;

/// The clock the record is given: seconds since 1970-01-01T00:00:00Z. Tests give their own.
pub type Clock = std::sync::Arc<dyn Fn() -> i64 + Send + Sync>;

/// The machine's clock.
pub fn wall_clock() -> Clock {
    std::sync::Arc::new(|| Timestamp::now().as_second())
}

/// `2026-11-25T07:30:00Z` of an instant in seconds; instants outside years 1 to 9999 are pinned to its ends.
pub fn rfc3339(at_s: i64) -> String {
    instant(at_s).to_string()
}

/// The local date and time of an instant, as `2026-11-25 07:30`.
pub fn local_minute(at_s: i64, zone: &TimeZone) -> String {
    let civil = zone.to_datetime(instant(at_s));
    format!("{} {:02}:{:02}", civil.date(), civil.hour(), civil.minute())
}

/// The local date of an instant.
pub fn local_date(at_s: i64, zone: &TimeZone) -> Date {
    zone.to_datetime(instant(at_s)).date()
}

/// The instant of a local date and time. In the hour that does not exist the later reading is taken, in
/// the hour that comes twice the first: a due time may not fall away.
pub fn local_instant(date: Date, time: Time, zone: &TimeZone) -> i64 {
    zone.to_ambiguous_timestamp(date.to_datetime(time)).compatible().map_or(0, Timestamp::as_second)
}

/// A date kept as `2026-11-25`.
pub fn date(text: &str) -> Option<Date> {
    text.parse().ok()
}

/// The date some days later (earlier when negative); at the calendar's end the date itself.
pub fn days_later(date: Date, days: i64) -> Date {
    date.checked_add(jiff::Span::new().days(days.clamp(-100_000, 100_000))).unwrap_or(date)
}

fn instant(at_s: i64) -> Timestamp {
    Timestamp::from_second(at_s).unwrap_or(if at_s < 0 { Timestamp::MIN } else { Timestamp::MAX })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_is_written_in_utc() {
        // The instant of the published chain vector.
        assert_eq!(rfc3339(1_730_014_200), "2024-10-27T07:30:00Z");
    }

    #[test]
    fn a_due_time_on_the_days_clocks_change_is_an_instant() {
        let london = TimeZone::get("Europe/London").unwrap();
        let at = |text: &str, hour| {
            rfc3339(local_instant(date(text).unwrap(), jiff::civil::time(hour, 30, 0, 0), &london))
        };
        // 2024-03-31 01:30 does not exist; 2024-10-27 01:30 comes twice, first at 00:30Z (IANA zone database).
        assert_eq!(at("2024-03-31", 1), "2024-03-31T01:30:00Z");
        assert_eq!(at("2024-10-27", 1), "2024-10-27T00:30:00Z");
        assert_eq!(at("2024-10-27", 10), "2024-10-27T10:30:00Z");
    }
}
