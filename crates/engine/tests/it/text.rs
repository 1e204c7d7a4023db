//! Delimited text: every shape that is read, every refusal with its words.

use engine::read::{Input, ReadError, ReadOptions};
use engine::recording::{MarkKind, Quantity, Recording};
use engine::time::zone_named;
use engine::unit::KPA_PER_MMHG;

use crate::reader_contract::read_held;

pub(crate) fn with(bytes: &[u8], options: &ReadOptions) -> Result<Recording, ReadError> {
    read_held(Input { name: "night.csv", bytes, companions: &[] }, options)
}

fn night(text: &str) -> Recording {
    with(text.as_bytes(), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e} {:?}", e.hint))
}

fn in_zone(text: &str, zone: &str) -> Recording {
    let options = ReadOptions { zone: zone_named(zone), ..ReadOptions::default() };
    with(text.as_bytes(), &options).unwrap_or_else(|e| panic!("{e} {:?}", e.hint))
}

pub(crate) fn samples(recording: &Recording, id: &str) -> Vec<f64> {
    recording.channels.iter().find(|c| c.id == id).map_or(vec![], |c| c.samples.to_vec())
}

/// Samples to compare: missing as -9.
pub(crate) fn filled(recording: &Recording, id: &str) -> Vec<f64> {
    samples(recording, id).iter().map(|v| if v.is_nan() { -9.0 } else { *v }).collect()
}

pub(crate) fn told(recording: &Recording, code: &str) -> String {
    recording.findings.iter().find(|f| f.code == code).map_or(String::new(), |f| f.sentence.clone())
}

pub(crate) const PLAIN: &str = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)
2024-11-05T22:30:00,97,60,5.9
2024-11-05T22:30:01,96.5,61,5.91
2024-11-05T22:30:02,96,62,5.92
";

#[test]
fn the_plain_table_reads_without_a_map() {
    let night = night(PLAIN);
    assert_eq!(samples(&night, "spo2"), [97.0, 96.5, 96.0]);
    assert_eq!(samples(&night, "pulse"), [60.0, 61.0, 62.0]);
    assert_eq!(samples(&night, "tcpco2"), [5.9, 5.91, 5.92]);
    assert_eq!((night.duration_s, night.channels[0].period_s), (3.0, 1.0));
    assert_eq!(night.clock.label(1.0, true), "22:30:01");
    assert_eq!(night.findings, vec![]);
    assert_eq!(night.channels[2].file_unit, "kPa");
}

#[test]
fn millimetres_of_mercury_become_kilopascal() {
    for unit in ["mmHg", "mm Hg", "mm[Hg]", "torr", "MMHG"] {
        let text =
            format!("time,tcPCO2 ({unit})\n2024-11-05 22:30:00,45\n2024-11-05 22:30:01,46\n");
        let expected = [45.0 * KPA_PER_MMHG, 46.0 * KPA_PER_MMHG];
        assert_eq!(samples(&night(&text), "tcpco2"), expected, "{unit}");
    }
}

/// Every line writes the same two rows: 26 October 2024, 22:30:00 and 22:30:01, SpO2 97.5 and 96,
/// pulse 60 and 61, CO2 5.9 and 6.
#[test]
fn every_dialect_gives_the_same_night() {
    let quoted = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\r\n\
                  \"2024-10-26 22:30:00\",\"97,5\",60,\"5,9\"\r\n2024-10-26 22:30:01,96,61,6\r\n";
    for text in [
        "Time;SpO2 (%);Pulse (/min);tcPCO2 (kPa)\n\
         26.10.2024 22:30:00;97,5;60;5,9\n26.10.2024 22:30:01;96;61;6\n",
        "sep=;\nTime;SpO2;PR;TcPCO2 [kPa]\n\
         26/10/2024 22:30:00;97,5;60;5,9\n26/10/2024 22:30:01;96;61;6,0\n",
        "TIME\tSpO2 %\tHR bpm\tCO2 kPa\n\
         26/10/24 22:30:00\t97,5\t60\t5,9\n26/10/24 22:30:01\t96\t61\t6\n",
        "Time|O2 sat [%]|Heart rate [1/min]|PtcCO2 [kPa]\n\
         10/26/2024 10:30:00 PM|97.5|60|5.9\n10/26/2024 10:30:01 PM|96|61|6\n",
        quoted,
        "Date,Time,SpO2 (%),Pulse (/min),tcCO2 (kPa)\n\
         26/10/2024,22:30:00,97.5,60,5.9\n26/10/2024,22:30:01,96,61,6\n",
        "Date,Time,SpO2 (%),Pulse (/min),tcCO2 (kPa)\n\
         26/10/2024 00:00:00,22:30:00,97.5,60,5.9\n26/10/2024 00:00:00,22:30:01,96,61,6\n",
        "Ward 7 sleep service\nSerial number:,M-0042\n\nTime,SpO2,Pulse,tcPCO2\n,%,/min,kPa\n\
         2024-10-26 22:30:00,97.5,60,5.9\n2024-10-26 22:30:01,96,61,6\nMean,96.75,60.5,5.95\n",
        "time,channel,value,unit\n\
         2024-10-26 22:30:00,SpO2,97.5,%\n2024-10-26 22:30:00,Pulse,60,/min\n\
         2024-10-26 22:30:00,tcPCO2,5.9,kPa\n2024-10-26 22:30:01,SpO2,96,%\n\
         2024-10-26 22:30:01,Pulse,61,/min\n2024-10-26 22:30:01,tcPCO2,6,kPa\n",
        "Zeit;SpO2 (%);Pulse (/min);tcPCO2 (kPa);\n\
         26-Oct-2024 22:30:00;97,5;60;5,9;\n26-Oct-2024 22:30:01;96;61;6;\n",
        "Date: 2024-10-26\ntime,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n\
         22:30:00,97.5,60,5.9\n22:30:01,96,61,6\n",
        "Start: 2024-10-26 22:30\nTime (s),SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n\
         0,97.5,60,5.9\n1,96,61,6\n",
        "Recording start;2024-10-26 22:30\nElapsed;SpO2 (%);Pulse (/min);tcPCO2 (kPa)\n\
         00:00:00;97,5;60;5,9\n00:00:01;96;61;6\n",
    ] {
        let night = night(text);
        assert_eq!(samples(&night, "spo2"), [97.5, 96.0], "{text}");
        assert_eq!(samples(&night, "pulse"), [60.0, 61.0], "{text}");
        assert_eq!(samples(&night, "tcpco2"), [5.9, 6.0], "{text}");
        assert_eq!(night.clock.start().to_string(), "2024-10-26T22:30:00", "{text}");
        assert_eq!(night.channels.len(), 3, "{text}");
    }
}

#[test]
fn every_encoding_gives_the_same_night() {
    let text =
        "Zeit;SpO2 (%);Sensortemp (°C)\n2024-10-26 22:30:00;97,5;42\n2024-10-26 22:30:01;96;42\n";
    let utf16 = |be: bool| -> Vec<u8> {
        let pair = |u: u16| if be { u.to_be_bytes() } else { u.to_le_bytes() };
        text.encode_utf16().flat_map(pair).collect()
    };
    let latin: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let marked = |mark: &[u8], body: &[u8]| [mark, body].concat();
    for (bytes, guessed) in [
        (text.as_bytes().to_vec(), ""),
        (marked(b"\xef\xbb\xbf", text.as_bytes()), ""),
        (marked(b"\xff\xfe", &utf16(false)), ""),
        (marked(b"\xfe\xff", &utf16(true)), ""),
        (utf16(false), "The text is not UTF-8; it was read as UTF-16LE."),
        (utf16(true), "The text is not UTF-8; it was read as UTF-16BE."),
        (latin, "The text is not UTF-8; it was read as windows-1252."),
    ] {
        let night = with(&bytes, &ReadOptions::default()).unwrap();
        assert_eq!(samples(&night, "spo2"), [97.5, 96.0]);
        assert_eq!(night.channels[1].file_unit, "°C");
        assert_eq!(told(&night, "encoding_guessed"), guessed);
    }
}

#[test]
fn codes_for_no_reading_are_missing_and_counted() {
    let night = night(
        "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa),PI (%)
2024-11-05 22:30:00,97,60,5.9,1.5
2024-11-05 22:30:01,127,127,127,127
2024-11-05 22:30:02,255,255,--,-
2024-11-05 22:30:03,0,0,0,n/a
2024-11-05 22:30:04,---,511,NaN,
2024-11-05 22:30:05,-1,-1,-1,-1
2024-11-05 22:30:06,96,127,5.8,0
2024-11-05 22:30:07,96,255,255,1.4
",
    );
    assert_eq!(filled(&night, "spo2"), [97.0, -9.0, -9.0, -9.0, -9.0, -9.0, 96.0, 96.0]);
    // A pulse of 127 or 255 beside a good saturation may be true.
    assert_eq!(filled(&night, "pulse"), [60.0, -9.0, -9.0, -9.0, -9.0, -9.0, 127.0, 255.0]);
    // 0 kPa may be room air.
    assert_eq!(filled(&night, "tcpco2"), [5.9, -9.0, -9.0, 0.0, -9.0, -9.0, 5.8, -9.0]);
    assert_eq!(filled(&night, "perfusion"), [1.5, -9.0, -9.0, -9.0, -9.0, -9.0, 0.0, 1.4]);
    let expected =
        "Cells of SpO2 (%) taken as no reading: 1 `127`, 1 `255`, 1 `0`, 1 `---`, 1 `-1`.";
    assert_eq!(told(&night, "missing_codes"), expected);
}

#[test]
fn a_true_value_is_no_code() {
    let night = night(
        "time,Pulse (/min),tcPCO2 (mmHg),Heater (mW)\n\
         2024-11-05 22:30:00,127,127,127\n2024-11-05 22:30:01,255,45,255\n",
    );
    assert_eq!(samples(&night, "pulse"), [127.0, 255.0]);
    assert_eq!(samples(&night, "heater"), [127.0, 255.0]);
    assert!((samples(&night, "tcpco2")[0] - 127.0 * KPA_PER_MMHG).abs() < 1e-12);
}

/// Rows 23:59:58, 23:59:59, 00:00:00, 00:00:01 go on by one second each.
#[test]
fn times_of_day_cross_midnight() {
    let night = night("time,SpO2 (%)\n23:59:58,97\n23:59:59,96\n00:00:00,95\n00:00:01,94\n");
    assert_eq!(samples(&night, "spo2"), [97.0, 96.0, 95.0, 94.0]);
    assert_eq!(night.clock.label(3.0, true), "00:00:01");
    assert!(!night.clock.date_known());
    assert_eq!(told(&night, "date_not_known"), "The file gives times of day without a date.");
}

#[test]
fn a_time_of_day_out_of_order_at_midnight_adds_no_day() {
    let night = night("time,SpO2 (%)\n23:59:58,97\n00:00:00,95\n23:59:59,96\n00:00:01,94\n");
    assert_eq!(samples(&night, "spo2"), [97.0, 96.0, 95.0, 94.0]);
}

fn at_one_hertz(from: &[(u32, u32)], date: &str) -> String {
    let mut text = "time,SpO2 (%)\n".to_owned();
    for &(start, end) in from {
        for s in start..end {
            let (h, m, s) = (s / 3600 % 24, s / 60 % 60, s % 60);
            text.extend([date, &format!(" {h:02}:{m:02}:{s:02},97\n")]);
        }
    }
    text
}

const H: u32 = 3600;

fn assert_lasts(night: &Recording, s: u32) {
    assert!((night.duration_s - f64::from(s)).abs() < 1e-9, "{} s", night.duration_s);
}

/// The zone library of Python 3.11: 27 October 2024, 01:30 came first at 00:30Z, then at 01:30Z.
#[test]
fn the_hour_that_came_twice_is_two_hours() {
    let text = at_one_hertz(&[(H, 2 * H), (H, 3 * H)], "2024-10-27");
    let night = in_zone(&text, "Europe/London");
    assert_eq!(samples(&night, "spo2").len(), 10_800);
    assert!(samples(&night, "spo2").iter().all(|v| !v.is_nan()));
    assert_eq!(night.clock.start_instant().unwrap().to_string(), "2024-10-27T00:00:00Z");
    assert_eq!(night.clock.label(5400.0, true), "01:30:00");
    let expected = "The recording starts at 01:00, an hour that came twice in Europe/London that \
                    night; the first was taken. Lengths and elapsed times do not depend on it.";
    assert_eq!(told(&night, "start_in_repeated_hour"), expected);
}

#[test]
fn a_start_in_the_second_pass_is_found_by_what_follows() {
    let text = at_one_hertz(&[(H + 1800, 3 * H)], "2024-10-27");
    let night = in_zone(&text, "Europe/London");
    assert_eq!(night.clock.start_instant().unwrap().to_string(), "2024-10-27T01:30:00Z");
    assert!(told(&night, "start_in_repeated_hour").contains("the second was taken"));
    assert_eq!(samples(&night, "spo2").len(), 5400);
}

/// The zone library of Python 3.11: 8 h 40 min from 22:30 to 06:10 over 27 October 2024.
#[test]
fn the_autumn_night_has_its_real_length() {
    let evening = at_one_hertz(&[(22 * H + 1800, 24 * H)], "2024-10-26");
    let morning = at_one_hertz(&[(0, 2 * H), (H, 6 * H + 600)], "2024-10-27");
    let rows = evening + morning.split_once('\n').unwrap().1;
    let night = in_zone(&rows, "Europe/London");
    assert_lasts(&night, (8 * 60 + 40) * 60);
    assert!(samples(&night, "spo2").iter().all(|v| !v.is_nan()));
    assert_eq!(night.findings, vec![]);
}

/// The zone library of Python 3.11: 6 h 40 min from 22:30 to 06:10 over 31 March 2024.
#[test]
fn the_spring_night_has_its_real_length() {
    let evening = at_one_hertz(&[(22 * H + 1800, 24 * H)], "2024-03-30");
    let morning = at_one_hertz(&[(0, H), (2 * H, 6 * H + 600)], "2024-03-31");
    let rows = evening + morning.split_once('\n').unwrap().1;
    let night = in_zone(&rows, "Europe/London");
    assert_lasts(&night, (6 * 60 + 40) * 60);
    assert!(samples(&night, "spo2").iter().all(|v| !v.is_nan()));
    assert_eq!(night.findings, vec![]);
}

#[test]
fn a_monitor_clock_that_nobody_changed_is_counted_on_and_told() {
    let spring = in_zone(&at_one_hertz(&[(0, 4 * H)], "2024-03-31"), "Europe/London");
    assert_lasts(&spring, 4 * H);
    let expected = "3600 rows carry times from 01:00 to 02:00, which did not exist in Europe/London \
                    that night: the monitor's clock was not set forward. Time is counted on from \
                    the start.";
    assert_eq!(told(&spring, "clock_not_changed"), expected);
    let autumn = in_zone(&at_one_hertz(&[(0, 4 * H)], "2024-10-27"), "Europe/London");
    assert_lasts(&autumn, 4 * H);
    let expected = "In Europe/London the clocks went back at 02:00, but the file's times run on: the \
                    monitor's clock was not set back. Time is counted on from the start.";
    assert_eq!(told(&autumn, "clock_not_changed"), expected);
}

#[test]
fn a_gap_over_the_repeated_hour_is_told() {
    let text = at_one_hertz(&[(0, H / 2), (H + 1800, H + 2400)], "2024-10-27");
    let night = in_zone(&text, "Europe/London");
    let expected = "Rows are missing around 01:00 to 02:00, an hour that came twice in Europe/London \
                    that night; rows after the gap were taken as the first pass until times step back.";
    assert_eq!(told(&night, "gap_in_repeated_hour"), expected);
}

#[test]
fn epochs_and_offsets_are_instants() {
    let expected = "2024-10-26T21:30:00Z";
    for text in [
        "time,SpO2 (%)\n1729978200,97\n1729978201,96\n",
        "timestamp,SpO2 (%)\n1729978200000,97\n1729978201000,96\n",
        "time,SpO2 (%)\n2024-10-26T21:30:00Z,97\n2024-10-26T21:30:01Z,96\n",
        "time,SpO2 (%)\n2024-10-26T22:30:00+01:00,97\n2024-10-26T22:30:01+01:00,96\n",
    ] {
        let night = in_zone(text, "Europe/London");
        assert_eq!(night.clock.start_instant().unwrap().to_string(), expected, "{text}");
        assert_eq!(night.clock.label(0.0, false), "22:30", "{text}");
        assert_eq!(night.findings, vec![], "{text}");
    }
    let unzoned = night("time,SpO2 (%)\n1729978200,97\n1729978201,96\n");
    assert_eq!(unzoned.clock.label(0.0, false), "21:30");
    assert!(told(&unzoned, "zone_not_known").ends_with("times of day are shown in UTC."));
}

#[test]
fn day_and_month_are_settled_by_midnight() {
    let night = night("time,SpO2 (%)\n03/04/2024 23:59:59,97\n04/04/2024 00:00:00,96\n");
    assert_eq!(night.clock.start().to_string(), "2024-04-03T23:59:59");
    let expected = "Dates were read day first: the other way round, the night would last weeks.";
    assert_eq!(told(&night, "date_order_settled"), expected);
}

#[test]
fn rows_out_of_order_repeated_and_contradicting_are_told() {
    let night = night(
        "time,SpO2 (%)
2024-11-05 22:30:00,97
2024-11-05 22:30:02,95
2024-11-05 22:30:01,96
2024-11-05 22:30:02,95
2024-11-05 22:30:02,91
2024-11-05 22:30:05,90
2024-11-05 22:30:06,90
",
    );
    assert_eq!(filled(&night, "spo2"), [97.0, 96.0, 95.0, -9.0, -9.0, 90.0, 90.0]);
    let sentences: Vec<&str> = night.findings.iter().map(|f| f.sentence.as_str()).collect();
    assert_eq!(
        sentences,
        [
            "Rows that came after later ones: 1, put in order of time.",
            "Rows that repeat an earlier one, time and values alike: 1, left out.",
            "Rows that give other values for a time an earlier row gave: 1, left out.",
            "Missing rows: 2, in gaps: 1; the longest lasts 2 s.",
        ]
    );
}

#[test]
fn rows_from_late_to_early_are_turned_round() {
    let night = night(
        "time,SpO2 (%)
2024-11-05 22:30:04,94
2024-11-05 22:30:03,93
2024-11-05 22:30:02,92
2024-11-05 22:30:01,91
2024-11-05 22:30:00,90
",
    );
    assert_eq!(samples(&night, "spo2"), [90.0, 91.0, 92.0, 93.0, 94.0]);
    assert!(told(&night, "rows_reversed").starts_with("The rows run from the latest"));
}

#[test]
fn each_channel_has_its_own_period() {
    let row = |s: usize| match s % 4 {
        2 => format!("2024-11-05 22:30:{s:02},97,5.{:02}\n", s / 4),
        _ => format!("2024-11-05 22:30:{s:02},97,\n"),
    };
    let rows = (0..40).map(row).collect::<Vec<_>>().concat();
    let night = night(&format!("time,SpO2 (%),CO2 (kPa)\n{rows}"));
    let expected = [5.0, 5.01, 5.02, 5.03, 5.04, 5.05, 5.06, 5.07, 5.08, 5.09];
    assert_eq!(samples(&night, "tcpco2"), expected);
    let steps = [night.channels[1].time_s(0), night.channels[1].time_s(1)];
    assert_eq!(steps.map(|s| s.to_string()), ["2", "6"]);
    assert_eq!(night.channels[0].samples.len(), 40);
}

#[test]
fn words_become_marks() {
    let night = night(
        "time,SpO2 (%),Event
2024-11-05 22:30:00,97,
2024-11-05 22:30:01,97,Lights out
2024-11-05 22:30:02,97,Low battery alarm
2024-11-05 22:30:03,97,Low battery alarm
2024-11-05 22:30:04,97,called nurse
",
    );
    let marks: Vec<_> = night.marks.iter().map(|m| (m.kind, m.start_s, m.end_s)).collect();
    assert_eq!(
        marks,
        [
            (MarkKind::LightsOut, 1.0, None),
            (MarkKind::Alarm, 2.0, Some(4.0)),
            (MarkKind::Note, 4.0, None),
        ]
    );
}

#[test]
fn who_the_patient_is_stays_in_the_file() {
    let night = night(
        "Monitor:,M-0042\nPatient:,Rose Hazel\ntime,SpO2 (%),Patient ID,Ward score,Remark\n\
         2024-11-05 22:30:00,97,4711,3,x\n2024-11-05 22:30:01,96,4711,4,\n",
    );
    let shown = format!("{night:?}");
    assert!(!shown.contains("4711") && !shown.contains("Hazel"));
    assert_eq!(night.monitor.as_deref(), Some("M-0042"));
    assert_eq!(night.channels[1].id, "ward_score");
    assert_eq!(night.channels[1].quantity, Quantity::Other);
}

#[test]
fn rows_that_do_not_read_are_counted_and_the_first_is_named() {
    let night = night(
        "time,SpO2 (%)
2024-11-05 22:30:00,97
---- page 2 ----,
2024-11-05 22:30:02,95
2024-11-05 22:30:03,9x
2024-11-05 22:30:04,94
Mean,95.3
Lowest,94
",
    );
    let expected = "Rows not understood: 1, left out; the first is line 3: `---- page 2 ----` is not the time.";
    assert_eq!(told(&night, "rows_not_understood"), expected);
    let expected = "Lines after the last row that are no rows: 2, from line 7, left out.";
    assert_eq!(told(&night, "lines_after_rows"), expected);
    let expected = "Cells of SpO2 (%) that are no number: 1; the first is `9x` in line 5. They count as no \
                    reading.";
    assert_eq!(told(&night, "cells_not_understood"), expected);
}

#[test]
fn a_row_that_breaks_off_is_left_out() {
    let cut = &PLAIN[..PLAIN.len() - 8];
    let night = night(cut);
    assert_eq!(samples(&night, "spo2"), [97.0, 96.5]);
    assert!(told(&night, "file_cut_short").starts_with("The last row breaks off"));
}
