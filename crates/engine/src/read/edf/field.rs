//! Fixed-width fields of the header record, each with its name and its place for messages.

use crate::read::ReadError;

/// Beyond this no header field makes sense, and arithmetic could overflow.
const GREATEST: f64 = 1e15;

/// One field: its name, the byte it starts at, and its bytes.
#[derive(Clone, Debug)]
pub(super) struct Field<'a> {
    name: String,
    at: usize,
    raw: &'a [u8],
}

/// Walks through the header from front to back.
pub(super) struct Fields<'a> {
    bytes: &'a [u8],
    at: usize,
    /// Names of the free-text fields that hold more than printable US-ASCII.
    pub(super) odd: Vec<String>,
}

impl<'a> Fields<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, odd: Vec::new() }
    }

    /// The next field of `width` bytes.
    pub(super) fn next(&mut self, name: &str, width: usize) -> Result<Field<'a>, ReadError> {
        let at = self.at;
        let raw = self.bytes.get(at..at + width).ok_or_else(|| {
            ReadError::not_understood(format!(
                "the header ends inside the {name}: expected {width} bytes, found {}",
                self.bytes.len().saturating_sub(at)
            ))
            .at(format!("byte {at}"))
        })?;
        self.at += width;
        Ok(Field { name: name.to_owned(), at, raw })
    }

    /// The next field as free text, noting when it is not plain.
    pub(super) fn next_text(&mut self, name: &str, width: usize) -> Result<String, ReadError> {
        let field = self.next(name, width)?;
        if !field.is_plain() {
            self.odd.push(field.name.clone());
        }
        Ok(field.text())
    }
}

impl Field<'_> {
    /// EDF+ 2.1.3 item 1: only printable US-ASCII, 32 to 126.
    fn is_plain(&self) -> bool {
        self.raw.iter().all(|byte| (32..=126).contains(byte))
    }

    /// The text without its padding; UTF-8 where it is, each byte a Latin-1 letter where it is not.
    pub(super) fn text(&self) -> String {
        let text = std::str::from_utf8(self.raw)
            .map_or_else(|_| self.raw.iter().map(|&b| char::from(b)).collect(), str::to_owned);
        text.trim_matches(|c: char| c == ' ' || c.is_control()).to_owned()
    }

    /// A refusal that names the field, its place, what was expected and what stands there.
    pub(super) fn refuse(&self, expected: &str) -> ReadError {
        let found = self.raw.escape_ascii();
        ReadError::not_understood(format!("{}: expected {expected}, found `{found}`", self.name))
            .at(format!("byte {}", self.at))
    }

    /// A finite number. EDF+ 2.1.3 item 6: a dot as decimal separator, no digit grouping.
    pub(super) fn number(&self) -> Result<f64, ReadError> {
        if self.raw.contains(&b',') {
            return Err(self.refuse("a number with a decimal point, not a comma"));
        }
        if !self.is_plain() {
            return Err(self.refuse("a number in plain ASCII"));
        }
        let value = self.text().parse::<f64>().map_err(|_| self.refuse("a number"))?;
        if value.abs() <= GREATEST { Ok(value) } else { Err(self.refuse("a number within 1e15")) }
    }

    /// A whole number.
    pub(super) fn whole(&self) -> Result<i64, ReadError> {
        let value = self.number()?;
        #[expect(
            clippy::cast_possible_truncation,
            reason = "eight characters hold at most 1e8, or the cast is compared back"
        )]
        let whole = value as i64;
        #[expect(clippy::float_cmp, reason = "a whole number is exact in f64")]
        let exact = whole as f64 == value;
        if exact { Ok(whole) } else { Err(self.refuse("a whole number")) }
    }

    /// A whole number of things, none below zero.
    pub(super) fn count(&self) -> Result<usize, ReadError> {
        usize::try_from(self.whole()?).map_err(|_| self.refuse("a count of 0 or more"))
    }
}
