//! What the template is fed: words as JSON.
//!
//! Every word enters the template as a string value, so that no name or note can become markup.

use engine::print::{self, Heading, Slot};
use engine::report::Report;
use serde_json::{Value, json};

use crate::printable;
use crate::sheet::Sheet;

/// The words of the report and its heading as JSON text.
pub(crate) fn data(report: &Report, heading: &Heading, sheet: Sheet) -> String {
    let words = serde_json::from_str(&print::json_words(report)).unwrap_or(Value::Null);
    let (lang, region) = printable::language(&heading.lang);
    let shape = print::svg_shape(&report.picture);
    let data = json!({
        "report": words,
        "id": print::report_id(report),
        "sheet": sheet.name(),
        "title": match &heading.stamp {
            Some(stamp) => format!("{}: {}", stamp.word, title(report)),
            None => title(report),
        },
        "lang": lang,
        "region": region,
        "strip": { "stays": shape.stays, "grows": shape.grows },
        "picture_words": report.picture.words,
        "heading": {
            "hospital": heading.hospital,
            "patient": slots(&heading.patient),
            "study": slots(&heading.study),
            "study_id": heading.study_id,
            "comparison": heading.comparison,
            "comment": heading.comment,
            "commented": heading.commented,
            "interpretation": heading.interpretation,
            "interpreted": heading.interpreted,
            "reservations": heading.reservations,
            "signature": slots(&heading.signature),
            "version": heading.version,
            "record": slots(&heading.record),
            "stamp": heading.stamp.as_ref().map(|stamp| json!({
                "word": stamp.word, "says": stamp.says,
            })),
        },
    });
    printable::value(data).to_string()
}

fn title(report: &Report) -> String {
    match &report.night.date {
        Some(date) => format!("Night of {date}"),
        None => format!("A night from {} to {}", report.night.start, report.night.end),
    }
}

fn slots(slots: &[Slot]) -> Vec<Value> {
    slots.iter().map(|slot| json!({ "label": slot.label, "text": slot.text })).collect()
}
