//! What the template is fed: words as JSON, the strip as SVG.
//!
//! Every word enters the template as a string value, so that no name or note can become markup.

use engine::print::{self, Heading, Look, Slot};
use engine::report::Report;
use serde_json::{Value, json};

use crate::printable;
use crate::sheet::Sheet;

/// The words of the report and its heading as JSON text.
pub(crate) fn data(report: &Report, heading: &Heading, sheet: Sheet, strips: &[String]) -> String {
    let words = serde_json::from_str(&print::json_words(report)).unwrap_or(Value::Null);
    let (lang, region) = printable::language(&heading.lang);
    let data = json!({
        "report": words,
        "id": print::report_id(report),
        "sheet": sheet.name(),
        "title": title(report),
        "lang": lang,
        "region": region,
        "strips": strips.iter().map(|strip| height_by_width(strip)).collect::<Vec<_>>(),
        "picture_words": report.picture.words,
        "heading": {
            "hospital": heading.hospital,
            "patient": slots(&heading.patient),
            "study": slots(&heading.study),
            "study_id": heading.study_id,
            "comparison": heading.comparison,
            "comment": heading.comment,
            "signature": slots(&heading.signature),
        },
    });
    printable::value(data).to_string()
}

/// The strip with lanes of several heights, highest first: the page takes the highest that it has room
/// for, so that a page with many reasons keeps its strip at full width.
pub(crate) fn strips(report: &Report) -> Vec<String> {
    [1.5, 1.2, 1.0, 0.8, 0.62]
        .into_iter()
        .map(|height| printable::text(&print::svg_with_lanes(&report.picture, Look::Paper, height)))
        .collect()
}

/// Height of a strip by its width, from its own first line.
fn height_by_width(strip: &str) -> f64 {
    let (_, rest) = strip.split_once("viewBox=\"0 0 ").unwrap_or_default();
    let (sizes, _) = rest.split_once('"').unwrap_or_default();
    let sizes: Vec<f64> = sizes.split(' ').filter_map(|size| size.parse().ok()).collect();
    if let [width, height] = sizes[..] { height / width } else { 1.0 }
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
