//! Paper for the patient: how to wear the sensor, when to stop, how to bring it back, and the diary.

use engine::notes::diary::{DiaryQuestion, QUESTIONS, Takes};
use engine::recording::MarkKind;
use serde_json::{Value, json};

use crate::code::Id;
use crate::desk::{Desk, Worn};
use crate::error::PaperError;
use crate::press::Paper;
use crate::sheet::{Day, Print, Sheet};
use crate::text;
use crate::text::{Filling, Section, Shape, Text, TextError};
use crate::world::Template;

const TEMPLATE: Template = Template { path: "/leaflet.typ", text: include_str!("typ/leaflet.typ") };

/// The burn warning, the way back, the number to ring and the diary's head may be worded anew, never left out.
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
        "longest_hours",
        "put_on",
        "remove_by",
    ],
    required: &[
        ("stop", &["remove_by", "phone", "urgent_phone", "emergency_phone"]),
        ("return", &["return_by", "return_places"]),
        ("ring", &["phone", "urgent_phone", "emergency_phone"]),
        ("diary", &[]),
    ],
};

/// The words of the leaflet, the department's to edit; checked when read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeafletText(Text);

impl LeafletText {
    /// The text that comes with the program, in English.
    pub const ENGLISH: &'static str = include_str!("../texts/leaflet-en.toml");

    /// Reads a text and checks that nothing is missing that a patient must be told.
    ///
    /// # Errors
    /// [`TextError`] for text that is not TOML of this shape, a place that is not known, a section that
    /// may not be left out, or one that lacks a place it must use.
    pub fn parse(text: &str) -> Result<Self, TextError> {
        Text::parse(text, SHAPE).map(Self)
    }
}

/// A leaflet for one loan, or for any. It holds nothing of the patient but the loan's reference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Leaflet {
    /// The words.
    pub text: LeafletText,
    /// Who lends.
    pub desk: Desk,
    /// How long the sensor may stay at one place, and from when it is put on.
    pub worn: Worn,
    /// When the monitor must be back, in words, for instance `Wednesday 4 March, 10:00`.
    pub return_by: String,
    /// The loan's reference, printed and as QR: capital letters, digits and hyphens, 2 to 16 of them;
    /// none: a leaflet for any loan, without a code.
    pub loan: Option<String>,
    /// How large the words are.
    pub print: Print,
    /// What it is printed on.
    pub sheet: Sheet,
    /// The day it was made, for the file's own date; none: the start of the year 2000 stands there.
    pub made_on: Option<Day>,
}

/// The leaflet and the diary as a PDF.
///
/// # Errors
/// [`PaperError::Refused`] for a time of nothing at one place, a reference that is none, or a place of the text
/// that nothing was given for.
pub fn leaflet(leaflet: &Leaflet) -> Result<Vec<u8>, PaperError> {
    paper(leaflet)?.print()
}

/// The same before it is set.
pub(crate) fn paper(leaflet: &Leaflet) -> Result<Paper<'_>, PaperError> {
    let text = &leaflet.text.0;
    let filling = leaflet.desk.filling().with("return_by", &leaflet.return_by);
    let filling = leaflet.worn.fill(filling)?;
    let part = |id: &str| text.section(id).map(|s| section(s, &filling)).transpose();
    let rest = text
        .sections
        .iter()
        .filter(|s| s.id != "stop" && s.id != "diary")
        .map(|s| section(s, &filling))
        .collect::<Result<Vec<_>, _>>()?;
    let loan = leaflet.loan.as_deref().map(|id| Id::new("loan reference", id)?.qr()).transpose()?;
    Ok(Paper {
        template: TEMPLATE,
        title: filling.fill_line(&text.title)?,
        language: &text.language,
        sheet: leaflet.sheet,
        made_on: leaflet.made_on,
        words: json!({
            "points": leaflet.print.points(),
            "large": leaflet.print == Print::Large,
            "head": [&leaflet.desk.department, &leaflet.desk.hospital],
            "phone": leaflet.desk.phone,
            "title": filling.fill_line(&text.title)?,
            "lines": filling.fill(&text.lines)?,
            "stop": part("stop")?,
            "sections": rest,
            "diary": part("diary")?,
            "questions": QUESTIONS.iter().map(question).collect::<Vec<_>>(),
            "loan": leaflet.loan,
            "qr": loan,
        }),
    })
}

fn section(section: &Section, filling: &Filling) -> Result<Value, TextError> {
    Ok(json!({
        "id": section.id,
        "heading": filling.fill_line(&section.heading)?,
        "lines": lines(&section.lines, filling)?,
        "steps": lines(&section.steps, filling)?,
        "after": lines(&section.after, filling)?,
    }))
}

/// Sentences filled, each with whether a place stood alone in it.
fn lines(lines: &[String], filling: &Filling) -> Result<Vec<Value>, TextError> {
    let mut out = Vec::new();
    for line in lines {
        let alone = text::stands_alone(line);
        let filled = filling.fill(std::slice::from_ref(line))?;
        out.extend(filled.iter().map(|words| json!({ "words": words, "alone": alone })));
    }
    Ok(out)
}

/// A question of the diary with the blanks that its answer needs.
fn question(question: &DiaryQuestion) -> Value {
    let blanks = match question.takes {
        Takes::Time => "time",
        Takes::YesNo => "yes-no",
        Takes::Words | Takes::Note => "words",
        Takes::Spans(MarkKind::Refitted) => "times",
        Takes::Spans(MarkKind::Oxygen | MarkKind::Support) => "spans-words",
        Takes::Spans(_) => "spans",
    };
    json!({ "asks": question.asks, "example": question.example, "blanks": blanks })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn the_leaflet_is_two_pages_and_the_diary_one_more() {
        for sheet in [Sheet::A4, Sheet::Letter] {
            let usual = Leaflet { sheet, ..sample::leaflet().unwrap() };
            assert_eq!(paper(&usual).unwrap().pages(), 3, "{sheet:?}");
            let large = Leaflet { print: Print::Large, ..usual };
            assert!(paper(&large).unwrap().pages() <= 7, "{sheet:?}");
        }
    }

    #[test]
    fn a_text_without_the_burn_warning_is_refused() {
        let said = |from: &str, to: &str| {
            let text = LeafletText::ENGLISH.replace(from, to);
            assert_ne!(text, LeafletText::ENGLISH, "{from}");
            LeafletText::parse(&text).map(|_| ()).map_err(|error| error.to_string())
        };
        assert_eq!(
            said("id = \"stop\"", "id = \"warm\""),
            Err("text: section `stop` is missing".into())
        );
        for (from, to, place) in [
            ("take it off by {remove_by}", "take it off in time", "remove_by"),
            ("If we are closed, ring {urgent_phone}", "If we are closed, wait", "urgent_phone"),
        ] {
            let missing = format!("section `stop`: place `{{{place}}}` is missing");
            assert_eq!(said(from, to), Err(missing));
        }
        assert_eq!(
            said("{return_places}", "{places}"),
            Err("section `return`: place `{places}` is not known".into())
        );
    }

    #[test]
    fn the_longest_time_at_one_place_is_the_departments_own() {
        let worn =
            |minutes, from| Leaflet { worn: Worn { minutes, from }, ..sample::leaflet().unwrap() };
        let none = leaflet(&worn(0, (22, 0))).unwrap_err().to_string();
        assert!(none.starts_with("longest time at one place"), "{none}");
        for (minutes, from, says) in [
            (480, (22, 0), ["22:00", "06:00", "8 hours"]),
            (450, (20, 30), ["20:30", "04:00", "7.5 hours"]),
            (719, (13, 1), ["13:01", "01:00", "11.98 hours"]),
        ] {
            let words = paper(&worn(minutes, from)).unwrap().words["stop"].to_string();
            assert!(says.iter().all(|one| words.contains(one)), "{minutes} {from:?}: {words}");
        }
    }

    /// What a burn needs at once, and whom to ring, stand in the frame at the head of the leaflet.
    #[test]
    fn first_aid_for_a_burn_and_every_number_stand_in_the_warning() {
        let words = paper(&sample::leaflet().unwrap()).unwrap().words["stop"].to_string();
        for needed in [
            "20 minutes",
            "cool running water",
            "No ice",
            "no cream",
            "blister",
            "cling film",
            "alarm",
            "111",
            "999",
            "01632",
        ] {
            assert!(words.contains(needed), "{needed}: {words}");
        }
    }

    #[test]
    fn the_diary_on_paper_asks_what_the_diary_on_a_terminal_asks() {
        let words = paper(&sample::leaflet().unwrap()).unwrap().words;
        let asked: Vec<&str> = words["questions"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|q| q["asks"].as_str())
            .collect();
        assert_eq!(asked, QUESTIONS.map(|question| question.asks));
    }

    #[test]
    fn a_department_that_gives_no_number_to_ring_is_told() {
        let mut without = sample::leaflet().unwrap();
        without.desk.phone.clear();
        let error = leaflet(&without).unwrap_err().to_string();
        assert_eq!(error, "place `{phone}`: the text uses it, but nothing was given for it");
    }

    #[test]
    fn no_word_of_the_department_becomes_markup() {
        let hostile = "*x* #panic(\"no\") $x$ <a> @b // \\ [ \u{6c34}\u{0} {phone}";
        let mut leaflet = Leaflet { loan: None, ..sample::leaflet().unwrap() };
        leaflet.desk.department = hostile.into();
        leaflet.desk.phone = hostile.into();
        leaflet.desk.return_places = vec![hostile.into(); 3];
        leaflet.return_by = hostile.into();
        let once = super::leaflet(&leaflet).unwrap();
        assert_eq!(once, super::leaflet(&leaflet).unwrap());
        let text = LeafletText::parse(
            &LeafletText::ENGLISH.replace("Take out your earrings", "#panic() *"),
        );
        assert!(super::leaflet(&Leaflet { text: text.unwrap(), ..leaflet }).is_ok());
    }
}
