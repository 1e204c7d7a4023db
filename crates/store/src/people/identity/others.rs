//! Whether what a file says outside its samples speaks of another patient of the record: by the family name, by
//! the digits of a number, or by the day of birth, in whatever form they are written. Common practice, no source.

use std::collections::HashSet;

use super::Known;
use super::NUMBER_LEAST;
use super::Spelt;
use super::compare::births;
use super::compare::spellings;
use super::labels::COLUMNS;
use super::labels::NEUTRAL;
use super::labels::PLAIN;
use crate::when::rfc3339;

/// So many words of a line are read as one, at most: a name or a number may be written apart.
const TOGETHER: usize = 8;
/// A name or a number is no longer than this, bytes.
const LONGEST: usize = 60;
/// So many digits of a number tell it without its letters.
const DIGITS_LEAST: usize = 6;
/// A piece of a number that is written apart has so many digits at least: those of a time have two.
const PIECE_LEAST: usize = 3;
/// So far behind a label a name may stand, words.
const BEHIND: usize = 4;
/// A family name this long is told with an initial before or behind it, as in the name of an account.
const FAMILY_LEAST: usize = 4;
/// So many days before and behind the recording a date is its own and nobody's day of birth.
const NEAR_DAYS: i64 = 7;
/// Stands for the colon of a time of day, so that its figures are no date and no number.
const COLON: char = '\u{127}';
/// Words before a name. Behind one a family name counts also where it is a common word.
const BEFORE: [&str; 26] = [
    "PT",
    "PATIENT",
    "PATIENTS",
    "PAT",
    "CLIENT",
    "SUBJECT",
    "BORROWER",
    "NAME",
    "SURNAME",
    "FAMILY",
    "MR",
    "MRS",
    "MS",
    "MISS",
    "MX",
    "HERR",
    "FRAU",
    "USER",
    "USERNAME",
    "OWNER",
    "COMMENT",
    "COMMENTS",
    "REMARK",
    "NOTE",
    "REF",
    "REFERENCE",
];

/// What lines of words can be read as.
#[derive(Debug, Default)]
pub(super) struct Said {
    /// Every run of words, written together.
    runs: HashSet<String>,
    /// Those that stand behind a label.
    labelled: HashSet<String>,
    /// The runs line by line: a given name and a family name are one person's where they stand in one line.
    lines: Vec<HashSet<String>>,
    /// Runs of digits.
    digits: HashSet<String>,
    /// Dates with a whole year, as the record writes them.
    days: HashSet<String>,
    /// Dates with a year of two digits.
    short_days: HashSet<String>,
}

/// What of a line is the borrower's or the recording's own.
struct Own<'a> {
    born_on: &'a str,
    /// The days around the recording.
    near: HashSet<String>,
    /// The pieces of the serial numbers of our monitors.
    serials: HashSet<String>,
}

impl Said {
    /// Reads lines. A date that can be the borrower's day of birth, or lies at the recording, is nobody else's.
    pub(super) fn of<'a>(
        lines: impl Iterator<Item = &'a str>,
        born_on: &str,
        start_at: Option<i64>,
        known: Known<'_>,
    ) -> Self {
        let day = |start: i64| {
            let days = -NEAR_DAYS..=NEAR_DAYS;
            days.map(move |days| rfc3339(start.saturating_add(days * 86_400)))
        };
        let near = start_at.into_iter().flat_map(day);
        let near = near.filter_map(|at| at.get(..10).map(str::to_owned)).collect();
        let serials = known.monitors.iter().flat_map(|one| parts(&spellings(&one.serial)[0]));
        let own = Own { born_on, near, serials: serials.collect() };
        let mut said = Self::default();
        for line in lines {
            said.line(line, &own);
        }
        said
    }

    /// A name as it may be written: every run of its words.
    pub(super) fn name(text: &str) -> HashSet<String> {
        let mut said = Self::default();
        said.names(text);
        said.runs
    }

    fn line(&mut self, line: &str, own: &Own<'_>) {
        self.names(line);
        let all = parts(&spellings(&humps_parted(line))[0]);
        self.numbers(&all, own);
        // Of `4th April 1979` the figure stands alone.
        let all: Vec<String> = all
            .into_iter()
            .filter(|part| !["ST", "ND", "RD", "TH", "OF"].contains(&part.as_str()))
            .collect();
        for at in 0..all.len() {
            self.dates(&all, at, own);
        }
    }

    fn names(&mut self, line: &str) {
        let [short, long] = spellings(&humps_parted(line));
        let mut runs = HashSet::new();
        self.runs_of(&parts(&short), &mut runs);
        if long != short {
            self.runs_of(&parts(&long), &mut runs);
        }
        self.runs.extend(runs.iter().cloned());
        self.lines.push(runs);
    }

    fn runs_of(&mut self, all: &[String], runs: &mut HashSet<String>) {
        let mut behind: usize = 0;
        for (from, first) in all.iter().enumerate() {
            let mut read = String::new();
            for part in all[from..].iter().take(TOGETHER) {
                read.push_str(part);
                if read.len() > LONGEST {
                    break;
                }
                if behind > 0 {
                    self.labelled.insert(read.clone());
                }
                runs.insert(read.clone());
            }
            let label = BEFORE.contains(&first.as_str());
            behind = if label { BEHIND } else { behind.saturating_sub(1) };
        }
    }

    fn numbers(&mut self, all: &[String], own: &Own<'_>) {
        for at in 0..all.len() {
            if own.serials.contains(&all[at]) || is_time(all, at, own) {
                continue;
            }
            let piece = |part: &&String| digits_only(part) && part.len() >= PIECE_LEAST;
            let mut read = String::new();
            for part in all[at..].iter().take(3).take_while(piece) {
                read.push_str(part);
                self.digits.insert(read.clone());
            }
        }
    }

    /// The dates that begin with a word.
    fn dates(&mut self, all: &[String], at: usize, own: &Own<'_>) {
        let one = &all[at];
        if digits_only(one) && !own.serials.contains(one) {
            match one.len() {
                8 => self.days.extend(own.foreign(&[one.as_str()])),
                6 if !is_time(all, at, own) => {
                    let two = [&one[..2], &one[2..4], &one[4..]];
                    self.short_days.extend(own.foreign_either(two));
                }
                _ => {}
            }
        }
        let Some([a, b, c]) = all.get(at..at + 3) else { return };
        let three = [a.as_str(), b.as_str(), c.as_str()];
        if [a, b, c].iter().any(|part| digits_only(part) && part.len() == 4) {
            self.days.extend(own.foreign_either(three));
        } else if three.iter().all(|part| part.len() >= 2) {
            self.short_days.extend(own.foreign_either(three));
        }
    }

    /// Whether somebody else is spoken of. `name` is every run of the borrower's own name.
    pub(super) fn speaks_of(&self, other: &Spelt, own: &Spelt, name: &HashSet<String>) -> bool {
        let number = other.number.len() >= NUMBER_LEAST
            && other.number != own.number
            && self.runs.contains(&other.number);
        let digits = |digits: &str| {
            digits.len() >= DIGITS_LEAST
                && digits != own.digits
                && digits != own.nhs
                && self.digits.contains(digits)
        };
        let born = other.born_on != own.born_on
            && (self.days.contains(&other.born_on)
                || (other.current && self.short_days.contains(&other.born_on)));
        number || digits(&other.digits) || digits(&other.nhs) || born || self.names_one(other, name)
    }

    fn names_one(&self, other: &Spelt, name: &HashSet<String>) -> bool {
        let foreign: Vec<&String> =
            other.families.iter().filter(|family| !name.contains(*family)).collect();
        let common = other.families.iter().any(|family| is_common(family));
        let stands = |runs: &HashSet<String>| foreign.iter().any(|family| runs.contains(*family));
        if stands(&self.labelled) || (other.current && !common && stands(&self.runs)) {
            return true;
        }
        let with_initial = |family: &&String| {
            let long = family.len() >= FAMILY_LEAST && !common;
            let mut initials = other.given.iter().filter_map(|given| given.chars().next());
            long && initials.any(|one| {
                self.runs.contains(&format!("{one}{family}"))
                    || self.runs.contains(&format!("{family}{one}"))
            })
        };
        foreign.iter().any(with_initial) || self.whole_name(other, name)
    }

    /// Whether a family name and a given name of somebody stand in one line, and not both are the borrower's.
    fn whole_name(&self, other: &Spelt, name: &HashSet<String>) -> bool {
        let mut pairs = other.families.iter().flat_map(|family| {
            other.given.iter().filter(|given| given.len() > 1).map(move |given| (family, given))
        });
        pairs.any(|(family, given)| {
            if name.contains(family) && name.contains(given) {
                return false;
            }
            let written = [format!("{given}{family}"), format!("{family}{given}")];
            let in_line =
                |line: &HashSet<String>| line.contains(family) && line.contains(given.as_str());
            written.iter().any(|run| self.runs.contains(run))
                || (self.runs.contains(family)
                    && self.runs.contains(given)
                    && self.lines.iter().any(in_line))
        })
    }
}

impl Own<'_> {
    /// The days some words can mean, unless they can mean the borrower's day of birth or one at the recording.
    fn foreign(&self, all: &[&str]) -> Vec<String> {
        let days = births(&all.join(" "));
        let ours = |day: &String| day == self.born_on || self.near.contains(day);
        if days.iter().any(ours) { Vec::new() } else { days }
    }

    /// The same with the day first or the year first.
    fn foreign_either(&self, [a, b, c]: [&str; 3]) -> Vec<String> {
        let days = [births(&[a, b, c].join(" ")), births(&[c, b, a].join(" "))].concat();
        let ours = |day: &String| day == self.born_on || self.near.contains(day);
        if days.iter().any(ours) { Vec::new() } else { days }
    }
}

/// Whether a word is six figures of a time: those right behind the recording's own day.
fn is_time(all: &[String], at: usize, own: &Own<'_>) -> bool {
    if all[at].len() != 6 || at == 0 {
        return false;
    }
    let end = if all[at - 1] == "T" { at - 1 } else { at };
    let is_near = |from: Option<usize>| {
        let part = from.and_then(|from| all.get(from..end));
        let days = part.map(|part| births(&part.join(" "))).unwrap_or_default();
        days.iter().any(|day| own.near.contains(day))
    };
    is_near(end.checked_sub(1)) || is_near(end.checked_sub(3))
}

fn is_common(family: &str) -> bool {
    let lists: [&[&str]; 4] = [&PLAIN, &COLUMNS, &NEUTRAL, &BEFORE];
    lists.iter().any(|list| list.contains(&family))
}

fn digits_only(part: &str) -> bool {
    !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit())
}

/// `NightcapNell` as `Nightcap Nell`, and the colons of a time as a letter.
fn humps_parted(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut before = ' ';
    let mut signs = line.chars().peekable();
    while let Some(sign) = signs.next() {
        if before.is_lowercase() && sign.is_uppercase() {
            out.push(' ');
        }
        let behind = signs.peek().is_some_and(char::is_ascii_digit);
        let colon = sign == ':' && before.is_ascii_digit() && behind;
        out.push(if colon { COLON } else { sign });
        before = sign;
    }
    out
}

/// The words of a spelt text, with letters parted from figures.
fn parts(text: &str) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut before: Option<bool> = None;
    for sign in text.chars() {
        let kind = sign.is_alphanumeric().then(|| sign.is_ascii_digit());
        if kind.is_some() && kind != before {
            all.push(String::new());
        }
        if let (Some(_), Some(last)) = (kind, all.last_mut()) {
            last.push(sign);
        }
        before = kind;
    }
    all
}
