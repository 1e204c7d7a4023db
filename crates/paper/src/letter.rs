//! Letters to the patient: one more night, or a monitor that is late. They say nothing of any illness.

use serde_json::json;

use crate::desk::Desk;
use crate::error::PaperError;
use crate::press::Paper;
use crate::sheet::{Day, Print, Sheet};
use crate::text::{Shape, Text, TextError};
use crate::world::Template;

const TEMPLATE: Template = Template { path: "/letter.typ", text: include_str!("typ/letter.typ") };

const SHAPE: Shape = Shape {
    places: &[
        "department",
        "hospital",
        "phone",
        "phone_hours",
        "emergency_phone",
        "urgent_phone",
        "return_by",
        "return_places",
        "lent_on",
        "first_night",
        "loan",
    ],
    required: &[
        ("repeat", &["phone", "urgent_phone", "emergency_phone"]),
        ("overdue", &["phone", "return_places"]),
        ("overdue-again", &["phone", "return_places"]),
    ],
};

/// The department's letters, its own to edit; checked when read. Each section is one letter: its id,
/// its subject as heading, its paragraphs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LetterTexts(Text);

/// The words of one letter, ready to be printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LetterWords {
    /// BCP 47 language.
    pub language: String,
    /// What the letter is about, in a few words.
    pub subject: String,
    /// The paragraphs.
    pub paragraphs: Vec<String>,
}

/// What a letter may say of a loan. An empty text may stand only where the letter does not ask for it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LetterLoan {
    /// The loan's reference.
    pub loan: String,
    /// When the monitor was lent, in words.
    pub lent_on: String,
    /// The evening of the first night, in words.
    pub first_night: String,
    /// When it was or is due back, in words.
    pub return_by: String,
}

impl LetterTexts {
    /// The letters that come with the program, in English: `repeat`, `overdue`, `overdue-again`.
    pub const ENGLISH: &'static str = include_str!("../texts/letters-en.toml");

    /// Reads the letters and checks that each says where to ring and, where it asks for a monitor, where
    /// to bring it.
    ///
    /// # Errors
    /// [`TextError`] for text that is not TOML of this shape, a place that is not known, or a letter that
    /// is missing or lacks a place it must use.
    pub fn parse(text: &str) -> Result<Self, TextError> {
        Text::parse(text, SHAPE).map(Self)
    }

    /// The ids of the letters there are, in the order of the file.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.0.sections.iter().map(|section| section.id.as_str())
    }

    /// One letter with its places filled.
    ///
    /// # Errors
    /// [`TextError`] for an id that there is no letter of, or a place that nothing was given for.
    pub fn words(
        &self,
        id: &str,
        desk: &Desk,
        loan: &LetterLoan,
    ) -> Result<LetterWords, TextError> {
        let section = self.0.section(id).ok_or_else(|| TextError {
            place: "letters".into(),
            what: format!("there is no letter `{id}`"),
            hint: format!("there are {}", self.ids().collect::<Vec<_>>().join(", ")),
        })?;
        let filling = desk
            .filling()
            .with("loan", &loan.loan)
            .with("lent_on", &loan.lent_on)
            .with("first_night", &loan.first_night)
            .with("return_by", &loan.return_by);
        let lines: Vec<String> = section.words().cloned().collect();
        Ok(LetterWords {
            language: self.0.language.clone(),
            subject: filling.fill_line(&section.heading)?,
            paragraphs: filling.fill(&lines)?,
        })
    }
}

/// A letter to one patient.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letter {
    /// Who writes.
    pub desk: Desk,
    /// Name and address, one line each; it stands where a window envelope shows it, with nothing else.
    pub to: Vec<String>,
    /// The date, in words.
    pub date: String,
    /// What the patient may quote when ringing; empty: none is printed.
    pub reference: String,
    /// For instance `Dear Ms Pendlewick`.
    pub salutation: String,
    /// The words.
    pub words: LetterWords,
    /// For instance `Yours sincerely`.
    pub close: String,
    /// Who signs, one line each.
    pub signed: Vec<String>,
    /// How large the words are.
    pub print: Print,
    /// What it is printed on.
    pub sheet: Sheet,
    /// The day it was made, for the file's own date; none: the start of the year 2000 stands there.
    pub made_on: Option<Day>,
}

/// The letter as a PDF.
///
/// # Errors
/// [`PaperError::Refused`] for a letter to nobody or one that says nothing.
pub fn letter(letter: &Letter) -> Result<Vec<u8>, PaperError> {
    paper(letter)?.print()
}

/// The same before it is set.
pub(crate) fn paper(letter: &Letter) -> Result<Paper<'_>, PaperError> {
    let empty = |lines: &[String]| lines.iter().all(|line| line.trim().is_empty());
    if empty(&letter.to) {
        return Err(PaperError::refused("letter: it has no address", "give a name and an address"));
    }
    if empty(&letter.words.paragraphs) {
        return Err(PaperError::refused("letter: it has no words", "choose one of the letters"));
    }
    Ok(Paper {
        template: TEMPLATE,
        title: letter.words.subject.clone(),
        language: &letter.words.language,
        sheet: letter.sheet,
        made_on: letter.made_on,
        words: json!({
            "points": letter.print.points(),
            "large": letter.print == Print::Large,
            "head": letter.desk.head(),
            "phone": letter.desk.phone,
            "phone_hours": letter.desk.phone_hours,
            "to": letter.to,
            "date": letter.date,
            "reference": letter.reference,
            "salutation": letter.salutation,
            "subject": letter.words.subject,
            "paragraphs": letter.words.paragraphs,
            "close": letter.close,
            "signed": letter.signed,
        }),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    /// It may be read by somebody who waits for a result: it neither says that all is well nor frightens, and it says
    /// whom to ring for what cannot wait.
    #[test]
    fn the_letter_of_a_repeat_gives_no_false_reassurance_and_says_whom_to_ring() {
        let words = sample::letter("repeat").unwrap().words.paragraphs.join(" ");
        for wrong in ["anything is wrong", "nothing is wrong", "could not use", "do not worry"] {
            assert!(!words.contains(wrong), "{wrong}: {words}");
        }
        for needed in [
            "do not yet have a full answer",
            "sooner",
            "headache",
            "sleepy",
            "lie flat",
            "111",
            "999",
        ] {
            assert!(words.contains(needed), "{needed}: {words}");
        }
    }

    #[test]
    fn every_letter_that_comes_with_the_program_is_one_page() {
        let texts = LetterTexts::parse(LetterTexts::ENGLISH).unwrap();
        assert_eq!(texts.ids().collect::<Vec<_>>(), ["repeat", "overdue", "overdue-again"]);
        for id in texts.ids() {
            let letter = sample::letter(id).unwrap();
            assert_eq!(paper(&letter).unwrap().pages(), 1, "{id}");
            assert!(super::letter(&letter).is_ok());
        }
    }

    #[test]
    fn a_letter_to_nobody_or_of_nothing_is_refused() {
        let said = |letter: Letter| super::letter(&letter).unwrap_err().to_string();
        let one = || sample::letter("overdue").unwrap();
        assert_eq!(said(Letter { to: vec![" ".into()], ..one() }), "letter: it has no address");
        let words = LetterWords { paragraphs: Vec::new(), ..one().words };
        assert_eq!(said(Letter { words, ..one() }), "letter: it has no words");
    }

    #[test]
    fn a_letter_that_asks_for_what_was_not_given_is_refused() {
        let texts = LetterTexts::parse(LetterTexts::ENGLISH).unwrap();
        let error = texts.words("overdue", &sample::desk(), &LetterLoan::default()).unwrap_err();
        assert!(error.to_string().contains("the text uses it, but nothing was given for it"));
        let error = texts.words("bill", &sample::desk(), &LetterLoan::default()).unwrap_err();
        assert_eq!(error.to_string(), "letters: there is no letter `bill`");
        assert_eq!(error.hint, "there are repeat, overdue, overdue-again");
    }

    #[test]
    fn no_word_from_outside_becomes_markup_in_a_letter() {
        let hostile = "*x* #panic(\"no\") $x$ <a> @b // \\ [ \u{6c34}\u{0}";
        let lines = || vec![hostile.to_owned(); 2];
        let words =
            LetterWords { language: hostile.into(), subject: hostile.into(), paragraphs: lines() };
        let letter = Letter {
            to: lines(),
            date: hostile.into(),
            reference: hostile.into(),
            salutation: hostile.into(),
            words,
            close: hostile.into(),
            signed: lines(),
            ..sample::letter("repeat").unwrap()
        };
        assert_eq!(paper(&letter).unwrap().pages(), 1);
        assert!(super::letter(&letter).is_ok());
    }
}
