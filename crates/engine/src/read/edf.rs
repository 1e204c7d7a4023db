//! EDF, EDF+C, EDF+D and their 24-bit sibling.
use super::{Input, ReadError, ReadOptions};
use crate::recording::Recording;

/// Whether the bytes begin as EDF or BDF does.
pub fn looks_like(bytes: &[u8]) -> bool {
    bytes.starts_with(b"0       ") || bytes.starts_with(b"\xffBIOSEMI")
}

/// Reads the file.
///
/// # Errors
/// [`ReadError`].
pub fn read(_input: Input<'_>, _options: &ReadOptions) -> Result<Recording, ReadError> {
    Err(ReadError::not_understood("not yet"))
}
