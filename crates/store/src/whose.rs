//! Whose night is it? What must agree before a night is tied to a loan, and every doubt in words.
//!
//! The wrong patient's night is the first hazard of the trade. So nothing is guessed: the monitor's serial
//! number, the time and the identifiers in the file must all point to one loan. Else a named person decides.

use jiff::civil::time;
use jiff::tz::TimeZone;

use crate::ident::nhs_number;
use crate::loan::evenings;
use crate::tables::Loan;
use crate::tables::Monitor;
use crate::tables::Person;
use crate::when::date;
use crate::when::days_later;
use crate::when::local_instant;
use crate::when::local_minute;

/// The night may begin so much before the hand-out was typed in and end so much after the return, s
/// (common practice, no source).
const SLACK_S: i64 = 1_800;
/// A recording that ends so long before it is received says that the clock was not set, s (common practice, no source).
const OLD_S: i64 = 60 * 86_400;
/// A serial number shorter than this is found in too many names.
const SERIAL_LEAST: usize = 3;

/// What a file tells of the person in it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FilePatient {
    /// The patient's number.
    pub code: Option<String>,
    /// Day of birth.
    pub born_on: Option<String>,
    /// The name as the file has it.
    pub name: Option<String>,
}

/// The patient field of a file of the European Data Format: in EDF+ code, sex, day of birth and name with
/// `X` for what is not told (`kemp-2003`, 2.1.3.3); in plain EDF free words, which are taken for a name.
pub fn file_patient(bytes: &[u8]) -> FilePatient {
    if !engine::read::edf::looks_like(bytes) {
        return FilePatient::default();
    }
    let field = |from: usize, to: usize| {
        let bytes = bytes.get(from..to).unwrap_or_default();
        String::from_utf8_lossy(bytes).trim().to_owned()
    };
    let (text, plus) = (field(8, 88), field(192, 236));
    if !plus.starts_with("EDF+") && !plus.starts_with("BDF+") {
        return FilePatient { name: told(&text), ..FilePatient::default() };
    }
    let mut words = text.split_ascii_whitespace();
    let mut next = || words.next().and_then(told);
    let (code, _, born, name) = (next(), next(), next(), next());
    FilePatient { code, born_on: born.map(|born| edf_date(&born).unwrap_or(born)), name }
}

fn told(word: &str) -> Option<String> {
    let blank = word.split_ascii_whitespace().all(|part| part == "X");
    (!blank).then(|| word.replace('_', " "))
}

/// `02-AUG-1951` as `1951-08-02`.
fn edf_date(text: &str) -> Option<String> {
    const MONTHS: [&str; 12] =
        ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"];
    let [day, month, year] = text.split('-').collect::<Vec<_>>().try_into().ok()?;
    let month = MONTHS.iter().position(|name| month.eq_ignore_ascii_case(name))? + 1;
    Some(date(&format!("{year}-{month:02}-{day:0>2}"))?.to_string())
}

impl FilePatient {
    /// What in the file is not as it is in the record.
    pub fn against(&self, person: &Person) -> Vec<String> {
        let mut doubts = Vec::new();
        if let Some(code) = &self.code {
            let plain = plain(code);
            let nhs = person.nhs_number.as_ref().is_some_and(|nhs| plain == *nhs);
            if plain != self::plain(&person.mrn) && !nhs {
                doubts.push(
                    "the patient's number in the file is not that of the borrower".to_owned(),
                );
            }
        }
        if self.born_on.as_ref().is_some_and(|born| *born != person.born_on) {
            doubts.push("the day of birth in the file is not that of the borrower".to_owned());
        }
        if let Some(name) = self.name.as_ref().filter(|name| !names(name, person)) {
            let other = name
                .split(|sign: char| !sign.is_ascii_digit())
                .any(|word| nhs_number(word).is_ok());
            let what = if other { "NHS number" } else { "name" };
            doubts.push(format!("the {what} in the file is not that of the borrower"));
        }
        doubts
    }
}

/// Whether free words name this person, by family name or by number.
fn names(text: &str, person: &Person) -> bool {
    let family = words(&person.family);
    contains(&words(text), &family)
        || contains(&words(text), &words(&person.mrn))
        || person.nhs_number.as_ref().is_some_and(|nhs| plain(text).contains(nhs))
}

/// The monitors whose serial number stands in a text, as whole words.
pub fn monitors_in<'a>(text: &str, monitors: &'a [Monitor]) -> Vec<&'a Monitor> {
    let text = words(text);
    let named = |monitor: &&Monitor| {
        plain(&monitor.serial).len() >= SERIAL_LEAST && contains(&text, &words(&monitor.serial))
    };
    monitors.iter().filter(named).collect()
}

/// The monitor a file came off, or why that is in doubt. `taken_off` is what the person who took it off
/// says, by the monitor's label.
pub fn monitor_of<'a>(
    name: &str,
    header: Option<&str>,
    taken_off: Option<i64>,
    monitors: &'a [Monitor],
) -> (Option<&'a Monitor>, Vec<String>) {
    let in_header = header.map(|text| monitors_in(text, monitors)).unwrap_or_default();
    let in_name = monitors_in(name, monitors);
    let said: Vec<&Monitor> = monitors.iter().filter(|one| Some(one.id) == taken_off).collect();
    let mut all: Vec<&Monitor> =
        [&in_header, &in_name, &said].into_iter().flatten().copied().collect();
    all.sort_by_key(|monitor| monitor.id);
    all.dedup_by_key(|monitor| monitor.id);
    match all.as_slice() {
        [one] => (Some(one), Vec::new()),
        [] => (
            None,
            vec!["no serial number of a monitor of ours stands in the file or its name".to_owned()],
        ),
        several => {
            let marks: Vec<&str> = several.iter().map(|monitor| monitor.mark.as_str()).collect();
            (
                None,
                vec![format!(
                    "the file, its name and what was said name several monitors: {}",
                    marks.join(", ")
                )],
            )
        }
    }
}

/// A night by the monitor's own clock, seconds since 1970.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// When it starts.
    pub start_at: i64,
    /// When it ends.
    pub end_at: i64,
}

/// What is known where a night comes in.
#[derive(Clone, Debug)]
pub struct Desk<'a> {
    /// The department's zone.
    pub zone: &'a TimeZone,
    /// The time now.
    pub now: i64,
    /// How far a monitor's clock may move within a loan, s.
    pub clock_limit_s: i64,
}

/// The loan a night fits, the span by the clock set right, and what does not agree.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fit {
    /// The loan it fits or comes nearest to.
    pub loan: Option<i64>,
    /// The night with the monitor's clock set right.
    pub span: Span,
    /// What does not agree; empty when all does.
    pub doubts: Vec<String>,
}

/// Which of a monitor's loans a night belongs to.
pub fn fit(night: Span, monitor: &Monitor, loans: &[Loan], desk: &Desk<'_>) -> Fit {
    let near: Vec<(&Loan, Span, bool)> = loans
        .iter()
        .filter_map(|loan| {
            let span = set_right(night, loan);
            let window = window(loan, desk)?;
            let overlap = span.end_at.min(window.end_at) - span.start_at.max(window.start_at);
            let inside = window.start_at - SLACK_S <= span.start_at
                && span.end_at <= window.end_at + SLACK_S;
            (overlap > 0).then_some((loan, span, inside))
        })
        .collect();
    let told = |span: Span| {
        let at = |at| local_minute(at, desk.zone);
        format!("{} to {}", at(span.start_at), at(span.end_at))
    };
    let (loan, span, mut doubts) = match near.as_slice() {
        [] => {
            let says = format!(
                "monitor {} was with nobody at the time of this night, {}",
                monitor.mark,
                told(night)
            );
            (None, night, vec![says])
        }
        [(loan, span, true)] => (Some(loan), *span, Vec::new()),
        [(loan, span, false)] => {
            let says =
                format!("the night, {}, does not lie within loan {}", told(*span), loan.mark);
            (Some(loan), *span, vec![says])
        }
        [first, ..] => {
            let marks: Vec<&str> = near.iter().map(|(loan, ..)| loan.mark.as_str()).collect();
            let says = format!(
                "the night, {}, touches several loans: {}",
                told(first.1),
                marks.join(", ")
            );
            (None, first.1, vec![says])
        }
    };
    doubts.extend(clock_doubts(night, loan, desk));
    Fit { loan: loan.map(|loan| loan.id), span, doubts }
}

fn clock_doubts(night: Span, loan: Option<&&Loan>, desk: &Desk<'_>) -> Vec<String> {
    let mut doubts = Vec::new();
    if night.start_at > desk.now {
        doubts.push("the monitor's clock stands in the future".to_owned());
    }
    if night.end_at < desk.now - OLD_S {
        doubts.push(format!(
            "by the monitor's clock the night was on {}: was the clock set?",
            &local_minute(night.start_at, desk.zone)[..10]
        ));
    }
    if let Some((out_s, back_s)) =
        loan.and_then(|loan| clock_ahead_s(loan).0.zip(clock_ahead_s(loan).1))
    {
        let moved_s = back_s.saturating_sub(out_s).saturating_abs();
        if moved_s > desk.clock_limit_s {
            doubts.push(format!(
                "the monitor's clock moved by {moved_s} s between hand-out and return"
            ));
        }
    }
    doubts
}

/// The monitor's clock less the wall clock as it was noted at hand-out and at return, s.
fn clock_ahead_s(loan: &Loan) -> (Option<i64>, Option<i64>) {
    let out = loan.out.0.as_ref().and_then(|out| out.clock_ahead_s);
    (out, loan.back.0.as_ref().and_then(|back| back.clock_ahead_s))
}

fn set_right(night: Span, loan: &Loan) -> Span {
    let (out_s, back_s) = clock_ahead_s(loan);
    let ahead_s = out_s.or(back_s).unwrap_or(0);
    Span {
        start_at: night.start_at.saturating_sub(ahead_s),
        end_at: night.end_at.saturating_sub(ahead_s),
    }
}

/// The time a loan's nights can lie in: from the noon before the first to the noon after the last, and
/// while the monitor was with the patient.
fn window(loan: &Loan, desk: &Desk<'_>) -> Option<Span> {
    let first = date(&loan.first_night_on)?;
    let last = *evenings(first, loan.nights.max(1)).last()?;
    let noon = |day| local_instant(day, time(12, 0, 0, 0), desk.zone);
    let out_at = loan.out_at?;
    let start_at = noon(first).max(out_at);
    let end_at = noon(days_later(last, 1)).min(loan.back_at.unwrap_or(desk.now));
    Some(Span { start_at, end_at })
}

fn words(text: &str) -> Vec<String> {
    let parts = text.split(|sign: char| !sign.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.map(str::to_uppercase).collect()
}

fn plain(text: &str) -> String {
    words(text).concat()
}

fn contains(all: &[String], some: &[String]) -> bool {
    !some.is_empty() && all.windows(some.len()).any(|window| window == some)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edf(patient: &str, reserved: &str) -> FilePatient {
        let mut bytes = format!("0       {patient:<80}").into_bytes();
        bytes.resize(192, b' ');
        bytes.extend(format!("{reserved:<64}").bytes());
        file_patient(&bytes)
    }

    /// The example of the EDF+ specification (`kemp-2003`, 2.1.3.3), and one that tells nothing.
    #[test]
    fn the_patient_field_is_read_as_published() {
        let found = edf("MCH-0234567 F 02-MAY-1951 Haagse_Harry", "EDF+C");
        assert_eq!(found.code.as_deref(), Some("MCH-0234567"));
        assert_eq!(found.born_on.as_deref(), Some("1951-05-02"));
        assert_eq!(found.name.as_deref(), Some("Haagse Harry"));
        assert_eq!(edf("X X X X", "EDF+D"), FilePatient::default());
        assert_eq!(edf("Harry from The Hague", "").name.as_deref(), Some("Harry from The Hague"));
        assert_eq!(file_patient(b"time,SpO2 (%)\n"), FilePatient::default());
    }

    #[test]
    fn a_serial_number_is_found_as_whole_words_only() {
        let words_of = |text: &str| contains(&words(text), &words("TC-104"));
        assert!(words_of("TC-104_2026-11-24.csv") && words_of("night of tc 104"));
        assert!(!words_of("TC-1042.csv") && !words_of("XTC-104.csv") && !words_of(""));
    }
}
