//! Codes that a scanner reads: QR and Code 128 of one short id, as vectors.
//!
//! General libraries encode; here the modules are only drawn, in units of one module, with their quiet
//! zones. What an id must look like is common practice, no source: letters and digits that a wedge
//! scanner types the same on every keyboard layout.

use std::fmt::Write as _;

use barcoders::sym::code128::Code128;
use qrcode::{Color, EcLevel, QrCode, Version};
use serde_json::{Value, json};

use crate::error::PaperError;

/// White modules about a QR code, as its standard asks.
const QR_QUIET: usize = 4;
/// White modules before and after a Code 128, as its standard asks.
const BARS_QUIET: usize = 10;
/// What fits a 62 mm label at two dots a module, and the smallest QR code.
const LONGEST: usize = 16;

/// Text that may stand in a code: an asset id or a loan reference, checked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Id<'a>(&'a str);

impl<'a> Id<'a> {
    /// Takes capital letters, digits and hyphens, 2 to 16 of them.
    pub(crate) fn new(thing: &str, text: &'a str) -> Result<Self, PaperError> {
        let hint = "an id looks like M-0007-M; scan or type it as it stands in the record";
        if !(2..=LONGEST).contains(&text.chars().count()) {
            let found = text.chars().count();
            return Err(PaperError::refused(
                format!("{thing} `{text}`: expected 2 to {LONGEST} characters, found {found}"),
                hint,
            ));
        }
        let sound = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-';
        match text.chars().find(|c| !sound(*c)) {
            None => Ok(Self(text)),
            Some(found) => Err(PaperError::refused(
                format!(
                    "{thing} `{text}`: expected capital letters, digits and hyphens, found `{found}`"
                ),
                hint,
            )),
        }
    }

    /// The id as a QR code, ready for a template.
    pub(crate) fn qr(self) -> Result<Value, PaperError> {
        // The smallest code for every id, so that all labels look alike, and as much damage mended as it holds.
        let code = [EcLevel::H, EcLevel::Q]
            .into_iter()
            .find_map(|level| QrCode::with_version(self.0, Version::Normal(1), level).ok())
            .ok_or_else(|| self.not_encoded("QR"))?;
        let (side, full) = (code.width(), code.width() + 2 * QR_QUIET);
        let dark: Vec<bool> = code.to_colors().iter().map(|color| *color == Color::Dark).collect();
        let mut path = String::new();
        for (y, row) in dark.chunks(side).enumerate() {
            runs(&mut path, row, QR_QUIET, y + QR_QUIET, 1);
        }
        Ok(json!({
            "svg": svg(full, full, &path),
            "modules": full,
            "alt": format!("QR code of {}", self.0),
        }))
    }

    /// The id as a Code 128, ready for a template; its height is one module, to be stretched.
    pub(crate) fn bars(self) -> Result<Value, PaperError> {
        // The letter before the id is the library's way to say code set B.
        let code = Code128::new(format!("\u{0181}{}", self.0))
            .map_err(|_| self.not_encoded("Code 128"))?
            .encode();
        let dark: Vec<bool> = code.iter().map(|module| *module == 1).collect();
        let full = dark.len() + 2 * BARS_QUIET;
        let mut path = String::new();
        runs(&mut path, &dark, BARS_QUIET, 0, full);
        Ok(json!({
            "svg": svg(full, full, &path),
            "modules": full,
            "alt": format!("Code 128 of {}", self.0),
        }))
    }

    fn not_encoded(self, kind: &str) -> PaperError {
        PaperError::NotSet { said: vec![format!("no {kind} could be made of `{}`", self.0)] }
    }
}

/// The dark runs of one row as rectangles.
fn runs(path: &mut String, row: &[bool], left: usize, top: usize, height: usize) {
    let mut x = left;
    for run in row.chunk_by(|a, b| a == b) {
        if run[0] {
            let width = run.len();
            let _ = write!(path, "M{x} {top}h{width}v{height}h-{width}z");
        }
        x += run.len();
    }
}

/// One path, so that no hair of white shows between modules.
fn svg(width: usize, height: usize, path: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         preserveAspectRatio=\"none\"><path fill=\"#000\" d=\"{path}\"/></svg>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_capitals_digits_and_hyphens() {
        let said = |text| Id::new("asset id", text).map(|_| ()).map_err(|e| e.to_string());
        assert_eq!(said("M-0007-M"), Ok(()));
        assert_eq!(
            said("lm-0007"),
            Err("asset id `lm-0007`: expected capital letters, digits and hyphens, found `l`"
                .into())
        );
        assert_eq!(
            said("80049506000MON0007"),
            Err("asset id `80049506000MON0007`: expected 2 to 16 characters, found 18".into())
        );
        assert!(said("").is_err() && said("7").is_err() && said("Ä-7").is_err());
    }

    #[test]
    fn both_codes_keep_their_quiet_zones() {
        let id = Id::new("asset id", "M-0007-M").unwrap();
        // A version 1 symbol has 21 modules (`iso-18004`).
        assert_eq!(id.qr().unwrap()["modules"], 21 + 8);
        // Start, eight letters and check of 11 modules, the stop of 13 (`iso-15417`).
        assert_eq!(id.bars().unwrap()["modules"], 10 * 11 + 13 + 20);
        assert!(id.bars().unwrap()["svg"].as_str().unwrap().contains("d=\"M10 0h2v"));
    }

    #[test]
    fn the_longest_id_still_fits_the_smallest_square() {
        let id = Id::new("asset id", "ABCDEFGH-0123456").unwrap();
        assert_eq!(id.qr().unwrap()["modules"], 29);
        assert_eq!(id.bars().unwrap()["modules"], 18 * 11 + 13 + 20);
    }
}
