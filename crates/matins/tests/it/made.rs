//! Small files made for the tests, readable on one screen.

use std::fmt::Write as _;

/// Five hours of a quiet night, one row every four seconds; CO2 in kPa.
pub(crate) fn quiet_night() -> String {
    let mut text = String::from("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n");
    for row in 0..4500 {
        let spo2 = 96 - row / 300 % 2;
        let pulse = 60 + row % 5;
        let co2_hundredths = 560 + row / 30 % 20;
        let _ = writeln!(text, "{},{spo2},{pulse},5.{:02}", stamp(row * 4), co2_hundredths - 500);
    }
    text
}

/// A text with this header and the same cells in every row, one row a second for `rows` seconds.
pub(crate) fn rows(header: &str, cells: &str, rows: usize) -> String {
    let body: Vec<String> = (0..rows).map(|row| format!("{},{cells}", stamp(row))).collect();
    format!("{header}\n{}\n", body.join("\n"))
}

fn stamp(second: usize) -> String {
    let (hour, minute) = (22 + second / 3600, second / 60 % 60);
    let (day, hour) = (13 + hour / 24, hour % 24);
    format!("2026-01-{day}T{hour:02}:{minute:02}:{:02}", second % 60)
}

/// An EDF header of one SpO2 signal that claims `records` records of one second with `samples` samples,
/// `header_bytes` bytes of header and `signals` signals.
pub(crate) fn edf_header(
    records: &str,
    samples: &str,
    header_bytes: &str,
    signals: &str,
) -> Vec<u8> {
    let fields: [(&str, usize); 20] = [
        ("0", 8),
        ("X X X X", 80),
        ("Startdate 13-JAN-2026 X X X", 80),
        ("13.01.26", 8),
        ("22.00.00", 8),
        (header_bytes, 8),
        ("", 44),
        (records, 8),
        ("1", 8),
        (signals, 4),
        ("SpO2", 16),
        ("", 80),
        ("%", 8),
        ("0", 8),
        ("100", 8),
        ("0", 8),
        ("1000", 8),
        ("", 80),
        (samples, 8),
        ("", 32),
    ];
    fields.iter().flat_map(|(text, width)| format!("{text:<width$}").into_bytes()).collect()
}

/// An EDF file of `seconds` samples of 96 %.
pub(crate) fn edf(seconds: usize) -> Vec<u8> {
    let mut bytes = edf_header(&seconds.to_string(), "1", "512", "1");
    bytes.extend(960_u16.to_le_bytes().repeat(seconds));
    bytes
}
