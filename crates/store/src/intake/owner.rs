//! Whose night is it? What must agree before a night is tied to a loan, and every doubt in words.
//!
//! The wrong patient's night is the first hazard of the trade. So nothing is guessed: a monitor's serial
//! number in the file or its name, the time, and every identifier in the file must point to the loan the
//! monitor came back from last. Else a named person decides, and against what contradicts it two do.

use std::collections::BTreeSet;

use jiff::civil::time;
use jiff::tz::TimeZone;

use crate::lending::loan::evenings;
use crate::people::identity::FileIdentity;
use crate::people::identity::Known;
use crate::people::identity::contains;
use crate::people::identity::plain;
use crate::people::identity::words;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Person;
use crate::when::date;
use crate::when::days_later;
use crate::when::local_instant;
use crate::when::local_minute;
use crate::words::LoanStatus;

/// The night may begin so much before the hand-out was typed in and end so much after the return, s
/// (common practice, no source).
const SLACK_S: i64 = 1_800;
/// A recording that ends so long before it is received says that the clock was not set, s (common practice, no source).
const OLD_S: i64 = 60 * 86_400;
/// A serial number shorter than this is found in too many names.
const SERIAL_LEAST: usize = 3;

/// A night by the monitor's own clock, seconds since 1970.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// When it starts.
    pub start_at: i64,
    /// When it ends.
    pub end_at: i64,
}

impl Span {
    fn overlap_s(self, other: Self) -> i64 {
        self.end_at.min(other.end_at) - self.start_at.max(other.start_at)
    }

    fn lies_in(self, window: Self) -> bool {
        window.start_at - SLACK_S <= self.start_at && self.end_at <= window.end_at + SLACK_S
    }
}

/// What a file tells of where it comes from.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The night by the monitor's own clock; `None` when the file tells no date.
    pub span: Option<Span>,
    /// What it says of its person and its monitor.
    pub identity: FileIdentity,
    /// Its name.
    pub name: String,
    /// The monitor's name or serial number as the reader found it.
    pub header: Option<String>,
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
    /// Everybody and every monitor of the record.
    pub known: Known<'a>,
    /// Loans that have a night that is read or waits to be.
    pub with_night: &'a BTreeSet<i64>,
    /// Loans of which the desk said that they have no night; it may have been said while its file was in doubt.
    pub without_night: &'a BTreeSet<i64>,
}

/// What speaks for and against a night being of one loan. `against` contradicts; `open` is not told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Weighed {
    /// The night with the monitor's clock set right as this loan's papers have it.
    pub span: Option<Span>,
    /// How much of the night lies within the loan, s.
    pub overlap_s: i64,
    /// What speaks for it.
    pub speaks_for: Vec<String>,
    /// What contradicts it: a tie all the same needs a second person.
    pub against: Vec<String>,
    /// What the file does not tell.
    pub open: Vec<String>,
}

impl Weighed {
    /// Whether the night ties by itself: nothing contradicts and nothing is missing.
    pub fn is_sure(&self) -> bool {
        self.against.is_empty() && self.open.is_empty() && self.span.is_some()
    }

    /// Everything that does not agree.
    pub fn doubts(&self) -> Vec<String> {
        self.against.iter().chain(&self.open).cloned().collect()
    }
}

/// The monitors whose serial number stands in a text, as whole words.
pub fn monitors_in<'a>(text: &str, monitors: &'a [Monitor]) -> Vec<&'a Monitor> {
    let text = words(text);
    let named = |monitor: &&Monitor| {
        plain(&monitor.serial).len() >= SERIAL_LEAST && contains(&text, &words(&monitor.serial))
    };
    monitors.iter().filter(named).collect()
}

impl Evidence {
    /// The monitors whose serial number stands in the file or its name.
    pub fn monitors<'a>(&self, monitors: &'a [Monitor]) -> Vec<&'a Monitor> {
        let places = [self.header.as_deref().unwrap_or_default(), self.identity.head(), &self.name];
        let mut all: Vec<&Monitor> =
            places.iter().flat_map(|text| monitors_in(text, monitors)).collect();
        all.sort_by_key(|monitor| monitor.id);
        all.dedup_by_key(|monitor| monitor.id);
        all
    }

    /// The one monitor the file names, or why that is in doubt. What somebody chose from a list is compared
    /// and never enough.
    ///
    /// # Errors
    /// Why no one monitor is named, in words.
    pub fn monitor<'a>(
        &self,
        taken_off: Option<i64>,
        monitors: &'a [Monitor],
    ) -> Result<&'a Monitor, String> {
        let said = monitors.iter().find(|one| Some(one.id) == taken_off);
        let mut all = self.monitors(monitors);
        if all.is_empty() {
            let chosen = said.map(|one| format!("; that it came off {} was only chosen", one.mark));
            return Err(format!("{NO_SERIAL}{}", chosen.unwrap_or_default()));
        }
        all.extend(said.filter(|said| all.iter().all(|one| one.id != said.id)));
        all.sort_by_key(|monitor| monitor.id);
        match all.as_slice() {
            [one] => Ok(one),
            several => {
                let marks: Vec<&str> = several.iter().map(|one| one.mark.as_str()).collect();
                let says = "the file, its name and what was said name several monitors";
                Err(format!("{says}: {}", marks.join(", ")))
            }
        }
    }
}

/// Whether a loan could own a night by time: some of it lies within the loan, by the monitor's own clock or with
/// the error taken off that was noted of it.
pub(crate) fn overlaps(night: Span, loan: &Loan, desk: &Desk<'_>) -> bool {
    let in_it = |span: Span| window(loan, desk).is_some_and(|window| span.overlap_s(window) > 0);
    in_it(night) || in_it(set_right(night, loan))
}

/// What is said of a file that names no monitor.
const NO_SERIAL: &str = "no serial number of a monitor of ours stands in the file or its name";

/// The loan a night points to or comes nearest to, with everything that does not agree.
pub fn fit<'a>(
    evidence: &Evidence,
    taken_off: Option<i64>,
    loans: &'a [Loan],
    desk: &Desk<'_>,
) -> (Option<&'a Loan>, Vec<String>) {
    let Some(night) = evidence.span else {
        return (None, vec![NO_DATE.to_owned()]);
    };
    let monitor = match evidence.monitor(taken_off, desk.known.monitors) {
        Ok(monitor) => monitor,
        Err(doubt) => return (None, vec![doubt]),
    };
    let own = loans.iter().filter(|loan| loan.monitor == monitor.id);
    let touches = |loan: &&Loan| {
        window(loan, desk).is_some_and(|window| set_right(night, loan).overlap_s(window) > 0)
    };
    let near: Vec<&Loan> = own.filter(touches).collect();
    let mut doubts = match near.as_slice() {
        [one] => return (Some(one), Vec::new()),
        [] => vec![format!(
            "monitor {} was with nobody at the time of this night, {}",
            monitor.mark,
            told(night, desk)
        )],
        [first, ..] => {
            let marks: Vec<&str> = near.iter().map(|loan| loan.mark.as_str()).collect();
            let night = told(set_right(night, first), desk);
            vec![format!("the night, {night}, touches several loans: {}", marks.join(", "))]
        }
    };
    doubts.extend(clock_doubts(night, None, desk));
    (None, doubts)
}

const NO_DATE: &str = "the file tells times of day and no date";

/// Holds a night against one loan. `loans` are all of the same monitor.
pub fn weigh(
    evidence: &Evidence,
    (loan, person): (&Loan, &Person),
    loans: &[Loan],
    desk: &Desk<'_>,
) -> Weighed {
    let mut weighed = Weighed::default();
    weigh_serial(&mut weighed, evidence, loan, desk);
    match evidence.span {
        Some(night) => weigh_time(&mut weighed, night, loan, loans, desk),
        None => weighed.against.push(NO_DATE.to_owned()),
    }
    if person.voided_at.is_some() {
        weighed.against.push("the borrower's row was voided since".to_owned());
    }
    weighed.against.extend(evidence.identity.against(person, desk.known));
    let agrees = evidence.identity.agrees(person);
    if !agrees.is_empty() {
        weighed.speaks_for.push(format!("as in the file: {}", agrees.join(", ")));
    }
    if loan.status == LoanStatus::Lost {
        weighed.against.push(format!("the monitor of loan {} was given up as lost", loan.mark));
    }
    if desk.without_night.contains(&loan.id) {
        weighed.open.push(format!("of loan {} it was said that it has no night", loan.mark));
    }
    weighed
}

fn weigh_serial(weighed: &mut Weighed, evidence: &Evidence, loan: &Loan, desk: &Desk<'_>) {
    let monitors = desk.known.monitors;
    let mark =
        |id: i64| monitors.iter().find(|one| one.id == id).map_or("", |one| one.mark.as_str());
    let named = evidence.monitors(monitors);
    match named.as_slice() {
        [] if evidence.identity.strange_serial(monitors) => {
            weighed.against.push("the serial number in the file is none of ours".to_owned());
        }
        [] => weighed.open.push(NO_SERIAL.to_owned()),
        [one] if one.id == loan.monitor => {
            weighed.speaks_for.push(format!("the file names its monitor, {}", one.mark));
            if evidence.identity.strange_serial(monitors) {
                let says = "the file gives a second serial number, which is none of ours";
                weighed.against.push(says.to_owned());
            }
        }
        several => {
            let marks: Vec<&str> = several.iter().map(|one| one.mark.as_str()).collect();
            let (named, lent) = (marks.join(", "), mark(loan.monitor));
            weighed
                .against
                .push(format!("the file names monitor {named}, and loan {} had {lent}", loan.mark));
        }
    }
}

fn weigh_time(weighed: &mut Weighed, night: Span, loan: &Loan, loans: &[Loan], desk: &Desk<'_>) {
    let span = set_right(night, loan);
    weighed.span = Some(span);
    let Some(window) = window(loan, desk) else {
        weighed.against.push(format!("the monitor of loan {} never went out", loan.mark));
        return;
    };
    weighed.overlap_s = span.overlap_s(window).max(0);
    if span.lies_in(window) && weighed.overlap_s > 0 {
        weighed.speaks_for.push(format!("it lies within the loan, {}", told(window, desk)));
    } else {
        weighed.against.push(format!(
            "the night, {}, does not lie within loan {}, {}",
            told(span, desk),
            loan.mark,
            told(window, desk)
        ));
    }
    // A note of the clock may move a night within its loan, never into it: the note itself may be wrong.
    if span != night && span.lies_in(window) && !night.lies_in(window) {
        weighed.against.push(format!(
            "by the monitor's own clock the night, {}, lies outside loan {}: only the clock's noted error brings it there",
            told(night, desk),
            loan.mark
        ));
    }
    weighed.against.extend(clock_doubts(night, Some(loan), desk));
    let since: Vec<&Loan> = loans.iter().filter(|other| later(other, loan)).collect();
    let missing = since.iter().find(|other| !desk.with_night.contains(&other.id));
    if let Some(other) = missing {
        weighed.against.push(format!(
            "the monitor was lent again since, as loan {}, and the night of that loan is not in: a clock that is wrong would lay it here",
            other.mark
        ));
    } else if let Some(other) = since.first() {
        weighed.open.push(format!("the monitor was lent again since, as loan {}", other.mark));
    }
}

/// Whether a loan of the same monitor went out after another.
fn later(other: &Loan, loan: &Loan) -> bool {
    other.id != loan.id
        && other.monitor == loan.monitor
        && other.out_at.is_some_and(|at| (Some(at), other.id) > (loan.out_at, loan.id))
}

fn told(span: Span, desk: &Desk<'_>) -> String {
    let at = |at| local_minute(at, desk.zone);
    format!("{} to {}", at(span.start_at), at(span.end_at))
}

fn clock_doubts(night: Span, loan: Option<&Loan>, desk: &Desk<'_>) -> Vec<String> {
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

/// How far the monitor's clock was noted to be ahead on a loan, s; 0 when it was not compared.
pub fn noted_ahead_s(loan: &Loan) -> i64 {
    let (out_s, back_s) = clock_ahead_s(loan);
    out_s.or(back_s).unwrap_or(0)
}

fn set_right(night: Span, loan: &Loan) -> Span {
    let ahead_s = noted_ahead_s(loan);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_serial_number_is_found_as_whole_words_only() {
        let words_of = |text: &str| contains(&words(text), &words("TC-104"));
        assert!(words_of("TC-104_2026-11-24.csv") && words_of("night of tc 104"));
        assert!(!words_of("TC-1042.csv") && !words_of("XTC-104.csv") && !words_of(""));
    }
}
