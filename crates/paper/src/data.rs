//! What the template is fed: words as JSON, the strip as SVG.
//!
//! Every word enters the template as a string value, so that no name or note can become markup.

use std::fmt::Write as _;

use engine::print::{self, Heading, Look, Slot};
use engine::report::Report;
use serde_json::{Value, json};

use crate::sheet::Sheet;
use crate::world;

/// The words of the report and its heading as JSON text.
pub(crate) fn data(report: &Report, heading: &Heading, sheet: Sheet) -> String {
    let words = serde_json::from_str(&print::json_words(report)).unwrap_or(Value::Null);
    let (lang, region) = language(&heading.lang);
    let data = json!({
        "report": words,
        "id": print::report_id(report),
        "sheet": sheet.name(),
        "title": title(report),
        "lang": lang,
        "region": region,
        "picture_words": report.picture.words,
        "heading": {
            "hospital": heading.hospital,
            "patient": slots(&heading.patient),
            "study": slots(&heading.study),
            "study_id": heading.study_id,
            "comparison": heading.comparison,
            "comment": heading.comment,
            "signature": slots(&heading.signature),
        },
    });
    printable(data).to_string()
}

/// Language and region in the typesetter's sense; English where the tag is none it takes.
fn language(tag: &str) -> (&str, &str) {
    let (lang, region) = tag.split_once('-').unwrap_or((tag, ""));
    let letters = |text: &str| text.bytes().all(|b| b.is_ascii_alphabetic());
    match (lang.len(), region.len()) {
        (2..=3, 0 | 2) if letters(lang) && letters(region) => (lang, region),
        _ => ("en", "GB"),
    }
}

/// The strip as SVG text.
pub(crate) fn strip(report: &Report) -> String {
    printable_text(&print::svg(&report.picture, Look::Paper))
}

fn title(report: &Report) -> String {
    match &report.night.date {
        Some(date) => format!("Night of {date}"),
        None => format!("A night from {} to {}", report.night.start, report.night.end),
    }
}

fn slots(slots: &[Slot]) -> Vec<Value> {
    slots.iter().map(|slot| json!({ "label": slot.label, "text": slot.text })).collect()
}

/// The same value with every letter that the typeface lacks written by its number.
///
/// The standards forbid printing an empty box for a letter, and leaving it out would change a name.
fn printable(value: Value) -> Value {
    match value {
        Value::String(text) => Value::String(printable_text(&text)),
        Value::Array(values) => values.into_iter().map(printable).collect(),
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, printable(v))).collect(),
        other => other,
    }
}

fn printable_text(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        if letter == '\n' || world::has(letter) {
            out.push(letter);
        } else if letter.is_control() {
            out.push(' ');
        } else {
            let _ = write!(out, "[U+{:04X}]", u32::from(letter));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::printable_text;

    #[test]
    fn a_letter_the_typeface_lacks_is_written_by_its_number() {
        assert_eq!(printable_text("Łucja Ødegård \u{6c34}\t"), "Łucja Ødegård [U+6C34] ");
    }
}
