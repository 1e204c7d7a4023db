//! Column maps: what they say wins over what the reader would guess.

use engine::read::map::{ColumnMap, propose};
use engine::read::{ReadError, ReadOptions};
use engine::recording::{Quantity, Recording};
use engine::unit::KPA_PER_MMHG;

use crate::text::{PLAIN, filled, samples, with};

fn mapped(text: &str, map: &str) -> Result<Recording, ReadError> {
    let map = ColumnMap::parse(map).unwrap_or_else(|error| panic!("{error}"));
    with(text.as_bytes(), &ReadOptions { map: Some(map), zone: None })
}

#[test]
fn a_map_wins_over_guessing() {
    let text = "a;b;c;d\n03/04/2024 22:30;ERR;44;5,9\n03/04/2024 22:31;96;45;6,0\n";
    let map =
        "delimiter = \";\"\nheader_line = 1\n[time]\ncolumns = [\"a\"]\nformat = \"day-first\"
[[column]]\ncolumn = \"b\"\nquantity = \"spo2\"\nunit = \"%\"\nmissing = [\"ERR\"]
[[column]]\ncolumn = \"#3\"\nquantity = \"tcpco2\"\nunit = \"mmHg\"\n";
    let night = mapped(text, map).unwrap();
    assert_eq!(night.clock.start().to_string(), "2024-04-03T22:30:00");
    assert_eq!(filled(&night, "spo2"), [-9.0, 96.0]);
    assert_eq!(samples(&night, "tcpco2"), [44.0 * KPA_PER_MMHG, 45.0 * KPA_PER_MMHG]);
    assert_eq!(samples(&night, "d"), [5.9, 6.0]);
    assert_eq!(night.channels[0].time_s(1).to_string(), "60");
}

#[test]
fn a_map_picks_one_of_two_columns() {
    let text =
        "time,CO2 (kPa),tcPCO2 (mmHg)\n2024-11-05 22:30:00,5.9,44\n2024-11-05 22:30:01,5.9,44\n";
    let map = "[[column]]\ncolumn = \"tcPCO2 (mmHg)\"\nquantity = \"tcpco2\"\n";
    let night = mapped(text, map).unwrap();
    assert_eq!(samples(&night, "tcpco2"), [44.0 * KPA_PER_MMHG; 2]);
    assert_eq!(night.channels[0].quantity, Quantity::Other);
}

#[test]
fn a_map_reads_columns_without_a_header_and_times_without_a_date() {
    let map = "header_line = 0\n[time]\ncolumns = [\"#1\"]\ndate = \"2024-10-26\"\n
[[column]]\ncolumn = \"#2\"\nquantity = \"spo2\"\n";
    let night = mapped("22:30:00,97,x\n22:30:01,96,y\n", map).unwrap();
    assert_eq!(night.clock.start().to_string(), "2024-10-26T22:30:00");
    assert_eq!(samples(&night, "spo2"), [97.0, 96.0]);
}

#[test]
fn a_map_that_speaks_of_a_column_that_is_not_there_is_refused() {
    let error = mapped(PLAIN, "[time]\ncolumns = [\"when\"]\n").unwrap_err();
    let expected = "the column map speaks of a column `when`, the header of `time`, `SpO2 (%)`, \
                    `Pulse (/min)`, `tcPCO2 (kPa)` (line 1)";
    assert_eq!(error.to_string(), expected);
}

#[test]
fn a_map_reads_back_what_it_wrote() {
    let text = "name = \"ward \\\"7\\\"\"\nencoding = \"windows-1252\"\ndelimiter = \"tab\"\ndecimal = \",\"
header_line = 4\nignore = [\"x\"]\n[time]\ncolumns = [\"d\", \"t\"]\nformat = \"month-first\"
date = \"2024-10-26\"\nstart = \"22:30\"\n[[column]]\ncolumn = \"#3\"\nquantity = \"spo2\"\nunit = \"%\"
missing = [\"0\"]\n[[column]]\ncolumn = \"q\"\nquantity = \"other\"\n";
    let map = ColumnMap::parse(text).unwrap();
    assert_eq!(ColumnMap::parse(&map.to_toml()), Ok(map));
    for (text, expected) in [
        ("delimeter = \";\"", "unknown field `delimeter`"),
        ("delimiter = \"x\"", "column map: delimiter `x` is not one of `,` `;` `|` `tab`"),
        (
            "[[column]]\ncolumn = \"a\"\nquantity = \"so2\"",
            "column map: quantity `so2` is not known",
        ),
    ] {
        let error = ColumnMap::parse(text).unwrap_err().to_string();
        assert!(error.contains(expected), "{error}");
    }
}

/// The questions with their first choices, and the map when each is answered by its `pick`.
fn asked(text: &str, pick: &[usize]) -> (Vec<String>, ColumnMap) {
    let (mut map, questions) = propose(text.as_bytes());
    assert_eq!(questions.len(), pick.len(), "{questions:#?}");
    for (question, pick) in questions.iter().zip(pick) {
        map.answer(&question.choices[*pick]);
    }
    (questions.into_iter().map(|question| question.text).collect(), map)
}

#[test]
fn a_text_that_reads_needs_no_question() {
    let (questions, map) = asked(PLAIN, &[]);
    assert_eq!(questions, Vec::<String>::new());
    let night = mapped(PLAIN, &map.to_toml()).unwrap();
    assert_eq!(samples(&night, "tcpco2"), [5.9, 5.91, 5.92]);
}

#[test]
fn what_a_text_leaves_open_is_asked_and_the_answers_make_it_read() {
    let text = "Report of the night;;;\nWhen;A;B;C\n03/04/2024 22:30:00;97;60;44,5\n\
                03/04/2024 22:30:01;96;61;45\n";
    let (questions, map) = asked(text, &[0, 1, 2, 5]);
    assert_eq!(
        questions,
        [
            "Dates such as 03/04/2024 22:30:00: which comes first?",
            "Which column holds SpO2?",
            "Which column holds Pulse?",
            "Which column holds tcPCO2?",
        ]
    );
    let night = mapped(text, &map.to_toml()).unwrap();
    assert_eq!(night.clock.start().to_string(), "2024-04-03T22:30:00");
    assert_eq!(samples(&night, "spo2"), [97.0, 96.0]);
    assert_eq!(samples(&night, "pulse"), [60.0, 61.0]);
    assert_eq!(samples(&night, "tcpco2"), [44.5 * KPA_PER_MMHG, 45.0 * KPA_PER_MMHG]);
}

#[test]
fn a_unit_and_one_of_two_columns_are_asked_for() {
    let text = "time,CO2,tcPCO2 (mmHg)\n2024-11-05 22:30:00,5.9,44\n2024-11-05 22:30:01,5.8,44\n";
    let (questions, map) = asked(text, &[0]);
    assert_eq!(questions, ["Which column holds tcPCO2?"]);
    let answered = mapped(text, &map.to_toml()).unwrap();
    assert_eq!(samples(&answered, "tcpco2"), [5.9, 5.8]);
    let text = "time,CO2\n2024-11-05 22:30:00,45\n2024-11-05 22:30:01,44\n";
    let (_, questions) = propose(text.as_bytes());
    let shown: Vec<&str> = questions[0].choices.iter().map(|c| c.label.as_str()).collect();
    assert_eq!(questions[0].text, "In which unit is `CO2` (first value `45`)?");
    assert_eq!(shown, ["mmHg", "kPa"]);
}

#[test]
fn what_is_no_text_gives_an_empty_map() {
    assert_eq!(propose(b"\x89PNG\r\n\x1a\n\0\0"), (ColumnMap::default(), vec![]));
}

/// A sensor is often put on long after the start: what a column holds is shown from where it holds anything.
#[test]
fn a_column_on_offer_shows_the_first_values_that_it_has() {
    let line = |s: i32| format!("2024-11-05 22:{:02}:{:02};;--\n", s / 60, s % 60);
    let empty = (0..200).map(line).collect::<Vec<_>>().concat();
    let text =
        format!("Stamp;A;B\n{empty}2024-11-05 23:00:00;96;5,6\n2024-11-05 23:00:01;95;5,7\n");
    let offer = engine::read::map::offer(text.as_bytes()).unwrap();
    let shown: Vec<(&str, String)> =
        offer.columns.iter().map(|one| (one.label.as_str(), one.first.join(" "))).collect();
    assert_eq!(shown, [("A", "96 95".to_owned()), ("B", "5,6 5,7".to_owned())]);
    assert_eq!(engine::read::map::offer(b"\x89PNG\r\n\x1a\n\0\0"), None);
}
