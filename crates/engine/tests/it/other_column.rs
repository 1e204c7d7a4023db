//! The column that was read is empty or breaks off, and another holds what was meant; oxygen's name over the
//! numbers of CO2.

use std::fmt::Write as _;

use engine::criteria::shipped;
use engine::finding::Weight;
use engine::night::night;
use engine::notes::Notes;
use engine::read::ReadOptions;
use engine::recording::{Quantity, Recording};
use engine::report::report;

use crate::text::with;

/// Half a night of a row a minute: SpO2, then the cells that are given for each minute.
fn table(heads: &str, cells: impl Fn(usize) -> String) -> Recording {
    let mut text = format!("time,SpO2 (%),{heads}\n");
    for minute in 0..300 {
        let (day, hour) = (5 + (22 + minute / 60) / 24, (22 + minute / 60) % 24);
        let (at, spo2) = (minute % 60, 96 - minute % 3);
        let _ = writeln!(text, "2024-11-{day:02}T{hour:02}:{at:02}:00,{spo2},{}", cells(minute));
    }
    with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e} {:?}", e.hint))
}

/// CO2 as it rises and falls in a night, kPa.
fn co2(minute: usize) -> String {
    format!("{:.2}", 5.2 + 0.15 * ((minute / 5) % 8) as f64)
}

/// What is told of CO2 that was not taken.
fn told(night: &Recording) -> Vec<(Weight, String)> {
    let of = night.findings.iter().filter(|one| one.code == "tcpco2_not_taken");
    of.map(|one| (one.weight, one.sentence.clone())).collect()
}

/// What would mend the night, and all that the report says was not read.
fn mends(night_of: Recording) -> String {
    let criteria = shipped("adult-air").unwrap();
    let notes = Notes { question: Some("hypoventilation".into()), ..Notes::default() };
    let report = report(&night(night_of, notes, &criteria), &criteria);
    format!("{:?} {:?}", report.mend, report.not_read)
}

#[test]
fn an_empty_or_zero_column_does_not_hide_the_one_with_the_numbers() {
    for empty in ["", "0", "0.0"] {
        let night = table("CO2 (kPa),TC", |minute| format!("{empty},{}", co2(minute)));
        let all = told(&night);
        assert_eq!(all.len(), 1, "`{empty}`: {all:?}");
        assert_eq!(all[0].0, Weight::Serious);
        assert!(all[0].1.contains("`TC`") && all[0].1.contains("`CO2 (kPa)` was read"), "{all:?}");
        let says = mends(night);
        assert!(says.contains("column map that names its tcPCO2"), "{says}");
        assert!(!says.contains("h of believable tcPCO2"), "{says}");
    }
}

#[test]
fn another_co2_counts_where_the_one_that_was_read_has_none_for_hours() {
    let of = |from: usize| {
        let night = table("EtCO2 (kPa),tcPCO2 (kPa)", |minute| {
            let read = if minute < from { co2(minute) } else { String::new() };
            format!("{},{read}", co2(minute))
        });
        told(&night).into_iter().map(|one| one.0).collect::<Vec<_>>()
    };
    assert_eq!(of(300), [Weight::Note]);
    assert_eq!(of(240), [Weight::Note], "an hour without the sensor");
    assert_eq!(of(150), [Weight::Serious]);
}

/// 39.5 mmHg and 5.3 kPa: CO2 of a healthy person, low for oxygen through the skin (common practice, no source).
#[test]
fn oxygens_name_over_the_numbers_of_co2_is_told_where_there_is_no_other_co2() {
    for (head, middle) in [("PtcO2 (mmHg)", 39.5), ("PtcO2 (kPa)", 5.3), ("tcO2 (mmHg)", 46.0)] {
        let cells = |minute: usize| format!("{:.1}", middle + 0.1 * (minute % 7) as f64);
        let night = table(head, cells);
        assert!(night.channel(Quantity::Tcpco2).is_none(), "{head}");
        let all = told(&night);
        assert!(all.len() == 1 && all[0].0 == Weight::Serious, "{head}: {all:?}");
        assert!(!night.lacks(Quantity::Tcpco2, "tcPCO2").contains("the recording has no"));
        // Beside CO2 by its own name it is oxygen.
        let both = table(&format!("{head},tcPCO2 (kPa)"), |m| format!("{},{}", cells(m), co2(m)));
        assert_eq!(told(&both), [], "{head}");
    }
    assert_eq!(told(&table("PtcO2 (mmHg)", |minute| format!("{}", 70 + minute % 7))), []);
}
