//! Notes files: read, placed on the night's clock, or refused in clear words.

use engine::notes::{BloodGas, GasCheck, Notes, NotesError, NotesFile};
use engine::read::ReadOptions;
use engine::recording::{MarkKind, Quantity, Recording};
use engine::time::zone_named;
use engine::unit::KPA_PER_MMHG;

use crate::text::with;

/// A night of one sample a minute, in London.
fn night(start: &str, minutes: usize) -> Recording {
    let zone = zone_named("Europe/London");
    let start = start.parse::<jiff::civil::DateTime>().unwrap_or_default();
    let start = start.to_zoned_datetime(zone.clone().unwrap_or(jiff::tz::TimeZone::UTC));
    let start = start.map(|zoned| zoned.timestamp().as_second()).unwrap_or_default();
    let row = |minute: usize| format!("{},97\n", start + 60 * i64::try_from(minute).unwrap_or(0));
    let text = (0..minutes).map(row).fold("time,SpO2 (%)\n".to_owned(), |text, row| text + &row);
    with(text.as_bytes(), &ReadOptions { zone, map: None }).unwrap_or_else(|e| panic!("{e}"))
}

/// 26 October 2024, 22:30, for nine hours: the night the clocks went back.
fn autumn() -> Recording {
    night("2024-10-26T22:30", 540)
}

/// 5 November 2024, 22:30, for eight hours.
fn plain() -> Recording {
    night("2024-11-05T22:30", 480)
}

fn placed(text: &str, recording: &Recording) -> Result<Notes, NotesError> {
    NotesFile::parse(text)?.place(recording)
}

fn error(text: &str, recording: &Recording) -> (String, String) {
    let Err(error) = placed(text, recording) else { panic!("not refused: {text}") };
    (error.to_string(), error.hint.unwrap_or_default())
}

#[test]
fn a_full_notes_file_is_placed() {
    let text = r#"
zone = "Europe/London"
lights_out = "23:00"
lights_on = "06:00"
representative = false
question = "hypoventilation"
breathing = "2 L/min oxygen"
[[mark]]
at = "02:10"
until = "02:25:30"
kind = "up"
text = "toilet"
[[mark]]
at = 2024-11-05T22:45:00
kind = "asleep"
[[blood_gas]]
at = "07:00"
pco2_mmhg = 45.0
[[gas_check]]
at = "22:00"
expected_kpa = 5.0
observed_kpa = 5.2
[monitor]
corrected = true
sensor_temp_c = 42.0
averaging_s = 4.0
[[exclude]]
channel = "spo2"
from = "03:00"
until = "03:20"
author = "A. Reader"
made_at = 2024-11-06T09:00:00
reason = "lay on the sensor"
[[put_back]]
channel = "spo2"
from = "03:05"
until = "03:10"
author = "B. Reader"
"#;
    let notes = placed(text, &plain()).unwrap_or_else(|e| panic!("{e}"));
    let marks: Vec<_> = notes.marks.iter().map(|m| (m.kind, m.start_s, m.end_s)).collect();
    assert_eq!(
        marks,
        [
            (MarkKind::Asleep, 900.0, None),
            (MarkKind::LightsOut, 1800.0, None),
            (MarkKind::Up, 13_200.0, Some(14_130.0)),
            (MarkKind::LightsOn, 27_000.0, None),
        ]
    );
    let gas = BloodGas { at_s: 30_600.0, pco2_kpa: 45.0 * KPA_PER_MMHG };
    assert_eq!(notes.blood_gases, [gas]);
    let check = GasCheck { at_s: -1800.0, expected_kpa: 5.0, observed_kpa: 5.2 };
    assert_eq!(notes.gas_checks, [check]);
    assert_eq!((notes.monitor.corrected, notes.representative), (Some(true), Some(false)));
    let edits: Vec<_> = notes
        .edits
        .iter()
        .map(|e| (e.quantity, e.stretch.start_s, e.believe, e.author.as_str(), e.made_at.as_str()))
        .collect();
    assert_eq!(
        edits,
        [
            (Quantity::Spo2, 16_200.0, false, "A. Reader", "2024-11-06T09:00:00"),
            (Quantity::Spo2, 16_500.0, true, "B. Reader", ""),
        ]
    );
    assert_eq!(notes.findings, vec![]);
}

/// The zone library of Python 3.11: on 27 October 2024 clocks in London went back at 02:00 (+01:00).
#[test]
fn times_over_the_clock_change_are_real_seconds() {
    for (written, expected_s) in [
        ("\"00:30\"", 7200.0),
        ("\"02:30\"", 18_000.0),
        ("\"2024-10-27T01:30:00+01:00\"", 10_800.0),
        ("2024-10-27T01:30:00+00:00", 14_400.0),
        ("\"2024-10-27T01:30Z\"", 14_400.0),
        ("\"2024-10-27 06:00\"", 30_600.0),
    ] {
        let notes = placed(&format!("lights_on = {written}"), &autumn());
        let notes = notes.unwrap_or_else(|e| panic!("{written}: {e}"));
        assert_eq!(notes.marks.first().map(|m| m.start_s), Some(expected_s), "{written}");
    }
}

#[test]
fn a_time_of_day_outside_the_night_is_the_nearest_one() {
    for (written, expected_s) in [
        ("22:00", -1800.0),
        ("07:15", 31_500.0),
        ("22:30", 0.0),
        ("06:30", 28_800.0),
        ("9:05", 38_100.0),
    ] {
        let text = format!("[[blood_gas]]\nat = \"{written}\"\npco2_kpa = 6.0");
        let notes = placed(&text, &plain()).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(notes.blood_gases.first().map(|g| g.at_s), Some(expected_s), "{written}");
    }
}

#[test]
fn every_refusal_names_the_line_and_the_way_out() {
    let way = "write 23:10, 23:10:30, 2024-10-26T23:10 or 2024-10-26T23:10:00+01:00";
    for (text, what, hint) in [
        (
            "zone = \"Europe/Lundon\"",
            "notes: zone `Europe/Lundon` is not known (line 1)",
            "write a name as Europe/London, or an offset as +01:00",
        ),
        ("\nlights_out = \"late\"", "notes: `late` is no time (line 2)", way),
        ("lights_out = 2024-10-26", "notes: 2024-10-26 has no time of day (line 1)", way),
        ("lights_out = 23", "notes: 23 is no time (line 1)", way),
        (
            "lights_out = \"2024-10-26T23:10+1\"",
            "notes: `2024-10-26T23:10+1` is no time (line 1)",
            way,
        ),
        (
            "lights_on = \"01:30\"",
            "notes: 2024-10-27T01:30:00 came twice in Europe/London when the clocks went back (line 1)",
            "write which one, with its offset from UTC: 2024-10-27T01:30:00+01:00 or \
          2024-10-27T01:30:00+00:00",
        ),
        (
            "lights_out = \"06:00\"\nlights_on = \"23:00\"",
            "notes: lights on is not after lights out (line 2)",
            "",
        ),
        (
            "[[mark]]\nat = \"02:25\"\nuntil = \"02:10\"\nkind = \"up\"",
            "notes: until (02:10) is not after the beginning (02:25) (line 3)",
            "",
        ),
        (
            "[[mark]]\nat = \"02:25\"\nkind = \"walk\"",
            "notes: mark kind `walk` is not known (line 3)",
            "known are lights_out, lights_on, asleep, awake, up, refitted, oxygen, support, alarm, \
          gas_check, blood_gas, note",
        ),
        ("[[blood_gas]]\nat = \"06:00\"", "notes: pco2_kpa or pco2_mmhg is missing (line 1)", ""),
        (
            "[[blood_gas]]\nat = \"06:00\"\npco2_kpa = 6.0\npco2_mmhg = 45.0",
            "notes: both pco2_kpa and pco2_mmhg are given: expected one (line 1)",
            "",
        ),
        (
            "[[blood_gas]]\nat = \"06:00\"\npco2_kpa = 45.0",
            "notes: pco2_kpa = 45 cannot be right (line 1)",
            "was it in mmHg?",
        ),
        (
            "[[blood_gas]]\nat = \"06:00\"\npco2_mmhg = 5.9",
            "notes: pco2_mmhg = 5.9 cannot be right (line 1)",
            "was it in kPa?",
        ),
        (
            "[[gas_check]]\nat = \"06:00\"\nexpected_kpa = 5.0\nobserved_kpa = 38.0",
            "notes: observed_kpa = 38 cannot be right (line 1)",
            "was it in mmHg?",
        ),
        (
            "[[blood_gas]]\nat = \"06:00\"\npco2_kpa = nan",
            "notes: pco2_kpa = NaN cannot be right (line 1)",
            "was it in mmHg?",
        ),
        (
            "[monitor]\nsensor_temp_c = 107.6",
            "notes: sensor_temp_c = 107.6 is no temperature of a heated sensor (line 1)",
            "expected 30 to 50 °C",
        ),
        (
            "[[exclude]]\nchannel = \"spo\"\nfrom = \"02:00\"\nuntil = \"03:00\"\nauthor = \"x\"",
            "notes: channel `spo` is not known (line 2)",
            "for instance spo2, pulse or tcpco2",
        ),
    ] {
        assert_eq!(error(text, &autumn()), (what.to_owned(), hint.to_owned()));
    }
    let (what, _) = error("representative = true\nlights_of = \"23:10\"", &autumn());
    assert!(what.starts_with("notes: unknown field `lights_of`, expected one of"), "{what}");
    assert!(what.ends_with("(line 2)"), "{what}");
}

/// The zone library of Python 3.11: 31 March 2024, 01:30 never existed in London.
#[test]
fn a_time_that_never_existed_is_refused() {
    let (what, hint) = error("lights_on = \"01:30\"", &night("2024-03-30T22:30", 400));
    let expected = "notes: 2024-03-31T01:30:00 did not exist in Europe/London: the clocks went \
                    forward over it (line 1)";
    assert_eq!(
        (what.as_str(), hint.as_str()),
        (expected, "look at the clock of the monitor that night")
    );
}

#[test]
fn a_recording_without_a_date_takes_times_of_day_only() {
    let text = "time,SpO2 (%)\n22:30:00,97\n22:31:00,96\n";
    let night = with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    let (what, hint) = error("lights_on = \"2024-10-26T22:31\"", &night);
    assert_eq!(what, "notes: a time carries a date, but the recording has none (line 1)");
    assert_eq!(hint, "write the time of day alone");
    let (what, _) = error("lights_on = \"2024-10-26T22:31Z\"", &night);
    let expected =
        "notes: a time carries an offset, but the zone of the recording is not known (line 1)";
    assert_eq!(what, expected);
}

#[test]
fn what_contradicts_or_lies_outside_is_told() {
    let text = "time,SpO2 (%),Event\n2024-11-05 22:30:00,97,Lights out\n2024-11-05 22:50:00,96,\n";
    let night = with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    let text = "lights_out = \"22:40\"\n[[mark]]\nat = \"22:45\"\nkind = \"lights_out\"
[[mark]]\nat = \"22:20\"\nkind = \"awake\"
[[exclude]]\nchannel = \"tcpco2\"\nfrom = \"22:31\"\nuntil = \"22:35\"\nauthor = \"A. Reader\"";
    let notes = placed(text, &night).unwrap_or_else(|e| panic!("{e}"));
    let told: Vec<_> = notes.findings.iter().map(|f| (f.code, f.sentence.as_str())).collect();
    assert_eq!(
        told,
        [
            (
                "marks_contradict",
                "Lights out is marked at 22:45 in the notes too, at 22:40 in the notes: 22:45 was set aside."
            ),
            (
                "marks_contradict",
                "Lights out is marked at 22:30 in the recording, at 22:40 in the notes: 22:30 was set aside."
            ),
            (
                "mark_outside",
                "The mark awake at 22:20 begins before the recording, which runs from 22:30 to 23:10."
            ),
            (
                "edit_without_effect",
                "A stretch judged by A. Reader, 22:31 to 22:35 of tcPCO2, changes nothing: the recording \
              holds none of it."
            ),
        ]
    );
    let lights: Vec<_> = notes.marks.iter().filter(|m| m.kind == MarkKind::LightsOut).collect();
    assert_eq!(lights.len(), 1);
    assert!((lights[0].start_s - 600.0).abs() < 1e-9);
}
