//! Papers of the desk: the workbench's plain data, set by the crate that makes PDF.

use web::printer::Printer;

/// The printer of this build.
#[cfg(feature = "pdf")]
pub(crate) fn printer() -> std::sync::Arc<dyn Printer> {
    std::sync::Arc::new(pdf::Pdf)
}

/// The printer of this build.
#[cfg(not(feature = "pdf"))]
pub(crate) fn printer() -> std::sync::Arc<dyn Printer> {
    std::sync::Arc::new(web::printer::NoPrinter)
}

#[cfg(feature = "pdf")]
mod pdf {
    use engine::print::Slot;
    use paper::{
        Desk, HandOutText, LabelSheet, LeafletText, LetterLoan, LetterTexts, Print, Sheet,
    };
    use store::lending::setting::DeskSettings;
    use web::printer::{Cleaning, HandOut, Label, Leaflet, Letter, Paper, Printer};

    /// Everything on A4.
    pub(super) struct Pdf;

    impl Printer for Pdf {
        fn print(&self, asked: &Paper, settings: &DeskSettings) -> Result<Vec<u8>, String> {
            let made = match asked {
                Paper::Labels(labels) => labels_pdf(labels, settings),
                Paper::Leaflet(of) => leaflet(of, settings)?,
                Paper::HandOut(of) => hand_out(of, settings)?,
                Paper::Cleaning(of) => paper::certificate(&cleaning(of, settings)),
                Paper::Letter(of) => letter(of, settings)?,
                Paper::Report(of) => paper::pdf(&of.report, &of.heading),
                Paper::Marked(of) => paper::marked(&of.pdf, &of.stamp),
            };
            made.map_err(said)
        }

        fn shipped_text(&self, name: &str) -> Option<&'static str> {
            match name {
                "leaflet" => Some(LeafletText::ENGLISH),
                "handout" => Some(HandOutText::ENGLISH),
                "letters" => Some(LetterTexts::ENGLISH),
                _ => None,
            }
        }

        fn check_text(&self, name: &str, text: &str) -> Result<(), String> {
            match name {
                "leaflet" => LeafletText::parse(text).map(|_| ()).map_err(said),
                "handout" => HandOutText::parse(text).map(|_| ()).map_err(said),
                "letters" => LetterTexts::parse(text).map(|_| ()).map_err(said),
                _ => Ok(()),
            }
        }
    }

    type Made = Result<Vec<u8>, paper::PaperError>;

    fn said(error: impl std::fmt::Display) -> String {
        error.to_string()
    }

    fn desk(settings: &DeskSettings) -> Desk {
        Desk {
            department: settings.department.clone(),
            hospital: settings.hospital.clone(),
            phone: settings.telephone.clone(),
            phone_hours: settings.telephone_hours.clone(),
            emergency_phone: settings.emergency_telephone.clone(),
            urgent_phone: settings.urgent_telephone.clone(),
            return_places: settings.return_places.clone(),
            ..Desk::default()
        }
    }

    /// A time that no paper holds becomes none, which the paper refuses.
    fn worn(of: web::printer::Worn) -> paper::Worn {
        let part = |part: i8| u8::try_from(part).unwrap_or(0);
        paper::Worn {
            minutes: u16::try_from(of.minutes).unwrap_or(0),
            from: (part(of.from.hour()), part(of.from.minute())),
        }
    }

    fn labels_pdf(labels: &[Label], settings: &DeskSettings) -> Made {
        let set: Vec<paper::Label> = labels
            .iter()
            .map(|label| paper::Label {
                department: settings.department.clone(),
                asset_id: label.mark.clone(),
                line: Some(label.line.clone()),
            })
            .collect();
        let sheet = if set.len() == 1 { LabelSheet::Single } else { LabelSheet::Grid { skip: 0 } };
        paper::label(&set, sheet, None)
    }

    fn leaflet(of: &Leaflet, settings: &DeskSettings) -> Result<Made, String> {
        let text = of.text.as_deref().unwrap_or(LeafletText::ENGLISH);
        Ok(paper::leaflet(&paper::Leaflet {
            text: LeafletText::parse(text).map_err(said)?,
            desk: desk(settings),
            worn: worn(of.worn),
            return_by: of.return_by.clone(),
            loan: Some(of.loan.clone()),
            print: if of.large { Print::Large } else { Print::Usual },
            sheet: Sheet::A4,
            made_on: None,
        }))
    }

    fn hand_out(of: &HandOut, settings: &DeskSettings) -> Result<Made, String> {
        let text = of.text.as_deref().unwrap_or(HandOutText::ENGLISH);
        Ok(paper::handout(&paper::HandOut {
            text: HandOutText::parse(text).map_err(said)?,
            desk: desk(settings),
            patient: of.patient.iter().map(|(label, words)| Slot::new(label, words)).collect(),
            loan: of.loan.clone(),
            monitor: of.monitor.clone(),
            asset_id: of.mark.clone(),
            accessories: settings.parts.clone(),
            lent_on: of.lent_on.clone(),
            return_by: of.return_by.clone(),
            worn: worn(of.worn),
            carer: of.carer.clone(),
            lent_by: of.lent_by.clone(),
            sheet: Sheet::A4,
            made_on: None,
        }))
    }

    fn cleaning(of: &Cleaning, settings: &DeskSettings) -> paper::Cleaning {
        paper::Cleaning {
            desk: desk(settings),
            asset_id: of.mark.clone(),
            monitor: of.monitor.clone(),
            serial: of.serial.clone(),
            loan: of.loan.clone(),
            loan_ended: of.loan_ended.clone(),
            parts: settings.parts.clone(),
            method: vec![of.method.clone()],
            cleaned_by: of.cleaned_by.clone(),
            cleaned_at: of.cleaned_at.clone(),
            sheet: Sheet::A4,
            made_on: None,
        }
    }

    fn letter(of: &Letter, settings: &DeskSettings) -> Result<Made, String> {
        let texts = of.text.as_deref().unwrap_or(LetterTexts::ENGLISH);
        let texts = LetterTexts::parse(texts).map_err(said)?;
        let loan = LetterLoan {
            loan: of.loan.clone(),
            lent_on: of.lent_on.clone(),
            first_night: of.first_night.clone(),
            return_by: of.return_by.clone(),
        };
        let desk = desk(settings);
        Ok(paper::letter(&paper::Letter {
            words: texts.words(&of.id, &desk, &loan).map_err(said)?,
            desk,
            to: of.to.clone(),
            date: of.date.clone(),
            reference: of.loan.clone(),
            salutation: of.salutation.clone(),
            close: "Yours sincerely".to_owned(),
            signed: of.signed.clone(),
            print: Print::Usual,
            sheet: Sheet::A4,
            made_on: None,
        }))
    }
}
