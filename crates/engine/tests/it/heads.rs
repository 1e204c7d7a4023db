//! Two exports joined to one file: the same head again is passed over, another one is refused.

use engine::finding::Weight;
use engine::read::{ReadErrorKind, ReadOptions};
use engine::recording::Recording;

use crate::text::{samples, told, with};

const HEAD: &str = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)";

/// Rows of a second each from a minute on, all of one kind.
fn rows(minute: u32, cells: &str) -> String {
    let rows: Vec<String> =
        (0..5).map(|s| format!("2024-11-05T22:{minute:02}:{s:02},{cells}\n")).collect();
    rows.concat()
}

fn joined(first: &str, between: &str, cells: &str) -> String {
    format!("{first}\n{}{between}\n{}", rows(30, "97,60,5.9"), rows(31, cells))
}

fn read(text: &str) -> Recording {
    with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e} {:?}", e.hint))
}

/// What a text is refused with.
fn refused(text: &str) -> String {
    let error = with(text.as_bytes(), &ReadOptions::default()).expect_err(text);
    assert_eq!(error.kind, ReadErrorKind::Refused, "{error}");
    let hint = error.hint.clone().unwrap_or_default();
    assert_eq!(hint, "two recordings are joined in this file: give the two parts as two files");
    error.to_string()
}

#[test]
fn the_same_head_again_is_passed_over_and_told() {
    let night = read(&joined(HEAD, HEAD, "97,60,5.9"));
    let spo2 = samples(&night, "spo2");
    assert!(spo2.iter().all(|x| x.is_nan() || (*x - 97.0).abs() < 1e-9), "{spo2:?}");
    let expected = "Lines that say again what the top of the file says: 1, from line 7, passed over: two \
                    files may be joined.";
    assert_eq!(told(&night, "head_repeated"), expected);
    assert_eq!(told(&night, "rows_not_understood"), "");
}

#[test]
fn lines_above_the_head_that_stand_again_are_passed_over_with_it() {
    let top = format!("Monitor,M-0042\n{HEAD}");
    let night = read(&joined(&top, &top, "97,60,5.9"));
    assert!(told(&night, "head_repeated").contains(": 2, from line 8,"));
    // Another monitor above the same head is told as lines that are no rows.
    let other = format!("Monitor,M-0043\n{HEAD}");
    let night = read(&joined(&top, &other, "97,60,5.9"));
    assert!(told(&night, "rows_not_understood").contains(": 1, left out; the first is line 8"));
}

#[test]
fn a_head_that_swaps_pulse_and_spo2_is_refused_with_its_line() {
    let swapped = "time,Pulse (/min),SpO2 (%),tcPCO2 (kPa)";
    assert_eq!(
        refused(&joined(HEAD, swapped, "60,97,5.9")),
        "a second head differs from the first: column 2 is `Pulse (/min)`, in the first it is \
         `SpO2 (%)` (line 7)"
    );
    // Nobody read a row between the two heads; still the first is not that of the rows.
    assert!(refused(&format!("{HEAD}\n{swapped}\n{}", rows(30, "60,97,5.9"))).contains("(line 2)"));
}

#[test]
fn a_head_with_another_unit_or_name_or_fewer_columns_is_refused() {
    for (head, cells, differs) in [
        ("time,SpO2 (%),Pulse (/min),tcPCO2 (mmHg)", "97,60,44", "column 4 is `tcPCO2 (mmHg)`"),
        ("time,SpO2 (%),Heart rate,tcPCO2 (kPa)", "97,60,5.9", "column 3 is `Heart rate`"),
        ("time,SpO2 (%)", "97", "it names 2 columns, the first 4"),
        ("SpO2 (%),time,Pulse (/min)", "97,60", "column 1 is `SpO2 (%)`"),
        ("SpO2 (%),Pulse (/min)", "97,60,5.9", "column 1 is `SpO2 (%)`"),
    ] {
        let words = refused(&joined(HEAD, head, cells));
        assert!(words.contains(differs) && words.contains("(line 7)"), "{words}");
    }
}

#[test]
fn a_second_head_that_names_more_does_not_swallow_the_rows_above_it() {
    let words = refused(&joined("time,SpO2 (%),Pulse (/min)", HEAD, "97,60,5.9"));
    assert!(words.contains("a second head") && words.contains("(line 7)"), "{words}");
}

#[test]
fn a_row_of_units_below_the_second_head_must_be_that_of_the_first() {
    let top = "time,SpO2,tcPCO2\nhh:mm:ss,%,kPa";
    let file =
        |second: &str| format!("{top}\n{}{second}\n{}", rows(30, "97,5.9"), rows(31, "97,5.9"));
    assert!(told(&read(&file(top)), "head_repeated").contains(": 2, from line 8,"));
    let words = refused(&file("time,SpO2,tcPCO2\nhh:mm:ss,%,mmHg"));
    assert!(words.contains("`tcPCO2` is in `mmHg`") && words.contains("is kPa"), "{words}");
}

#[test]
fn a_summary_below_the_rows_is_no_head() {
    let text = format!("{HEAD}\n{}Summary,SpO2,Pulse\nMean,97,60\n", rows(30, "97,60,5.9"));
    let night = read(&text);
    let told = night.findings.iter().find(|one| one.code == "lines_after_rows").unwrap();
    assert_eq!(told.weight, Weight::Note);
}
