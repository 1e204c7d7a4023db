//! A first guess at a column map, and what only a person can answer.

use super::ColumnMap;

/// One question about a text, in plain words, with the answers that can be given.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The question.
    pub text: String,
    /// What may be answered; the first is the likeliest.
    pub choices: Vec<Choice>,
}

/// One answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The answer in words.
    pub label: String,
}

/// The best guess at a map.
pub fn propose(_bytes: &[u8]) -> (ColumnMap, Vec<Question>) {
    (ColumnMap::default(), Vec::new())
}
