//! What a question must know of the breathing.

use serde::Deserialize;

/// What a question must know of the breathing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BreathingAsked {
    /// Its rules on oxygen were made for people breathing air and nothing else.
    Air,
    /// Air or not: it must be told.
    Told,
}

impl BreathingAsked {
    /// The word used in a set.
    pub fn id(self) -> &'static str {
        match self {
            Self::Air => "air",
            Self::Told => "told",
        }
    }
}
