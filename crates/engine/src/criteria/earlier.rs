//! Sets written for an earlier release: read over what is gone, and given what has come since.
//!
//! A report of years ago must find its criteria, and a department's own file must not stop being read
//! because a value was added or taken away here. What is gone is told on the report.

use super::CriteriaError;
use super::shipped;

/// Values that earlier releases had: part and key.
const RETIRED: [(&str, &str); 2] =
    [("correct", "uncorrected_banded"), ("correct", "anchor_doubt_sds")];

/// Values that have come since the first release. A set without them takes the adult set's.
const ADDED: [(&str, &str); 4] = [
    ("correct", "anchors_apart_min"),
    ("correct", "gas_speaks_h"),
    ("judge", "co2_gap_rounding_kpa"),
    ("judge", "answer_least_min"),
];

/// Takes the retired values out of a set's table and lays those added since into it; which were retired.
pub(super) fn carry_over(table: &mut toml::Table) -> Result<Vec<&'static str>, CriteriaError> {
    let mut retired = Vec::new();
    for (section, key) in RETIRED {
        if part(table, section).and_then(|part| part.remove(key)).is_some() {
            retired.push(key);
        }
    }
    let missing = |table: &mut toml::Table, (section, key): (&str, &str)| {
        part(table, section).is_some_and(|part| !part.contains_key(key))
    };
    if ADDED.into_iter().any(|added| missing(table, added)) {
        let text = shipped::shipped_text("adult-air").unwrap_or_default();
        let mut adult: toml::Table = text.parse().map_err(|e: toml::de::Error| {
            CriteriaError::Shape { set: "adult-air".into(), detail: e.to_string() }
        })?;
        for (section, key) in ADDED {
            let given = part(&mut adult, section).and_then(|part| part.remove(key));
            if let (Some(part), Some(given)) = (part(table, section), given) {
                part.entry(key).or_insert(given);
            }
        }
    }
    Ok(retired)
}

fn part<'a>(table: &'a mut toml::Table, section: &str) -> Option<&'a mut toml::Table> {
    table.get_mut(section).and_then(toml::Value::as_table_mut)
}
