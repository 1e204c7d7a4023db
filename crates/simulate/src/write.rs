//! Recordings written out: delimited text and EDF+.
//!
//! Pure: a recording to bytes, the same bytes every time. Nothing of a patient is written, for nothing of
//! a patient is in a recording.

mod edf;
mod text;

pub use edf::{EdfOptions, edf};
pub use text::text;
