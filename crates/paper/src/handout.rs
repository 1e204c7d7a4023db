//! The hand-out sheet: what was lent to whom until when, what was told, and two signatures.

use engine::print::Slot;
use serde_json::{Value, json};

use crate::code::Id;
use crate::desk::{Desk, Worn};
use crate::error::PaperError;
use crate::press::Paper;
use crate::sheet::Day;
use crate::sheet::Sheet;
use crate::text::{Shape, Text, TextError};
use crate::world::Template;

const TEMPLATE: Template = Template { path: "/handout.typ", text: include_str!("typ/handout.typ") };

/// What the patient is told of burns may be worded anew, never left out.
const SHAPE: Shape = Shape {
    places: &[
        "department",
        "hospital",
        "phone",
        "phone_hours",
        "emergency_phone",
        "urgent_phone",
        "return_by",
        "longest_hours",
        "put_on",
        "remove_by",
    ],
    required: &[
        ("burn", &["remove_by", "phone", "urgent_phone"]),
        ("carer", &[]),
        ("agreement", &[]),
    ],
};

/// The words that the patient signs, the department's to edit; checked when read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandOutText(Text);

impl HandOutText {
    /// The text that comes with the program, in English.
    pub const ENGLISH: &'static str = include_str!("../texts/handout-en.toml");

    /// Reads a text and checks that the burn warning and the agreement are there.
    ///
    /// # Errors
    /// [`TextError`] for text that is not TOML of this shape, a place that is not known, or a section
    /// that is missing or lacks a place it must use.
    pub fn parse(text: &str) -> Result<Self, TextError> {
        Text::parse(text, SHAPE).map(Self)
    }
}

/// What is lent to whom until when. It holds who the patient is, and nothing of any illness or night.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandOut {
    /// The words that are told and signed.
    pub text: HandOutText,
    /// Who lends.
    pub desk: Desk,
    /// Who borrows: at least two identifiers with words, for instance name, date of birth, number.
    pub patient: Vec<Slot>,
    /// The loan's reference, printed and as QR: capital letters, digits and hyphens, 2 to 16 of them.
    pub loan: String,
    /// What the monitor is called, in words.
    pub monitor: String,
    /// The monitor's asset id.
    pub asset_id: String,
    /// What goes with it, one line each; each gets a box for out and a box for back. May be empty.
    pub accessories: Vec<String>,
    /// Who stays the night and takes the sensor off for the patient; empty: a blank to be written on.
    pub carer: String,
    /// When it was handed out, in words; empty: a blank, for it is yet to be handed out.
    pub lent_on: String,
    /// When it must be back, in words.
    pub return_by: String,
    /// How long the sensor may stay at one place, and from when it is put on.
    pub worn: Worn,
    /// Who hands it out; empty: a blank to be written on.
    pub lent_by: String,
    /// What it is printed on.
    pub sheet: Sheet,
    /// The day it was made, for the file's own date; none: the start of the year 2000 stands there.
    pub made_on: Option<Day>,
}

/// The hand-out sheet as a PDF.
///
/// # Errors
/// [`PaperError::Refused`] for fewer than two identifiers, an id that is none, a time of nothing at one place, or
/// a place of the text that nothing was given for.
pub fn handout(handout: &HandOut) -> Result<Vec<u8>, PaperError> {
    paper(handout)?.print()
}

/// The same before it is set.
pub(crate) fn paper(handout: &HandOut) -> Result<Paper<'_>, PaperError> {
    let text = &handout.text.0;
    let filling = handout.desk.filling().with("return_by", &handout.return_by);
    let filling = handout.worn.fill(filling)?;
    let part = |id: &str| -> Result<Value, TextError> {
        let Some(section) = text.section(id) else { return Ok(Value::Null) };
        let lines: Vec<String> = section.words().cloned().collect();
        Ok(
            json!({ "heading": filling.fill_line(&section.heading)?, "lines": filling.fill(&lines)? }),
        )
    };
    Id::new("asset id", &handout.asset_id)?;
    Ok(Paper {
        template: TEMPLATE,
        title: filling.fill_line(&text.title)?,
        language: &text.language,
        sheet: handout.sheet,
        made_on: handout.made_on,
        words: json!({
            "head": handout.desk.head(),
            "phone": handout.desk.phone,
            "title": filling.fill_line(&text.title)?,
            "lines": filling.fill(&text.lines)?,
            "patient": identifiers(&handout.patient)?,
            "loan": handout.loan,
            "qr": Id::new("loan reference", &handout.loan)?.qr()?,
            "monitor": handout.monitor,
            "asset_id": handout.asset_id,
            "accessories": handout.accessories,
            "lent_on": handout.lent_on,
            "return_by": handout.return_by,
            "return_places": handout.desk.return_places,
            "burn": part("burn")?,
            "carer": part("carer")?,
            "carer_name": handout.carer,
            "agreement": part("agreement")?,
            "lent_by": handout.lent_by,
        }),
    })
}

fn identifiers(slots: &[Slot]) -> Result<Vec<Value>, PaperError> {
    let told = slots.iter().filter(|slot| !slot.text.trim().is_empty()).count();
    if told < 2 {
        return Err(PaperError::refused(
            format!("patient: expected at least two identifiers, found {told}"),
            "give two of name, date of birth and number",
        ));
    }
    Ok(slots.iter().map(|slot| json!({ "label": slot.label, "text": slot.text })).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn a_hand_out_sheet_is_one_page_on_either_sheet() {
        for sheet in [Sheet::A4, Sheet::Letter] {
            let handout = HandOut { sheet, ..sample::handout().unwrap() };
            assert_eq!(paper(&handout).unwrap().pages(), 1, "{sheet:?}");
        }
    }

    #[test]
    fn nothing_is_handed_out_on_one_identifier() {
        let mut handout = sample::handout().unwrap();
        for slot in handout.patient.iter_mut().skip(1) {
            slot.text = " ".into();
        }
        assert_eq!(
            super::handout(&handout).unwrap_err().to_string(),
            "patient: expected at least two identifiers, found 1"
        );
    }

    #[test]
    fn the_patient_cannot_sign_without_the_burn_warning() {
        let without = HandOutText::ENGLISH.replace("id = \"burn\"", "id = \"warmth\"");
        assert_eq!(
            HandOutText::parse(&without).unwrap_err().to_string(),
            "text: section `burn` is missing"
        );
        let worn = Worn { minutes: 0, from: (22, 0) };
        let handout = HandOut { worn, ..sample::handout().unwrap() };
        assert!(super::handout(&handout).unwrap_err().to_string().ends_with("found none"));
    }

    /// P5: a sheet printed ahead says nothing of an hour at which nothing happened.
    #[test]
    fn a_sheet_printed_ahead_does_not_say_that_the_monitor_was_handed_out() {
        let ahead = HandOut { lent_on: String::new(), ..sample::handout().unwrap() };
        assert_eq!(paper(&ahead).unwrap().words["lent_on"], "");
        assert_eq!(paper(&ahead).unwrap().pages(), 1);
    }
}
