//! Printing: HTML, SVG, JSON and the terminal's table.

use engine::judge::Judgement;
use engine::print::{self, Heading, Look, Slot, Stamp, sample_heading};
use engine::recording::{Author, Mark, MarkKind};
use engine::report::{Report, report};
use serde_json::Value;

use crate::made_night;
use crate::schema;

fn made() -> Report {
    report(&made_night::judgement(), &made_night::criteria())
}

const HOSTILE: &str = "<script>alert('x')</script> & \"#panic()\" ]]> \u{7}";

fn hostile() -> (Judgement, Heading) {
    let mut judgement = made_night::judgement();
    let text = || HOSTILE.to_owned();
    judgement.verdict.asks = text();
    judgement.verdict.reasons.push(text());
    judgement.rules[0].because = text();
    judgement.patterns[0].sentence = text();
    let screened = &mut judgement.scores.corrected.screened;
    screened.notes.breathing = Some(text());
    screened.recording.monitor = Some(text());
    let author = Author::Person(text());
    screened.notes.marks.push(Mark {
        kind: MarkKind::Note,
        start_s: 9_000.0,
        end_s: None,
        text: text(),
        author,
    });
    let slots = || vec![Slot::new(HOSTILE, HOSTILE)];
    let heading = Heading {
        hospital: vec![text()],
        patient: slots(),
        study: slots(),
        study_id: text(),
        comparison: vec![text()],
        reservations: vec![text()],
        comment: vec![text()],
        commented: text(),
        interpretation: vec![text()],
        interpreted: text(),
        signature: slots(),
        version: text(),
        record: slots(),
        stamp: Some(Stamp { word: text(), says: text() }),
        lang: text(),
    };
    (judgement, heading)
}

#[test]
fn the_same_report_prints_the_same_bytes() {
    let heading = sample_heading();
    let both = || (print::html(&made(), &heading), print::json_report(&made()));
    assert_eq!(both(), both());
    assert_eq!(print::report_id(&made()), print::report_id(&made()));
}

#[test]
fn two_results_have_two_report_ids() {
    let mut other = made();
    other.summary.pop();
    assert_ne!(print::report_id(&made()), print::report_id(&other));
}

#[test]
fn no_word_from_outside_becomes_markup() {
    let (judgement, heading) = hostile();
    let report = report(&judgement, &made_night::criteria());
    let page = print::html(&report, &heading);
    assert!(!page.contains("<script") && !page.contains("alert('x')"));
    assert!(page.matches("&lt;script&gt;alert(&#39;x&#39;)").count() >= 12);
    let strip = print::svg(&report.picture, Look::Paper);
    assert!(!strip.contains("<script") && strip.contains("&lt;script&gt;"));
    assert!(!print::table(&report, false).contains('\u{7}'));
}

/// Each tag that is opened is closed in its turn; the elements that have no end are named.
#[test]
fn the_page_is_well_formed() {
    let (judgement, heading) = hostile();
    for page in [
        print::html(&made(), &Heading::default()),
        print::html(&report(&judgement, &made_night::criteria()), &heading),
    ] {
        let mut open: Vec<&str> = Vec::new();
        for tag in page.split('<').skip(1).map(|rest| rest.split('>').next().unwrap()) {
            let name = tag.split([' ', '\n', '/']).find(|part| !part.is_empty()).unwrap_or("");
            if tag.starts_with('/') {
                assert_eq!(open.pop(), Some(name), "…{tag}");
            } else if !tag.ends_with('/') && !["!doctype", "meta"].contains(&name) {
                open.push(name);
            }
        }
        assert_eq!(open, Vec::<&str>::new());
    }
}

#[test]
fn the_page_needs_nothing_from_outside() {
    let page = print::html(&made(), &sample_heading());
    for outside in ["http://", "https://", "<script", "<link", "@import", "url(//", "src="] {
        let allowed = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!allowed.contains(outside), "{outside}");
    }
    assert_eq!(page.matches("<h1").count(), 2);
    assert!(page.contains("<html lang=\"en-GB\">") && page.contains("<th scope=\"row\">"));
}

#[test]
fn blanks_are_ruled_where_the_heading_is_empty() {
    let page = print::html(&made(), &Heading::default());
    assert!(page.matches("class=\"blank\"").count() >= 10);
}

#[test]
fn no_label_of_the_strip_leaves_the_sheet() {
    let (judgement, _) = hostile();
    for picture in [made().picture, report(&judgement, &made_night::criteria()).picture] {
        let strip = print::svg(&picture, Look::Paper);
        for text in strip.split("<text ").skip(1) {
            let attribute = |name: &str| {
                text.split(&format!("{name}=\"")).nth(1).unwrap().split('"').next().unwrap()
            };
            let x: f64 = attribute(" x").parse().unwrap();
            let words = text.split('>').nth(1).unwrap().split('<').next().unwrap();
            let wide = words
                .replace("&lt;", "<")
                .replace("&gt;", ">")
                .replace("&#39;", "'")
                .chars()
                .count() as f64
                * 6.5;
            let (from, to) = match attribute("text-anchor") {
                "start" => (x, x + wide),
                "end" => (x - wide, x),
                _ => (x - wide / 2.0, x + wide / 2.0),
            };
            assert!(from >= 0.0 && to <= 1000.0, "{words}: {from} to {to}");
        }
    }
}

#[test]
fn the_paper_strip_uses_no_variable_and_the_screen_strip_follows_the_page() {
    let picture = made().picture;
    assert!(!print::svg(&picture, Look::Paper).contains("var("));
    assert!(print::svg(&picture, Look::Screen).contains("var(--ink,"));
}

#[test]
fn the_table_is_eighty_columns_wide_and_says_the_same_without_colour() {
    let plain = print::table(&made(), false);
    let wide = plain.lines().map(|line| line.chars().count()).max().unwrap();
    assert!(wide <= 80, "{wide}");
    let coloured = print::table(&made(), true);
    let bare = ["\u{1b}[1m", "\u{1b}[1;31m", "\u{1b}[0m"]
        .iter()
        .fold(coloured.clone(), |text, code| text.replace(code, ""));
    assert!(coloured.contains("\u{1b}[1m") && bare == plain);
}

#[test]
fn scores_match_their_schema() {
    let (judgement, _) = hostile();
    for judgement in [made_night::judgement(), judgement] {
        let value: Value = serde_json::from_str(&print::json(&judgement)).unwrap();
        let schema = include_str!("../../../../schemas/scores-1.schema.json");
        assert_eq!(schema::mistakes(schema, &value), Vec::<String>::new());
        assert_eq!(value["measures"]["spo2.delta_index_12s"]["value"], Value::Null);
        assert!(value["measures"]["spo2.delta_index_12s"]["absent"].is_string());
        assert_eq!(value["recording"]["start"], "2026-03-14T22:05:00+00:00");
    }
}

#[test]
fn the_report_matches_its_schema() {
    let value: Value = serde_json::from_str(&print::json_report(&made())).unwrap();
    let schema = include_str!("../../../../schemas/report-1.schema.json");
    assert_eq!(schema::mistakes(schema, &value), Vec::<String>::new());
}

#[test]
fn the_schema_check_sees_what_is_wrong() {
    let schema = include_str!("../../../../schemas/scores-1.schema.json");
    let good: Value = serde_json::from_str(&print::json(&made_night::judgement())).unwrap();
    let mut wrong = Vec::new();
    for (path, value) in [
        ("/verdict/decision", Value::from("perhaps")),
        ("/screen/spo2/spans/0/reason", Value::from("tired")),
        ("/measures/spo2.mean/seconds", Value::from("long")),
        ("/criteria", serde_json::json!({"name": "x"})),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(path).unwrap() = value;
        wrong.push(schema::mistakes(schema, &bad).len());
    }
    let mut more = good.clone();
    more["extra"] = Value::from(1);
    wrong.push(schema::mistakes(schema, &more).len());
    assert!(wrong.iter().all(|count| *count >= 1), "{wrong:?}");
}

/// The page measures before it draws, so that what it is promised must be what it gets.
#[test]
fn a_strip_is_as_high_as_its_shape_says() {
    let picture = made().picture;
    let shape = print::svg_shape(&picture);
    for height in [0.4, 1.0, 1.6] {
        let svg = print::svg_with_lanes(&picture, Look::Paper, height);
        let promised = 1000.0 * (shape.stays + height * shape.grows);
        let said = svg.split_once("viewBox=\"0 0 1000 ").and_then(|(_, rest)| rest.split_once('"'));
        let said: f64 = said.unwrap().0.parse().unwrap();
        // The drawing rounds to a tenth of a unit.
        assert!((said - promised).abs() <= 0.051, "{said} {promised}");
    }
    assert_eq!(
        print::svg(&picture, Look::Paper),
        print::svg_with_lanes(&picture, Look::Paper, 1.0)
    );
}

#[test]
fn no_label_of_a_low_lane_lies_on_another() {
    let picture = made().picture;
    let heights = |height: f64| -> Vec<f64> {
        let svg = print::svg_with_lanes(&picture, Look::Paper, height);
        let labels = svg
            .lines()
            .filter(|line| line.starts_with("<text class=\"s-text\" text-anchor=\"end\""));
        labels
            .map(|line| {
                line.split("y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
            })
            .collect()
    };
    let (low, usual) = (heights(0.4), heights(1.0));
    assert!(low.len() < usual.len() && low.len() >= 2 * picture.lanes.len(), "{low:?}");
    for pair in [low, usual].iter().flat_map(|labels| labels.windows(2)) {
        assert!((pair[0] - pair[1]).abs() >= 13.0, "{pair:?}");
    }
}
