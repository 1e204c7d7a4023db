//! A set with everything it is read from, in one text: so a report of years ago finds its own criteria.
//!
//! The text holds the set at the bottom of `based_on`, each set laid over it, and last the published rules;
//! a zero byte, which TOML cannot hold, ends each but the last.

use super::CriteriaError;
use super::shipped::PUBLISHED_RULES;
use super::shipped_names;

/// What parts one text from the next.
const END: char = '\0';

/// The texts of a set.
pub(super) struct Whole(String);

impl Whole {
    /// Gathers a set's text, those of the sets it is based on, and the published rules of this release.
    pub(super) fn gather(
        text: &str,
        base: &dyn Fn(&str) -> Option<String>,
    ) -> Result<Self, CriteriaError> {
        let mut texts = vec![text.to_owned()];
        loop {
            let table = parsed(texts.last().map_or("", String::as_str))?;
            let Some(name) = table.get("based_on").and_then(toml::Value::as_str) else { break };
            let below = base(name).filter(|below| !texts.contains(below));
            texts.push(below.ok_or_else(|| CriteriaError::Unknown {
                set: table.get("name").and_then(toml::Value::as_str).unwrap_or("file").to_owned(),
                what: "the set in `based_on`",
                found: name.to_owned(),
                known: shipped_names().join(", "),
            })?);
        }
        let texts = texts.iter().rev().map(String::as_str).chain([PUBLISHED_RULES]);
        Ok(Self(texts.collect::<Vec<_>>().join(&END.to_string())))
    }

    /// Takes a text that was kept.
    pub(super) fn read(text: &str) -> Result<Self, CriteriaError> {
        if text.contains(END) {
            return Ok(Self(text.to_owned()));
        }
        let detail = "the published rules that belong to it are missing".to_owned();
        Err(CriteriaError::Shape { set: "kept".to_owned(), detail })
    }

    /// The whole text.
    pub(super) fn text(&self) -> &str {
        &self.0
    }

    /// The text of the published rules.
    pub(super) fn rules(&self) -> &str {
        self.0.rsplit(END).next().unwrap_or("")
    }

    /// The set's table, laid over those it is based on.
    pub(super) fn merged(&self) -> Result<toml::Table, CriteriaError> {
        let sets = self.0.rsplit_once(END).map_or("", |(sets, _)| sets);
        let mut under = toml::Table::new();
        for text in sets.split(END) {
            overlay(&mut under, parsed(text)?);
        }
        Ok(under)
    }
}

fn parsed(text: &str) -> Result<toml::Table, CriteriaError> {
    text.parse().map_err(|e: toml::de::Error| CriteriaError::Shape {
        set: "file".into(),
        detail: e.to_string().trim().to_owned(),
    })
}

fn overlay(under: &mut toml::Table, over: toml::Table) {
    for (key, value) in over {
        match (under.get_mut(&key), value) {
            (Some(toml::Value::Table(below)), toml::Value::Table(above)) => overlay(below, above),
            (_, value) => {
                under.insert(key, value);
            }
        }
    }
}
