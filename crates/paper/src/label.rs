//! Labels for monitors and bags: whose it is, its id to read, and its id to scan.

use serde_json::{Value, json};

use crate::code::Id;
use crate::error::PaperError;
use crate::press::Paper;
use crate::sheet::Day;
use crate::sheet::Sheet;
use crate::world::Template;

const TEMPLATE: Template = Template { path: "/label.typ", text: include_str!("typ/label.typ") };

/// Labels on one sheet: three across, eight down.
const ON_A_SHEET: usize = 24;

/// One adhesive label. It holds nothing of any patient.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    /// Whose it is; shrunk to fit, so keep it short. Empty: nothing is printed there.
    pub department: String,
    /// The asset id with its check character: capital letters, digits and hyphens, 2 to 16 of them.
    pub asset_id: String,
    /// A second line, for instance what the thing is; none: nothing is printed there.
    pub line: Option<String>,
}

/// What labels are printed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LabelSheet {
    /// A4 divided into 3 by 8 labels of 70 by 37 mm, filled row by row.
    Grid {
        /// Positions already used at the top of the first sheet, 0 to 23.
        skip: usize,
    },
    /// One label of 62 by 29 mm to a page.
    Single,
}

/// Labels as a PDF, in the order given. The codes hold only the asset id.
///
/// # Errors
/// [`PaperError::Refused`] for no label, an asset id that is none, or more positions skipped than there are.
pub fn label(
    labels: &[Label],
    sheet: LabelSheet,
    made_on: Option<Day>,
) -> Result<Vec<u8>, PaperError> {
    paper(labels, sheet, made_on)?.print()
}

fn paper(
    labels: &[Label],
    sheet: LabelSheet,
    made_on: Option<Day>,
) -> Result<Paper<'static>, PaperError> {
    if labels.is_empty() {
        return Err(PaperError::refused(
            "labels: expected at least one, found none",
            "choose monitors",
        ));
    }
    let skip = match sheet {
        LabelSheet::Grid { skip } if skip >= ON_A_SHEET => {
            return Err(PaperError::refused(
                format!("positions to skip: expected 0 to {}, found {skip}", ON_A_SHEET - 1),
                "a sheet with no label left is thrown away",
            ));
        }
        LabelSheet::Grid { skip } => Some(skip),
        LabelSheet::Single => None,
    };
    let labels = labels.iter().map(words).collect::<Result<Vec<_>, _>>()?;
    Ok(Paper {
        template: TEMPLATE,
        title: "Labels".into(),
        language: "en-GB",
        sheet: Sheet::A4,
        made_on,
        words: json!({ "skip": skip, "labels": labels }),
    })
}

fn words(label: &Label) -> Result<Value, PaperError> {
    let id = Id::new("asset id", &label.asset_id)?;
    Ok(json!({
        "department": label.department,
        "id": label.asset_id,
        "line": label.line,
        "qr": id.qr()?,
        "bars": id.bars()?,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some(count: usize) -> Vec<Label> {
        let one = |i| Label {
            department: "Sleep and Breathing Physiology".into(),
            asset_id: format!("LM-{i:04}-K"),
            line: None,
        };
        (0..count).map(one).collect()
    }

    fn pages(count: usize, sheet: LabelSheet) -> usize {
        paper(&some(count), sheet, None).unwrap().pages()
    }

    #[test]
    fn a_part_used_sheet_is_used_again() {
        assert_eq!(pages(24, LabelSheet::Grid { skip: 0 }), 1);
        assert_eq!(pages(24, LabelSheet::Grid { skip: 1 }), 2);
        assert_eq!(pages(1, LabelSheet::Grid { skip: 23 }), 1);
        assert_eq!(pages(3, LabelSheet::Single), 3);
    }

    #[test]
    fn what_cannot_be_a_label_is_refused_in_words() {
        let said = |labels: &[Label], sheet| label(labels, sheet, None).unwrap_err().to_string();
        assert_eq!(said(&[], LabelSheet::Single), "labels: expected at least one, found none");
        assert_eq!(
            said(&some(1), LabelSheet::Grid { skip: 24 }),
            "positions to skip: expected 0 to 23, found 24"
        );
        let mut wrong = some(1);
        wrong[0].asset_id = "LM 7".into();
        assert!(said(&wrong, LabelSheet::Single).contains("found ` `"));
    }

    #[test]
    fn markup_and_long_names_are_only_words_on_a_label() {
        let mut labels = some(2);
        labels[0].department = "*x* #panic() $ <a> ".repeat(20);
        labels[1].line = Some("\u{1f319} @ref [".into());
        for sheet in [LabelSheet::Single, LabelSheet::Grid { skip: 0 }] {
            let once = label(&labels, sheet, Some((2026, 3, 4))).unwrap();
            assert_eq!(once, label(&labels, sheet, Some((2026, 3, 4))).unwrap());
        }
    }
}
