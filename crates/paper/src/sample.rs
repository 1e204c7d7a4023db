//! Papers of an invented department and invented people, for examples, tests and the demo.

use engine::print::Slot;

use crate::certificate::Cleaning;
use crate::desk::{Desk, Worn};
use crate::handout::{HandOut, HandOutText};
use crate::label::Label;
use crate::leaflet::{Leaflet, LeafletText};
use crate::letter::{Letter, LetterLoan, LetterTexts};
use crate::sheet::{Print, Sheet};
use crate::text::TextError;

/// An invented department.
pub fn desk() -> Desk {
    Desk {
        department: "Sleep and Breathing Physiology".into(),
        hospital: "Larkmoor General Hospital".into(),
        address: vec!["Mill Lane".into(), "Larkmoor LK1 4ZZ".into()],
        phone: "01632 960 142".into(),
        phone_hours: "Monday to Friday, 8:30 to 16:30".into(),
        emergency_phone: "999".into(),
        urgent_phone: "111".into(),
        return_places: vec![
            "Physiology front desk, level 2: Monday to Friday, 8:00 to 16:30".into(),
            "Main entrance, night desk: every day, all hours".into(),
        ],
    }
}

/// Labels of invented monitors and their bags.
pub fn labels() -> Vec<Label> {
    ["A-0007", "M-0007-M", "M-0008-K", "M-0123-E", "MONITOR-0007", "ABCDEFGH-0123456"]
        .into_iter()
        .enumerate()
        .map(|(i, id)| Label {
            department: "Sleep and Breathing Physiology".into(),
            asset_id: id.into(),
            line: (i % 2 == 1).then(|| "Larkmoor General Hospital".into()),
        })
        .collect()
}

/// The leaflet that comes with the program, for an invented loan.
///
/// # Errors
/// [`TextError`] when the text that comes with the program is not sound; a test holds that it is.
pub fn leaflet() -> Result<Leaflet, TextError> {
    Ok(Leaflet {
        text: LeafletText::parse(LeafletText::ENGLISH)?,
        desk: desk(),
        worn: Worn { minutes: 480, from: (22, 0) },
        return_by: "Wednesday 4 March, 10:00".into(),
        loan: Some("L-00142-Y".into()),
        print: Print::Usual,
        sheet: Sheet::A4,
        made_on: Some((2026, 3, 3)),
    })
}

/// The hand-out sheet of an invented loan.
///
/// # Errors
/// [`TextError`] when the text that comes with the program is not sound; a test holds that it is.
pub fn handout() -> Result<HandOut, TextError> {
    let parts = [
        "Ear sensor and cable",
        "Power supply",
        "Ear clips, 2",
        "Gel",
        "Wipes, 4",
        "Leaflet and diary",
        "Bag",
    ];
    Ok(HandOut {
        text: HandOutText::parse(HandOutText::ENGLISH)?,
        desk: desk(),
        patient: vec![
            Slot::new("Name", "PENDLEWICK, Orla"),
            Slot::new("Date of birth", "2 May 1951"),
            Slot::new("Number", "LM 000 0018"),
        ],
        loan: "L-00142-Y".into(),
        monitor: "Night monitor with ear sensor".into(),
        asset_id: "M-0007-M".into(),
        accessories: parts.map(String::from).into(),
        lent_on: "Tuesday 3 March, 15:20".into(),
        return_by: "Wednesday 4 March, 10:00".into(),
        worn: Worn { minutes: 480, from: (22, 0) },
        carer: String::new(),
        lent_by: "A. Thistlewood".into(),
        sheet: Sheet::A4,
        made_on: Some((2026, 3, 3)),
    })
}

/// The cleaning of an invented monitor.
pub fn cleaning() -> Cleaning {
    Cleaning {
        desk: desk(),
        asset_id: "M-0007-M".into(),
        monitor: "Night monitor with ear sensor".into(),
        serial: "MON0007".into(),
        loan: "L-00142-Y".into(),
        loan_ended: "Wednesday 4 March, 9:12".into(),
        parts: ["Ear sensor and cable", "Power supply", "Bag"].map(String::from).into(),
        method: vec![
            "Wiped with detergent, then with alcohol wipes of 70 %, left to dry for two minutes."
                .into(),
            "Ear clips and gel thrown away.".into(),
        ],
        cleaned_by: "B. Quarrington".into(),
        cleaned_at: "Wednesday 4 March, 9:40".into(),
        sheet: Sheet::A4,
        made_on: Some((2026, 3, 4)),
    }
}

/// A letter to an invented patient.
///
/// # Errors
/// [`TextError`] when there is no letter of that id.
pub fn letter(id: &str) -> Result<Letter, TextError> {
    let loan = LetterLoan {
        loan: "L-00142-Y".into(),
        lent_on: "Tuesday 3 March".into(),
        first_night: "Thursday 12 March".into(),
        return_by: "Wednesday 4 March, 10:00".into(),
    };
    Ok(Letter {
        desk: desk(),
        to: ["Ms Orla Pendlewick", "4 Kiln Row", "Nether Larkmoor", "LK3 9ZZ"]
            .map(String::from)
            .into(),
        date: "9 March 2026".into(),
        reference: "L-00142-Y".into(),
        salutation: "Dear Ms Pendlewick".into(),
        words: LetterTexts::parse(LetterTexts::ENGLISH)?.words(id, &desk(), &loan)?,
        close: "Yours sincerely".into(),
        signed: vec!["A. Thistlewood".into(), "Sleep and Breathing Physiology".into()],
        print: Print::Usual,
        sheet: Sheet::A4,
        made_on: Some((2026, 3, 9)),
    })
}
