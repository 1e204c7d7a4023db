//! Times as files write them, read by hand: a night has tens of thousands.

/// Microseconds in a second.
pub(super) const SECOND: i64 = 1_000_000;
/// Microseconds in a day.
pub(super) const DAY: i64 = 86_400 * SECOND;

/// A date as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Date {
    /// Days from 1 January 1970: the writing leaves no doubt.
    Days(i64),
    /// `03/04/2024`: two numbers that may be day and month or month and day.
    Open {
        /// First number.
        a: u8,
        /// Second number.
        b: u8,
        /// Year.
        year: i64,
        /// Whether the year was written with two digits.
        short: bool,
    },
}

/// What one time cell says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Moment {
    /// Date and time of day in microseconds; and the offset from UTC in seconds, where written.
    Civil(Date, i64, Option<i64>),
    /// A date alone.
    Day(Date),
    /// A time of day or a length `hh:mm:ss`, in microseconds.
    Clock(i64),
    /// A plain number.
    Count(f64),
}

/// Which of two numbers is the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum DateOrder {
    /// 26/10/2024.
    DayFirst,
    /// 10/26/2024.
    MonthFirst,
}

impl Date {
    /// Days from 1 January 1970; `None` when there is no such day.
    pub(super) fn days(self, order: DateOrder) -> Option<i64> {
        match (self, order) {
            (Self::Days(days), _) => Some(days),
            (Self::Open { a, b, year, .. }, DateOrder::DayFirst) => days(year, b, a),
            (Self::Open { a, b, year, .. }, DateOrder::MonthFirst) => days(year, a, b),
        }
    }
}

/// Days from 1 January 1970 in the Gregorian calendar; `None` when there is no such day.
pub(super) fn days(year: i64, month: u8, day: u8) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let length = match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u8::from(leap),
        _ => return None,
    };
    if day == 0 || day > length || !(1..=9999).contains(&year) {
        return None;
    }
    // Years that begin in March put the leap day last: then every month has its fixed place.
    let year = if month <= 2 { year - 1 } else { year };
    let month = (i64::from(month) + 9) % 12;
    let day_of_year = (153 * month + 2) / 5 + i64::from(day) - 1;
    let leap_days = year / 4 - year / 100 + year / 400;
    Some(year * 365 + leap_days + day_of_year - 719_468)
}

/// A usual `2024-10-26T22:30:00` up to its seconds, and what it says: the next row most often lies in
/// the same minute.
pub(super) struct Minute {
    written: [u8; 17],
    date: Date,
    us: i64,
}

impl Minute {
    /// The minute of a cell; `None` when the cell is not written the usual way.
    pub(super) fn of(raw: &[u8], said: Moment) -> Option<Self> {
        let written = *raw.first_chunk::<17>().filter(|_| fixed(raw) == Some(said))?;
        let Moment::Civil(date, us, None) = said else { return None };
        Some(Self { written, date, us: us - us % (60 * SECOND) })
    }

    /// What a cell says, if it lies in this minute.
    pub(super) fn moment(&self, raw: &[u8]) -> Option<Moment> {
        let (written, &[tens, ones]) = raw.split_first_chunk::<17>()? else { return None };
        let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
        let second = i64::from(tens) * 10 + i64::from(ones);
        (*written == self.written && tens < 6 && ones < 10).then_some(Moment::Civil(
            self.date,
            self.us + second * SECOND,
            None,
        ))
    }
}

/// Reads a time cell; `None` when it is no time.
pub(super) fn moment(raw: &[u8]) -> Option<Moment> {
    fixed(raw).or_else(|| any(raw))
}

/// The usual `2024-10-26T22:30:00`, where every digit has its fixed place.
fn fixed(raw: &[u8]) -> Option<Moment> {
    let raw: &[u8; 19] = raw.try_into().ok()?;
    let marks = [raw[4], raw[7], raw[13], raw[16]];
    if marks != *b"--::" || !(raw[10] == b'T' || raw[10] == b' ') {
        return None;
    }
    let two = |at: usize| {
        let (tens, ones) = (raw[at].wrapping_sub(b'0'), raw[at + 1].wrapping_sub(b'0'));
        (tens < 10 && ones < 10).then(|| tens * 10 + ones)
    };
    let year = i64::from(two(0)?) * 100 + i64::from(two(2)?);
    let (hour, minute, second) = (two(11)?, two(14)?, two(17)?);
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let date = Date::Days(days(year, two(5)?, two(8)?)?);
    let seconds = i64::from(hour) * 3600 + i64::from(minute) * 60 + i64::from(second);
    Some(Moment::Civil(date, seconds * SECOND, None))
}

fn any(raw: &[u8]) -> Option<Moment> {
    let mut at = Cursor(raw.trim_ascii());
    if let Some(date) = at.date() {
        if at.0.is_empty() {
            return Some(Moment::Day(date));
        }
        let us = at.gap().then(|| at.clock())??;
        let offset = at.offset()?;
        return (at.0.is_empty() && us <= DAY).then_some(Moment::Civil(date, us, offset));
    }
    let mut at = Cursor(raw.trim_ascii());
    if let Some(us) = at.clock() {
        return at.0.is_empty().then_some(Moment::Clock(us));
    }
    match super::number::cell(raw) {
        super::number::Cell::Number(value, _) => Some(Moment::Count(value)),
        _ => None,
    }
}

struct Cursor<'a>(&'a [u8]);

const MONTHS: [&[u8; 3]; 12] = [
    b"jan", b"feb", b"mar", b"apr", b"may", b"jun", b"jul", b"aug", b"sep", b"oct", b"nov", b"dec",
];

impl Cursor<'_> {
    fn take(&mut self, byte: u8) -> bool {
        let found = self.0.first() == Some(&byte);
        if found {
            self.0 = &self.0[1..];
        }
        found
    }

    /// A run of digits: its value and its length, at most nine.
    fn digits(&mut self) -> Option<(i64, usize)> {
        let length = self.0.iter().take(9).take_while(|b| b.is_ascii_digit()).count();
        let value = self.0[..length].iter().fold(0, |sum, b| sum * 10 + i64::from(b - b'0'));
        self.0 = &self.0[length..];
        (length > 0).then_some((value, length))
    }

    fn small(&mut self) -> Option<u8> {
        match self.digits()? {
            (value, 1 | 2) => u8::try_from(value).ok(),
            _ => None,
        }
    }

    /// `2024-10-26`, `26/10/2024`, `26.10.24`, `26-Oct-2024`, `20241026`.
    fn date(&mut self) -> Option<Date> {
        let (first, length) = self.digits()?;
        if length == 8 {
            let part = |n: i64| u8::try_from(n % 100).ok();
            let followed = self.0.first().is_some_and(|b| b"T ".contains(b));
            return followed
                .then(|| days(first / 10_000, part(first / 100)?, part(first)?))?
                .map(Date::Days);
        }
        let mark = *self.0.first().filter(|b| b"-/. ".contains(b))?;
        self.0 = &self.0[1..];
        if let Some(month) = self.month() {
            return self.take(mark).then(|| self.year())?.and_then(|(year, _)| {
                Some(Date::Days(days(year, month, u8::try_from(first).ok()?)?))
            });
        }
        let second = self.small()?;
        if mark == b' ' || !self.take(mark) {
            return None;
        }
        if length == 4 {
            return Some(Date::Days(days(first, second, self.small()?)?));
        }
        let a = u8::try_from(first).ok().filter(|_| length <= 2)?;
        let (year, short) = self.year()?;
        let possible = days(year, a, second).or(days(year, second, a)).is_some();
        possible.then_some(Date::Open { a, b: second, year, short })
    }

    /// A year, and whether it was written with two digits: 80 to 99 are last century's.
    fn year(&mut self) -> Option<(i64, bool)> {
        match self.digits()? {
            (year, 4) => Some((year, false)),
            (year, 2) => Some((year + if year < 80 { 2000 } else { 1900 }, true)),
            _ => None,
        }
    }

    fn month(&mut self) -> Option<u8> {
        let letters = self.0.iter().take_while(|b| b.is_ascii_alphabetic()).count();
        let name = self.0.get(..3).filter(|_| letters >= 3)?;
        let at = MONTHS.iter().position(|month| name.eq_ignore_ascii_case(&month[..]))?;
        self.0 = &self.0[letters..];
        u8::try_from(at + 1).ok()
    }

    /// What stands between date and time: `T`, or blanks, or a comma and blanks.
    fn gap(&mut self) -> bool {
        if self.take(b'T') || self.take(b't') {
            return true;
        }
        let comma = self.take(b',');
        let mut blanks = false;
        while self.take(b' ') {
            blanks = true;
        }
        blanks || comma
    }

    /// `22:30`, `22:30:00.250`, `10:30:00 PM`; hours may run past 24 for a length.
    fn clock(&mut self) -> Option<i64> {
        let (mut hours, length) = self.digits()?;
        if length > 3 || !self.take(b':') {
            return None;
        }
        let two = |(value, length): (i64, usize)| (length == 2 && value < 60).then_some(value);
        let minutes = two(self.digits()?)?;
        let seconds = if self.take(b':') { two(self.digits()?)? } else { 0 };
        let fraction = if self.take(b'.') || self.take(b',') { self.fraction()? } else { 0 };
        if let Some(afternoon) = self.half()? {
            if !(1..=12).contains(&hours) {
                return None;
            }
            hours = hours % 12 + if afternoon { 12 } else { 0 };
        }
        Some((hours * 3600 + minutes * 60 + seconds) * SECOND + fraction)
    }

    /// Digits after the mark, as microseconds; finer ones are cut.
    fn fraction(&mut self) -> Option<i64> {
        let (value, length) = self.digits()?;
        let power = |n: usize| 10_i64.pow(u32::try_from(n).unwrap_or(9));
        Some(if length <= 6 { value * power(6 - length) } else { value / power(length - 6) })
    }

    /// AM (`false`) or PM (`true`), when written; `None` when what follows is something else.
    #[expect(clippy::option_option, reason = "outer: readable at all; inner: written at all")]
    fn half(&mut self) -> Option<Option<bool>> {
        let rest = self.0.trim_ascii_start();
        let (Some(&first), Some(rest)) = (rest.first(), rest.get(1..)) else { return Some(None) };
        let afternoon = match first {
            b'a' | b'A' => false,
            b'p' | b'P' => true,
            _ => return Some(None),
        };
        for ending in [&b"m"[..], b"M", b".m.", b".M."] {
            if let Some(rest) = rest.strip_prefix(ending) {
                self.0 = rest;
                return Some(Some(afternoon));
            }
        }
        None
    }

    /// The offset from UTC in seconds, when written; `None` when what follows is something else.
    #[expect(clippy::option_option, reason = "outer: readable at all; inner: written at all")]
    fn offset(&mut self) -> Option<Option<i64>> {
        if self.0.is_empty() {
            return Some(None);
        }
        if self.take(b'Z') || self.take(b'z') {
            return Some(Some(0));
        }
        while self.take(b' ') {}
        let sign = if self.take(b'+') {
            1
        } else if self.take(b'-') {
            -1
        } else {
            return None;
        };
        let (hours, minutes) = match self.digits()? {
            (both, 4) => (both / 100, both % 100),
            (hours, 2) if self.take(b':') => (hours, i64::from(self.small()?)),
            (hours, 2) => (hours, 0),
            _ => return None,
        };
        (hours <= 15 && minutes < 60).then_some(Some(sign * (hours * 3600 + minutes * 60)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn civil(date: (i64, u8, u8), clock: (i64, i64, i64), offset: Option<i64>) -> Option<Moment> {
        let us = (clock.0 * 3600 + clock.1 * 60 + clock.2) * SECOND;
        let date = days(date.0, date.1, date.2).map(Date::Days)?;
        Some(Moment::Civil(date, us, offset))
    }

    #[test]
    fn times_are_read_as_files_write_them() {
        let night = (2024, 10, 26);
        for (text, expected) in [
            ("2024-10-26T22:30:00", civil(night, (22, 30, 0), None)),
            ("2024-10-26 22:30", civil(night, (22, 30, 0), None)),
            ("2024/10/26 22:30:05", civil(night, (22, 30, 5), None)),
            ("20241026T22:30:05", civil(night, (22, 30, 5), None)),
            ("2024-10-26T22:30:00Z", civil(night, (22, 30, 0), Some(0))),
            ("2024-10-26T22:30:00+01:00", civil(night, (22, 30, 0), Some(3600))),
            ("2024-10-26 22:30:00 -0330", civil(night, (22, 30, 0), Some(-12_600))),
            ("26-Oct-2024 10:30:00 pm", civil(night, (22, 30, 0), None)),
            ("26 October 2024 12:30 a.m.", civil(night, (0, 30, 0), None)),
            ("22:30:00.25", Some(Moment::Clock(81_000 * SECOND + 250_000))),
            ("22:30:00,25", Some(Moment::Clock(81_000 * SECOND + 250_000))),
            ("1:05 PM", Some(Moment::Clock(47_100 * SECOND))),
            ("25:00:00", Some(Moment::Clock(90_000 * SECOND))),
            ("1729978200", Some(Moment::Count(1_729_978_200.0))),
            ("12.5", Some(Moment::Count(12.5))),
            ("2024-02-30T22:30:00", None),
            ("2024-10-26T25:30:00", None),
            ("2024-10-26T22:61:00", None),
            ("13:05 PM", None),
            ("night", None),
            ("", None),
        ] {
            assert_eq!(moment(text.as_bytes()), expected, "{text}");
        }
        let open = |a, b, short| Some(Moment::Day(Date::Open { a, b, year: 2024, short }));
        assert_eq!(moment(b"26/10/2024"), open(26, 10, false));
        assert_eq!(moment(b"3.4.24"), open(3, 4, true));
        assert_eq!(moment(b"13/13/2024"), None);
    }

    #[test]
    fn days_are_counted_from_1970() {
        // Python 3.11: (date(y, m, d) - date(1970, 1, 1)).days
        for (date, expected) in [
            ((1970, 1, 1), Some(0)),
            ((2000, 2, 29), Some(11_016)),
            ((2024, 10, 26), Some(20_022)),
            ((9999, 12, 31), Some(2_932_896)),
            ((1900, 2, 29), None),
        ] {
            assert_eq!(days(date.0, date.1, date.2), expected);
        }
    }
}
