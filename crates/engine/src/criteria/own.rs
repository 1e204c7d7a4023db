//! A department's own set as a file that holds only what differs from the shipped set it is based on.

use std::fmt::Write as _;

use super::{Criteria, CriteriaError, Question, Rule, Setting, rule_file, shipped};

/// The first lines of a set's file. What is missing or no text is empty.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// What it is for.
    pub title: String,
    /// The set it is based on.
    pub based_on: String,
}

/// A value a set states itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated {
    /// The part of the file.
    pub section: String,
    /// The key.
    pub key: String,
    /// The number and its source.
    pub setting: Setting,
}

/// A set of one's own, taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Own {
    /// Its first lines.
    pub head: Head,
    /// Its values, also those that do not differ.
    pub values: Vec<Stated>,
    /// Ids of the rules it asks, in order.
    pub rules: Vec<String>,
    /// Its questions.
    pub questions: Vec<Question>,
    /// Its own rules as `[[rule]]` tables.
    pub own_rules: String,
}

/// Every published rule, in the order of their file.
///
/// # Errors
/// When the file that travels with the program is damaged, which a test rules out.
pub fn published_rules() -> Result<Vec<Rule>, CriteriaError> {
    rule_file::parse_rules(shipped::PUBLISHED_RULES)
}

/// A published rule as it is written, to be worded anew under another id; `None` when there is no such rule.
pub fn published_rule_text(id: &str) -> Option<String> {
    let table: toml::Table = shipped::PUBLISHED_RULES.parse().ok()?;
    let rules = table.get("rule")?.as_array()?;
    let rule =
        rules.iter().find(|rule| rule.get("id").and_then(toml::Value::as_str) == Some(id))?;
    Some(format!("[[rule]]\n{}", lines(rule.as_table()?)))
}

/// The first lines of a set's text; empty where it is none.
pub fn head(text: &str) -> Head {
    let table: toml::Table = text.parse().unwrap_or_default();
    let get =
        |key: &str| table.get(key).and_then(toml::Value::as_str).unwrap_or_default().to_owned();
    Head {
        name: get("name"),
        version: get("version"),
        title: get("title"),
        based_on: get("based_on"),
    }
}

/// The rules a set states itself, as they are written.
pub fn own_rules(text: &str) -> String {
    let table: toml::Table = text.parse().unwrap_or_default();
    let rules = table.get("rule").and_then(toml::Value::as_array);
    let rules = rules.into_iter().flatten().filter_map(toml::Value::as_table);
    rules.map(|rule| format!("[[rule]]\n{}", lines(rule))).collect::<Vec<_>>().join("\n")
}

/// Ids of the rules a set states itself.
pub fn own_rule_ids(text: &str) -> Vec<String> {
    let table: toml::Table = text.parse().unwrap_or_default();
    let rules = table.get("rule").and_then(toml::Value::as_array);
    let ids = rules.into_iter().flatten().filter_map(|rule| rule.get("id")?.as_str());
    ids.map(str::to_owned).collect()
}

/// The same text under another version. Everything else stays as it is written.
pub fn with_version(text: &str, version: &str) -> String {
    let line = format!("version = {}", quoted(version));
    let mut done = false;
    let lines: Vec<&str> = text
        .lines()
        .map(|old| {
            let key = old.split('=').next().unwrap_or_default().trim();
            if done || key != "version" {
                return old;
            }
            done = true;
            line.as_str()
        })
        .collect();
    lines.join("\n") + "\n"
}

impl Own {
    /// Takes a sound set apart.
    pub fn of(text: &str, set: &Criteria) -> Self {
        let values = set.values().into_iter().map(|value| Stated {
            section: value.section.to_owned(),
            key: value.key.to_owned(),
            setting: value.setting.clone(),
        });
        Self {
            head: head(text),
            values: values.collect(),
            rules: set.rules.iter().map(|rule| rule.id.clone()).collect(),
            questions: set.questions.clone(),
            own_rules: own_rules(text),
        }
    }

    /// The set as a file: only what differs from `base`.
    pub fn text(&self, base: &Criteria) -> String {
        let mut out = String::new();
        for (key, value) in [
            ("name", &self.head.name),
            ("version", &self.head.version),
            ("title", &self.head.title),
            ("based_on", &self.head.based_on),
        ] {
            let _ = writeln!(out, "{key} = {}", quoted(value));
        }
        let asked: Vec<&str> = base.rules.iter().map(|rule| rule.id.as_str()).collect();
        if self.rules != asked {
            let _ = write!(out, "\nrules = {}", listed(&self.rules));
        }
        out += &self.sections(base);
        if self.questions != base.questions {
            for question in &self.questions {
                out += &written(question);
            }
        }
        if !self.own_rules.trim().is_empty() {
            let _ = write!(out, "\n{}\n", self.own_rules.trim());
        }
        out
    }

    fn sections(&self, base: &Criteria) -> String {
        let mut out = String::new();
        let mut open = "";
        for value in base.values() {
            let own = self
                .values
                .iter()
                .find(|one| (one.section.as_str(), one.key.as_str()) == (value.section, value.key));
            let Some(own) = own.filter(|own| own.setting != *value.setting) else { continue };
            if open != value.section {
                open = value.section;
                let _ = write!(out, "\n[{open}]\n");
            }
            let (number, source) = (own.setting.value, quoted(&own.setting.source));
            let _ = writeln!(out, "{} = {{ value = {number}, source = {source} }}", value.key);
        }
        out
    }
}

fn written(question: &Question) -> String {
    let channels: Vec<String> = question.channels.iter().map(|one| quoted(one)).collect();
    let breathing = question
        .breathing
        .map_or_else(String::new, |asked| format!("breathing = \"{}\"\n", asked.id()));
    format!(
        "\n[[question]]\nid = {}\nasks = {}\n{breathing}channels = [{}]\nneeds = {}",
        quoted(&question.id),
        quoted(&question.asks),
        channels.join(", "),
        listed(&question.needs)
    )
}

/// A list with an entry a line.
fn listed(ids: &[String]) -> String {
    let ids: Vec<String> = ids.iter().map(|id| format!("  {},", quoted(id))).collect();
    format!("[\n{}\n]\n", ids.join("\n"))
}

/// A table with a key a line, what lies deeper inline.
fn lines(table: &toml::Table) -> String {
    // A rule is read from its id down.
    let order =
        |key: &str| ["id", "asks", "source"].iter().position(|one| *one == key).unwrap_or(3);
    let mut keys: Vec<(&String, &toml::Value)> = table.iter().collect();
    keys.sort_by_key(|(key, _)| order(key));
    let lines: Vec<String> =
        keys.into_iter().map(|(key, value)| format!("{key} = {value}")).collect();
    lines.join("\n") + "\n"
}

fn quoted(text: &str) -> String {
    let plain: String =
        text.chars().map(|sign| if sign.is_control() { ' ' } else { sign }).collect();
    toml::Value::String(plain).to_string()
}
