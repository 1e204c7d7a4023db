//! Paper: the report, and what the desk hands out, as PDF, tagged, with PDF/A-2a and PDF/UA-1 both
//! asked of the exporter.
//!
//! The report's page one is read in thirty seconds; the pages after it say how it was made. The desk's
//! papers ([`label()`], [`leaflet()`], [`handout()`], [`certificate()`], [`letter()`]) take plain data and hold no
//! figure, rule or answer of any night. The typefaces travel in the crate, nothing is read from the
//! machine, and the same words give the same bytes.
//!
//! What this crate does not do: it computes nothing, and it does not prove conformance; the exporter
//! refuses what breaks the standards, and no independent validator is run here.

mod certificate;
mod code;
mod data;
mod desk;
mod error;
mod handout;
mod label;
mod leaflet;
mod letter;
mod marked;
mod press;
mod printable;
pub mod sample;
mod sheet;
mod text;
mod world;

pub use certificate::{Cleaning, certificate};
pub use desk::{Desk, Worn};
pub use error::PaperError;
pub use handout::{HandOut, HandOutText, handout};
pub use label::{Label, LabelSheet, label};
pub use leaflet::{Leaflet, LeafletText, leaflet};
pub use letter::{Letter, LetterLoan, LetterTexts, LetterWords, letter};
pub use marked::marked;
pub use sheet::{Day, Print, Sheet};
pub use text::TextError;

use engine::print::Heading;
use engine::report::Report;

use crate::world::Template;

const REPORT: Template = Template { path: "/report.typ", text: include_str!("typ/report.typ") };

/// The report as a PDF on A4.
///
/// # Errors
/// [`PaperError::NotSet`] when the typesetter or the exporter refuses.
pub fn pdf(report: &Report, heading: &Heading) -> Result<Vec<u8>, PaperError> {
    pdf_on(report, heading, Sheet::A4)
}

/// The report as a PDF on the sheet given.
///
/// # Errors
/// [`PaperError::NotSet`] when the typesetter or the exporter refuses.
pub fn pdf_on(report: &Report, heading: &Heading, sheet: Sheet) -> Result<Vec<u8>, PaperError> {
    let set = set(report, heading, sheet);
    let id = engine::print::report_id(report);
    let made = world::export(&set, &id, report.night.end_date);
    // The typesetter remembers what it has laid out; a server printing all day must forget it again.
    typst::comemo::evict(8);
    made
}

fn set<'a>(report: &'a Report, heading: &Heading, sheet: Sheet) -> world::World<'a> {
    world::World::new(REPORT, data::data(report, heading, sheet)).with_picture(&report.picture)
}

#[cfg(test)]
#[path = "../../engine/tests/it/made_night.rs"]
mod made_night;

#[cfg(test)]
mod tests {
    use engine::print::{Heading, Slot, Stamp, sample_heading};
    use engine::report::{Report, report};

    use super::*;

    fn made() -> Report {
        report(&made_night::judgement(), &made_night::criteria())
    }

    fn pages(report: &Report, heading: &Heading, sheet: Sheet) -> usize {
        world::set(&set(report, heading, sheet)).unwrap().pages().len()
    }

    #[test]
    fn a_night_takes_two_pages_on_either_sheet() {
        for sheet in [Sheet::A4, Sheet::Letter] {
            assert_eq!(pages(&made(), &sample_heading(), sheet), 2);
            assert_eq!(pages(&made(), &Heading::default(), sheet), 2);
        }
    }

    /// R28: long words take the strip to the next page whole, and never make a stamp of it.
    #[test]
    fn r028_a_long_interpretation_stands_under_its_own_name_and_leaves_the_strip_its_height() {
        let long = |words: usize| Heading {
            comment: vec!["Good recording.".into()],
            commented: "A. Thistlewood, 4 March 2026".into(),
            interpretation: vec!["word ".repeat(words)],
            interpreted: "Dr T. Quillfeather, 5 March 2026".into(),
            ..sample_heading()
        };
        assert_eq!(pages(&made(), &long(40), Sheet::A4), 2);
        for words in [600, 1200] {
            assert_eq!(pages(&made(), &long(words), Sheet::A4), 3, "{words}");
        }
    }

    /// Large over the page for the eye; in the title and at the head of the text for whoever listens. Whatever else is on
    /// the paper is as it was.
    #[test]
    fn a_stamped_report_says_so_to_eye_and_ear() {
        let plain = sample_heading();
        let says = "Version 1, not to be acted upon. Version 1 was withdrawn on 2026-03-04 09:12 by Some Physician: the wrong patient.";
        let stamp = Stamp { word: "WITHDRAWN".into(), says: says.repeat(3) };
        let stamped = Heading { stamp: Some(stamp), ..plain.clone() };
        assert_eq!(pages(&made(), &stamped, Sheet::A4), 2);
        let bytes = pdf(&made(), &stamped).unwrap();
        assert!(String::from_utf8_lossy(&bytes).contains("WITHDRAWN: Night of"));
        let words = |heading: &Heading| -> serde_json::Value {
            serde_json::from_str(&data::data(&made(), heading, Sheet::A4)).unwrap()
        };
        let (mut with, mut without) = (words(&stamped), words(&plain));
        for data in [&mut with, &mut without] {
            data["title"].take();
            data["heading"]["stamp"].take();
        }
        assert_eq!(with, without);
    }

    #[test]
    fn the_same_report_gives_the_same_bytes() {
        let once = || pdf(&made(), &sample_heading()).unwrap();
        let first = once();
        assert!(first.starts_with(b"%PDF-1.7"));
        assert_eq!(first, once());
    }

    /// The exporter writes its claims as plain text into the file's metadata.
    #[test]
    fn both_standards_are_claimed() {
        let bytes = pdf(&made(), &sample_heading()).unwrap();
        let text = String::from_utf8_lossy(&bytes);
        for claim in ["<pdfaid:part>2", "<pdfaid:conformance>A", "<pdfuaid:part>1"] {
            assert!(text.contains(claim), "{claim}");
        }
    }

    /// Markup of the typesetter, letters that the face lacks, and emptiness: all are only words.
    #[test]
    fn no_word_from_outside_becomes_markup() {
        for hostile in
            ["*bold* #panic(\"x\") $x$ <label> @ref // \\ [", "\u{6c34}\u{1f319}\u{0}", ""]
        {
            let slots = || vec![Slot::new(hostile, hostile); 2];
            let lines = || vec![hostile.to_owned(); 2];
            let heading = Heading {
                hospital: lines(),
                patient: slots(),
                study: slots(),
                study_id: hostile.into(),
                comparison: lines(),
                comment: lines(),
                commented: hostile.into(),
                interpretation: lines(),
                interpreted: hostile.into(),
                reservations: lines(),
                signature: slots(),
                version: hostile.into(),
                record: slots(),
                ..Heading::default()
            };
            let mut report = made();
            report.question = hostile.into();
            report.reasons = lines();
            report.night.monitor = lines();
            report.picture.flags[0].label = hostile.into();
            // Words in every place may leave the first page too little room for the strip.
            assert!((2..=3).contains(&pages(&report, &heading, Sheet::A4)), "{hostile}");
            assert!(pdf(&report, &heading).is_ok());
        }
    }

    #[test]
    fn a_night_with_nothing_in_it_still_prints() {
        let mut report = made();
        for group in &mut report.figures {
            group.lines.clear();
        }
        report.figures.truncate(1);
        report.rules.clear();
        report.summary.clear();
        report.reasons.clear();
        report.mend.clear();
        report.quality.clear();
        report.findings.clear();
        report.patterns.clear();
        report.picture.lanes.clear();
        report.night.date = None;
        report.night.end_date = None;
        assert!(pdf(&report, &Heading::default()).is_ok());
        report.figures.clear();
        assert!(pdf(&report, &Heading::default()).is_ok());
    }

    #[test]
    fn a_language_that_is_no_language_is_not_asked_of_the_typesetter() {
        let heading = Heading { lang: "x\"y".into(), ..Heading::default() };
        assert!(pdf(&made(), &heading).is_ok());
    }

    /// Every word of every paper of the desk, as it goes to the typesetter.
    #[test]
    fn no_paper_of_the_desk_speaks_of_a_night() {
        let mut words = vec![certificate::paper(&sample::cleaning()).unwrap().words.to_string()];
        words.push(handout::paper(&sample::handout().unwrap()).unwrap().words.to_string());
        words.push(leaflet::paper(&sample::leaflet().unwrap()).unwrap().words.to_string());
        for id in ["repeat", "overdue", "overdue-again"] {
            words.push(letter::paper(&sample::letter(id).unwrap()).unwrap().words.to_string());
        }
        for word in ["SpO2", "tcPCO2", "CO2", "kPa", "mmHg", "apnoea", "criteria", "result"] {
            for paper in &words {
                assert!(!paper.contains(word), "{word}");
            }
        }
        // Who the patient is stands where it must and nowhere else.
        let named: Vec<bool> =
            words.iter().map(|paper| paper.to_lowercase().contains("pendlewick")).collect();
        assert_eq!(named, [false, true, false, true, true, true]);
    }
}
