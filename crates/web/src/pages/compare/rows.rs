//! Sides, figures and rules as they stand on the page.

use engine::compare::Beside;
use engine::compare::Comparison;
use engine::compare::Difference;
use engine::compare::Held;
use engine::compare::Line;
use engine::compare::Rule;
use engine::report::duration;

use super::Shown;

/// What is said of one side.
pub(super) struct SideCard {
    pub(super) letter: char,
    pub(super) at: usize,
    pub(super) night: i64,
    pub(super) when: String,
    pub(super) headline: String,
    pub(super) decision: String,
    /// Label and words.
    pub(super) facts: Vec<(&'static str, String)>,
}

impl SideCard {
    pub(super) fn new(shown: &Shown) -> Self {
        let (report, side) = (&shown.opened.report, &shown.side);
        let compared = engine::compare::Side {
            night: side.night.id,
            reader: side.reader.as_deref(),
            monitor: side.monitor.as_deref(),
            judgement: &shown.opened.judgement,
            report,
            criteria: &shown.opened.criteria,
        };
        let read = match (&side.reader, &side.version) {
            (Some(reader), Some(what)) => format!("{reader}; an earlier version: {what}"),
            (Some(reader), None) => reader.clone(),
            (None, Some(what)) => format!("nobody by hand; an earlier version: {what}"),
            (None, None) => "nobody by hand".to_owned(),
        };
        let stamp = &report.provenance;
        let not_told = || "not told".to_owned();
        let mut facts = vec![
            ("Breathing", compared.support().unwrap_or_else(not_told)),
            ("Read by", read),
            ("Criteria", format!("{} {}", stamp.criteria_name, stamp.criteria_version)),
            ("Believed", believed(shown)),
            ("Scored", report.night.period.clone()),
            ("CO2", report.correction.sentence.clone()),
            ("Averaging", averaging(shown)),
            ("Monitor", side.monitor.clone().unwrap_or_else(not_told)),
        ];
        if !report.night.told.is_empty() {
            facts.insert(1, ("Told", report.night.told.join(" ")));
        }
        Self {
            letter: shown.letter,
            at: usize::from(shown.letter as u8 - b'A'),
            night: side.night.id,
            when: report.night.date.clone().unwrap_or_else(|| "of unknown date".to_owned()),
            headline: report.headline.clone(),
            decision: report.decision_words.clone(),
            facts,
        }
    }
}

fn believed(shown: &Shown) -> String {
    let one = |quality: &engine::report::Quality| {
        format!("{} {}", quality.name, duration(quality.believed_s))
    };
    shown.opened.report.quality.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn averaging(shown: &Shown) -> String {
    let notes = &shown.opened.judgement.scores.corrected.screened.notes;
    notes.monitor.averaging_s.map_or_else(
        || "not told".to_owned(),
        |seconds| format!("{} s", engine::report::fixed(seconds, 0)),
    )
}

/// Figures of one channel.
pub(super) struct FigureGroup {
    pub(super) title: String,
    pub(super) rows: Vec<FigureRow>,
}

/// One figure.
pub(super) struct FigureRow {
    pub(super) name: String,
    pub(super) definition: String,
    pub(super) cells: Vec<Number>,
    /// Those of the sides after the first.
    pub(super) differences: Vec<Number>,
    pub(super) beside: Vec<String>,
}

impl FigureRow {
    /// The difference of the side at this place, where there are too many for a column each.
    pub(super) fn less(&self, at: usize) -> Option<&Number> {
        if self.differences.len() < 2 {
            return None;
        }
        at.checked_sub(1).and_then(|at| self.differences.get(at))
    }
}

/// A number with what it could be.
pub(super) struct Number {
    pub(super) label: String,
    pub(super) words: String,
    pub(super) range: Option<String>,
}

/// The figures by channel.
pub(super) fn groups(found: &Comparison, letters: &[char]) -> Vec<FigureGroup> {
    let group = |group: &engine::compare::Group| FigureGroup {
        title: group.title.clone(),
        rows: group.lines.iter().map(|line| figure(line, letters)).collect(),
    };
    found.groups.iter().map(group).collect()
}

fn figure(line: &Line, letters: &[char]) -> FigureRow {
    let cells = line.cells.iter().zip(letters).map(|(cell, letter)| Number {
        label: letter.to_string(),
        words: cell.words.clone(),
        range: cell.range.clone(),
    });
    let differences = line.differences.iter().zip(letters.iter().skip(1));
    let differences = differences.map(|(difference, letter)| Number {
        label: format!("{letter} \u{2212} {}", letters[0]),
        words: difference.words.clone(),
        range: difference.range.clone(),
    });
    FigureRow {
        name: line.name.clone(),
        definition: line.definition.clone(),
        cells: cells.collect(),
        differences: differences.collect(),
        beside: beside(&line.differences, letters),
    }
}

/// What stands beside the differences, each once, with the sides it is said of where not all say the same.
fn beside(differences: &[Difference], letters: &[char]) -> Vec<String> {
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for (one, letter) in differences.iter().zip(letters.iter().skip(1)) {
        for words in sentences(&one.beside) {
            match said.iter_mut().find(|(known, _)| *known == words) {
                Some((_, sides)) => sides.push(letter.to_string()),
                None => said.push((words, vec![letter.to_string()])),
            }
        }
    }
    let all = differences.len();
    let named = said.into_iter().map(|(words, sides)| match sides.len() {
        n if n == all => words,
        _ => format!("{}: {words}", sides.join(" and ")),
    });
    named.collect()
}

fn sentences(beside: &Beside) -> Vec<String> {
    match beside {
        Beside::Published(held) => held.iter().map(whom).collect(),
        other => other.words(),
    }
}

/// Whether a difference is larger, and in whom that was seen.
fn whom(held: &Held) -> String {
    let spread = held.spread;
    format!("{}: {} ({})", held.words(), spread.population, spread.source)
}

/// One rule.
pub(super) struct RuleRow {
    pub(super) asks: String,
    pub(super) needed: bool,
    /// Whether the sides that ask it answer differently.
    pub(super) apart: bool,
    pub(super) answers: Vec<AnswerCell>,
    pub(super) source: String,
}

/// An answer on one side.
pub(super) struct AnswerCell {
    pub(super) label: char,
    pub(super) words: &'static str,
    pub(super) margin: Option<String>,
}

/// The rules: those a question needs first, then those that are answered differently, then the others.
pub(super) fn rules(found: &Comparison, letters: &[char]) -> Vec<RuleRow> {
    let mut rows: Vec<RuleRow> = found.rules.iter().map(|rule| rule_row(rule, letters)).collect();
    rows.sort_by_key(|row| (!row.needed, !row.apart));
    rows
}

fn rule_row(rule: &Rule, letters: &[char]) -> RuleRow {
    let mut given = rule.answers.iter().flatten().map(|(answer, _)| *answer);
    let first = given.next();
    let apart = given.any(|answer| Some(answer) != first);
    let cells = rule.answers.iter().zip(letters).map(|(answer, letter)| match answer {
        Some((answer, margin)) => {
            AnswerCell { label: *letter, words: answer.words(), margin: margin.clone() }
        }
        None => AnswerCell { label: *letter, words: "not asked", margin: None },
    });
    RuleRow {
        asks: rule.asks.clone(),
        needed: rule.needed,
        apart,
        answers: cells.collect(),
        source: rule.source.clone(),
    }
}

/// The published spreads that were used: whom and what, with what is not known of it, and its key.
pub(super) fn spreads(found: &Comparison) -> Vec<(String, &'static str, &'static str)> {
    let one = |spread: &&'static engine::compare::Spread| {
        let first = crate::form::sentence(&format!("{}: {}", spread.population, spread.says));
        (first, spread.care, spread.source)
    };
    found.spreads.iter().map(one).collect()
}
