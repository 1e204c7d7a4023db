//! What somebody typed into a form.

use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;

use crate::limits;

/// The fields of a form as they were sent, in their order. A handler takes it as an argument.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed(Vec<(String, String)>);

impl Typed {
    /// Reads `application/x-www-form-urlencoded`. Bytes that are no UTF-8 become the replacement character.
    pub fn read(body: &[u8]) -> Self {
        let text = String::from_utf8_lossy(body);
        let pairs = text.split('&').filter(|pair| !pair.is_empty());
        Self(
            pairs
                .take(limits::FIELDS)
                .map(|pair| {
                    let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
                    (decode(name), decode(value))
                })
                .collect(),
        )
    }

    /// Reads a form of at most so many fields, none with a name longer than [`limits::NAME`]; `None` when it
    /// is none of ours.
    pub fn read_within(body: &[u8], fields: usize) -> Option<Self> {
        let pairs = body.split(|byte| *byte == b'&').filter(|pair| !pair.is_empty()).count();
        if pairs > fields {
            return None;
        }
        let read = Self::read(body);
        read.0.iter().all(|(name, _)| name.len() <= limits::NAME).then_some(read)
    }

    /// Of given fields.
    pub fn of(fields: &[(&str, &str)]) -> Self {
        Self(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    /// A field without the blanks around it; empty when it was not sent.
    pub fn get(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// A field as it was sent; empty when it was not. For passwords.
    pub fn raw(&self, name: &str) -> &str {
        self.0.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.as_str())
    }

    /// A field that may be left empty.
    pub fn option(&self, name: &str) -> Option<String> {
        Some(self.get(name)).filter(|text| !text.is_empty()).map(str::to_owned)
    }

    /// Every value of a field that may be sent several times.
    pub fn all(&self, name: &str) -> Vec<String> {
        self.0.iter().filter(|(known, _)| known == name).map(|(_, value)| value.clone()).collect()
    }

    /// Whether a box was ticked.
    pub fn ticked(&self, name: &str) -> bool {
        !self.get(name).is_empty()
    }

    /// A whole number, when it is one.
    pub fn number(&self, name: &str) -> Option<i64> {
        self.get(name).parse().ok()
    }

    /// Every field and value.
    pub fn fields(&self) -> &[(String, String)] {
        &self.0
    }
}

impl<S: Sync> FromRequestParts<S> for Typed {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Self, Infallible> {
        // The guard has read the body; a page asked for by its address has its query instead.
        let sent = parts.extensions.get::<Self>().cloned();
        Ok(sent.unwrap_or_else(|| Self::read(parts.uri.query().unwrap_or_default().as_bytes())))
    }
}

/// Writes a text so that it can stand in a query.
pub fn encode(text: &str) -> String {
    use std::fmt::Write as _;
    text.bytes().fold(String::new(), |mut done, byte| {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            done.push(char::from(byte));
        } else {
            let _ = write!(done, "%{byte:02X}");
        }
        done
    })
}

fn decode(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut done = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while at < bytes.len() {
        let hex = bytes.get(at + 1..at + 3).and_then(|pair| std::str::from_utf8(pair).ok());
        match (bytes[at], hex.and_then(|pair| u8::from_str_radix(pair, 16).ok())) {
            (b'%', Some(byte)) => {
                done.push(byte);
                at += 2;
            }
            (b'+', _) => done.push(b' '),
            (other, _) => done.push(other),
        }
        at += 1;
    }
    String::from_utf8_lossy(&done).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WHATWG URL Standard, section 5.1: application/x-www-form-urlencoded parsing.
    #[test]
    fn a_form_is_read_as_the_url_standard_says() {
        let typed = Typed::read(b"name=Zo%C3%AB+Lamp&empty=&a=1&a=2&odd=%zz%4&bare");
        assert_eq!(typed.get("name"), "Zo\u{eb} Lamp");
        assert_eq!(typed.all("a"), ["1", "2"]);
        assert_eq!(
            (typed.get("odd"), typed.get("bare"), typed.option("empty")),
            ("%zz%4", "", None)
        );
        assert_eq!(
            Typed::read(format!("q={}", encode("a b&c=%\u{e9}")).as_bytes()).get("q"),
            "a b&c=%\u{e9}"
        );
    }
}
