//! A set laid out for reading: its values part by part, its rules and questions, and what differs.

use engine::criteria::Criteria;
use engine::criteria::Difference;
use engine::criteria::Kind;
use engine::criteria::SECTIONS;
use engine::criteria::Said;
use engine::criteria::Value;

use crate::form::sentence;

/// One thing that differs.
pub(super) struct Row {
    /// What kind of thing, in a word.
    pub(super) kind: &'static str,
    /// What it means.
    pub(super) meaning: String,
    /// Its key or id.
    pub(super) key: String,
    /// What this set says, with its source.
    pub(super) here: (String, String),
    /// What the other says.
    pub(super) there: (String, String),
}

/// Rows of differences.
pub(super) fn rows(all: &[Difference]) -> Vec<Row> {
    all.iter().map(row).collect()
}

fn row(one: &Difference) -> Row {
    let absent = match one.kind {
        Kind::Question => "not offered",
        Kind::Value => "not stated",
        _ => "not asked",
    };
    let both = one.here.is_some() && one.there.is_some();
    let side = |said: &Option<Said>| match said {
        None => (absent.to_owned(), String::new()),
        // A rule's words stand beside it already, unless they differ.
        Some(said) if one.kind == Kind::Rule && !both => ("asked".to_owned(), said.source.clone()),
        Some(said) => {
            (format!("{} {}", said.words, one.unit).trim_end().to_owned(), said.source.clone())
        }
    };
    Row {
        kind: match one.kind {
            Kind::About => "about it",
            Kind::Value => "value",
            Kind::Rule => "rule",
            Kind::Question => "question",
        },
        // What a value means is a sentence already, which may begin with a symbol.
        meaning: match one.kind {
            Kind::About | Kind::Value => one.meaning.clone(),
            Kind::Rule | Kind::Question => sentence(&one.meaning),
        },
        key: if one.section.is_empty() {
            one.key.clone()
        } else {
            format!("{}.{}", one.section, one.key)
        },
        here: side(&one.here),
        there: side(&one.there),
    }
}

/// A part of a set with its values.
pub(super) struct Part {
    pub(super) title: String,
    /// How many of them differ, in words; empty when none does.
    pub(super) differ: String,
    pub(super) lines: Vec<ValueLine>,
}

/// A value to be read.
pub(super) struct ValueLine {
    pub(super) meaning: &'static str,
    pub(super) key: &'static str,
    pub(super) value: String,
    pub(super) source: String,
    /// What the shipped set says, where it differs.
    pub(super) shipped: Option<String>,
}

/// A number with its unit.
pub(super) fn amount(value: &Value<'_>) -> String {
    format!("{} {}", value.setting.value, value.unit).trim_end().to_owned()
}

/// Every value, part by part, those that differ from `base` marked.
pub(super) fn parts(set: &Criteria, base: &Criteria) -> Vec<Part> {
    let (own, shipped) = (set.values(), base.values());
    let both: Vec<(Value<'_>, Value<'_>)> = own.into_iter().zip(shipped).collect();
    let part = |(section, title): &(&str, &str)| {
        let lines: Vec<ValueLine> =
            both.iter().filter(|(own, _)| own.section == *section).map(value_line).collect();
        let n = lines.iter().filter(|line| line.shipped.is_some()).count();
        let differ = if n == 0 { String::new() } else { super::things(n) };
        Part { title: sentence(title).trim_end_matches('.').to_owned(), differ, lines }
    };
    SECTIONS.iter().map(part).collect()
}

fn value_line((own, shipped): &(Value<'_>, Value<'_>)) -> ValueLine {
    let differs = own.setting != shipped.setting;
    ValueLine {
        meaning: own.meaning,
        key: own.key,
        value: amount(own),
        source: own.setting.source.clone(),
        shipped: differs.then(|| format!("{} ({})", amount(shipped), shipped.setting.source)),
    }
}

/// A rule that a set asks.
pub(super) struct Asked {
    pub(super) id: String,
    pub(super) asks: String,
    pub(super) source: String,
    /// That the shipped set does not ask it.
    pub(super) added: bool,
}

/// The rules of a set.
pub(super) fn asked(set: &Criteria, base: &Criteria) -> Vec<Asked> {
    let rows = set.rules.iter().map(|rule| Asked {
        id: rule.id.clone(),
        asks: sentence(&rule.asks),
        source: rule.source.clone(),
        added: !base.rules.contains(rule),
    });
    rows.collect()
}

/// The questions of a set, each with what the rules it needs ask.
pub(super) fn questions(set: &Criteria) -> Vec<(String, Vec<String>)> {
    let asks =
        |id: &String| set.rules.iter().find(|rule| rule.id == *id).map(|rule| rule.asks.clone());
    let rows = set
        .questions
        .iter()
        .map(|question| (question.asks.clone(), question.needs.iter().filter_map(asks).collect()));
    rows.collect()
}
