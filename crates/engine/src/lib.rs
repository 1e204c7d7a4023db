//! The physiology of a monitored night: from a monitor's bytes to a judgement that carries how sure it is.
//!
//! ```text
//! bytes ─read▶ Recording ─screen▶ Screened ─correct▶ Corrected ─score▶ Scores ─judge▶ Judgement ─report▶ Report ─print▶ text
//! ```
//!
//! Each step has one verb and one type, and a later step cannot be asked of an earlier type. Only
//! [`read`](read::read) may fail: after it, a poor night is not an error but a value with
//! [findings](finding::Finding).
//!
//! What this crate does not do: it reads no clock, file, environment or socket; it knows no patient's
//! name; it draws no diagnosis.
//!
//! Rooms, each using only those before it:
//! `unit`, `time`, `finding`, `stats`, `gas`, `recording`, `trace`, `criteria`, `notes`, `read`, `screen`,
//! `correct`, `score`, `judge`, `report`, `compare`, `print`, `night`.

pub mod compare;
pub mod correct;
pub mod criteria;
pub mod finding;
pub mod gas;
pub mod judge;
pub mod night;
pub mod notes;
pub mod print;
pub mod read;
pub mod recording;
pub mod report;
pub mod score;
pub mod screen;
pub mod stats;
pub mod time;
pub mod trace;
pub mod unit;

/// Version of the engine, printed with every result.
pub const ENGINE: &str = concat!("matins ", env!("CARGO_PKG_VERSION"));

/// Bytes as lowercase hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
