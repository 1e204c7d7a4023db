//! Numbers and times as they are printed.

use crate::time::Clock;
use crate::time::Stretch;
use crate::unit::Unit;

/// A number with a fixed count of decimals, a minus sign only when something is left to be negative.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A length of time: `6 h 52 min`, `33 min`, `5 min 12 s`, `45 s`; to the minute from ten minutes on.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to what a night can hold before the cast"
)]
pub fn duration(seconds: f64) -> String {
    let whole = seconds.round().clamp(0.0, 1e9) as u64;
    if whole >= 3600 {
        let minutes = (whole + 30) / 60;
        return match minutes % 60 {
            0 => format!("{} h", minutes / 60),
            rest => format!("{} h {rest:02} min", minutes / 60),
        };
    }
    if whole >= 600 {
        return match (whole + 30) / 60 {
            60 => "1 h".into(),
            minutes => format!("{minutes} min"),
        };
    }
    match (whole / 60, whole % 60) {
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s:02} s"),
    }
}

/// A stretch on the wall clock, as [`Clock::span`] tells it.
pub fn clock_span(clock: &Clock, stretch: &Stretch) -> String {
    clock.span(stretch)
}

/// How many decimals a figure is printed with.
pub(super) fn decimals(id: &str, unit: &Unit) -> usize {
    match (id, unit) {
        ("spo2.min" | "pulse.min" | "pulse.max", _) => 0,
        ("spo2.delta_index_12s" | "spo2.sd", _) | (_, Unit::Kilopascal | Unit::One) => 2,
        (_, Unit::PerMinute | Unit::Second | Unit::SecondPerHour | Unit::Milliwatt) => 0,
        _ => 1,
    }
}

/// A figure's number as printed; seconds become words.
pub(super) fn number(id: &str, unit: &Unit, value: f64) -> String {
    match unit {
        Unit::Second => duration(value),
        _ => fixed(value, decimals(id, unit)),
    }
}

/// A number with its unit: `6.41 kPa`, `18.2 /h`.
pub(super) fn with_unit(value: &str, unit: &str) -> String {
    if unit.is_empty() { value.to_owned() } else { format!("{value} {unit}") }
}

/// Small counts in words, larger ones in digits.
pub(super) fn count(n: usize) -> String {
    const WORDS: [&str; 11] =
        ["none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];
    WORDS.get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// The text as a sentence: a large letter first, a full stop last.
pub(super) fn whole_sentence(text: &str) -> String {
    let text = capital(text.trim());
    if text.is_empty() || text.ends_with(['.', '?', '!']) { text } else { text + "." }
}

/// The same text with its first letter large; a word that has its own, such as tcPCO2, stays as it is.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = text.split(|c: char| !c.is_alphanumeric()).next().unwrap_or_default();
    if first.chars().skip(1).any(char::is_uppercase) {
        return text.to_owned();
    }
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_begins_large_and_a_name_stays_as_it_is() {
        assert_eq!(whole_sentence("the mask came off"), "The mask came off.");
        assert_eq!(whole_sentence("tcPCO2 rose; pH fell"), "tcPCO2 rose; pH fell.");
        assert_eq!(whole_sentence("pH fell"), "pH fell.");
        assert_eq!(capital("one of two"), "One of two");
    }

    #[test]
    fn a_length_of_time_reads_as_a_person_says_it() {
        for (seconds, words) in [
            (45.0, "45 s"),
            (60.0, "1 min"),
            (312.0, "5 min 12 s"),
            (3600.0, "1 h"),
            (24_720.0, "6 h 52 min"),
            (7_199.0, "2 h"),
            (2_019.0, "34 min"),
            (3_580.0, "1 h"),
        ] {
            assert_eq!(duration(seconds), words);
        }
    }

    #[test]
    fn nothing_is_never_negative() {
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(fixed(-0.5, 1), "\u{2212}0.5");
    }
}
