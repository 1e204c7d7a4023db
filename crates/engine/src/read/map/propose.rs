//! A first guess at a column map, and what only a person can answer.

use super::{ColumnEntry, ColumnMap, TimeFormat, WRITTEN};
use crate::read::text::probe::{self, Column, Probe};
use crate::recording::Quantity;

/// One question about a text, in plain words, with the answers that can be given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The question.
    pub text: String,
    /// What may be answered; the first is the likeliest.
    pub choices: Vec<Choice>,
}

/// One answer, and what it changes in the map: see [`ColumnMap::answer`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The answer in words.
    pub label: String,
    change: Change,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Change {
    Nothing,
    TimeColumn(String),
    TimeFormat(TimeFormat),
    Column { column: String, quantity: Quantity, unit: Option<&'static str> },
    Unit { column: String, unit: &'static str },
}

impl ColumnMap {
    /// Puts an answer to one of [`propose`]'s questions into the map.
    pub fn answer(&mut self, choice: &Choice) {
        match choice.change.clone() {
            Change::Nothing => {}
            Change::TimeColumn(column) => self.time.columns = vec![column],
            Change::TimeFormat(format) => self.time.format = Some(format),
            Change::Column { column, quantity, unit } => {
                self.columns.retain(|entry| entry.quantity != quantity.id());
                self.give(&column, quantity);
                if unit.is_some() {
                    self.entry(&column).unit = unit.map(str::to_owned);
                }
            }
            Change::Unit { column, unit } => self.entry(&column).unit = Some(unit.to_owned()),
        }
    }

    fn give(&mut self, column: &str, quantity: Quantity) {
        quantity.id().clone_into(&mut self.entry(column).quantity);
    }

    fn entry(&mut self, column: &str) -> &mut ColumnEntry {
        let known = self.columns.iter().position(|entry| entry.column == column);
        let at = known.unwrap_or_else(|| {
            let (column, quantity) = (column.to_owned(), Quantity::Other.id().to_owned());
            self.columns.push(ColumnEntry { column, quantity, unit: None, missing: None });
            self.columns.len() - 1
        });
        &mut self.columns[at]
    }
}

/// The best guess at a map of a delimited text, and the questions that it leaves open.
///
/// The answers are put into the map with [`ColumnMap::answer`]. Bytes that are no delimited text give
/// an empty map and no question: reading them says what they are.
pub fn propose(bytes: &[u8]) -> (ColumnMap, Vec<Question>) {
    let mut map = ColumnMap::default();
    let mut questions = Vec::new();
    let Some(probe) = probe::probe(bytes) else { return (map, questions) };
    map.delimiter = Some(match probe.delimiter {
        b'\t' => "tab".to_owned(),
        other => char::from(other).to_string(),
    });
    map.header_line = Some(probe.header_line);
    time(&probe, &mut map, &mut questions);
    for quantity in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2] {
        scored(&probe, quantity, &mut map, &mut questions);
    }
    for column in probe.columns.iter().filter(|column| scores(column.quantity).is_none()) {
        if let Some(quantity) = column.quantity.filter(|q| *q != Quantity::Other) {
            map.give(&column.reference, quantity);
        }
    }
    (map, questions)
}

fn scores(quantity: Option<Quantity>) -> Option<Quantity> {
    quantity.filter(|q| matches!(q, Quantity::Spo2 | Quantity::Pulse | Quantity::Tcpco2))
}

fn choice(label: impl Into<String>, change: Change) -> Choice {
    Choice { label: label.into(), change }
}

fn time(probe: &Probe, map: &mut ColumnMap, questions: &mut Vec<Question>) {
    map.time.columns.clone_from(&probe.time_columns);
    if probe.time_columns.is_empty() {
        let all = probe
            .columns
            .iter()
            .map(|column| choice(shown(column), Change::TimeColumn(column.reference.clone())));
        let text = "Which column holds the time?".to_owned();
        questions.push(Question { text, choices: all.collect() });
        let choices = WRITTEN.map(|(format, words)| choice(words, Change::TimeFormat(format)));
        let text = "How is the time written?".to_owned();
        questions.push(Question { text, choices: choices.into() });
    } else if probe.dates_in_doubt {
        questions.push(Question {
            text: format!("Dates such as {}: which comes first?", probe.first_time),
            choices: vec![
                choice("the day", Change::TimeFormat(TimeFormat::DayFirst)),
                choice("the month", Change::TimeFormat(TimeFormat::MonthFirst)),
            ],
        });
    }
}

fn shown(column: &Column) -> String {
    format!("`{}` (first value `{}`)", column.label, column.first)
}

/// The column of a scored quantity: known by name, or asked for.
fn scored(probe: &Probe, quantity: Quantity, map: &mut ColumnMap, questions: &mut Vec<Question>) {
    let of = |quantity| probe.columns.iter().filter(move |c| c.quantity == Some(quantity));
    let named: Vec<&Column> = of(quantity).collect();
    if let [only] = named[..] {
        map.give(&only.reference, quantity);
        if quantity == Quantity::Tcpco2 && only.unit.is_empty() {
            let unit = |unit| Change::Unit { column: only.reference.clone(), unit };
            let choices = units(only).iter().map(|u| choice(*u, unit(u))).collect();
            let text = format!("In which unit is {}?", shown(only));
            questions.push(Question { text, choices });
        }
        return;
    }
    let mut choices = Vec::new();
    let candidates = if named.is_empty() { of(Quantity::Other).collect() } else { named.clone() };
    for column in candidates {
        let change = |unit| Change::Column { column: column.reference.clone(), quantity, unit };
        if quantity == Quantity::Tcpco2 && column.unit.is_empty() {
            // A unit is proposed from the numbers, never taken.
            for unit in units(column) {
                choices.push(choice(format!("{}, in {unit}", shown(column)), change(Some(unit))));
            }
        } else {
            choices.push(choice(shown(column), change(None)));
        }
    }
    if named.is_empty() && !choices.is_empty() {
        choices.insert(0, choice("none", Change::Nothing));
    }
    if !choices.is_empty() {
        let text = format!("Which column holds {}?", quantity.name());
        questions.push(Question { text, choices });
    }
}

/// The units a CO2 column may be in, the likelier first.
fn units(column: &Column) -> [&'static str; 2] {
    if column.looks_like == Some("mmHg") { ["mmHg", "kPa"] } else { ["kPa", "mmHg"] }
}
