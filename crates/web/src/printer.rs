//! What is put on paper, by whoever can.
//!
//! The crate that makes PDF is heavy, so the workbench only says what should stand on the paper.

use store::lending::setting::DeskSettings;

/// A paper as plain data. None but the report holds anything of an illness or a night.
#[derive(Clone, Debug, PartialEq)]
pub enum Paper {
    /// A sheet of labels.
    Labels(Vec<Label>),
    /// The leaflet and diary of a loan.
    Leaflet(Leaflet),
    /// The sheet the borrower signs.
    HandOut(HandOut),
    /// The record of a cleaning.
    Cleaning(Cleaning),
    /// A letter to a patient.
    Letter(Letter),
    /// The report of a night, to be signed.
    Report(Box<Report>),
    /// A signed paper that stands no more, with a mark across it.
    Marked(Marked),
}

/// A signed paper and what stands across it now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marked {
    /// The bytes that were signed.
    pub pdf: Vec<u8>,
    /// What stands across every page.
    pub stamp: engine::print::Stamp,
}

/// The report of a night, with the words around it.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What the engine says.
    pub report: engine::report::Report,
    /// Whose it is, who asked, who signs.
    pub heading: engine::print::Heading,
}

/// One label.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Label {
    /// The mark as text and as code: `M-0007-K`.
    pub mark: String,
    /// What it is, under the mark.
    pub line: String,
}

/// The leaflet and diary of a loan.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaflet {
    /// The department's own text; `None` prints the one that comes with the program.
    pub text: Option<String>,
    /// The loan's mark.
    pub loan: String,
    /// When the monitor must be back, in words.
    pub return_by: String,
    /// How long the sensor may stay at one place.
    pub worn: Worn,
    /// Whether it is printed large.
    pub large: bool,
}

/// How long a heated sensor may stay at one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Worn {
    /// Minutes at most.
    pub minutes: i64,
    /// The local time before which it is not put on.
    pub from: jiff::civil::Time,
}

/// The sheet the borrower signs.
#[derive(Clone, Debug, PartialEq)]
pub struct HandOut {
    /// The department's own text; `None` prints the one that comes with the program.
    pub text: Option<String>,
    /// Identifiers: label and words.
    pub patient: Vec<(String, String)>,
    /// The loan's mark.
    pub loan: String,
    /// What the monitor is, in words.
    pub monitor: String,
    /// The monitor's mark.
    pub mark: String,
    /// When it went out, in words; empty while it has not.
    pub lent_on: String,
    /// When it must be back, in words.
    pub return_by: String,
    /// How long the sensor may stay at one place.
    pub worn: Worn,
    /// Who stays the night and takes the sensor off; empty: asked on the sheet.
    pub carer: String,
    /// Who hands it out.
    pub lent_by: String,
}

/// The record of a cleaning.
#[derive(Clone, Debug, PartialEq)]
pub struct Cleaning {
    /// The monitor's mark.
    pub mark: String,
    /// What it is, in words.
    pub monitor: String,
    /// Its serial number.
    pub serial: String,
    /// The mark of the loan before it.
    pub loan: String,
    /// When that loan ended, in words.
    pub loan_ended: String,
    /// How it was cleaned.
    pub method: String,
    /// By whom.
    pub cleaned_by: String,
    /// When, in words.
    pub cleaned_at: String,
}

/// A letter to a patient.
#[derive(Clone, Debug, PartialEq)]
pub struct Letter {
    /// Which: `repeat`, `overdue`, `overdue-again`.
    pub id: String,
    /// The department's own texts; `None` prints those that come with the program.
    pub text: Option<String>,
    /// Name and address, one line each.
    pub to: Vec<String>,
    /// The day, in words.
    pub date: String,
    /// `Dear …`.
    pub salutation: String,
    /// The loan's mark.
    pub loan: String,
    /// When the monitor was lent, in words.
    pub lent_on: String,
    /// The evening of the first night, in words.
    pub first_night: String,
    /// When it is due back, in words.
    pub return_by: String,
    /// Who signs, one line each.
    pub signed: Vec<String>,
}

/// Puts plain data on paper.
pub trait Printer: Send + Sync {
    /// The paper as a whole PDF.
    ///
    /// # Errors
    /// Why there is none, in words for the page.
    fn print(&self, paper: &Paper, desk: &DeskSettings) -> Result<Vec<u8>, String>;

    /// The words of `leaflet`, `handout` or `letters` as they come with the program; `None` when this printer has
    /// none.
    fn shipped_text(&self, _name: &str) -> Option<&'static str> {
        None
    }

    /// Whether the department's own words for `leaflet`, `handout` or `letters` can be printed: a text that lacks
    /// what a patient must read is found when it is saved, not when somebody waits for the paper.
    ///
    /// # Errors
    /// What is wrong with them.
    fn check_text(&self, _name: &str, _text: &str) -> Result<(), String> {
        Ok(())
    }
}

/// A printer that prints nothing and says why.
#[derive(Clone, Copy, Debug)]
pub struct NoPrinter;

impl Printer for NoPrinter {
    fn print(&self, _paper: &Paper, _desk: &DeskSettings) -> Result<Vec<u8>, String> {
        Err("this build of matins has no PDF in it".to_owned())
    }
}
