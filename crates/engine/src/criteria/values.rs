//! Every value of a set with its unit and range, and what differs between two sets.

use super::{AgeBand, Criteria, CriteriaError, Explained, Question, Rule, Setting};

/// The parts of a set that hold values: key in the file, and what the part is about.
pub const SECTIONS: [(&str, &str); 6] = [
    ("screen", "believing a sample"),
    ("correct", "correcting CO2"),
    ("score", "counting events"),
    ("judge", "judging the night"),
    ("report", "cautions on the report"),
    ("severe", "what is told first, whatever was asked"),
];

/// One value of a set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value<'a> {
    /// The part of the file it stands in, one of [`SECTIONS`].
    pub section: &'static str,
    /// Its key there.
    pub key: &'static str,
    /// What it means, as a sentence.
    pub meaning: &'static str,
    /// Its unit as a person reads it; empty for a count or a bare number.
    pub unit: &'static str,
    /// The number and its source.
    pub setting: &'a Setting,
}

impl Value<'_> {
    /// The lowest and the highest number that can stand here. Common practice, no source: they keep out slips
    /// of the pen, not judgement.
    pub fn range(&self) -> (f64, f64) {
        range(self.key, self.unit)
    }
}

/// What kind of thing differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The title or the age band.
    About,
    /// A value.
    Value,
    /// A rule.
    Rule,
    /// A question.
    Question,
}

/// What one of two sets says, and where that comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// A number without its unit, or words.
    pub words: String,
    /// Its source; empty where none is kept.
    pub source: String,
}

/// One thing that differs between two sets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What kind of thing.
    pub kind: Kind,
    /// The part of the file: one of [`SECTIONS`], or empty.
    pub section: &'static str,
    /// Its key or id.
    pub key: String,
    /// What it means or asks.
    pub meaning: String,
    /// Its unit; empty where there is none.
    pub unit: &'static str,
    /// What the one set says; `None` when it has no such rule or question.
    pub here: Option<Said>,
    /// What the other says.
    pub there: Option<Said>,
}

impl Criteria {
    /// Every value of the set, in the order of the file.
    pub fn values(&self) -> Vec<Value<'_>> {
        let parts = [
            self.screen.explained(),
            self.correct.explained(),
            self.score.explained(),
            self.judge.explained(),
            self.report.explained(),
            self.severe.as_ref().map_or_else(Vec::new, super::SevereCriteria::explained),
        ];
        SECTIONS
            .iter()
            .zip(parts)
            .flat_map(|((section, _), all)| all.into_iter().map(move |one| (*section, one)))
            .map(|(section, Explained { key, meaning, setting })| Value {
                section,
                key,
                meaning,
                unit: unit(key),
                setting,
            })
            .collect()
    }
}

/// What differs between two sets: title and age band, values, rules, questions.
pub fn differences(here: &Criteria, there: &Criteria) -> Vec<Difference> {
    let mut all = about(here, there);
    all.extend(values(here, there));
    let rule = |rule: &Rule| said(rule.asks.clone(), &rule.source);
    all.extend(lists((&here.rules, &there.rules), |one| (Kind::Rule, &one.id, &one.asks), rule));
    let question = |one: &Question| said(question_words(one), "");
    all.extend(lists(
        (&here.questions, &there.questions),
        |one| (Kind::Question, &one.id, &one.asks),
        question,
    ));
    all
}

/// Values that differ, or stand in one of the sets only: a set kept long ago lacks later ones.
fn values(here: &Criteria, there: &Criteria) -> Vec<Difference> {
    let (ours, theirs) = (here.values(), there.values());
    let same = |a: &Value<'_>, b: &Value<'_>| (a.section, a.key) == (b.section, b.key);
    let number = |value: &Value<'_>| said(value.setting.value.to_string(), &value.setting.source);
    let line = |of: &Value<'_>, a: Option<&Value<'_>>, b: Option<&Value<'_>>| Difference {
        kind: Kind::Value,
        section: of.section,
        key: of.key.to_owned(),
        meaning: of.meaning.to_owned(),
        unit: of.unit,
        here: a.map(number),
        there: b.map(number),
    };
    let mut all = Vec::new();
    for one in &ours {
        let other = theirs.iter().find(|other| same(one, other));
        if other.is_none_or(|other| other.setting != one.setting) {
            all.push(line(one, Some(one), other));
        }
    }
    let gone = theirs.iter().filter(|one| !ours.iter().any(|other| same(one, other)));
    all.extend(gone.map(|one| line(one, None, Some(one))));
    all
}

fn said(words: impl Into<String>, source: &str) -> Said {
    Said { words: words.into(), source: source.to_owned() }
}

fn about(here: &Criteria, there: &Criteria) -> Vec<Difference> {
    let line = |key: &str, meaning: &str, a: &str, b: &str| Difference {
        kind: Kind::About,
        section: "",
        key: key.to_owned(),
        meaning: meaning.to_owned(),
        unit: "",
        here: Some(said(a, "")),
        there: Some(said(b, "")),
    };
    let mut all = Vec::new();
    if here.title != there.title {
        all.push(line("title", "What the set is for.", &here.title, &there.title));
    }
    if here.age_band != there.age_band {
        let (a, b) = (age_words(here.age_band), age_words(there.age_band));
        all.push(line("age_band", "Whom it is for.", a, b));
    }
    all
}

/// An age band in words.
pub fn age_words(band: AgeBand) -> &'static str {
    match band {
        AgeBand::Adult => "adults",
        AgeBand::Child => "children after infancy",
        AgeBand::Infant => "infants",
    }
}

fn question_words(question: &Question) -> String {
    let breathing = match question.breathing {
        Some(super::BreathingAsked::Air) => "; asks of a night on air",
        Some(super::BreathingAsked::Told) => "; asks what was breathed",
        None => "",
    };
    format!(
        "{} from {}; needs {}{breathing}",
        question.asks,
        question.channels.join(" and "),
        question.needs.join(", ")
    )
}

/// What stands in one list only, or in both and otherwise. The order of a list is no difference.
fn lists<'a, T: PartialEq>(
    (here, there): (&'a [T], &'a [T]),
    named: impl Fn(&'a T) -> (Kind, &'a String, &'a String),
    words: impl Fn(&'a T) -> Said,
) -> Vec<Difference> {
    let find = |list: &'a [T], id: &str| list.iter().find(|one| named(one).1 == id);
    let line = |one: &'a T, a: Option<&'a T>, b: Option<&'a T>| {
        let (kind, id, meaning) = named(one);
        Difference {
            kind,
            section: "",
            key: id.clone(),
            meaning: meaning.clone(),
            unit: "",
            here: a.map(&words),
            there: b.map(&words),
        }
    };
    let mut all = Vec::new();
    for one in here {
        let other = find(there, named(one).1);
        if other != Some(one) {
            all.push(line(one, Some(one), other));
        }
    }
    let gone = there.iter().filter(|one| find(here, named(one).1).is_none());
    all.extend(gone.map(|one| line(one, None, Some(one))));
    all
}

/// Endings of keys and the units they stand for, the longer before those they end in.
const UNITS: [(&str, &str); 17] = [
    ("_kpa_per_min", "kPa/min"),
    ("_kpa_per_8h", "kPa in 8 h"),
    ("_mmhg_per_min", "mmHg/min"),
    ("_pct_per_s", "%/s"),
    ("_per_min", "/min"),
    ("_per_h", "/h"),
    ("_per_c", "/\u{b0}C"),
    ("_pct", "%"),
    ("_kpa", "kPa"),
    ("_times", "times"),
    ("_sds", "SD"),
    ("_samples", "samples"),
    ("_sd", "SD"),
    ("_min", "min"),
    ("_h", "h"),
    ("_c", "\u{b0}C"),
    ("_s", "s"),
];

/// The unit a key's name ends in, as a person reads it.
fn unit(key: &str) -> &'static str {
    UNITS.iter().find(|(ending, _)| key.ends_with(ending)).map_or("", |(_, unit)| unit)
}

fn range(key: &str, unit: &str) -> (f64, f64) {
    match unit {
        _ if key == "lag_correlation" => (0.0, 1.0),
        // A band of no width would take the sensor at its word.
        _ if key == "band_sds" => (1.0, 10.0),
        "%" | "%/s" => (0.0, 100.0),
        "/min" => (0.0, 400.0),
        "/\u{b0}C" => (0.0, 1.0),
        "\u{b0}C" => (20.0, 50.0),
        "kPa" | "kPa/min" | "kPa in 8 h" => (0.0, 30.0),
        "mmHg/min" => (0.0, 200.0),
        "SD" => (0.0, 10.0),
        "s" => (0.0, 86_400.0),
        "min" => (0.0, 1_440.0),
        "h" => (0.0, 48.0),
        _ => (0.0, 1_000.0),
    }
}

/// Refuses a value that is no number or out of its range.
pub(super) fn check_ranges(set: &Criteria) -> Result<(), CriteriaError> {
    let out = |one: &Value<'_>| {
        let (lowest, highest) = one.range();
        // A value that is no number lies in no range.
        !(lowest..=highest).contains(&one.setting.value)
    };
    let Some(wrong) = set.values().into_iter().find(out) else { return Ok(()) };
    let (lowest, highest) = wrong.range();
    Err(CriteriaError::Shape {
        set: set.name.clone(),
        detail: format!(
            "`{}.{}` is {}, expected {lowest} to {highest} {}",
            wrong.section, wrong.key, wrong.setting.value, wrong.unit
        )
        .trim_end()
        .to_owned(),
    })
}
