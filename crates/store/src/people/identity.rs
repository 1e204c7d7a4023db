//! What a file says of the person in it, in whatever format, and whether that is the borrower.
//!
//! The fields of EDF and BDF, lines above the samples and remarks anywhere in a text, columns that repeat a
//! number on every row, and the file's name: all of them are read, all are compared whole, and none is kept.
//! The words below are common practice, no source; a file of other habits gives a doubt, never a wrong tie.

mod compare;
mod labels;
mod others;

use std::collections::BTreeSet;

use compare::BORN;
use compare::BORN_UNREAD;
use compare::FILE_NAME;
use compare::LIKE;
use compare::MORE;
use compare::NAME;
use compare::NHS;
use compare::NUMBER;
use compare::OTHER;
use compare::births;
pub(crate) use compare::contains;
use compare::decoded;
use compare::family_in;
use compare::free;
use compare::holds;
use compare::name_of_file;
use compare::number_is;
pub(crate) use compare::plain;
use compare::shape;
use compare::spellings;
pub(crate) use compare::words;
use compare::words_given;
use labels::Kind;
use labels::UNTOLD;
use labels::bare;
use labels::begins_label;
use labels::kind_word;
use labels::may_label;
use labels::pairs;
use labels::table_head;
use labels::titled;
use others::Said;

use crate::ident::nhs_number;
use crate::record::tables::Monitor;
use crate::record::tables::Person;

/// Lines above the samples and remarks that are looked at, at most: a file has no more to say of a person.
const LINES: usize = 500;
/// Rows that may hold a label and are taken apart, at most.
const ROWS: usize = 20_000;
/// Different values of a column that are compared, at most.
const VALUES: usize = 16;
/// A run of digits this long may be somebody's number.
const NUMBER_LEAST: usize = 5;
/// A count of seconds that names the hours around the recording is a time, not a number of somebody, s.
const STAMP_S: i64 = 7 * 86_400;

/// Everything a file says of a person and of its monitor. It is compared, shown to who settles, and forgotten.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FileIdentity {
    told: Vec<(Kind, String)>,
    loose: Vec<String>,
    /// Every line of words, whole: somebody else may stand beside what a label tells.
    lines: Vec<String>,
    name: String,
    serials: Vec<String>,
    head: String,
    start_at: Option<i64>,
    /// There are more lines of words than were looked at.
    more: bool,
}

/// A column that repeats something of a person on every row.
struct Column {
    at: usize,
    kind: Kind,
    values: BTreeSet<String>,
    last: String,
}

impl Column {
    fn new(at: usize, kind: Kind) -> Self {
        Self { at, kind, values: BTreeSet::new(), last: String::new() }
    }

    /// Takes its value from a row, where it is another than in the row before.
    fn row(&mut self, line: &str, cut: char) {
        if self.values.len() >= VALUES {
            return;
        }
        let value = line.split(cut).nth(self.at).map_or("", bare);
        if !value.is_empty() && value != self.last {
            value.clone_into(&mut self.last);
            self.values.insert(value.to_owned());
        }
    }
}

/// Somebody of the record as they are looked for in words: spelt once, for a file has many words and a record
/// many people.
#[derive(Clone, Debug)]
pub struct Spelt {
    id: i64,
    voided: bool,
    number: String,
    /// The digits of the number alone.
    digits: String,
    nhs: String,
    family: String,
    /// The family name in every spelling.
    families: Vec<String>,
    given: Vec<String>,
    born_on: String,
    /// Whether a study or a loan of theirs is open.
    current: bool,
}

impl Spelt {
    /// Somebody, spelt.
    pub fn new(person: &Person) -> Self {
        Self {
            id: person.id,
            voided: person.voided_at.is_some(),
            number: plain(&person.mrn),
            digits: figures(&person.mrn),
            nhs: person.nhs_number.as_deref().map(figures).unwrap_or_default(),
            family: plain(&person.family),
            families: families(&person.family),
            given: words(&person.given),
            born_on: person.born_on.clone(),
            current: false,
        }
    }

    /// The same as somebody with an open study or loan, or as one without.
    #[must_use]
    pub fn current(mut self, is: bool) -> Self {
        self.current = is;
        self
    }
}

/// What the record knows beside the borrower.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// Everybody in the record.
    pub people: &'a [Spelt],
    /// Every monitor.
    pub monitors: &'a [Monitor],
}

impl FileIdentity {
    /// Reads what a file of any format says. `marks` are the words of its annotations, `start_at` when it begins.
    pub fn of(bytes: &[u8], name: &str, marks: &[String], start_at: Option<i64>) -> Self {
        let stem = name.rsplit(['/', '\\']).next().unwrap_or(name);
        let mut found = Self { name: stem.to_owned(), start_at, ..Self::default() };
        if engine::read::edf::looks_like(bytes) {
            found.edf(bytes);
        } else if let Some(text) = decoded(bytes) {
            found.text(&text);
        }
        for mark in marks.iter().take(LINES) {
            found.line(mark);
        }
        found
    }

    /// The fields of EDF and BDF: in EDF+ code, sex, day of birth and name with `X` for what is not told
    /// (`kemp-2003`, 2.1.3.3); in plain EDF free words for the person.
    fn edf(&mut self, bytes: &[u8]) {
        let field = |from: usize, to: usize| {
            let bytes = bytes.get(from..to).unwrap_or_default();
            bytes.iter().map(|byte| char::from(*byte)).collect::<String>().trim().to_owned()
        };
        let (patient, recording, plus) = (field(8, 88), field(88, 168), field(192, 236));
        self.head = format!("{patient}\n{recording}");
        self.lines.push(patient.replace('_', " "));
        if plus.starts_with("EDF+") || plus.starts_with("BDF+") {
            // Systems write a name with blanks: what stands behind the day of birth is the name, or more of who it is.
            let mut name: Vec<String> = Vec::new();
            let parts = patient.split_ascii_whitespace();
            for (at, part) in parts.map(|part| part.replace('_', " ")).enumerate() {
                match at {
                    0 => self.tell(Kind::Number, &part),
                    1 if SEXES.contains(&part.to_uppercase().as_str()) => {}
                    2 => self.tell(Kind::Born, &part),
                    _ if UNTOLD.contains(&words(&part).join(" ").as_str()) => {}
                    _ => name.push(part),
                }
            }
            self.tell(Kind::Name, &name.join(" "));
        } else if pairs(&patient).is_empty() {
            self.tell(Kind::Person, &patient);
        } else {
            self.line(&patient);
        }
        self.line(&recording.replace('_', " "));
    }

    fn text(&mut self, text: &str) {
        let (mut samples, mut seen, mut rows) = (false, 0, 0);
        let mut columns: Vec<Column> = Vec::new();
        let mut cut = ',';
        for line in text.lines() {
            for column in &mut columns {
                column.row(line, cut);
            }
            let start = line.trim_start_matches(['"', '\'', ' ', '\t', '\u{feff}']);
            if start.is_empty() {
                continue;
            }
            let remark = start.starts_with(['#', '%', '!', '/', '*', '<', '@']);
            let digits = start.starts_with(|sign: char| sign.is_ascii_digit());
            // A line that begins with a number heads no table.
            let heads = !digits && !samples && rows < ROWS;
            if let Some((sign, named)) = heads.then(|| table_head(line)).flatten() {
                self.lines.push(line.to_owned());
                (cut, samples) = (sign, true);
                columns = named.into_iter().map(|(at, kind)| Column::new(at, kind)).collect();
                continue;
            }
            // A row of samples has no label in it, and there are a hundred thousand of them. Where a label stands
            // in one or below them all the same, it counts.
            if (samples || digits) && !remark {
                let labelled = may_label(start);
                if labelled && rows >= ROWS {
                    self.more |= begins_label(start);
                    continue;
                }
                rows += usize::from(labelled);
                if !labelled || pairs(start).is_empty() {
                    // Above the samples a line may begin with a figure and go on in words.
                    if !samples && self.lines.len() < LINES && has_word(start) {
                        self.lines.push(start.to_owned());
                    }
                    continue;
                }
            }
            if seen >= LINES {
                self.more = true;
                continue;
            }
            seen += 1;
            self.head.push_str(line);
            self.head.push('\n');
            self.line(start);
        }
        for column in columns {
            for value in column.values {
                self.tell(column.kind, &value);
                self.lines.push(value);
            }
        }
    }

    /// One line of words: its labelled values, or loose words.
    fn line(&mut self, line: &str) {
        let line =
            line.trim_start_matches(['#', '%', '!', '/', '*', '<', '@', ';', ' ', '\t', '"', '\'']);
        self.lines.push(line.to_owned());
        let found = pairs(line);
        match titled(line).filter(|_| found.is_empty()) {
            Some(name) => self.tell(Kind::Person, name),
            None if found.is_empty() => self.loose.push(line.to_owned()),
            None => {}
        }
        for (kind, value) in found {
            self.tell(kind, &value);
        }
    }

    fn tell(&mut self, kind: Kind, value: &str) {
        let value = bare(value);
        if value.is_empty()
            || UNTOLD.contains(&words(value).join(" ").as_str())
            || words(value).is_empty()
        {
            return;
        }
        if kind == Kind::Serial {
            self.serials.push(value.to_owned());
        } else {
            self.told.push((kind, value.to_owned()));
        }
    }

    /// The words in which a monitor's serial number may stand, beside the file's name.
    pub fn head(&self) -> &str {
        &self.head
    }

    /// Whether the file gives a serial number of its own that is none of the department's.
    pub fn strange_serial(&self, monitors: &[Monitor]) -> bool {
        let ours = |text: &String| monitors.iter().any(|one| holds(&words(text), &one.serial));
        self.serials.iter().any(|text| !ours(text))
    }

    /// What the file says of its person, for whoever settles whose it is: shown, never kept.
    pub fn says(&self) -> Vec<String> {
        self.told.iter().map(|(kind, value)| format!("{}: {value}", kind_word(*kind))).collect()
    }

    /// What in the file is not as it is in the record; each sentence once, and none of the file's own words.
    pub fn against(&self, person: &Person, known: Known<'_>) -> Vec<String> {
        let mut doubts = BTreeSet::new();
        for (kind, value) in &self.told {
            if known.monitors.iter().any(|one| plain(&one.serial) == plain(value)) {
                continue;
            }
            match kind {
                Kind::Number if !number_is(value, person) => doubts.insert(NUMBER),
                Kind::Born => match births(value) {
                    days if days.is_empty() => doubts.insert(BORN_UNREAD),
                    days if days.iter().all(|day| !person.born_on.starts_with(day.as_str())) => {
                        doubts.insert(BORN)
                    }
                    _ => false,
                },
                Kind::Family if !family_in(value, person).is_some_and(|left| left.is_empty()) => {
                    doubts.insert(NAME)
                }
                Kind::Given if !words_given(&words(value), person) => doubts.insert(NAME),
                Kind::Name | Kind::Person => {
                    doubts.extend(free(value, person));
                    false
                }
                _ => false,
            };
        }
        for text in &self.loose {
            doubts.extend(self.foreign(text, person, known));
        }
        if self.more {
            doubts.insert(MORE);
        }
        doubts.extend(self.foreign(&self.name, person, known));
        if self.speaks_of_another(person, known) {
            doubts.insert(OTHER);
        }
        doubts.extend(name_of_file(&self.name, person, known));
        ORDER.iter().filter(|one| doubts.contains(*one)).map(|one| (*one).to_owned()).collect()
    }

    /// Which kinds of what the file says are the borrower's.
    pub fn agrees(&self, person: &Person) -> Vec<&'static str> {
        let mut all = Vec::new();
        for (kind, value) in &self.told {
            let is = match kind {
                Kind::Number => number_is(value, person),
                Kind::Born => births(value).contains(&person.born_on),
                Kind::Name | Kind::Person => free(value, person).is_empty(),
                Kind::Family => family_in(value, person).is_some(),
                Kind::Given => words_given(&words(value), person),
                Kind::Serial => false,
            };
            if is && !all.contains(&kind_word(*kind)) {
                all.push(kind_word(*kind));
            }
        }
        all
    }

    /// Whether anything that stands outside the samples, or the file's name, is another patient's of the record.
    fn speaks_of_another(&self, person: &Person, known: Known<'_>) -> bool {
        let lines = self.lines.iter().chain([&self.name]).map(String::as_str);
        let said = Said::of(lines, &person.born_on, self.start_at, known);
        let own = Spelt::new(person);
        let name = Said::name(&format!("{} {} {0}", person.family, person.given));
        let mut others = known.people.iter().filter(|one| one.id != person.id && !one.voided);
        others.any(|other| said.speaks_of(other, &own, &name))
    }

    /// A number in words that no label explains, which is like a patient's and not the borrower's.
    fn foreign(&self, text: &str, person: &Person, known: Known<'_>) -> Vec<&'static str> {
        let mut doubts = Vec::new();
        let all = words(text);
        let serial = |word: &str| {
            known.monitors.iter().any(|one| {
                words(&one.serial).iter().any(|part| part == word) || plain(&one.serial) == word
            })
        };
        let stamp = |word: &str| {
            let at = word.parse::<i64>().ok().zip(self.start_at);
            at.is_some_and(|(at, start)| (at - start).abs() < STAMP_S)
        };
        let own = |word: &str| number_is(word, person);
        let other_nhs = |word: &String| nhs_number(word).is_ok() && !own(word) && !stamp(word);
        let triples = all
            .windows(3)
            .filter(|three| [3, 3, 4] == [three[0].len(), three[1].len(), three[2].len()]);
        if all.iter().cloned().chain(triples.map(<[String]>::concat)).any(|word| other_nhs(&word)) {
            doubts.push(NHS);
        }
        let shape = shape(&plain(&person.mrn));
        let like = |word: &&String| {
            self::shape(word) == shape && word.len() > NUMBER_LEAST && births(word).is_empty()
        };
        if all.iter().filter(like).any(|word| !own(word) && !serial(word) && !stamp(word)) {
            doubts.push(LIKE);
        }
        doubts
    }
}

/// The digits of a number.
fn figures(text: &str) -> String {
    text.chars().filter(char::is_ascii_digit).collect()
}

/// A family name in every spelling, each once.
fn families(name: &str) -> Vec<String> {
    let mut all: Vec<String> = spellings(name).iter().map(|name| plain(name)).collect();
    all.dedup();
    all.retain(|name| !name.is_empty());
    all
}

/// Whether a line has a word in it, and not the letters of a date and a time alone.
fn has_word(line: &str) -> bool {
    line.split(|sign: char| !sign.is_alphabetic()).any(|word| word.chars().count() >= 3)
}

/// What the field of the sex in EDF+ may hold; anything else there is more of who it is.
const SEXES: [&str; 8] = ["X", "M", "F", "U", "O", "MALE", "FEMALE", "W"];

/// Every doubt in the order it is told.
const ORDER: [&str; 9] = [NUMBER, BORN, BORN_UNREAD, NAME, NHS, LIKE, OTHER, MORE, FILE_NAME];

#[cfg(test)]
mod tests;
