//! Delimited text.
use super::{Input, ReadError, ReadOptions};
use crate::recording::Recording;

/// Reads the file.
///
/// # Errors
/// [`ReadError`].
pub fn read(_input: Input<'_>, _options: &ReadOptions) -> Result<Recording, ReadError> {
    Err(ReadError::not_understood("not yet"))
}
