//! Words that the typeface can print.

use std::fmt::Write as _;

use serde_json::Value;

use crate::world;

/// The same value with every letter that the typeface lacks written by its number.
///
/// The standards forbid printing an empty box for a letter, and leaving it out would change a name.
pub(crate) fn value(value: Value) -> Value {
    match value {
        Value::String(words) => Value::String(text(&words)),
        Value::Array(values) => values.into_iter().map(self::value).collect(),
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, self::value(v))).collect(),
        other => other,
    }
}

/// The same for one text.
pub(crate) fn text(text: &str) -> String {
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

/// Language and region in the typesetter's sense; English where the tag is none it takes.
pub(crate) fn language(tag: &str) -> (&str, &str) {
    let (lang, region) = tag.split_once('-').unwrap_or((tag, ""));
    let letters = |text: &str| text.bytes().all(|b| b.is_ascii_alphabetic());
    match (lang.len(), region.len()) {
        (2..=3, 0 | 2) if letters(lang) && letters(region) => (lang, region),
        _ => ("en", "GB"),
    }
}

#[cfg(test)]
mod tests {
    use super::text;

    #[test]
    fn a_letter_the_typeface_lacks_is_written_by_its_number() {
        assert_eq!(text("Łucja Ødegård \u{6c34}\t"), "Łucja Ødegård [U+6C34] ");
    }
}
