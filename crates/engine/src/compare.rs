//! `compare`: judgements of one person laid beside each other, each difference with the published spread from
//! night to night where there is one.
//!
//! Nothing here says better or worse. A difference is held against how much such a figure was seen to differ
//! between nights on which nothing was changed, in people who may be unlike this one; whether what was changed
//! made the difference, no comparison of two nights can tell.

use crate::criteria::Criteria;
use crate::judge::Answer;
use crate::judge::Judgement;
use crate::recording::MarkKind;
use crate::report::FigureGroup;
use crate::report::FigureLine;
use crate::report::Report;
use crate::report::RuleLine;
use crate::score::Figure;

mod difference;
mod spread;
mod warnings;

pub use difference::Beside;
pub use difference::Difference;
pub use difference::Held;
pub use difference::Larger;
pub use spread::SPREADS;
pub use spread::Size;
pub use spread::Spread;
pub use spread::spreads_of;
pub use warnings::Warning;

/// One of the judgements laid beside each other.
#[derive(Clone, Copy, Debug)]
pub struct Side<'a> {
    /// Which night it is: sides with the same number are one night judged in several ways.
    pub night: i64,
    /// Who judged it by hand last; `None` when nobody did.
    pub reader: Option<&'a str>,
    /// Which monitor recorded it; `None` when nobody knows.
    pub monitor: Option<&'a str>,
    /// The judgement.
    pub judgement: &'a Judgement,
    /// The same as plain data.
    pub report: &'a Report,
    /// The criteria it was held against.
    pub criteria: &'a Criteria,
}

impl Side<'_> {
    /// What was breathed and what supported the breathing, in words: the diary's word, and the marks of
    /// support and oxygen. `None` when nobody said.
    pub fn support(&self) -> Option<String> {
        let screened = &self.judgement.scores.corrected.screened;
        let mut said: Vec<String> = screened.notes.breathing.iter().cloned().collect();
        for mark in screened.recording.marks.iter().chain(&screened.notes.marks) {
            let word = match mark.kind {
                MarkKind::Support => "support",
                MarkKind::Oxygen => "oxygen",
                _ => continue,
            };
            let words = if mark.text.is_empty() {
                format!("{word} marked")
            } else {
                format!("{word}: {}", mark.text)
            };
            if !said.contains(&words) {
                said.push(words);
            }
        }
        (!said.is_empty()).then(|| said.join(", "))
    }
}

/// The letter a side is spoken of by.
pub fn letter(at: usize) -> char {
    ["A", "B", "C", "D", "E", "F", "G", "H"]
        .get(at)
        .and_then(|letter| letter.chars().next())
        .unwrap_or('?')
}

/// Judgements beside each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What must be known before a difference is believed, the gravest first.
    pub warnings: Vec<Warning>,
    /// The figures by channel; those that no side can give are left out.
    pub groups: Vec<Group>,
    /// The rules that any side asks, those a side's question needs first.
    pub rules: Vec<Rule>,
    /// The published spreads that were held against a difference, in the order of the table.
    pub spreads: Vec<&'static Spread>,
}

/// Figures of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// `Oxygen`, `Carbon dioxide`, `Pulse`.
    pub title: String,
    /// Its figures.
    pub lines: Vec<Line>,
}

/// One figure on every side.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Its id.
    pub id: String,
    /// The name a person reads.
    pub name: String,
    /// Its unit as printed; empty for a length of time.
    pub unit: String,
    /// Its definition in one sentence.
    pub definition: String,
    /// The figure on each side.
    pub cells: Vec<Cell>,
    /// Each side after the first less the first.
    pub differences: Vec<Difference>,
}

/// A figure on one side.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// The number, lowest and highest, as computed; or why there is none.
    pub figure: Figure,
    /// The number with its unit as printed, or why there is none.
    pub words: String,
    /// What the unbelieved time could make of it; `None` when it could change nothing.
    pub range: Option<String>,
    /// Believed seconds it stands on.
    pub seconds: f64,
}

/// One rule on every side.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Its id.
    pub id: String,
    /// What it asks.
    pub asks: String,
    /// Whether the question of any side needs it.
    pub needed: bool,
    /// The answer on each side and how far the signal would have to shift to turn it; `None` where a side's
    /// criteria do not ask it in these words.
    pub answers: Vec<Option<(Answer, Option<String>)>>,
    /// Where it was published.
    pub source: String,
}

/// Lays judgements beside each other; differences are those of each side from the first.
pub fn compare(sides: &[Side]) -> Comparison {
    let groups = groups(sides);
    let held = |spread: &&'static Spread| {
        let lines = groups.iter().flat_map(|group| &group.lines);
        lines.flat_map(|line| &line.differences).any(|difference| difference.is_against(spread))
    };
    let spreads = SPREADS.iter().filter(held).collect();
    Comparison { warnings: warnings::warnings(sides), rules: rules(sides), spreads, groups }
}

fn groups(sides: &[Side]) -> Vec<Group> {
    let Some(first) = sides.first() else { return Vec::new() };
    let group = |group: &FigureGroup| {
        let lines: Vec<Line> =
            group.lines.iter().filter_map(|figure| line(sides, figure)).collect();
        (!lines.is_empty()).then(|| Group { title: group.title.clone(), lines })
    };
    first.report.figures.iter().filter_map(group).collect()
}

/// A figure by id.
fn figure_of<'a>(report: &'a Report, id: &str) -> Option<&'a FigureLine> {
    report.figures.iter().flat_map(|group| &group.lines).find(|line| line.id == id)
}

/// One figure on every side; `None` when no side can give it.
fn line(sides: &[Side], of: &FigureLine) -> Option<Line> {
    let figures: Vec<Option<&FigureLine>> =
        sides.iter().map(|side| figure_of(side.report, &of.id)).collect();
    if !figures.iter().flatten().any(|figure| figure.value.is_some()) {
        return None;
    }
    let first = figures.first().copied().flatten();
    let differences = sides.iter().zip(&figures).skip(1).map(|(side, figure)| {
        let same_night = sides.first().is_some_and(|one| one.night == side.night);
        difference::difference(first, *figure, same_night)
    });
    Some(Line {
        id: of.id.clone(),
        name: of.name.clone(),
        unit: of.unit.clone(),
        definition: of.definition.clone(),
        cells: figures.iter().map(|figure| cell(*figure)).collect(),
        differences: differences.collect(),
    })
}

fn cell(figure: Option<&FigureLine>) -> Cell {
    let Some(line) = figure else {
        let why = "not among the figures of this side".to_owned();
        let figure = Figure::Absent(why.clone());
        return Cell { figure, words: why, range: None, seconds: 0.0 };
    };
    let words = match &line.value {
        Some(value) => with_mmhg(difference::with_unit(value, &line.unit), line.mmhg.as_deref()),
        None => line.absent.clone().unwrap_or_default(),
    };
    Cell { figure: line.figure.clone(), words, range: line.range.clone(), seconds: line.seconds }
}

fn with_mmhg(words: String, mmhg: Option<&str>) -> String {
    match mmhg {
        Some(mmhg) => format!("{words} ({mmhg} mmHg)"),
        None => words,
    }
}

fn rules(sides: &[Side]) -> Vec<Rule> {
    let mut all: Vec<Rule> = Vec::new();
    for (at, side) in sides.iter().enumerate() {
        for line in &side.report.rules {
            // A set of the department may ask under the same id for another level: that is another rule.
            let known = all.iter().position(|rule| rule.id == line.id && rule.asks == line.asks);
            let known = known.unwrap_or_else(|| {
                all.push(unanswered(line, sides.len()));
                all.len() - 1
            });
            all[known].needed |= line.needed;
            all[known].answers[at] = Some((line.answer, line.margin.clone()));
        }
    }
    all.sort_by_key(|rule| !rule.needed);
    all
}

fn unanswered(line: &RuleLine, sides: usize) -> Rule {
    Rule {
        id: line.id.clone(),
        asks: line.asks.clone(),
        needed: line.needed,
        answers: vec![None; sides],
        source: line.source.clone(),
    }
}
