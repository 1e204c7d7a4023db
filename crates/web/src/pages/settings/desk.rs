//! The desk's settings as a form: one field a figure.

use serde_json::Value;
use serde_json::json;
use store::error::StoreError;
use store::lending::setting::DeskSettings;

use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::typed::Typed;

/// How a setting is written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Shape {
    /// One line.
    Text,
    /// A list, one line each.
    Lines,
    /// A whole number.
    Whole,
    /// A number.
    Decimal,
    /// A number, or nothing where the department has set none.
    Maybe,
    /// Numbers with commas between them.
    Three,
    /// A time of day.
    Time,
}

/// Key, label, hint, shape.
const FIELDS: &[(&str, &str, &str, Shape)] = &[
    ("hospital", "Hospital", "", Shape::Text),
    ("department", "Department", "", Shape::Text),
    ("telephone", "Telephone of the desk", "", Shape::Text),
    ("telephone_hours", "When it is answered", "Monday to Friday, 8:00 to 17:00", Shape::Text),
    ("emergency_telephone", "Whom a patient rings for help at once", "", Shape::Text),
    (
        "urgent_telephone",
        "Whom a patient rings who needs care the same day while the desk is closed",
        "For instance for a small burn; in the United Kingdom 111. Without it no leaflet is printed.",
        Shape::Text,
    ),
    ("zone", "Time zone", "Its IANA name, such as Europe/London.", Shape::Text),
    ("hand_in_by", "A monitor must be back by", "", Shape::Time),
    (
        "return_places",
        "Where it may be handed in",
        "With opening times, one place a line.",
        Shape::Lines,
    ),
    ("parts", "What belongs in the bag", "One part a line.", Shape::Lines),
    (
        "cleaning",
        "How a monitor is cleaned",
        "By the department's procedure, one way a line.",
        Shape::Lines,
    ),
    ("most_nights", "Most nights of one loan", "", Shape::Whole),
    (
        "longest_hours",
        "Longest time of the heated sensor at one place, hours",
        "For the hottest sensor and the most tender skin you lend it for. Left empty, each hand-out asks.",
        Shape::Maybe,
    ),
    (
        "put_on_from",
        "The sensor is put on from",
        "The leaflet reckons from it when an alarm must ring, unless another time is given for a loan.",
        Shape::Time,
    ),
    (
        "gas_limit_kpa",
        "How far a gas check may lie from what the gas should give, kPa",
        "",
        Shape::Decimal,
    ),
    (
        "gas_range_kpa",
        "Least and most carbon dioxide a check gas gives, kPa",
        "Two numbers, such as 2, 12. What lies outside is asked about: it was typed in another unit.",
        Shape::Three,
    ),
    ("membrane_days", "How long a membrane may be used, days", "", Shape::Whole),
    (
        "clock_limit_s",
        "How far a monitor's clock may lie from the wall clock, seconds",
        "",
        Shape::Whole,
    ),
    (
        "ladder_days",
        "Days late after which a borrower is rung, written to, and the manager is told",
        "Three numbers, such as 1, 3, 7.",
        Shape::Three,
    ),
    ("idle_min", "Minutes without a touch after which a session ends", "", Shape::Whole),
    (
        "clock_ahead_days",
        "How many days after the last act the server's clock is believed unasked",
        "Longer than the department is ever closed.",
        Shape::Whole,
    ),
    (
        "heads_every",
        "After how many acts the last link of the chain is written down outside the database",
        "",
        Shape::Whole,
    ),
];

/// The form without its last version's number, filled with what holds.
pub(super) fn form(form: Form, holds: &str) -> Form {
    let holds = current(holds);
    FIELDS.iter().fold(form, |form, (key, label, hint, shape)| {
        let field = match shape {
            Shape::Text => Field::text(key, *label),
            Shape::Lines => Field::lines(key, *label, 4),
            Shape::Whole => Field::number(key, *label, "1").needed(),
            Shape::Decimal => Field::number(key, *label, "any").needed(),
            Shape::Maybe => Field::number(key, *label, "any"),
            Shape::Three => Field::text(key, *label).needed(),
            Shape::Time => Field::time(key, *label).needed(),
        };
        form.field(field.hint(*hint).value(shown(&holds[*key])))
    })
}

/// What was typed, as the setting's text, over what holds.
pub(super) fn text(typed: &Typed, holds: &str) -> String {
    let mut value = current(holds);
    for (key, _, _, shape) in FIELDS {
        // A page from before a setting was added does not send it; what holds stays.
        if typed.fields().iter().all(|(name, _)| name != key) {
            continue;
        }
        value[*key] = match shape {
            Shape::Text | Shape::Time => json!(typed.get(key)),
            Shape::Lines => {
                json!(
                    typed
                        .get(key)
                        .lines()
                        .map(str::trim)
                        .filter(|line| !line.is_empty())
                        .collect::<Vec<_>>()
                )
            }
            Shape::Whole => typed.number(key).map_or(json!(typed.get(key)), |number| json!(number)),
            Shape::Maybe if typed.get(key).is_empty() => Value::Null,
            Shape::Decimal | Shape::Maybe => number(typed.get(key)),
            Shape::Three => {
                json!(typed.get(key).split(',').map(|part| number(part.trim())).collect::<Vec<_>>())
            }
        };
    }
    serde_json::to_string_pretty(&value).unwrap_or_default()
}

/// Puts a refusal at the field it names.
pub(super) fn refused(form: &mut Form, error: StoreError) -> Result<(), StoreError> {
    let says = error.to_string();
    let named = FIELDS.iter().find(|(key, ..)| says.contains(key));
    let named = named
        .or_else(|| FIELDS.iter().find(|(key, ..)| *key == "zone" && says.contains("time zone")));
    match (&error, named) {
        (StoreError::Refused(_), Some((key, ..))) => {
            let says = says.strip_prefix(key).map_or(says.clone(), |rest| format!("this{rest}"));
            form.fault(key, sentence(&says));
            Ok(())
        }
        _ => form.refused(error, &[]),
    }
}

/// A whole number as one, a decimal one as one, and anything else as it was typed, for the record to refuse.
fn number(text: &str) -> Value {
    match (text.parse::<i64>(), text.parse::<f64>()) {
        (Ok(whole), _) => json!(whole),
        (_, Ok(decimal)) => json!(decimal),
        _ => json!(text),
    }
}

fn current(holds: &str) -> Value {
    let shipped = || serde_json::to_value(DeskSettings::default()).unwrap_or_default();
    let kept = serde_json::from_str::<DeskSettings>(holds).ok();
    kept.and_then(|kept| serde_json::to_value(kept).ok()).unwrap_or_else(shipped)
}

fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(all) if all.iter().all(Value::is_number) => {
            all.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
        }
        Value::Array(all) => all.iter().filter_map(Value::as_str).collect::<Vec<_>>().join("\n"),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_of_the_desk_has_its_field() {
        let Value::Object(all) = current("") else { panic!("no object") };
        let mut keys: Vec<_> = FIELDS.iter().map(|field| field.0).collect();
        keys.sort_unstable();
        let mut known: Vec<_> = all.keys().map(String::as_str).collect();
        known.sort_unstable();
        assert_eq!(keys, known);
    }

    #[test]
    fn a_form_sent_as_it_was_shown_changes_nothing() {
        let shown = form(Form::new("", "/x", "Save"), "");
        let typed: Vec<_> = shown.fields.iter().map(|field| (field.name, field.shown())).collect();
        let text = text(&Typed::of(&typed), "");
        assert_eq!(DeskSettings::read(&text).unwrap(), DeskSettings::default());
    }
}
