//! Findings: what is said with a reservation, where an error would say nothing.

use crate::time::Stretch;

/// How much a finding weighs for the reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Worth knowing; changes no figure.
    Note,
    /// A figure stands on less, or on an assumption, because of this.
    Caution,
    /// Something could not be answered because of this.
    Serious,
}

/// One thing noticed about a night: what, where, under which rule, from which source.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// A short fixed name, `snake_case`, for machines; documented in `docs/findings.md`.
    pub code: &'static str,
    /// How much it weighs.
    pub weight: Weight,
    /// The channel it concerns, by id; `None` when it concerns the whole night.
    pub channel: Option<String>,
    /// Where in the night; `None` when everywhere.
    pub stretch: Option<Stretch>,
    /// The finding in one plain sentence with its numbers and units.
    pub sentence: String,
}

impl Finding {
    /// A finding on the whole night.
    pub fn new(code: &'static str, weight: Weight, sentence: impl Into<String>) -> Self {
        Self { code, weight, channel: None, stretch: None, sentence: sentence.into() }
    }

    /// The same finding, tied to a channel.
    #[must_use]
    pub fn on(mut self, channel: impl Into<String>) -> Self {
        self.channel = Some(channel.into());
        self
    }

    /// The same finding, tied to a place in the night.
    #[must_use]
    pub fn at(mut self, stretch: Stretch) -> Self {
        self.stretch = Some(stretch);
        self
    }
}
