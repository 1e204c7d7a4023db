//! WFDB records.
use super::{Input, ReadError, ReadOptions};
use crate::recording::Recording;

/// Reads the file.
///
/// # Errors
/// [`ReadError`].
pub fn read(_input: Input<'_>, _options: &ReadOptions) -> Result<Recording, ReadError> {
    Err(ReadError::not_understood("not yet"))
}

/// Whether the input is a WFDB header.
pub fn looks_like(_input: Input<'_>) -> bool {
    false
}
