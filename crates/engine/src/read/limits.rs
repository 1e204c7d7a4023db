//! The most that a file of a night may hold: every figure that bounds what reading takes, in one place.
//!
//! A file is somebody else's bytes. What it asks to be made of them is held to what it could hold itself, so
//! that no file of a few megabytes fills the memory. The figures are common practice, no source; they stand
//! in `docs/limits.md`, whose test holds the two together.

use super::ReadError;

/// Columns of a text, and signals of a binary file.
pub const COLUMNS: usize = 512;
/// Length of a line of text, bytes.
pub const LINE_BYTES: usize = 64 << 10;
/// A header of a WFDB record, bytes.
pub const HEADER_BYTES: usize = 4 << 20;
/// Marks and annotations of one file.
pub const MARKS: usize = 100_000;
/// Samples in all channels of one night, gaps included: 72 h of seven channels at 100 Hz.
pub const SAMPLES: usize = 200_000_000;
/// So many samples cost too little to be worth refusing, whatever the file's length.
pub const SAMPLES_FREE: usize = 4_000_000;
/// So many rows of a text likewise.
pub const ROWS_FREE: usize = 1_000_000;
/// A row with a time and a value takes at least so many bytes, where there are many rows.
pub const ROW_BYTES: usize = 8;

/// The most samples, gaps included, that a file of so many bytes is laid out to: one for each byte.
pub const fn samples_of(bytes: usize) -> usize {
    let most = if bytes > SAMPLES_FREE { bytes } else { SAMPLES_FREE };
    if most < SAMPLES { most } else { SAMPLES }
}

/// The most rows that a text of so many bytes may have.
pub const fn rows_of(bytes: usize) -> usize {
    let most = bytes / ROW_BYTES;
    if most > ROWS_FREE { most } else { ROWS_FREE }
}

/// What the channels of a binary file are called.
pub(super) const SIGNALS: &str = "signals";

/// Refuses columns or signals beyond [`COLUMNS`]; `what` names them.
///
/// # Errors
/// With the limit and what was found.
pub(super) fn columns(found: usize, what: &str) -> Result<(), ReadError> {
    if found <= COLUMNS {
        return Ok(());
    }
    let hint = if what == SIGNALS {
        "the header may be damaged; fetch the file from the monitor again"
    } else {
        "is the table turned on its side? every moment should have a row"
    };
    Err(ReadError::not_understood(format!(
        "too many {what}: expected at most {COLUMNS}, found {found}"
    ))
    .hint(hint))
}

/// Refuses more samples than a file of so many bytes can stand for.
///
/// # Errors
/// With the limit and what was found.
pub(super) fn samples(found: usize, bytes: usize) -> Result<(), ReadError> {
    let most = samples_of(bytes);
    if found <= most {
        return Ok(());
    }
    Err(ReadError::not_understood(format!(
        "the night would hold {found} samples with its gaps: expected at most {most} of a file of {bytes} \
         bytes"
    ))
    .hint("check how the times are written, or cut the file at its longest gap"))
}

/// Refuses more marks than a night has.
///
/// # Errors
/// With the limit.
pub(super) fn marks(found: usize) -> Result<(), ReadError> {
    if found <= MARKS {
        return Ok(());
    }
    Err(ReadError::not_understood(format!(
        "too many marks: expected at most {MARKS}, found {found}"
    ))
    .hint("is a column of numbers taken for words? a column map can leave it out"))
}
