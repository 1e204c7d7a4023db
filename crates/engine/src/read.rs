//! `read`: bytes to a recording. The only step that may fail.

use crate::recording::Recording;

/// One input: the file, its name, and any files that belong to it.
#[derive(Clone, Copy, Debug)]
pub struct Input<'a> {
    /// The file's own name, without folders; used in messages and to tell formats apart, never stored.
    pub name: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// Files it refers to, by name: the signal files of a WFDB header.
    pub companions: &'a [(String, Vec<u8>)],
}

/// What the reader is told beside the bytes.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// The zone of the monitor's clock; `None`: not told.
    pub zone: Option<jiff::tz::TimeZone>,
    /// What the columns of a delimited text mean, where its own header does not tell.
    pub map: Option<map::ColumnMap>,
}

/// Why a file could not be read: the thing, the place, expected and found, and what to do next.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}{}", place.as_ref().map(|p| format!(" ({p})")).unwrap_or_default())]
pub struct ReadError {
    /// What kind of refusal; decides the exit code.
    pub kind: ReadErrorKind,
    /// What is wrong, with expected and found; lowercase, no full stop.
    pub what: String,
    /// Where: `line 12, column 3`, `byte 184`, `signal 2`.
    pub place: Option<String>,
    /// What to do next.
    pub hint: Option<String>,
}

/// Whether the input was not understood or was understood and refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReadErrorKind {
    /// Not understood.
    NotUnderstood,
    /// Understood, and refused: unit, identity.
    Refused,
}

impl ReadError {
    /// Input that was not understood.
    pub fn not_understood(what: impl Into<String>) -> Self {
        Self { kind: ReadErrorKind::NotUnderstood, what: what.into(), place: None, hint: None }
    }

    /// Input that was understood and is refused.
    pub fn refused(what: impl Into<String>) -> Self {
        Self { kind: ReadErrorKind::Refused, what: what.into(), place: None, hint: None }
    }

    /// With the place.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }

    /// With what to do next.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

pub mod limits;

pub mod edf;
pub mod map;
mod oxygen;
mod signal;
pub mod text;
mod untaken;
pub mod wfdb;

/// Reads a night, its format told by its content.
///
/// # Errors
/// [`ReadError`] when the file is no format known, or contradicts itself.
pub fn read(input: Input<'_>, options: &ReadOptions) -> Result<Recording, ReadError> {
    if input.bytes.is_empty() {
        return Err(ReadError::not_understood("the file is empty"));
    }
    if edf::looks_like(input.bytes) {
        return edf::read(input, options);
    }
    if wfdb::looks_like(input) {
        return wfdb::read(input, options);
    }
    text::read(input, options)
}

pub use edf::NOT_VALID;
pub use signal::text_of as annotation_text;

/// SHA-256 of the bytes, lowercase hexadecimal.
fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    crate::hex(&sha2::Sha256::digest(bytes))
}
