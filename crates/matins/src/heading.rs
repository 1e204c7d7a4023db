//! The heading file: whose night it is and who asked, joined to the report when it is printed.
//!
//! ```toml
//! hospital = ["Name of the hospital", "Name of the department"]
//! study_id = "repeated on every page"
//! patient = [["Name", "…"], ["Date of birth", "…"], ["Number", "…"]]
//! study = [["Study", "…"], ["Asked by", "…"], ["Reason", "…"]]
//! signature = [["Scored by", "…"], ["Read by", ""], ["Date", ""]]
//! comparison = ["an earlier night, one line each"]
//! comment = ["the clinician's words, one paragraph each"]
//! lang = "en-GB"
//! ```

use engine::print::{Heading, Slot};
use serde::Deserialize;

use crate::message::Trouble;

/// What may stand in a heading file; a key that is left out is a blank to be written on.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct HeadingFile {
    hospital: Option<Vec<String>>,
    patient: Option<Vec<(String, String)>>,
    study: Option<Vec<(String, String)>>,
    study_id: Option<String>,
    comparison: Option<Vec<String>>,
    comment: Option<Vec<String>>,
    signature: Option<Vec<(String, String)>>,
    lang: Option<String>,
}

/// Reads a heading from its text.
pub(crate) fn parse(text: &str) -> Result<Heading, Trouble> {
    let file: HeadingFile = toml::from_str(text).map_err(|error| not_a_heading(text, &error))?;
    let blank = Heading::default();
    Ok(Heading {
        hospital: file.hospital.unwrap_or(blank.hospital),
        patient: file.patient.map_or(blank.patient, slots),
        study: file.study.map_or(blank.study, slots),
        study_id: file.study_id.unwrap_or(blank.study_id),
        comparison: file.comparison.unwrap_or(blank.comparison),
        comment: file.comment.unwrap_or(blank.comment),
        signature: file.signature.map_or(blank.signature, slots),
        lang: file.lang.unwrap_or(blank.lang),
        ..Heading::default()
    })
}

fn slots(pairs: Vec<(String, String)>) -> Vec<Slot> {
    pairs.into_iter().map(|(label, text)| Slot::new(label, text)).collect()
}

fn not_a_heading(text: &str, error: &toml::de::Error) -> Trouble {
    let line = error.span().map(|span| text[..span.start].matches('\n').count() + 1);
    Trouble::at_line(error.message().trim().replace('\n', " "), line)
        .hint("`matins report --help` tells what a heading file holds")
}
