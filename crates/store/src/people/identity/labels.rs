//! The labels by which a file tells of a person, and the words that are none. Common practice, no source.

use std::sync::LazyLock;

use super::compare::words;

/// What a labelled word in a file tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The patient's number.
    Number,
    /// The whole name.
    Name,
    /// Family name alone.
    Family,
    /// Given names alone.
    Given,
    /// Day of birth.
    Born,
    /// Free words that stand for the person: a name, a number, a day, in any order.
    Person,
    /// The monitor's serial number.
    Serial,
}

/// Labels as they are written, upper case, blanks between their words.
const LABELS: [(Kind, &[&str]); 7] = [
    (
        Kind::Number,
        &[
            "PATIENT ID",
            "PATIENTID",
            "PATIENT NO",
            "PATIENT NR",
            "PATIENT NUMBER",
            "PATIENT CODE",
            "PATIENT IDENTIFIER",
            "PAT ID",
            "PATID",
            "PID",
            "ID",
            "MRN",
            "HOSPITAL NUMBER",
            "HOSPITAL NO",
            "HOSP NO",
            "HOSPITAL ID",
            "UNIT NUMBER",
            "CASE NUMBER",
            "CASE NO",
            "RECORD NUMBER",
            "NHS",
            "NHS NO",
            "NHS NUMBER",
            "CHI",
            "CHI NUMBER",
            "SUBJECT ID",
            "SUBJECT NUMBER",
            "PATIENTENNUMMER",
            "PATIENTEN ID",
            "PATIENTENID",
            "FALLNUMMER",
            "IDENTIFIER",
        ],
    ),
    (
        Kind::Name,
        &[
            "NAME",
            "PATIENT NAME",
            "PATIENTNAME",
            "PATIENTS NAME",
            "PATIENT S NAME",
            "FULL NAME",
            "PAT NAME",
            "PATIENTENNAME",
            "SUBJECT NAME",
            "BORROWER",
        ],
    ),
    (
        Kind::Family,
        &[
            "SURNAME",
            "FAMILY NAME",
            "FAMILY",
            "LAST NAME",
            "LASTNAME",
            "NACHNAME",
            "FAMILIENNAME",
            "NOM",
            "PATIENT SURNAME",
            "PATIENT LAST NAME",
        ],
    ),
    (
        Kind::Given,
        &[
            "GIVEN NAME",
            "GIVEN NAMES",
            "GIVEN",
            "FIRST NAME",
            "FIRSTNAME",
            "FORENAME",
            "FORENAMES",
            "VORNAME",
            "PRENOM",
            "PATIENT FIRST NAME",
            "PATIENT FORENAME",
        ],
    ),
    (
        Kind::Born,
        &[
            "DATE OF BIRTH",
            "DAY OF BIRTH",
            "YEAR OF BIRTH",
            "DOB",
            "D O B",
            "BIRTH DATE",
            "BIRTHDATE",
            "BIRTHDAY",
            "BORN",
            "BORN ON",
            "PATIENT DOB",
            "PATIENT DATE OF BIRTH",
            "GEBURTSDATUM",
            "GEB",
            "DATE DE NAISSANCE",
            "BIRTH",
        ],
    ),
    (Kind::Person, &["PATIENT", "SUBJECT", "PAT"]),
    (
        Kind::Serial,
        &[
            "SERIAL",
            "SERIAL NUMBER",
            "SERIAL NO",
            "SERIAL NR",
            "SN",
            "S N",
            "MONITOR SERIAL",
            "MONITOR SERIAL NUMBER",
            "DEVICE SERIAL",
            "DEVICE SERIAL NUMBER",
            "SERIENNUMMER",
        ],
    ),
];
/// First words of columns of samples: a line that holds one heads a table.
pub(super) const COLUMNS: [&str; 22] = [
    "TIME",
    "DATE",
    "DATETIME",
    "TIMESTAMP",
    "DATUM",
    "ZEIT",
    "UHRZEIT",
    "ELAPSED",
    "SPO2",
    "SAO2",
    "PULSE",
    "PR",
    "HR",
    "TCPCO2",
    "TCCO2",
    "PTCO2",
    "PTCCO2",
    "PCO2",
    "CO2",
    "VALUE",
    "CHANNEL",
    "SAMPLE",
];
/// Words beside a name that are none.
pub(super) const NEUTRAL: [&str; 34] = [
    "M", "F", "X", "U", "W", "MALE", "FEMALE", "MR", "MRS", "MS", "MISS", "MX", "DR", "PROF",
    "SIR", "HERR", "FRAU", "NHS", "NO", "NR", "ID", "MRN", "DOB", "BORN", "AGE", "YEARS", "YEAR",
    "YR", "NAME", "PATIENT", "NUMBER", "SEX", "ON", "NEE",
];
/// Words that say that nothing is told.
pub(super) const UNTOLD: [&str; 13] = [
    "X",
    "NA",
    "N A",
    "NONE",
    "NIL",
    "UNKNOWN",
    "NOT KNOWN",
    "ANON",
    "ANONYMOUS",
    "ANONYMISED",
    "ANONYMIZED",
    "NULL",
    "BLANK",
];
/// Words of file names that are nobody's name.
pub(super) const PLAIN: [&str; 62] = [
    "NIGHT",
    "NIGHTS",
    "EXPORT",
    "EXPORTED",
    "DATA",
    "FILE",
    "REPORT",
    "RECORDING",
    "RECORD",
    "DOWNLOAD",
    "DOWNLOADED",
    "MONITOR",
    "SENSOR",
    "EAR",
    "SLEEP",
    "STUDY",
    "LAB",
    "WARD",
    "HOME",
    "OWN",
    "COPY",
    "FINAL",
    "RAW",
    "NEW",
    "OLD",
    "TEST",
    "THE",
    "AND",
    "FROM",
    "FOR",
    "TREND",
    "TRENDS",
    "LOG",
    "CSV",
    "TXT",
    "EDF",
    "BDF",
    "TSV",
    "DAT",
    "HEA",
    "SPO",
    "PULSE",
    "TCPCO",
    "JAN",
    "FEB",
    "MAR",
    "APR",
    "MAY",
    "JUN",
    "JUL",
    "AUG",
    "SEP",
    "OCT",
    "NOV",
    "DEC",
    "MON",
    "TUE",
    "WED",
    "THU",
    "FRI",
    "SAT",
    "SUN",
];

pub(super) fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Number => "number",
        Kind::Born => "day of birth",
        Kind::Name => "name",
        Kind::Family => "family name",
        Kind::Given => "given name",
        Kind::Person => "patient",
        Kind::Serial => "serial number",
    }
}

fn kind_of(label: &str) -> Option<Kind> {
    let label = words(label).join(" ");
    LABELS.iter().find(|(_, all)| all.contains(&label.as_str())).map(|(kind, _)| *kind)
}

/// The first words of the labels, by their length.
static FIRST: LazyLock<Vec<Vec<&str>>> = LazyLock::new(|| {
    let mut first: Vec<Vec<&str>> = Vec::new();
    for label in LABELS.iter().flat_map(|(_, all)| all.iter()) {
        let word = label.split(' ').next().unwrap_or_default();
        if first.len() <= word.len() {
            first.resize(word.len() + 1, Vec::new());
        }
        if !first[word.len()].contains(&word) {
            first[word.len()].push(word);
        }
    }
    first
});

/// Whether a line may hold a label. It says so of every line that does, and costs next to nothing: a night has a
/// hundred thousand rows, and none of them is worth taking apart.
pub(super) fn may_label(line: &str) -> bool {
    // Accents are spelt in more ways than one.
    !line.is_ascii() || begins_label(line)
}

/// Whether a label's first word is in a line, as it is written without accents.
pub(super) fn begins_label(line: &str) -> bool {
    let mut rest = line.as_bytes();
    let mut before: &[u8] = b"";
    // Most of a row is digits: they are passed over a byte at a time, and nothing else is done.
    while let Some(from) = rest.iter().position(u8::is_ascii_alphabetic) {
        rest = &rest[from..];
        let end = rest.iter().position(|byte| !byte.is_ascii_alphabetic()).unwrap_or(rest.len());
        let run;
        (run, rest) = rest.split_at(end);
        if is_first(before, run) {
            return true;
        }
        before = run;
    }
    false
}

/// Whether a word begins a label. Of letters that stand alone two do: `s/n`, `D.O.B.`.
fn is_first(before: &[u8], word: &[u8]) -> bool {
    match (before, word) {
        ([first], [second]) => {
            let two = [first.to_ascii_uppercase(), second.to_ascii_uppercase()];
            two == *b"SN" || two == *b"DO"
        }
        (_, [_]) => false,
        _ => {
            let known = FIRST.get(word.len()).map_or(&[][..], Vec::as_slice);
            known.iter().any(|first| first.as_bytes().eq_ignore_ascii_case(word))
        }
    }
}

pub(super) fn bare(text: &str) -> &str {
    text.trim_matches(|sign: char| {
        sign.is_whitespace() || matches!(sign, '"' | '\'' | ',' | ';' | '|' | '<' | '>' | ':' | '=')
    })
}

/// The labelled values of a line: `label: value` any number of times, `label;value`, or a sure label and words.
pub(super) fn pairs(line: &str) -> Vec<(Kind, String)> {
    let with_sign = signed(line);
    if !with_sign.is_empty() {
        return with_sign;
    }
    let cut = [';', '\t', '|', ','].into_iter().find(|sign| line.contains(*sign));
    if let Some(cut) = cut {
        return celled(line, cut);
    }
    let all: Vec<&str> = line.split_whitespace().collect();
    let sure = |first: usize| {
        all.get(..first).map(|label| label.join(" ")).and_then(|label| {
            let kind = kind_of(&label)?;
            let single = first == 1
                && !matches!(
                    words(&label).join(" ").as_str(),
                    "DOB" | "MRN" | "NHS" | "BORN" | "SURNAME"
                );
            (!single && all.len() > first).then(|| (kind, all[first..].join(" ")))
        })
    };
    (1..=4).rev().find_map(sure).into_iter().collect()
}

/// What stands behind `Pt:` or `Client =`: words for the person. Short as it is, `Pt` is a label only where a line
/// begins with it and a sign follows.
pub(super) fn titled(line: &str) -> Option<&str> {
    let (label, name) = line.split_once([':', '='])?;
    let label = words(label).join(" ");
    ["PT", "PT NAME", "CLIENT", "CLIENT NAME"].contains(&label.as_str()).then_some(name)
}

fn signed(line: &str) -> Vec<(Kind, String)> {
    let mut found: Vec<(usize, usize, Kind)> = Vec::new();
    for (at, sign) in line.char_indices().filter(|(_, sign)| matches!(sign, ':' | '=')) {
        let before = &line[..at];
        let from = before.rfind([',', ';', '|', '\t', '<', ':', '=']).map_or(0, |cut| cut + 1);
        let whole = kind_of(&before[from..]).map(|kind| (from, kind));
        // `Patient: SMITH DOB: 1933`: the last words before the sign are the label.
        let last = || {
            let starts: Vec<usize> = before[from..]
                .char_indices()
                .filter(|(_, one)| *one == ' ')
                .map(|(at, _)| from + at + 1)
                .collect();
            starts.into_iter().find_map(|start| {
                kind_of(&before[start..]).filter(|_| !found.is_empty()).map(|kind| (start, kind))
            })
        };
        if let Some((from, kind)) = whole.or_else(last) {
            found.push((from, at + sign.len_utf8(), kind));
        }
    }
    let ends = found.iter().skip(1).map(|next| next.0).chain([line.len()]);
    found
        .iter()
        .zip(ends)
        .map(|((_, from, kind), end)| (*kind, bare(&line[*from..end.max(*from)]).to_owned()))
        .collect()
}

fn celled(line: &str, cut: char) -> Vec<(Kind, String)> {
    let cells: Vec<&str> = line.split(cut).map(bare).collect();
    let mut found: Vec<(Kind, String)> = Vec::new();
    let mut open = false;
    for cell in cells {
        match kind_of(cell) {
            Some(kind) => {
                found.push((kind, String::new()));
                open = true;
            }
            None if open => {
                if let Some((kind, value)) = found.last_mut() {
                    // A name may go on behind its comma; anything else is one cell.
                    open = cut == ',' && matches!(kind, Kind::Name | Kind::Person);
                    value.push_str(if value.is_empty() { "" } else { ", " });
                    value.push_str(cell);
                }
            }
            None => {}
        }
    }
    found
}

/// The head of a table of samples: what parts its cells, and which columns speak of a person.
pub(super) fn table_head(line: &str) -> Option<(char, Vec<(usize, Kind)>)> {
    let cut = ['\t', ';', '|', ','].into_iter().find(|sign| line.contains(*sign)).unwrap_or(',');
    let cells: Vec<&str> = line.split(cut).map(bare).collect();
    let sample = |cell: &&str| {
        let first = words(cell).into_iter().next();
        kind_of(cell).is_none() && first.is_some_and(|word| COLUMNS.contains(&word.as_str()))
    };
    let heads = cells.iter().filter(|cell| sample(cell)).count();
    let labelled = cells.iter().enumerate().filter_map(|(at, cell)| Some((at, kind_of(cell)?)));
    let numbers = cells.iter().any(|cell| cell.starts_with(|sign: char| sign.is_ascii_digit()));
    (heads > 0 && cells.len() > 1 && !numbers && signed(line).is_empty())
        .then(|| (cut, labelled.collect()))
}
