//! The record of cleaning that goes with a monitor: one page, nothing of any patient.

use serde_json::json;

use crate::code::Id;
use crate::desk::Desk;
use crate::error::PaperError;
use crate::press::Paper;
use crate::sheet::Day;
use crate::sheet::Sheet;
use crate::world::Template;

const TEMPLATE: Template =
    Template { path: "/certificate.typ", text: include_str!("typ/certificate.typ") };

/// A monitor cleaned after a loan: what, how, by whom and when. It names the loan and no patient.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cleaning {
    /// Whose monitor it is.
    pub desk: Desk,
    /// The monitor's asset id.
    pub asset_id: String,
    /// What the monitor is called, in words.
    pub monitor: String,
    /// Its serial number; empty: a blank to be written on.
    pub serial: String,
    /// The loan that ended before it: its reference.
    pub loan: String,
    /// When that loan ended, in words.
    pub loan_ended: String,
    /// What was cleaned with the monitor, one line each; may be empty.
    pub parts: Vec<String>,
    /// How, in the department's own words, one paragraph each; empty: a blank to be written on.
    pub method: Vec<String>,
    /// Who cleaned it; empty: a blank to be written on.
    pub cleaned_by: String,
    /// When, in words; empty: a blank to be written on.
    pub cleaned_at: String,
    /// What it is printed on.
    pub sheet: Sheet,
    /// The day it was made, for the file's own date; none: the start of the year 2000 stands there.
    pub made_on: Option<Day>,
}

/// The record of cleaning as a PDF of one page.
///
/// # Errors
/// [`PaperError::Refused`] for an asset id or a loan reference that is none.
pub fn certificate(cleaning: &Cleaning) -> Result<Vec<u8>, PaperError> {
    paper(cleaning)?.print()
}

/// The same before it is set.
pub(crate) fn paper(cleaning: &Cleaning) -> Result<Paper<'static>, PaperError> {
    Id::new("loan reference", &cleaning.loan)?;
    Ok(Paper {
        template: TEMPLATE,
        title: format!("Record of cleaning, monitor {}", cleaning.asset_id),
        language: "en-GB",
        sheet: cleaning.sheet,
        made_on: cleaning.made_on,
        words: json!({
            "head": cleaning.desk.head(),
            "asset_id": cleaning.asset_id,
            "qr": Id::new("asset id", &cleaning.asset_id)?.qr()?,
            "monitor": cleaning.monitor,
            "serial": cleaning.serial,
            "loan": cleaning.loan,
            "loan_ended": cleaning.loan_ended,
            "parts": cleaning.parts,
            "method": cleaning.method,
            "cleaned_by": cleaning.cleaned_by,
            "cleaned_at": cleaning.cleaned_at,
        }),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn a_record_of_cleaning_is_one_page_filled_or_blank() {
        let filled = sample::cleaning();
        let blank = Cleaning {
            serial: String::new(),
            parts: Vec::new(),
            method: Vec::new(),
            cleaned_by: String::new(),
            cleaned_at: String::new(),
            sheet: Sheet::Letter,
            ..filled.clone()
        };
        for cleaning in [filled, blank] {
            assert_eq!(paper(&cleaning).unwrap().pages(), 1);
            assert!(certificate(&cleaning).is_ok());
        }
    }

    #[test]
    fn a_record_of_cleaning_names_its_monitor_and_its_loan() {
        let wrong = Cleaning { asset_id: "monitor 7".into(), ..sample::cleaning() };
        assert!(certificate(&wrong).unwrap_err().to_string().starts_with("asset id `monitor 7`"));
        let wrong = Cleaning { loan: String::new(), ..sample::cleaning() };
        assert!(certificate(&wrong).unwrap_err().to_string().starts_with("loan reference ``"));
    }
}
