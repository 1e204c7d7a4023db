//! Codes for "no reading", and the count of what a channel's cells held.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Quantity;
use crate::unit::Unit;

/// Whether a number is a monitor's code for "no reading" and cannot be a true value of this channel.
///
/// Common practice, no source: 127, 255 and 511 are the largest numbers of 7, 8 and 9 bits.
pub(super) fn is_code(quantity: Quantity, unit: Option<&Unit>, value: f64) -> bool {
    // No code lies between: most numbers need no closer look.
    if value > 0.0 && value < 127.0 {
        return false;
    }
    let one_of = |codes: &[f64]| codes.iter().any(|code| code.to_bits() == value.to_bits());
    match quantity {
        Quantity::Spo2 => value == 0.0 || one_of(&[127.0, 255.0, 511.0, -1.0]),
        // A pulse may be 127 or 255: see `follows`.
        Quantity::Pulse => value == 0.0 || one_of(&[511.0, -1.0]),
        // 127 mmHg can be true, 127 kPa cannot; 0 may be room air.
        Quantity::Tcpco2 if unit == Some(&Unit::Kilopascal) => one_of(&[127.0, 255.0, 511.0, -1.0]),
        Quantity::Tcpco2 => one_of(&[255.0, 511.0, -1.0]),
        Quantity::Perfusion | Quantity::SensorTemp => one_of(&[127.0, 255.0, 511.0, -1.0]),
        Quantity::Heater => one_of(&[-1.0]),
        _ => false,
    }
}

/// Whether a pulse is a code because the saturation of the same row is one.
pub(super) fn follows(pulse: f64, spo2: f64) -> bool {
    let code = |value: f64| value.to_bits() == pulse.to_bits();
    (code(127.0) && code(spo2)) || (code(255.0) && is_code(Quantity::Spo2, None, spo2))
}

/// What a channel's cells held beside numbers.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tally {
    /// Cells with a number.
    pub(super) numbers: usize,
    /// Cells with nothing in them.
    pub(super) empty: usize,
    /// Codes as written, each with its count.
    pub(super) codes: Vec<(Vec<u8>, usize)>,
    /// Cells that are neither.
    pub(super) bad: usize,
    /// The first of those: its line and its text.
    pub(super) first_bad: Option<(u64, String)>,
}

impl Tally {
    /// Counts a code.
    pub(super) fn code(&mut self, raw: &[u8]) {
        let raw = raw.trim_ascii();
        match self.codes.iter_mut().find(|(code, _)| code == raw) {
            Some((_, count)) => *count += 1,
            None => self.codes.push((raw.to_vec(), 1)),
        }
    }

    /// Counts a cell that cannot be read.
    pub(super) fn bad(&mut self, line: u64, raw: &[u8]) {
        self.bad += 1;
        self.first_bad.get_or_insert_with(|| (line, short(raw)));
    }

    /// What to tell about a channel's missing readings and unread cells.
    pub(super) fn findings(&self, id: &str, name: &str) -> Vec<Finding> {
        let mut parts: Vec<String> = Vec::new();
        if self.empty > 0 {
            parts.push(format!("{} empty", self.empty));
        }
        for (code, count) in &self.codes {
            parts.push(format!("{count} `{}`", String::from_utf8_lossy(code)));
        }
        let mut findings = Vec::new();
        if !parts.is_empty() {
            let sentence = format!("Cells of {name} taken as no reading: {}.", parts.join(", "));
            findings.push(Finding::new("missing_codes", Weight::Note, sentence).on(id));
        }
        if let Some((line, text)) = &self.first_bad {
            let sentence = format!(
                "Cells of {name} that are no number: {}; the first is `{text}` in line {line}. They \
                 count as no reading.",
                self.bad
            );
            findings.push(Finding::new("cells_not_understood", Weight::Caution, sentence).on(id));
        }
        findings
    }
}

/// A cell to print: cut where it is long, control characters shown as a dot.
pub(super) fn short(raw: &[u8]) -> String {
    let text = String::from_utf8_lossy(raw.trim_ascii());
    let mut out: String =
        text.chars().take(40).map(|c| if c.is_control() { '·' } else { c }).collect();
    if text.chars().count() > 40 {
        out.push('…');
    }
    out
}
