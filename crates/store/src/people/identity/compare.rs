//! Whether words are a person's: names whole, with their accents, initials and order; numbers; days of birth.

use super::Known;
use super::Spelt;
use super::labels::NEUTRAL;
use super::labels::PLAIN;
use crate::ident::nhs_number;
use crate::record::tables::Person;
use crate::when::date;

/// A run of digits this long may be somebody's number.
const NUMBER_LEAST: usize = 5;

pub(super) const NUMBER: &str = "the patient's number in the file is not that of the borrower";
pub(super) const BORN: &str = "the day of birth in the file is not that of the borrower";
pub(super) const BORN_UNREAD: &str = "the day of birth in the file cannot be read";
pub(super) const NAME: &str = "the name in the file is not that of the borrower";
pub(super) const NHS: &str = "the NHS number in the file is not that of the borrower";
pub(super) const LIKE: &str =
    "the file or its name holds a number like the hospital's that is not the borrower's";
pub(super) const OTHER: &str = "the file or its name speaks of another patient of the record";
pub(super) const MORE: &str =
    "the file holds more lines of words than are compared: look through it by hand";
pub(super) const FILE_NAME: &str = "the file's name holds a name that is not the borrower's";

pub(super) fn number_is(value: &str, person: &Person) -> bool {
    let (found, all) = (plain(value), words(value));
    let own = [Some(&person.mrn), person.nhs_number.as_ref()];
    own.into_iter().flatten().any(|number| {
        !plain(number).is_empty()
            && (found == plain(number) || joined(&all, &plain(number)).is_some())
    })
}

/// What in free words for a person is not the borrower's: the family name or a number must be among them, and
/// nothing may be left that is neither a given name nor a word beside one.
pub(super) fn free(text: &str, person: &Person) -> Vec<&'static str> {
    let mut doubts = Vec::new();
    let mut rest = String::new();
    for part in text.split(|sign: char| {
        sign.is_whitespace() || matches!(sign, ',' | ';' | '_' | '^' | '(' | ')')
    }) {
        let days = if part.len() >= 6 { births(part) } else { Vec::new() };
        let day = !days.is_empty() && !number_is(part, person);
        if day && days.iter().all(|day| !person.born_on.starts_with(day.as_str())) {
            doubts.push(BORN);
        } else if !day {
            rest.push_str(part);
            rest.push(' ');
        }
    }
    let mut named = false;
    let mut left = words(&rest);
    for number in [Some(&person.mrn), person.nhs_number.as_ref()].into_iter().flatten() {
        if let Some(after) = joined(&left, &plain(number)) {
            (left, named) = (after, true);
        }
    }
    let (digits, letters): (Vec<String>, Vec<String>) = left
        .into_iter()
        .partition(|word| word.bytes().filter(u8::is_ascii_digit).count() >= NUMBER_LEAST);
    // Where accents are not to be had a letter may be written as two.
    let long: Vec<String> = words(&spell(&rest, true));
    let long: Vec<String> = long
        .into_iter()
        .filter(|word| word.bytes().filter(u8::is_ascii_digit).count() < NUMBER_LEAST)
        .collect();
    let digits: Vec<&String> =
        digits.iter().filter(|word| family_in(word, person).is_none()).collect();
    if !digits.is_empty() {
        let nhs = digits.iter().any(|word| nhs_number(word).is_ok());
        doubts.push(if nhs { NHS } else { NUMBER });
    }
    let family =
        family_in(&letters.join(" "), person).or_else(|| family_in(&long.join(" "), person));
    named |= family.is_some() || !doubts.is_empty();
    let rest = family.unwrap_or(letters);
    let rest: Vec<String> = rest
        .into_iter()
        .filter(|word| !NEUTRAL.contains(&word.as_str()) || person_initial(word, person))
        .filter(|word| word.len() > 1 || !NEUTRAL.contains(&word.as_str()))
        .filter(|word| !word.bytes().all(|byte| byte.is_ascii_digit()))
        .collect();
    if !words_given(&rest, person) || (rest.is_empty() && !named) {
        doubts.push(NAME);
    }
    doubts
}

fn person_initial(word: &str, person: &Person) -> bool {
    words(&person.given).iter().any(|given| given == word)
}

/// Whether all these words are given names of the person, or their initials.
pub(super) fn words_given(all: &[String], person: &Person) -> bool {
    let given = words(&person.given);
    let twice: Vec<String> = spellings(&person.given).iter().flat_map(|text| words(text)).collect();
    let is = |word: &String| {
        twice.contains(word)
            || *word == given.concat()
            || (word.chars().count() == 1 && given.iter().any(|one| one.starts_with(word.as_str())))
    };
    all.iter().all(is)
}

/// The words left when the family name is taken out; `None` when it is not among them.
pub(super) fn family_in(text: &str, person: &Person) -> Option<Vec<String>> {
    let names: Vec<String> = spellings(&person.family).iter().map(|name| plain(name)).collect();
    spellings(text).iter().find_map(|text| names.iter().find_map(|name| joined(&words(text), name)))
}

/// The words left when a run of them that reads as `wanted` is taken out.
fn joined(all: &[String], wanted: &str) -> Option<Vec<String>> {
    if wanted.is_empty() {
        return None;
    }
    for from in 0..all.len() {
        for to in from + 1..=all.len() {
            let read = all[from..to].concat();
            if read == wanted {
                return Some([&all[..from], &all[to..]].concat());
            }
            if read.len() > wanted.len() {
                break;
            }
        }
    }
    None
}

/// Whether a name or number of the record stands among words.
pub(super) fn holds(all: &[String], wanted: &str) -> bool {
    run_is(all, &plain(wanted))
}

/// Whether a run of words reads as `wanted`, which is plain. Nothing is copied: it is asked of every word of a
/// file for everybody in the record.
pub(super) fn run_is(all: &[String], wanted: &str) -> bool {
    let reads = |from: usize| {
        let mut left = wanted;
        for word in &all[from..] {
            match left.strip_prefix(word.as_str()) {
                Some("") => return true,
                Some(after) => left = after,
                None => return false,
            }
        }
        false
    };
    !wanted.is_empty() && (0..all.len()).any(reads)
}

/// A name in a file's name: two words beside each other, or words behind `patient`, that are not the borrower's.
pub(super) fn name_of_file(name: &str, person: &Person, known: Known<'_>) -> Vec<&'static str> {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let serials: Vec<String> = known.monitors.iter().flat_map(|one| words(&one.serial)).collect();
    let name_like = |word: &String| {
        word.chars().count() > 2
            && word.chars().all(char::is_alphabetic)
            && !PLAIN.contains(&word.as_str())
            && !serials.contains(word)
    };
    let all = words(stem);
    let named = |word: &String| matches!(word.as_str(), "PATIENT" | "NAME" | "PAT");
    let mut runs: Vec<Vec<String>> = vec![Vec::new()];
    let mut after_label = false;
    for word in &all {
        match runs.last_mut() {
            Some(run) if name_like(word) && !named(word) => run.push(word.clone()),
            _ => {
                after_label |= named(word);
                runs.push(Vec::new());
            }
        }
    }
    let least = if after_label { 1 } else { 2 };
    let wrong = runs
        .iter()
        .filter(|run| run.len() >= least)
        .any(|run| free(&run.join(" "), person).contains(&NAME));
    let family = |other: &Spelt| {
        other.id != person.id
            && !other.voided
            && other.family.len() > 3
            && !PLAIN.contains(&other.family.as_str())
            && run_is(&all, &other.family)
    };
    let other = known.people.iter().any(family) && family_in(stem, person).is_none();
    [(wrong, FILE_NAME), (other, OTHER)].into_iter().filter(|one| one.0).map(|one| one.1).collect()
}

/// The days of birth words may mean, as the record writes them; a year alone is its four digits.
pub(super) fn births(text: &str) -> Vec<String> {
    const MONTHS: [&str; 15] = [
        "JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC", "MRZ",
        "MAI", "OKT",
    ];
    let parts = words(text);
    let month = |word: &str| {
        let at = MONTHS.iter().position(|name| word.starts_with(name))?;
        Some(match at {
            12 => 3,
            13 => 5,
            14 => 10,
            other => other + 1,
        })
    };
    let number = |word: &str| word.parse::<usize>().ok();
    let day = |year: &str, month: usize, day: usize| {
        let year = match (year.len(), number(year)?) {
            (4, year) => vec![year],
            (2, year) => vec![1900 + year, 2000 + year],
            _ => return None,
        };
        let all: Vec<String> = year
            .into_iter()
            .filter_map(|year| Some(date(&format!("{year:04}-{month:02}-{day:02}"))?.to_string()))
            .collect();
        Some(all)
    };
    let found = match parts.as_slice() {
        [one] if one.len() == 8 && number(one).is_some() && one.is_ascii() => {
            let (two, four) =
                (|at: usize| number(&one[at..at + 2]).unwrap_or(0), |at: usize| &one[at..at + 4]);
            vec![
                day(four(0), two(4), two(6)),
                day(four(4), two(2), two(0)),
                day(four(4), two(0), two(2)),
            ]
        }
        [year]
            if year.len() == 4 && number(year).is_some_and(|year| (1880..2100).contains(&year)) =>
        {
            return vec![year.clone()];
        }
        [a, b, c, ..] => match (number(a), number(b), number(c)) {
            (Some(_), Some(second), Some(third)) if a.len() == 4 => vec![day(a, second, third)],
            (Some(first), Some(second), Some(_)) => {
                vec![day(c, second, first), day(c, first, second)]
            }
            (Some(first), None, Some(_)) => vec![month(b).and_then(|month| day(c, month, first))],
            (None, Some(second), Some(_)) => vec![month(a).and_then(|month| day(c, month, second))],
            _ => Vec::new(),
        },
        _ => Vec::new(),
    };
    found.into_iter().flatten().flatten().collect()
}

/// `LMK204802` as `AAA999999`.
pub(super) fn shape(word: &str) -> String {
    word.chars().map(|sign| if sign.is_ascii_digit() { '9' } else { 'A' }).collect()
}

/// Text of a file that is text; `None` of one that is none.
pub(super) fn decoded(bytes: &[u8]) -> Option<String> {
    let wide = |bytes: &[u8], little: bool| {
        let units = bytes.chunks_exact(2).map(|two| {
            if little {
                u16::from_le_bytes([two[0], two[1]])
            } else {
                u16::from_be_bytes([two[0], two[1]])
            }
        });
        String::from_utf16_lossy(&units.collect::<Vec<_>>())
    };
    match bytes {
        [0xFF, 0xFE, rest @ ..] => return Some(wide(rest, true)),
        [0xFE, 0xFF, rest @ ..] => return Some(wide(rest, false)),
        [_, 0, _, 0, ..] => return Some(wide(bytes, true)),
        [0, _, 0, _, ..] => return Some(wide(bytes, false)),
        _ => {}
    }
    if bytes.iter().take(4_096).any(|byte| *byte == 0) {
        return None;
    }
    Some(match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    })
}

/// A letter without its accent, and as it is written where accents are not to be had.
const ACCENTS: [(&str, &str, &str); 13] = [
    ("ÀÁÂÃĀĂĄ", "A", "A"),
    ("ÄÅÆ", "A", "AE"),
    ("ÇĆČ", "C", "C"),
    ("ÈÉÊËĒĖĘĚ", "E", "E"),
    ("ÌÍÎÏĪ", "I", "I"),
    ("ÑŃŇ", "N", "N"),
    ("ÒÓÔÕŌ", "O", "O"),
    ("ÖØŒ", "O", "OE"),
    ("ÙÚÛŪŮ", "U", "U"),
    ("Ü", "U", "UE"),
    ("ÝŸ", "Y", "Y"),
    ("ŚŠ", "S", "S"),
    ("ŹŻŽ", "Z", "Z"),
];

fn spell(text: &str, long: bool) -> String {
    let mut out = String::new();
    for sign in text.to_uppercase().chars() {
        match ACCENTS.iter().find(|(all, ..)| all.contains(sign)) {
            Some((_, short, whole)) => out.push_str(if long { whole } else { short }),
            None => out.push(sign),
        }
    }
    out
}

pub(super) fn spellings(text: &str) -> [String; 2] {
    [spell(text, false), spell(text, true)]
}

/// The words of a text: upper case, without accents, parted by whatever is neither letter nor digit.
pub(crate) fn words(text: &str) -> Vec<String> {
    let text = spell(text, false);
    let parts = text.split(|sign: char| !sign.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.map(str::to_owned).collect()
}

pub(crate) fn plain(text: &str) -> String {
    words(text).concat()
}

/// Whether some words stand among all, beside each other.
pub(crate) fn contains(all: &[String], some: &[String]) -> bool {
    !some.is_empty() && all.windows(some.len()).any(|window| window == some)
}
