//! Properties of the text reader: any dialect gives back what was written, and nothing makes it panic.

use engine::read::ReadOptions;
use proptest::prelude::*;

use crate::text::{PLAIN, with};

/// One way of writing a table.
#[derive(Clone, Copy, Debug)]
struct Dialect {
    separator: char,
    comma: bool,
    date: usize,
    encoding: usize,
    line_end: &'static str,
    preamble: bool,
    long: bool,
}

fn dialects() -> impl Strategy<Value = Dialect> {
    let separators = prop::sample::select(vec![',', ';', '\t', '|']);
    let ends = prop::sample::select(vec!["\n", "\r\n"]);
    (separators, any::<bool>(), 0..6_usize, 0..5_usize, ends, any::<bool>(), any::<bool>())
        .prop_map(|(separator, comma, date, encoding, line_end, preamble, long)| Dialect {
            separator,
            comma,
            date,
            encoding,
            line_end,
            preamble,
            long,
        })
}

/// Tenths of a percent, beats, hundredths of a kilopascal.
type Row = (Option<i32>, Option<i32>, Option<i32>);

fn rows() -> impl Strategy<Value = Vec<Row>> {
    let some = |range| prop::option::weighted(0.9, range);
    let later = prop::collection::vec((some(500..1001), some(30..250), some(300..1200)), 2..40);
    later.prop_map(|mut rows| {
        // A first row without holes, so that every channel has a number and its start.
        rows.insert(0, (Some(971), Some(60), Some(593)));
        rows
    })
}

impl Dialect {
    /// 26 October 2024, 22:30 and so many seconds.
    fn time(self, s: usize) -> String {
        let (m, s) = (30 + s / 60, s % 60);
        match self.date {
            0 => format!("2024-10-26T22:{m}:{s:02}"),
            1 => format!("26/10/2024 22:{m}:{s:02}"),
            2 => format!("26.10.24 22:{m}:{s:02}"),
            3 => format!("10/26/2024 10:{m}:{s:02} PM"),
            4 => format!("26-Oct-2024 22:{m}:{s:02}"),
            _ => format!("20241026T22:{m}:{s:02}"),
        }
    }

    fn decimal(self, value: Option<i32>, places: usize) -> String {
        let Some(value) = value else { return String::new() };
        let text = format!(
            "{:.places$}",
            f64::from(value) / 10_f64.powi(i32::try_from(places).unwrap_or(0))
        );
        match (self.comma, self.separator) {
            (false, _) => text,
            (true, ',') => format!("\"{}\"", text.replace('.', ",")),
            (true, _) => text.replace('.', ","),
        }
    }

    fn write(self, rows: &[Row]) -> Vec<u8> {
        let mut lines = Vec::new();
        if self.preamble {
            lines.push("Schlaflabor Übungsklinik".to_owned());
            lines.push(String::new());
        }
        let join = |cells: &[&str]| cells.join(&self.separator.to_string());
        let (units, names) = (["%", "/min", "kPa"], ["SpO2", "Pulse", "tcPCO2"]);
        lines.push(if self.long {
            join(&["Time", "Channel", "Value", "Unit"])
        } else {
            join(&["Time", "SpO2 (%)", "Pulse (/min)", "tcPCO2 (kPa)"])
        });
        for (s, row) in rows.iter().enumerate() {
            let time = self.time(s);
            let cells = [self.decimal(row.0, 1), self.decimal(row.1, 0), self.decimal(row.2, 2)];
            if self.long {
                let line = |i: usize| join(&[&time, names[i], &cells[i], units[i]]);
                lines.extend((0..3).map(line));
            } else {
                lines.push(join(&[&time, &cells[0], &cells[1], &cells[2]]));
            }
        }
        lines.push(String::new());
        self.encode(&lines.join(self.line_end))
    }

    fn encode(self, text: &str) -> Vec<u8> {
        let wide = |big: bool| -> Vec<u8> {
            let bytes = |unit: u16| if big { unit.to_be_bytes() } else { unit.to_le_bytes() };
            text.encode_utf16().flat_map(bytes).collect()
        };
        match self.encoding {
            0 => text.as_bytes().to_vec(),
            1 => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
            2 => [b"\xff\xfe".to_vec(), wide(false)].concat(),
            3 => wide(true),
            _ => text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect(),
        }
    }
}

/// What a channel should hold: the numbers, missing ones as `None`.
fn held(night: &engine::recording::Recording, id: &str) -> Vec<Option<f64>> {
    let channel = night.channels.iter().find(|channel| channel.id == id);
    let samples = channel.map_or(&[][..], |channel| &channel.samples);
    samples.iter().map(|v| Some(*v).filter(|v| !v.is_nan())).collect()
}

fn scaled(values: impl Iterator<Item = Option<i32>>, by: f64) -> Vec<Option<f64>> {
    values.map(|value| value.map(|v| f64::from(v) / by)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_dialect_gives_back_what_was_written(dialect in dialects(), rows in rows()) {
        let bytes = dialect.write(&rows);
        let night = match with(&bytes, &ReadOptions::default()) {
            Ok(night) => night,
            Err(error) => return Err(TestCaseError::fail(format!("{error}"))),
        };
        prop_assert_eq!(night.clock.start().to_string(), "2024-10-26T22:30:00");
        prop_assert_eq!(held(&night, "spo2"), scaled(rows.iter().map(|r| r.0), 10.0));
        prop_assert_eq!(held(&night, "pulse"), scaled(rows.iter().map(|r| r.1), 1.0));
        prop_assert_eq!(held(&night, "tcpco2"), scaled(rows.iter().map(|r| r.2), 100.0));
    }

    #[test]
    fn arbitrary_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 1..400)) {
        let _ = with(&bytes, &ReadOptions::default());
    }

    #[test]
    fn text_of_likely_pieces_never_panics(pieces in prop::collection::vec(pieces(), 1..60)) {
        let _ = with(pieces.concat().as_bytes(), &ReadOptions::default());
        let zone = engine::time::zone_named("Europe/London");
        let _ = with(pieces.concat().as_bytes(), &ReadOptions { zone, map: None });
    }

    #[test]
    fn a_damaged_table_never_panics(
        dialect in dialects(),
        rows in rows(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut bytes = dialect.write(&rows);
        for (place, byte) in damage {
            let at = place.index(bytes.len());
            bytes[at] = byte;
        }
        let _ = with(&bytes, &ReadOptions::default());
        let at = cut.index(bytes.len());
        let _ = with(&bytes[..at], &ReadOptions::default());
        let _ = engine::read::map::propose(&bytes);
        let _ = engine::notes::NotesFile::parse(&String::from_utf8_lossy(&bytes));
    }
}

fn pieces() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![
        PLAIN,
        "time",
        "SpO2 (%)",
        "tcPCO2",
        "date",
        "elapsed",
        "channel",
        "value",
        "unit",
        ",",
        ";",
        "\t",
        "\n",
        "\n",
        ",",
        ",",
        "\"",
        "2024-10-27 01:59:59",
        "2024-10-27 01:00:00",
        "23:59:59",
        "00:00:00",
        "9999-12-31 23:59:59",
        "0001-01-01 00:00:00",
        "03/04/24 10:00 PM",
        "1729978200",
        "-99999999999999",
        "1e300",
        "97",
        "5,9",
        "-",
        "--",
        "NaN",
        "255",
        "kPa",
        "mmHg",
        "sep=;",
        "2024-03-31T01:30:00",
        "2024-10-27T01:30:00+01:00",
        "event",
        "Lights out",
        "é",
    ])
}
