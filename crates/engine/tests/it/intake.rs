//! What comes in: every spelling of the trade is read or told, and nothing is made up where nobody said.

use std::fmt::Write as _;

use engine::criteria::{Criteria, shipped};
use engine::finding::Weight;
use engine::judge::{Decision, Judgement};
use engine::night::night;
use engine::notes::diary::{QUESTIONS, Takes, notes_toml};
use engine::notes::{Notes, NotesFile};
use engine::print::{Heading, html, json_report, table};
use engine::read::ReadOptions;
use engine::read::map::ColumnMap;
use engine::recording::{Quantity, Recording};
use engine::report::report;
use proptest::prelude::*;

use crate::edf::{SAO2, file, words};
use crate::made;
use crate::text::with;

/// CO2 measured through the skin, as the trade writes it.
const CO2: [&str; 34] = [
    "tcPCO2",
    "tcpCO2",
    "TcPCO2",
    "TCPCO2",
    "tc-PCO2",
    "tc PCO2",
    "tc_PCO2",
    "tcPCO\u{2082}",
    "TcpCO\u{2082}",
    "PtcCO2",
    "PtcCO\u{2082}",
    "PTCCO2",
    "Ptc CO2",
    "Ptc-CO2",
    "P tc CO2",
    "P_tc_CO2",
    "PtCO2",
    "ptco2",
    "Pt CO2",
    "PtCO\u{2082}",
    "tcCO2",
    "TcCO2",
    "tc CO2",
    "tc-CO2",
    "tcCO\u{b2}",
    "Transcutaneous CO2",
    "transcutaneous pCO2",
    "transcutaneous-PCO2",
    "Transcutaneous carbon dioxide",
    "PCO2 tc",
    "PCO2 (tc)",
    "CO2 (transcutaneous)",
    "tcPCO2 ear",
    "tcPCO2 (ear)",
];
/// CO2 by a name that does not say through the skin: the only kind there is in a plain table.
const PLAIN: [&str; 3] = ["PCO2", "pCO2", "CO2"];
const UNITS: [(&str, f64); 6] =
    [("kPa", 5.6), ("KPA", 5.6), ("mmHg", 42.0), ("mm Hg", 42.0), ("mm[Hg]", 42.0), ("torr", 42.0)];

fn forms(name: &str, unit: &str) -> Vec<String> {
    vec![
        format!("{name} ({unit})"),
        format!("{name}({unit})"),
        format!("{name} [{unit}]"),
        format!("{name} {{{unit}}}"),
        format!("{name} <{unit}>"),
        format!("{name} {unit}"),
        format!("{name}_{unit}"),
        format!("{name}, {unit}"),
        format!("{name}/{unit}"),
        format!("{name}: {unit}"),
        format!("{name} in {unit}"),
    ]
}

/// A table with SpO2 and one more column.
fn csv(header: &str, values: impl Fn(usize) -> f64) -> String {
    let mut text = format!("time;SpO2 (%);\"{header}\"\n");
    for second in 0..120 {
        let (minute, rest) = (second / 60, second % 60);
        let value = values(second);
        let _ = writeln!(text, "2024-11-05T22:{minute:02}:{rest:02};96;{value}");
    }
    text
}

fn read(text: &str) -> Recording {
    with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e} in {text}"))
}

fn told(recording: &Recording) -> Vec<(Weight, &'static str)> {
    let all = recording.findings.iter().filter(|one| one.code.ends_with("_not_taken"));
    all.map(|one| (one.weight, one.code)).collect()
}

fn judged(recording: Recording, notes: Notes) -> (Judgement, Criteria) {
    let criteria = shipped("adult-air").unwrap();
    (night(recording, notes, &criteria), criteria)
}

#[test]
fn every_spelling_of_co2_is_read_in_every_unit_and_bracket() {
    for name in CO2.iter().chain(&PLAIN) {
        for (unit, value) in UNITS {
            for header in forms(name, unit) {
                let night = read(&csv(&header, |i| value + 0.01 * (i % 3) as f64));
                let co2 = night.channel(Quantity::Tcpco2);
                assert!(co2.is_some_and(|co2| (co2.samples[0] - 5.6).abs() < 0.01), "{header}");
                assert_eq!(told(&night), [], "{header}");
            }
        }
    }
    let written_on = read(&csv("tcPCO2kPa", |_| 5.6));
    assert!(written_on.channel(Quantity::Tcpco2).is_some());
}

#[test]
fn every_spelling_of_the_oximeter_is_read() {
    let spo2 = [
        "SpO2",
        "SPO2",
        "SpO\u{2082}",
        "Sp O2",
        "Sp-O2",
        "sp_o2",
        "SaO2",
        "SaO\u{2082}",
        "O2 sat",
        "Oxygen saturation",
        "SpO2 finger",
        "SpO2 (ear)",
    ];
    let pulse = [
        "Pulse",
        "pulse rate",
        "Pulse_Rate",
        "Pulse-rate",
        "PR",
        "P.R.",
        "HR",
        "Heart rate",
        "heart-rate",
        "HeartRate",
    ];
    let perfusion = ["Perfusion", "Perfusion index", "perfusion_index", "PI", "Perf. index"];
    let read_as = |quantity: Quantity, names: &[&str], units: &[&str], value: f64| {
        for name in names {
            for unit in units {
                for header in forms(name, unit) {
                    let mut text = format!("time;tcPCO2 (kPa);\"{header}\"\n");
                    for second in 10..60 {
                        let _ = writeln!(text, "2024-11-05T22:30:{second};5.6;{value}");
                    }
                    let night = read(&text);
                    assert!(night.channel(quantity).is_some(), "{header}");
                    assert_eq!(told(&night), [], "{header}");
                }
            }
        }
    };
    read_as(Quantity::Spo2, &spo2, &["%", "percent"], 96.0);
    read_as(Quantity::Pulse, &pulse, &["/min", "bpm", "1/min"], 61.0);
    read_as(Quantity::Perfusion, &perfusion, &["%"], 2.5);
}

/// An EDF night of SpO2 and one more signal.
fn edf(label: &str, dimension: &str, value: f64) -> Recording {
    let other = (label, dimension, ["0", "200", "0", "2000"], 60);
    let spo2 = (SAO2.0, SAO2.1, SAO2.2, 60);
    #[expect(clippy::cast_possible_truncation, reason = "a small sample")]
    let sample = (value * 10.0).round() as i16;
    let mut samples = vec![960; 60];
    samples.extend((0..60).map(|i| sample + i % 2));
    let bytes = file("", 1, "60", &[spo2, other], &words(&samples));
    let input = engine::read::Input { name: "night.edf", bytes: &bytes, companions: &[] };
    engine::read::read(input, &ReadOptions::default()).unwrap_or_else(|e| panic!("{e}: {label}"))
}

#[test]
fn every_spelling_of_co2_is_read_from_signals_too() {
    let fits = |label: &str| label.len() <= 16 && label.is_ascii();
    for name in CO2.iter().filter(|name| fits(name)) {
        for (unit, value) in UNITS {
            let night = edf(name, unit, value);
            assert!(night.channel(Quantity::Tcpco2).is_some(), "{name} in {unit}");
            assert_eq!(told(&night), [], "{name}");
            // The dimension left blank, the unit in the label.
            for label in forms(name, unit).iter().filter(|label| fits(label)) {
                let night = edf(label, "", value);
                assert!(night.channel(Quantity::Tcpco2).is_some(), "{label}");
            }
        }
    }
}

#[test]
fn what_looks_like_co2_by_name_unit_or_numbers_is_told_and_never_called_none() {
    let kpa = |i: usize| 5.6 + 0.01 * (i % 7) as f64;
    let mmhg = |i: usize| 42.0 + 0.1 * (i % 7) as f64;
    for (header, values) in [
        ("EtCO2 (kPa)", &kpa as &dyn Fn(usize) -> f64),
        ("Skin carbon dioxide (kPa)", &kpa),
        ("XCO2Y [mmHg]", &mmhg),
        ("Capno", &kpa),
        ("Chan 3 (kPa)", &kpa),
        ("Chan 3 mmHg", &mmhg),
        ("Chan 3", &kpa),
        ("#3", &kpa),
    ] {
        let recording = read(&csv(header, values));
        assert!(recording.channel(Quantity::Tcpco2).is_none(), "{header}");
        let serious = (Weight::Serious, "tcpco2_not_taken");
        assert_eq!(told(&recording), [serious], "{header}");
        let (judgement, criteria) = judged(recording, Notes::default());
        let report = report(&judgement, &criteria);
        let page = html(&report, &Heading::default());
        let printed = [page, table(&report, false), json_report(&report)].join("\n");
        assert!(!printed.contains("No CO2 was recorded"), "{header}");
        assert!(!printed.contains("The recording has no tcPCO2"), "{header}");
        assert!(report.not_read.len() == 1 && printed.contains("No CO2 was read."), "{header}");
    }
}

#[test]
fn what_is_something_else_is_not_taken_for_co2_and_none_is_said_of_it() {
    for (header, value) in [
        ("Mask pressure (kPa)", 1.2),
        ("Ambient (kPa)", 101.3),
        ("Ambient pressure (mmHg)", 760.0),
        ("NIBP sys (mmHg)", 105.0),
        ("tcpO2 (kPa)", 9.0),
        ("Flow (L/min)", 12.0),
        ("Battery (%)", 97.0),
        ("Position", 3.0),
        ("Sensor temperature (\u{b0}C)", 42.0),
    ] {
        let recording = read(&csv(header, |i| value + 0.01 * (i % 3) as f64));
        let co2: Vec<_> =
            told(&recording).into_iter().filter(|(_, code)| *code == "tcpco2_not_taken").collect();
        assert_eq!(co2, [], "{header}");
        let (judgement, criteria) = judged(recording, Notes::default());
        assert_eq!(report(&judgement, &criteria).correction.sentence, "No CO2 was recorded.");
    }
}

#[test]
fn another_co2_beside_the_one_that_is_read_is_a_note() {
    let mut text = String::from("time,SpO2 (%),tcPCO2 (kPa),EtCO2 (kPa)\n");
    for second in 10..60 {
        let _ = writeln!(text, "2024-11-05T22:30:{second},96,5.6,5.1");
    }
    assert_eq!(told(&read(&text)), [(Weight::Note, "tcpco2_not_taken")]);
}

#[test]
fn what_a_map_leaves_out_is_told_where_the_night_has_no_other() {
    let map = ColumnMap { ignore: vec!["tcPCO2 (kPa)".into()], ..ColumnMap::default() };
    let options = ReadOptions { zone: None, map: Some(map.clone()) };
    let night = with(csv("tcPCO2 (kPa)", |_| 5.6).as_bytes(), &options).unwrap();
    assert_eq!(told(&night), [(Weight::Serious, "tcpco2_not_taken")]);
    let other = (SAO2.0, SAO2.1, SAO2.2, 2);
    let co2 = ("tcPCO2 (kPa)", "kPa", ["0", "20", "0", "2000"], 2);
    let bytes = file("", 1, "2", &[other, co2], &words(&[960, 960, 560, 560]));
    let input = engine::read::Input { name: "night.edf", bytes: &bytes, companions: &[] };
    let night = engine::read::read(input, &options).unwrap();
    assert_eq!(told(&night), [(Weight::Serious, "tcpco2_not_taken")]);
}

/// What a table of good oximetry and CO2 looks like under these three names: taken, or told, or refused.
fn taken_or_told(headers: [&str; 3], mmhg: bool) -> Result<(), String> {
    let mut text = format!("time;\"{}\"\n", headers.join("\";\""));
    for second in 0..240 {
        let (minute, rest) = (second / 60, second % 60);
        let (spo2, pulse) = (96 - (second / 7) % 4, 58 + (second / 3) % 9);
        let kpa = 5.2 + 0.15 * f64::from((second / 5) % 8);
        let co2 = if mmhg { (kpa * 7.5).round() } else { kpa };
        let _ = writeln!(text, "2024-11-05T22:{minute:02}:{rest:02};{spo2};{pulse};{co2}");
    }
    let Ok(night) = with(text.as_bytes(), &ReadOptions::default()) else { return Ok(()) };
    for (quantity, column) in [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2].iter().zip(1..) {
        let taken = night.channel(*quantity).is_some();
        if !taken && night.not_taken(*quantity).is_none() {
            return Err(format!(
                "{} in column {column} of {headers:?} is not told",
                quantity.name()
            ));
        }
    }
    let (judgement, criteria) = judged(night, Notes::default());
    let said = report(&judgement, &criteria).correction.sentence;
    if said.contains("No CO2 was recorded") { Err(format!("{headers:?}: {said}")) } else { Ok(()) }
}

#[test]
fn a_column_headed_by_a_unit_or_nothing_or_a_vague_word_is_taken_or_told() {
    let vague = [
        "",
        " ",
        "Pressure",
        "press",
        "Partial pressure",
        "Signal",
        "Signal 3",
        "index",
        "Index 2",
        "heat",
        "temp",
        "Temp 2",
        "No",
        "count",
        "sec",
        "s",
        "value",
        "result",
        "sample",
        "chest",
        "volume",
        "mV",
        "event 3",
        "alarm",
        "remarks",
        "xyz (foo)",
        "#4",
        "C",
        "id",
        "status",
        "power",
        "time 2",
        "Chan 3",
        "PTC",
        "A c",
        "B_C",
        "p",
        "CO",
        "tc",
        "PO",
        "gas",
        "sensor",
        "ear",
    ];
    let of_spo2 = ["%", "(%)", "percent", "O2", "O2 %", "Sp02", "Sättigung", "Pulse Ox", "SpO2-2"];
    let of_pulse = ["bpm", "/min", "1/min", "[/min]", "Pulse Ox", "PR_spo2", "SpO2 Pulse", "Heart"];
    let of_co2 = ["TCO2", "C02", "PTCO2 kPa", "EtCO2", "Capno", "pressure tc"];
    let (mmhg, kpa) =
        (["mmHg", "(mmHg)", "mm Hg", "Chest mmHg"], ["kPa", "[kPa]", "Heat (kPa)", "Temp, kPa"]);
    let tried = [&of_spo2[..], &of_pulse, &of_co2];
    for (at, own) in tried.into_iter().enumerate() {
        for in_mmhg in [false, true] {
            let units = if in_mmhg { mmhg } else { kpa };
            let units = if at == 2 { &units[..] } else { &[] };
            for word in vague.iter().chain(own).chain(units) {
                let co2 = if in_mmhg { "tcPCO2 (mmHg)" } else { "tcPCO2 (kPa)" };
                let mut headers = ["SpO2 (%)", "Pulse (/min)", co2];
                headers[at] = word;
                taken_or_told(headers, in_mmhg).unwrap();
                // Where nothing but CO2 was taken, the others are told all the same.
                let mut alone = ["Chan 1", "Chan 2", "Chan 3"];
                alone[(at + 1) % 3] = ["SpO2 (%)", "Pulse (/min)", co2][(at + 1) % 3];
                alone[at] = word;
                taken_or_told(alone, in_mmhg).unwrap();
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn whatever_the_header_says_good_data_are_taken_or_told(
        words in prop::collection::vec("[A-Za-z]{0,7}( [A-Za-z0-9]{1,5})?", 3),
        units in prop::collection::vec(prop::sample::select(vec!["", " (kPa)", " mmHg", " %", " (x)", " [/min]"]), 3),
        known in prop::collection::vec(any::<bool>(), 3),
        mmhg in any::<bool>(),
    ) {
        let names = ["SpO2 (%)", "Pulse (/min)", if mmhg { "tcPCO2 (mmHg)" } else { "tcPCO2 (kPa)" }];
        let fits = [["", " %", " (x)"], ["", " [/min]", " (x)"], ["", if mmhg { " mmHg" } else { " (kPa)" }, " (x)"]];
        let all: Vec<String> = (0..3).map(|at| {
            let unit = if fits[at].contains(&units[at]) { units[at] } else { "" };
            if known[at] { names[at].to_owned() } else { format!("{}{unit}", words[at]) }
        }).collect();
        let told = taken_or_told([&all[0], &all[1], &all[2]], mmhg);
        // A word that names another thing is believed; no random letters spell one but by chance.
        let other = ["hr", "pr", "sat", "pi", "rr", "bp", "vt", "pos", "po2", "age", "leak", "flow"];
        let by_chance = all.iter().any(|name| {
            name.to_lowercase().split(|c: char| !c.is_alphanumeric()).any(|word| other.contains(&word))
        });
        prop_assert!(by_chance || told.is_ok(), "{told:?}");
    }
}

#[test]
fn what_is_plainly_a_time_a_row_a_flag_or_a_temperature_is_not_told() {
    let wave = |i: usize| 0.1 * (i % 7) as f64;
    for (header, values) in [
        ("", &(|i: usize| i as f64 + 1.0) as &dyn Fn(usize) -> f64),
        ("Row", &|i: usize| i as f64),
        ("Minute", &|i: usize| (i / 2) as f64),
        ("Elapsed (s)", &|i: usize| 0.5 * i as f64),
        ("Alarm", &|i: usize| f64::from(u8::from(i > 50))),
        ("Status", &|i: usize| if i > 50 { 32.0 } else { 64.0 }),
        ("Sensor temperature (\u{b0}C)", &|i: usize| 42.0 + 0.1 * (i % 3) as f64),
        ("Skin temp (\u{b0}C)", &|i: usize| 33.0 + 0.1 * (i % 3) as f64),
        ("Mask pressure (cmH2O)", &|i: usize| 8.0 + 0.1 * (i % 3) as f64),
        ("Pressure (cmH2O)", &|i: usize| 8.0 + 0.1 * (i % 3) as f64),
        ("Perfusion index", &|i: usize| 3.0 + 0.1 * (i % 7) as f64),
        ("PI", &|i: usize| 3.0 + 0.1 * (i % 7) as f64),
        ("Patient ID", &|_| 42.0),
        ("Position", &|_| 4.0),
    ] {
        let recording = read(&csv(header, values));
        assert_eq!(told(&recording), [], "{header}");
        let printed = format!("{:?}", recording.findings);
        assert!(!printed.contains("lie around"), "{header}: {printed}");
    }
    // A number of a person is never told, even where it looks like a channel.
    let hidden = read(&csv("Patient ID", |i| 42.0 + wave(i)));
    assert!(told(&hidden).contains(&(Weight::Serious, "tcpco2_not_taken")));
    assert!(!format!("{:?}", hidden.findings).contains("42"));
}

#[test]
fn the_oximeters_pulse_is_taken_and_the_name_of_the_instrument_is_told() {
    for name in ["SpO2 Pulse", "SpO2 PR", "PR_spo2", "HR (SpO2)", "SpO2_HR", "Pulse rate SpO2"] {
        let taken = edf(name, "bpm", 61.0);
        assert!(taken.channel(Quantity::Pulse).is_some(), "{name} as a signal");
        if !name.contains('(') {
            let text = csv(name, |i| 61.0 + (i % 5) as f64);
            assert!(read(&text).channel(Quantity::Pulse).is_some(), "{name}");
        }
    }
    for name in ["Pulse Ox", "PulseOx", "Pulse oximeter", "pulse_spo2"] {
        // The table has SpO2 already: it may be the pulse that is lacking.
        let night = read(&csv(name, |i| 61.0 + (i % 5) as f64));
        assert!(night.channel(Quantity::Pulse).is_none(), "{name}");
        assert_eq!(told(&night), [(Weight::Serious, "pulse_not_taken")], "{name}");
        let alone = csv(name, |i| 96.0 - (i % 3) as f64).replace("SpO2 (%)", "Pulse");
        let night = read(&alone);
        assert!(night.channel(Quantity::Spo2).is_none(), "{name}");
        assert_eq!(told(&night), [(Weight::Serious, "spo2_not_taken")], "{name}");
        let signal = edf(name, "", 61.0);
        assert!(signal.channel(Quantity::Pulse).is_none(), "{name} as a signal");
        assert!(signal.not_taken(Quantity::Pulse).is_some(), "{name} as a signal");
    }
    // Another heart beside the oximeter's own is kept, as before, and nothing is refused.
    let text = csv("SpO2 pulse", |i| 61.0 + (i % 5) as f64).replace("SpO2 (%)", "HR (/min)");
    assert_eq!(read(&text).channel(Quantity::Pulse).unwrap().file_label, "HR (/min)");
}

#[test]
fn a_name_that_means_co2_or_oxygen_is_told_unless_its_letters_or_numbers_decide() {
    let code = |night: &Recording| {
        let found = night.findings.iter().find(|one| one.code == "co2_or_oxygen");
        (night.channel(Quantity::Tcpco2).is_some(), found.map(|one| one.weight))
    };
    let mmhg = |name: &str, value: f64| {
        let header = format!("{name} (mmHg)");
        code(&read(&csv(&header, |i| value + 0.1 * (i % 7) as f64)))
    };
    for open in ["PTCO2", "ptco2", "Ptco2", "P_TCO2", "PTCO2 ear"] {
        assert_eq!(mmhg(open, 36.0), (true, Some(Weight::Note)), "{open}");
        assert_eq!(mmhg(open, 42.0), (true, Some(Weight::Serious)), "{open}");
        assert_eq!(mmhg(open, 80.0), (true, Some(Weight::Serious)), "{open}");
        assert_eq!(mmhg(open, 103.0), (false, Some(Weight::Serious)), "{open}");
        let signal = edf(open, "mmHg", 80.0);
        assert_eq!(code(&signal), (true, Some(Weight::Serious)), "{open}");
    }
    for co2 in ["PtCO2", "ptCO2", "Pt CO2", "PT-CO2", "PTCCO2", "PtcCO2", "TCPCO2"] {
        assert_eq!(mmhg(co2, 80.0), (true, None), "{co2}");
    }
    for oxygen in ["PtcO2", "ptcO2", "PTC O2", "ptc_o2", "Ptc-O2", "tc O2", "TC PO2", "TCPO2"] {
        let night = read(&csv(&format!("{oxygen} (mmHg)"), |i| 70.0 + 0.1 * (i % 7) as f64));
        assert_eq!(code(&night), (false, None), "{oxygen}");
        assert!(night.not_taken(Quantity::Tcpco2).is_none(), "{oxygen}");
    }
    // Beside CO2 by a plain name it is kept, and nothing is refused; a map settles it.
    let both = csv("tcPCO2 (mmHg)", |_| 42.0).replace("SpO2 (%)", "PTCO2 (mmHg)");
    assert_eq!(read(&both).channel(Quantity::Tcpco2).unwrap().file_label, "tcPCO2 (mmHg)");
    let text = "[[column]]\ncolumn = \"PTCO2\"\nquantity = \"tcpco2\"\nunit = \"mmHg\"\n";
    let map = Some(ColumnMap::parse(text).unwrap());
    let told = with(csv("PTCO2", |_| 42.0).as_bytes(), &ReadOptions { zone: None, map }).unwrap();
    assert_eq!(code(&told), (true, None));
}

#[test]
fn oxygen_and_pulse_that_were_not_taken_are_told_too() {
    let spo2 = edf("SpO2", "mV", 96.0);
    // The first SaO2 is read, so the second is only beside it.
    assert_eq!(told(&spo2), [(Weight::Note, "spo2_not_taken")]);
    let text = csv("Chan 2", |i| 96.0 - (i % 2) as f64).replace("SpO2 (%)", "tcPCO2 (kPa)");
    let text = text.replace(";96;", ";5.6;");
    let night = read(&text);
    // 96 may be a pulse as well, and the night has none.
    let both = ["spo2_not_taken", "pulse_not_taken"].map(|code| (Weight::Serious, code));
    assert_eq!(told(&night), both);
    let (judgement, _) = judged(night, Notes::default());
    let reasons = judgement.verdict.reasons.join(" ");
    assert!(reasons.contains("SpO2 was not read, though the file may hold it"), "{reasons}");
}

/// A quiet night of two hours from 22:00.
fn quiet() -> Recording {
    let count = 7200;
    made::three(&vec![96.0; count], &made::beats(count), &made::quiet(count, 5.5))
}

fn placed(text: &str) -> Notes {
    NotesFile::parse(text).unwrap().place(&quiet()).unwrap()
}

fn printed(notes: Notes) -> String {
    let (judgement, criteria) = judged(quiet(), notes);
    let report = report(&judgement, &criteria);
    let page = html(&report, &Heading::default());
    [page, table(&report, false), json_report(&report)].join("\n")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn the_words_of_every_answer_reach_the_report(
        words in prop::collection::vec("[a-z]{4,9}", QUESTIONS.len()),
    ) {
        let answers: Vec<String> = QUESTIONS.iter().zip(&words).map(|(question, word)| {
            match question.takes {
                Takes::Time if question.key == "lights_out" => "22:10".to_owned(),
                Takes::Time => "23:50".to_owned(),
                Takes::YesNo => "no".to_owned(),
                Takes::Spans(_) => format!("22:40-22:50 {word}"),
                Takes::Words | Takes::Note => format!("two {word} again"),
            }
        }).collect();
        let answers: Vec<&str> = answers.iter().map(String::as_str).collect();
        let said = printed(placed(&notes_toml(None, &answers).unwrap()));
        for (question, word) in QUESTIONS.iter().zip(&words) {
            if matches!(question.takes, Takes::Spans(_) | Takes::Words | Takes::Note) {
                prop_assert_eq!(said.matches(word.as_str()).count() >= 3, true, "{}", question.key);
            }
        }
    }

    #[test]
    fn a_blank_is_never_air_and_never_not_asked(given in prop::collection::vec(any::<bool>(), QUESTIONS.len())) {
        let answers: Vec<&str> = QUESTIONS.iter().zip(given).map(|(question, given)| {
            let times = matches!(question.takes, Takes::Time | Takes::Spans(_));
            if !given || times || question.key == "breathing" { "" } else { question.example }
        }).collect();
        let notes = placed(&notes_toml(None, &answers).unwrap());
        prop_assert_eq!(notes.breathing.as_deref(), None);
        let said = printed(notes);
        // The title of the set says whom it is for.
        let said = said.replace("Adult, breathing air", "");
        prop_assert!(!said.contains("breathing air") && !said.contains("Breathing: air"));
        prop_assert!(!said.contains("was not asked"));
        prop_assert!(said.contains("breathing not told"));
    }
}

#[test]
fn blank_words_are_not_told() {
    for words in ["", "  ", "?", " ? ", "-", "--", "..."] {
        let breathing = format!("breathing = \"{words}\"");
        let notes =
            placed(&format!("{breathing}\n[[told]]\nabout = \"Slept\"\nsays = \"{words}\"\n"));
        assert_eq!(notes.breathing, None, "{words}");
        let said = printed(notes);
        assert!(!said.contains("Slept:") && said.contains("breathing not told"), "{words}");
    }
    assert_eq!(placed("").breathing, None);
}

#[test]
fn an_interpretation_stands_under_its_own_name_apart_from_the_comment() {
    let (judgement, criteria) = judged(quiet(), Notes::default());
    let heading = Heading {
        comment: vec!["Good recording.".into()],
        commented: "A. Thistlewood, 4 March 2026".into(),
        interpretation: vec!["As expected.".into()],
        interpreted: "Dr T. Quillfeather, 5 March 2026".into(),
        ..Heading::default()
    };
    let page = html(&report(&judgement, &criteria), &heading);
    let (before, after) =
        page.split_once("<h2>Interpretation, Dr T. Quillfeather, 5 March 2026</h2>").unwrap();
    assert!(before.contains("<h2>Comment, A. Thistlewood, 4 March 2026</h2>"));
    assert!(before.contains("Good recording.") && !before.contains("As expected."));
    assert!(after.contains("As expected."));
    let page = html(&report(&judgement, &criteria), &Heading::default());
    assert!(page.contains("<h2>Comment</h2>") && !page.contains("Interpretation"));
}

#[test]
fn whiskies_and_a_blister_stand_on_every_form_of_the_report() {
    let mut answers = vec![""; QUESTIONS.len()];
    for (at, question) in QUESTIONS.iter().enumerate() {
        match question.key {
            "taken" => answers[at] = "two large whiskies",
            "skin" => answers[at] = "a blister",
            _ => {}
        }
    }
    let said = printed(placed(&notes_toml(None, &answers).unwrap()));
    assert!(said.matches("two large whiskies").count() >= 3, "page, table and JSON");
    assert!(said.matches("a blister").count() >= 3);
}

/// Whether the question must know the breathing, what was told, and what the night then is.
#[test]
fn breathing_not_told_is_a_reservation_where_the_rules_must_know() {
    let mut criteria = shipped("adult-air").unwrap();
    // The quiet night is short; that is not what is asked here.
    for setting in [&mut criteria.judge.spo2_least_h, &mut criteria.judge.tcpco2_least_h] {
        setting.value = 0.0;
    }
    let verdict = |question: &str, breathing: Option<&str>| {
        let notes = Notes {
            question: Some(question.into()),
            breathing: breathing.map(Into::into),
            ..Notes::default()
        };
        night(quiet(), notes, &criteria).verdict
    };
    let air = verdict("oxygenation", Some("air"));
    assert_eq!((air.decision, air.reasons.len()), (Decision::Sufficient, 1), "{:?}", air.reasons);
    for (told, says) in [(None, "is not told"), (Some("2 L/min oxygen"), "about a night on air")] {
        let open = verdict("oxygenation", told);
        assert_eq!(open.decision, Decision::Partial);
        assert!(open.reasons.iter().any(|one| one.contains(says)), "{:?}", open.reasons);
        assert!(!open.mend.is_empty());
    }
    assert!(verdict("hypoventilation", None).reasons.iter().all(|one| !one.contains("breathed")));
}

#[test]
fn notes_of_another_night_are_refused_and_those_partly_outside_are_not() {
    let night = "lights_out = \"2026-01-10T22:05\"\nlights_on = \"2026-01-10T23:55\"\n";
    let refused = |text: &str| {
        let error = NotesFile::parse(text).unwrap().place(&quiet()).unwrap_err();
        assert!(error.another_night && error.line.is_some() && error.hint.is_some());
        error.to_string()
    };
    let day_before = night.replace("01-10", "01-09");
    let words = refused(&day_before);
    for part in [
        "another night",
        "expected times from 2026-01-10 22:00",
        "found the nearest at 2026-01-09 23:55",
    ] {
        assert!(words.contains(part), "{words}");
    }
    refused(&night.replace("01-10", "01-11"));
    refused("[[mark]]\nkind = \"up\"\nat = \"2026-01-12T23:00\"\n");
    let exclude = "[[exclude]]\nchannel = \"spo2\"\nfrom = \"2026-01-12T23:00\"\nuntil = \"2026-01-12T23:10\"\nauthor = \"A\"\n";
    refused(exclude);
    for fits in [
        night,
        // One light is a day off: it contradicts, and that is a finding.
        "lights_out = \"2026-01-10T22:05\"\n[[mark]]\nkind = \"up\"\nat = \"2026-01-12T23:00\"\n",
        // The monitor ran for two hours of a whole night.
        "lights_out = \"2026-01-10T20:00\"\nlights_on = \"2026-01-11T07:00\"\n",
        "lights_out = \"21:00\"\n",
        "lights_on = \"07:00\"\n",
        // Gases and free words are of the evening and the morning.
        "[[blood_gas]]\nat = \"2026-01-11T09:00\"\npco2_kpa = 5.6\n",
        "[[mark]]\nkind = \"note\"\nat = \"12:00\"\ntext = \"a tablet\"\n",
        "",
    ] {
        assert!(NotesFile::parse(fits).unwrap().place(&quiet()).is_ok(), "{fits}");
    }
    // What was kept with a night opens, and says so.
    let kept = NotesFile::parse(&day_before).unwrap().place_kept(&quiet()).unwrap();
    let told = kept.findings.iter().find(|one| one.code == "notes_of_another_night").unwrap();
    assert_eq!(told.weight, Weight::Serious);
}

/// A short piece of the afternoon lies between two nights: the diary is of one of them, and contradicts nothing.
#[test]
fn a_night_told_in_times_of_day_does_not_contradict_itself_in_an_afternoon_piece() {
    let start = jiff::civil::datetime(2026, 1, 10, 14, 0, 0, 0);
    let piece = Recording { clock: engine::time::Clock::civil(start), ..quiet() };
    let error = |lights: [&str; 2]| {
        let text = format!("lights_out = \"{}\"\nlights_on = \"{}\"\n", lights[0], lights[1]);
        NotesFile::parse(&text).unwrap().place(&piece).unwrap_err()
    };
    assert!(error(["22:40", "06:50"]).another_night);
    assert!(!error(["15:40", "14:30"]).another_night);
}

/// Lights that fit, and one thing more that a year, a month or a day parts from them.
#[test]
fn a_mark_of_another_date_among_notes_that_fit_is_told_with_its_date_and_not_counted() {
    let lights = "lights_out = \"2026-01-10T22:05\"\nlights_on = \"2026-01-10T23:55\"\n";
    for (date, kind) in [
        ("2025-01-10", "oxygen"),
        ("2026-01-09", "oxygen"),
        ("2026-01-11", "up"),
        ("2026-02-10", "support"),
        ("2025-01-10", "note"),
    ] {
        let mark = format!(
            "[[mark]]\nkind = \"{kind}\"\nat = \"{date}T23:10\"\nuntil = \"{date}T23:25\"\ntext = \"x\"\n"
        );
        let text = format!("{lights}{mark}");
        let file = NotesFile::parse(&text).unwrap();
        for notes in [file.place(&quiet()).unwrap(), file.place_kept(&quiet()).unwrap()] {
            let told: Vec<_> =
                notes.findings.iter().filter(|one| one.code == "mark_of_another_night").collect();
            assert_eq!(told.len(), 1, "{date} {kind}: {:?}", notes.findings);
            assert_eq!(told[0].weight, Weight::Serious);
            let words = format!("The mark {kind} at {date} 23:10 is of another night");
            assert!(told[0].sentence.starts_with(&words), "{}", told[0].sentence);
            assert_eq!(notes.marks.len(), 2, "the lights alone: {:?}", notes.marks);
            assert!(notes.findings.iter().all(|one| one.code != "mark_outside"));
        }
    }
    // Of this night, though not in the recording.
    let early = format!("{lights}[[mark]]\nkind = \"up\"\nat = \"2026-01-11T05:10\"\n");
    let notes = NotesFile::parse(&early).unwrap().place(&quiet()).unwrap();
    assert_eq!(notes.marks.len(), 3);
}

#[test]
fn a_gas_or_check_of_another_date_is_told_with_its_date_and_never_denied() {
    let said = |text: &str| {
        let notes = NotesFile::parse(text).unwrap().place(&quiet()).unwrap();
        let criteria = shipped("adult-air").unwrap();
        report(&night(quiet(), notes, &criteria), &criteria).correction.sentence
    };
    let lights = "lights_out = \"2026-01-10T22:05\"\nlights_on = \"2026-01-10T23:55\"\n";
    let check =
        "[[gas_check]]\nat = \"2025-01-10T21:00\"\nexpected_kpa = 5.0\nobserved_kpa = 5.2\n";
    let gas = "[[blood_gas]]\nat = \"2025-01-11T06:41\"\npco2_kpa = 6.1\n";
    let denied = "was noted";
    let far =
        "could not be held against the sensor: its time lies more than 24 h from the recording";
    for (text, at) in [(check, "at 2025-01-10 21:00"), (gas, "at 2025-01-11 06:41")] {
        let words = said(&format!("{lights}{text}"));
        assert!(
            words.contains(at) && words.contains(far) && !words.contains("no gas check"),
            "{words}"
        );
    }
    assert!(said(lights).contains(denied));
}

#[test]
fn two_blood_gases_of_one_minute_with_two_numbers_are_asked_about() {
    let gas = |at: &str, kpa: f64| format!("[[blood_gas]]\nat = \"{at}\"\npco2_kpa = {kpa}\n");
    let found = |text: &str| {
        let notes = placed(text);
        let found = notes.findings.iter().find(|one| one.code == "blood_gases_contradict");
        (notes.blood_gases.len(), found.map(|one| (one.weight, one.sentence.clone())))
    };
    let (kept, told) = found(&(gas("23:32", 6.57) + &gas("23:32:20", 6.9)));
    let (weight, words) = told.unwrap();
    assert_eq!((kept, weight), (2, Weight::Serious));
    assert!(words.contains("6.57 kPa") && words.contains("6.90 kPa"), "{words}");
    assert_eq!(found(&(gas("23:32", 6.57) + &gas("23:32", 6.57))).1, None);
    assert_eq!(found(&(gas("23:32", 6.57) + &gas("23:40", 6.9))).1, None);
}
