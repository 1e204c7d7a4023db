//! What a text of the record may be: how long, and of which signs.
//!
//! The record refuses what is longer than its column is for, whoever calls, and signs that cannot be seen: one
//! that turns the direction of writing makes a name read as another, and NUL is no text on one of the two
//! databases. The figures are common practice, no source; `docs/limits.md` prints them.

use serde_json::Value;

use crate::error::Refusal;

/// A name of somebody, characters.
pub const NAME: usize = 200;
/// A mark, a number, a word: hospital number, telephone, lot.
pub const MARK: usize = 100;
/// A line: a reason, a remark.
pub const LINE: usize = 1_000;
/// A text of several lines.
pub const LINES: usize = 20_000;
/// A text of the department: a leaflet, phrases.
pub const PAPER: usize = 200_000;
/// What the program itself makes: scores, notes whole, the content of a report.
pub const WHOLE: usize = 16_000_000;

/// Columns that hold something else than [`LINES`]: table, column, the most characters.
const COLUMNS: &[(&str, &str, usize)] = &[
    ("account", "login", MARK),
    ("account", "name", NAME),
    ("account", "password", LINE),
    ("person", "mrn", MARK),
    ("person", "nhs_number", MARK),
    ("person", "family", NAME),
    ("person", "given", NAME),
    ("person", "telephone", NAME),
    ("person", "address", LINE),
    ("referral", "asked_by", NAME),
    ("referral", "support", LINE),
    ("monitor", "serial", MARK),
    ("monitor", "kind", NAME),
    ("monitor", "firmware", MARK),
    ("consumable", "lot", MARK),
    ("original", "name", LINE),
    ("setting", "name", NAME),
    ("setting", "value", WHOLE),
    ("night", "notes", WHOLE),
    ("notes_version", "text", WHOLE),
    ("outcome", "scores", WHOLE),
    ("second_reading", "steps", WHOLE),
    ("second_reading", "scores", WHOLE),
    ("second_reading", "before", WHOLE),
    ("second_reading", "pair", WHOLE),
    ("diary_entry", "lines", PAPER),
    ("report", "content", WHOLE),
];

/// What the program makes of files and of what was typed before: its signs are those of what it was made of.
const MADE: &[(&str, &str)] = &[
    ("original", "format"),
    ("original", "serial"),
    ("night", "doubts"),
    ("night", "notes"),
    ("notes_version", "text"),
    ("outcome", "reason"),
    ("outcome", "scores"),
    ("second_reading", "steps"),
    ("second_reading", "scores"),
    ("second_reading", "before"),
    ("second_reading", "pair"),
    ("report", "content"),
];

/// The first sign of a text that may not stand in it: one that cannot be seen, or that turns the direction of
/// writing (Unicode, UAX #9, explicit embeddings, overrides and isolates). Line ends and tabs may stand in
/// several lines.
pub fn strange(text: &str, lines: bool) -> Option<char> {
    text.chars().find(|sign| match sign {
        '\n' | '\r' | '\t' => !lines,
        // Nothing is to be seen of these; the joiners U+200C and U+200D are letters' own in some scripts.
        '\u{ad}'
        | '\u{61c}'
        | '\u{180e}'
        | '\u{200b}'
        | '\u{200e}'..='\u{200f}'
        | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{2064}'
        | '\u{2066}'..='\u{2069}'
        | '\u{feff}'
        | '\u{fff9}'..='\u{fffb}' => true,
        other => other.is_control(),
    })
}

/// The words for a text that is too long; `None` when it is not.
pub fn too_long(text: &str, most: usize) -> Option<String> {
    // Counting a very long text is not needed to know that it is one.
    let found = if text.len() <= most { 0 } else { text.chars().count() };
    (found > most).then(|| format!("at most {most} characters, found {found}"))
}

/// The most characters a column of the record holds: for the forms that write it, too.
pub fn most(table: &str, column: &str) -> usize {
    COLUMNS.iter().find(|one| (one.0, one.1) == (table, column)).map_or(LINES, |one| one.2)
}

/// What is wrong with a column of a row.
pub(crate) fn refusal(table: &str, column: &str, value: &Value) -> Option<Refusal> {
    let most = most(table, column);
    let made = MADE.contains(&(table, column));
    within(value, &mut |text| {
        let called = column.replace('_', " ");
        if let Some(words) = too_long(text, most) {
            let says = format!("the {called} of this {table} is too long: {words}");
            return Some(Refusal::new("text_too_long", says, "shorten it"));
        }
        let sign = if made { text.chars().find(|sign| *sign == '\0') } else { strange(text, true) };
        sign.map(|sign| {
            let code = u32::from(sign);
            let says = format!(
                "the {called} of this {table} holds a sign that cannot be seen, U+{code:04X}"
            );
            Refusal::new("text_sign", says, "write it again by hand, without what was pasted")
        })
    })
}

/// Asks of every text in a value, however deep it stands.
fn within(value: &Value, ask: &mut impl FnMut(&str) -> Option<Refusal>) -> Option<Refusal> {
    match value {
        Value::String(text) => ask(text),
        Value::Array(all) => all.iter().find_map(|one| within(one, ask)),
        Value::Object(all) => all.values().find_map(|one| within(one, ask)),
        Value::Null | Value::Bool(_) | Value::Number(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_that_cannot_be_seen_are_found_and_letters_of_any_script_are_not() {
        for (text, sign) in [
            ("Pillow", None),
            ("O\u{2019}Nei\u{301}ll \u{5d0}\u{5d1} \u{645}", None),
            ("a\0", Some('\0')),
            ("a\u{202e}b", Some('\u{202e}')),
            ("a\u{2066}b", Some('\u{2066}')),
            ("a\u{85}b", Some('\u{85}')),
            ("a\nb", Some('\n')),
        ] {
            assert_eq!(strange(text, false), sign, "{text:?}");
        }
        assert_eq!(strange("a\n\tb", true), None);
    }

    #[test]
    fn every_column_named_is_one_of_the_record() {
        let names = crate::record::all_tables::columns();
        for (table, column) in COLUMNS.iter().map(|one| (one.0, one.1)).chain(MADE.iter().copied())
        {
            assert!(names.contains(&(table, column)), "{table}.{column}");
        }
    }
}
