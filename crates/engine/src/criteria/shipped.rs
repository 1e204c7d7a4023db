//! The criteria sets that travel in the binary.

use super::{Criteria, CriteriaError};

/// The published rules, each with its source.
pub(super) const PUBLISHED_RULES: &str = include_str!("../../../../criteria/published-rules.toml");

const SETS: [(&str, &str); 5] = [
    ("adult-air", include_str!("../../../../criteria/adult-air.toml")),
    ("adult-neuromuscular", include_str!("../../../../criteria/adult-neuromuscular.toml")),
    ("adult-ventilation", include_str!("../../../../criteria/adult-ventilation.toml")),
    ("child", include_str!("../../../../criteria/child.toml")),
    ("infant", include_str!("../../../../criteria/infant.toml")),
];

/// The names of the shipped sets; the first is the default.
pub fn shipped_names() -> Vec<&'static str> {
    SETS.iter().map(|(name, _)| *name).collect()
}

/// The text of a shipped set.
pub fn shipped_text(name: &str) -> Option<&'static str> {
    SETS.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
}

/// A shipped set by name.
///
/// # Errors
/// [`CriteriaError::Unknown`] when no set has that name.
pub fn shipped(name: &str) -> Result<Criteria, CriteriaError> {
    let text = shipped_text(name).ok_or_else(|| CriteriaError::Unknown {
        set: name.to_owned(),
        what: "set",
        found: name.to_owned(),
        known: shipped_names().join(", "),
    })?;
    Criteria::parse(text, &|base| shipped_text(base).map(str::to_owned))
}
