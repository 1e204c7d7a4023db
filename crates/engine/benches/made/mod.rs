//! The night that is measured: ten hours, one sample a second, three channels, as delimited text.

use std::fmt::Write as _;

/// Ten hours.
const SECONDS: u32 = 36_000;

/// Falls of saturation every four minutes, CO2 rising by half a kilopascal, a visit to the toilet with
/// the sensor off, another with it slipped.
pub(crate) fn text() -> String {
    let mut text = String::from("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n");
    for second in 0..SECONDS {
        let (hour, minute) = ((21 + second / 3600) % 24, second / 60 % 60);
        let day = if second < 3 * 3600 { 12 } else { 13 };
        let _ = write!(text, "2026-01-{day}T{hour:02}:{minute:02}:{:02},", second % 60);
        let _ = match second {
            12_000..12_420 => writeln!(text, ",,{:.2}", 0.3 + f64::from(12_420 - second) / 400.0),
            25_000..25_300 => writeln!(text, ",,"),
            _ => writeln!(text, "{},{},{:.2}", spo2(second), pulse(second), co2(second)),
        };
    }
    text
}

fn spo2(second: u32) -> u32 {
    match second % 240 {
        in_fall @ 100..140 => 96 - (in_fall - 100) / 6,
        in_rise @ 140..158 => 90 + (in_rise - 140) / 3,
        other => 96 - other % 37 / 30,
    }
}

fn pulse(second: u32) -> u32 {
    58 + second % 13 / 4 + if second % 240 > 140 && second % 240 < 160 { 9 } else { 0 }
}

/// Settles from above after each fitting, then rises slowly.
fn co2(second: u32) -> f64 {
    let fitted = match second {
        0..12_420 => 0,
        12_420..25_300 => 12_420,
        _ => 25_300,
    };
    let since = f64::from(second - fitted);
    5.4 + f64::from(second) / 72_000.0 + 1.5 / (1.0 + since / 120.0) + f64::from(second % 7) * 0.01
}
