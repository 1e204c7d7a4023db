//! The chain of acts: canonical text and its hash.
//!
//! A link's hash is SHA-256 over the canonical JSON of RFC 8785 of the act's head, which holds the hash of
//! the link before. The body (the rows written, the reason) enters by its own hash only, so that a person's
//! data can be destroyed when their time is over and the chain still closes.

use serde_json::Value;
use sha2::Digest;
use sha2::Sha256;

/// Hash before the first act.
pub const NOTHING_BEFORE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// SHA-256 as lowercase hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    engine::hex(&Sha256::digest(bytes))
}

/// Canonical JSON by RFC 8785 for what the record holds: objects with their keys sorted, no blanks.
///
/// Keys are ASCII here, where sorting bytes and sorting UTF-16 units agree. Numbers are whole, or are
/// written as the shortest text that reads back the same; a zero is written without its sign.
pub fn canonical(value: &Value) -> String {
    let mut text = String::new();
    write(value, &mut text);
    text
}

/// Hash of one link: of the canonical JSON of its head.
pub fn link(head: &Value) -> String {
    sha256(canonical(head).as_bytes())
}

fn write(value: &Value, text: &mut String) {
    match value {
        Value::Object(fields) => {
            let mut sorted: Vec<_> = fields.iter().collect();
            sorted.sort_by(|one, other| one.0.cmp(other.0));
            text.push('{');
            for (at, (key, field)) in sorted.into_iter().enumerate() {
                if at > 0 {
                    text.push(',');
                }
                text.push_str(&Value::from(key.as_str()).to_string());
                text.push(':');
                write(field, text);
            }
            text.push('}');
        }
        Value::Array(items) => {
            text.push('[');
            for (at, item) in items.iter().enumerate() {
                if at > 0 {
                    text.push(',');
                }
                write(item, text);
            }
            text.push(']');
        }
        // One of the databases keeps the sign of a zero and the other does not, and early acts hold it.
        Value::Number(number) if number.is_f64() && number.as_f64() == Some(0.0) => {
            text.push_str("0.0");
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            text.push_str(&value.to_string());
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Two links made with the general Python libraries rfc8785 and hashlib.
    #[test]
    fn the_chain_is_that_of_rfc_8785_and_sha_256() {
        let first = link(
            &json!({"seq": 1, "act": "night.import", "at": "2024-10-27T07:30:00Z", "obj": "N-1", "prev": NOTHING_BEFORE, "who": "u1"}),
        );
        assert_eq!(first, "1c1a98710170f8cc87cdc61e5f04f5d06b48cd23a3c2f4415c7598be3b3f0ed4");
        let second = link(
            &json!({"act": "report.issue", "at": "2024-10-27T07:31:00Z", "obj": "R-1", "prev": first, "seq": 2, "who": "u1"}),
        );
        assert_eq!(second, "0b09aeaef08fc080eef6723dd8ff97a2b467fc031000d936d8bfe77dd0d28ec6");
    }

    /// FIPS 180-4 examples.
    #[test]
    fn sha_256_is_that_of_fips_180() {
        assert_eq!(sha256(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        assert_eq!(
            sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
