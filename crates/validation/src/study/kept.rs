//! The committed results: read, and written one row a line so that a change can be read.

use crate::study::results::Kept;

/// The results as committed.
const COMMITTED: &str = include_str!("../../results/study.json");

/// The results as committed.
///
/// # Errors
/// When the file does not read, with its place.
pub fn committed() -> Result<Kept, String> {
    serde_json::from_str(COMMITTED).map_err(|e| format!("results/study.json: {e}"))
}

/// The text of the file, one row a line, each line indented by its depth.
///
/// # Errors
/// When a number is not finite.
pub fn to_text(kept: &Kept) -> Result<String, String> {
    let value = serde_json::to_value(kept).map_err(|e| e.to_string())?;
    let mut text = String::new();
    write(&value, 0, &mut text);
    text.push('\n');
    Ok(text)
}

/// Levels of the file that are broken into lines: the file, the held-out part, its lists.
const DEEPEST: usize = 3;

fn write(value: &serde_json::Value, depth: usize, text: &mut String) {
    let inside = "  ".repeat(depth + 1);
    let items: Vec<(String, &serde_json::Value)> = match value {
        serde_json::Value::Object(map) if depth < DEEPEST => {
            map.iter().map(|(key, value)| (format!("\"{key}\": "), value)).collect()
        }
        serde_json::Value::Array(list) if depth < DEEPEST => {
            list.iter().map(|value| (String::new(), value)).collect()
        }
        _ => {
            text.push_str(&value.to_string());
            return;
        }
    };
    let (open, close) = if value.is_array() { ('[', ']') } else { ('{', '}') };
    text.push(open);
    for (place, (key, item)) in items.iter().enumerate() {
        text.push_str(if place == 0 { "\n" } else { ",\n" });
        text.push_str(&inside);
        text.push_str(key);
        // A row of a list stays on one line.
        write(item, if value.is_array() { DEEPEST } else { depth + 1 }, text);
    }
    text.push('\n');
    text.push_str(&inside[2..]);
    text.push(close);
}
