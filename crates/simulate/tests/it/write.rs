//! Recordings written out and read back.

use engine::read::{Input, ReadOptions, edf, read};
use engine::recording::{Author, Channel, Format, Mark, MarkKind, Quantity, Recording};
use engine::time::{Clock, zone_named};
use engine::unit::Unit;
use jiff::civil::datetime;
use proptest::prelude::*;
use simulate::write::{EdfOptions, edf as write_edf, text};

use crate::reader_contract::read_held;

const GAP: f64 = f64::NAN;

fn channel(quantity: Quantity, period_s: f64, samples: &[f64]) -> Channel {
    let (label, unit) = match quantity {
        Quantity::Spo2 => ("SpO2", Unit::Percent),
        Quantity::Pulse => ("Pulse", Unit::PerMinute),
        Quantity::Tcpco2 => ("tcPCO2", Unit::Kilopascal),
        _ => ("Snore", Unit::Other("mV".into())),
    };
    let id = if quantity == Quantity::Other { "snore" } else { quantity.id() };
    Channel {
        id: id.into(),
        quantity,
        file_unit: unit.symbol().into(),
        unit,
        file_label: label.into(),
        period_s,
        offset_s: 0.0,
        samples: samples.into(),
    }
}

fn mark(kind: MarkKind, start_s: f64, end_s: Option<f64>, text: &str) -> Mark {
    Mark { kind, start_s, end_s, text: text.into(), author: Author::File }
}

fn night(channels: Vec<Channel>, marks: Vec<Mark>) -> Recording {
    let ends = channels.iter().map(|channel| channel.time_s(channel.samples.len()));
    Recording {
        format: Format::Made,
        clock: Clock::civil(datetime(2026, 1, 10, 22, 30, 0, 0)),
        duration_s: ends.fold(0.0, f64::max),
        channels,
        marks,
        monitor: None,
        findings: Vec::new(),
        input_sha256: String::new(),
    }
}

fn three() -> Recording {
    night(
        vec![
            channel(Quantity::Spo2, 1.0, &[97.0, 96.4, GAP, GAP]),
            channel(Quantity::Pulse, 2.0, &[62.5, GAP]),
            channel(Quantity::Tcpco2, 4.0, &[5.437]),
        ],
        vec![
            mark(MarkKind::LightsOut, 1.0, None, ""),
            mark(MarkKind::Oxygen, 2.5, Some(3.5), "2 L/min"),
        ],
    )
}

fn back(bytes: &[u8]) -> Recording {
    let input = Input { name: "out.edf", bytes, companions: &[] };
    read_held(input, &ReadOptions::default()).expect("what was written reads")
}

fn same(found: &[f64], expected: &[f64], step: f64) -> bool {
    let near = |f: f64, e: f64| (f - e).abs() <= step / 2.0 + 1e-9 || (f.is_nan() && e.is_nan());
    found.len() == expected.len() && found.iter().zip(expected).all(|(f, e)| near(*f, *e))
}

#[test]
fn text_has_the_plain_header_and_one_row_a_sample() {
    let expected = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n\
                    2026-01-10T22:30:00,97,62.5,5.437\n\
                    2026-01-10T22:30:01,96.4,62.5,5.437\n\
                    2026-01-10T22:30:02,,,5.437\n\
                    2026-01-10T22:30:03,,,5.437\n";
    assert_eq!(text(&three()), expected);
}

#[test]
fn text_keeps_other_channels_of_the_same_period() {
    let spo2 = channel(Quantity::Spo2, 1.0, &[97.0]);
    let same = channel(Quantity::Other, 1.0, &[0.5]);
    let faster = Channel { id: "pleth".into(), ..channel(Quantity::Other, 0.5, &[1.0, 2.0]) };
    let expected = "time,SpO2 (%),Snore (mV)\n2026-01-10T22:30:00,97,0.5\n";
    assert_eq!(text(&night(vec![spo2, same, faster], Vec::new())), expected);
}

#[test]
fn text_over_a_clock_change_tells_the_offset() {
    let mut recording = night(vec![channel(Quantity::Spo2, 3600.0, &[97.0, 96.0])], Vec::new());
    let zone = zone_named("Europe/London").unwrap();
    recording.clock = Clock::in_zone(datetime(2024, 10, 27, 0, 30, 0, 0), zone).unwrap();
    let written = text(&recording);
    let times: Vec<&str> = written.lines().map(|line| line.split(',').next().unwrap()).collect();
    assert_eq!(times[1..], ["2024-10-27T00:30:00+01:00", "2024-10-27T01:30:00+01:00"]);
}

#[test]
fn text_reads_back_without_a_map() {
    let before = three();
    let written = text(&before);
    let input = Input { name: "out.csv", bytes: written.as_bytes(), companions: &[] };
    let after = read_held(input, &ReadOptions::default()).unwrap();
    assert_eq!(after.clock, before.clock);
    let held: Vec<&[f64]> = after.channels.iter().map(|c| &*c.samples).collect();
    assert!(same(held[0], &[97.0, 96.4, GAP, GAP], 0.0));
    assert!(same(held[1], &[62.5, 62.5, GAP, GAP], 0.0));
    assert!(same(held[2], &[5.437; 4], 0.0));
}

#[test]
fn edf_reads_back_with_its_gaps_and_marks() {
    let before = three();
    let bytes = write_edf(&before, EdfOptions::default());
    let after = back(&bytes);
    assert_eq!(after.format, Format::EdfPlusC);
    for (found, expected) in after.channels.iter().zip(&before.channels) {
        assert_eq!(found.id, expected.id);
        assert!(same(&found.samples, &expected.samples, 1e-3), "{:?}", found.samples);
    }
    assert_eq!((after.marks, after.clock), (before.marks, before.clock));
    let file = edf::parse(&bytes).unwrap();
    let labels: Vec<&str> = file.signals.iter().map(|s| s.header.label.as_str()).collect();
    assert_eq!(labels, ["SaO2", "Pulse", "TcCO2", "EDF Annotations"]);
    let texts: Vec<_> =
        file.annotations.iter().map(|n| (n.onset_s, n.duration_s, n.text.as_str())).collect();
    let expected = [
        (1.0, None, "Lights off"),
        (2.0, Some(2.0), "Not valid: SaO2"),
        (2.0, Some(2.0), "Not valid: Pulse"),
        (2.5, Some(1.0), "Oxygen: 2 L/min"),
    ];
    assert_eq!(texts, expected);
}

/// EDF+ 2.1.3 and 2.1.1: identification, dates, sizes and kinds as the specification asks.
#[test]
fn the_header_says_who_when_and_what_without_a_name() {
    let bytes = write_edf(&three(), EdfOptions::default());
    let field =
        |at: usize, width: usize| std::str::from_utf8(&bytes[at..at + width]).unwrap().trim_end();
    assert_eq!(field(8, 80), "X X X X");
    assert_eq!(field(88, 80), "Startdate 10-JAN-2026 X X X");
    assert_eq!((field(168, 8), field(176, 8)), ("10.01.26", "22.30.00"));
    assert_eq!((field(184, 8), field(192, 44)), ("1280", "EDF+C"));
    assert_eq!((field(236, 8), field(244, 8), field(252, 4)), ("1", "4", "4"));
}

#[test]
fn a_date_not_known_stays_unknown() {
    let mut before = three();
    before.clock = Clock::time_only(jiff::civil::time(22, 30, 0, 0));
    let after = back(&write_edf(&before, EdfOptions::default()));
    assert_eq!(after.clock, before.clock);
}

#[test]
fn a_long_gap_may_be_left_out_and_reads_back_as_a_gap() {
    let mut samples = vec![97.0; 600];
    samples[120..540].fill(GAP);
    let before = night(vec![channel(Quantity::Spo2, 1.0, &samples)], Vec::new());
    let whole = write_edf(&before, EdfOptions::default());
    let cut = write_edf(&before, EdfOptions { interrupted: true });
    assert!(cut.len() < whole.len() / 2 + 768);
    let after = back(&cut);
    assert_eq!(after.format, Format::EdfPlusD);
    assert!(same(&after.channels[0].samples, &samples, 0.01));
    assert_eq!(edf::parse(&cut).unwrap().record_starts_s, [0.0, 60.0, 540.0]);
}

#[test]
fn a_crowd_of_marks_fits() {
    let marks: Vec<Mark> =
        (0..500).map(|i| mark(MarkKind::Note, f64::from(i) / 100.0, None, "turned over")).collect();
    let before = night(vec![channel(Quantity::Spo2, 1.0, &[97.0; 3600])], marks);
    let after = back(&write_edf(&before, EdfOptions::default()));
    assert_eq!(after.marks, before.marks);
}

#[test]
fn values_out_of_the_usual_range_are_kept_coarser_and_not_cut() {
    let samples = [1200.0, -50.0, GAP, 97.0];
    let before = night(vec![channel(Quantity::Spo2, 1.0, &samples)], Vec::new());
    let after = back(&write_edf(&before, EdfOptions::default()));
    assert!(same(&after.channels[0].samples, &samples, 0.1), "{:?}", after.channels[0].samples);
}

#[test]
fn a_fast_channel_beside_a_slow_one_loses_no_sample() {
    let fast: Vec<f64> = (0..120_000).map(|i| f64::from(i % 1000) / 10.0).collect();
    let before = night(
        vec![channel(Quantity::Tcpco2, 60.0, &[5.4, 5.5]), channel(Quantity::Other, 0.001, &fast)],
        Vec::new(),
    );
    let bytes = write_edf(&before, EdfOptions::default());
    let after = back(&bytes);
    assert!(same(&after.channels[1].samples, &fast, 0.01));
    assert!(same(&after.channels[0].samples[..6], &[5.4, 5.4, 5.4, 5.4, 5.5, 5.5], 0.001));
    assert!(!after.findings.iter().any(|finding| finding.code == "edf_record_large"));
}

fn sample(low: i32, high: i32, step: f64) -> impl Strategy<Value = f64> {
    prop_oneof![8 => (low..high).prop_map(move |n| f64::from(n) * step), 1 => Just(GAP)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Samples come back to half a step, missing ones as missing, marks and clock as they were.
    #[test]
    fn whatever_is_written_reads_back(
        spo2 in prop::collection::vec(sample(400, 1001, 0.1), 240),
        pulse in prop::collection::vec(sample(30, 200, 1.0), 120),
        co2 in prop::collection::vec(sample(200, 1200, 0.01), 60),
        snore in prop::collection::vec(sample(-9999, 9999, 0.013), 240),
        at in prop::collection::vec((0_u32..2400, 0_usize..12, "[a-z ]{0,30}"), 0..20),
        millisecond in 0_i32..1000,
        interrupted: bool,
    ) {
        let mut marks: Vec<Mark> = at
            .iter()
            .map(|(tenth, kind, words)| {
                let text = if MarkKind::ALL[*kind] == MarkKind::Note { format!("x{words}") } else { words.clone() };
                mark(MarkKind::ALL[*kind], f64::from(*tenth) / 10.0, None, text.trim())
            })
            .collect();
        marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        let mut before = night(
            vec![
                channel(Quantity::Spo2, 1.0, &spo2),
                channel(Quantity::Pulse, 2.0, &pulse),
                channel(Quantity::Tcpco2, 4.0, &co2),
                channel(Quantity::Other, 1.0, &snore),
            ],
            marks,
        );
        before.clock = Clock::civil(datetime(2026, 1, 10, 22, 30, 0, millisecond * 1_000_000));
        let after = back(&write_edf(&before, EdfOptions { interrupted }));
        for (found, expected) in after.channels.iter().zip(&before.channels) {
            prop_assert_eq!(&found.id, &expected.id);
            prop_assert!(same(&found.samples, &expected.samples, 0.01), "{}", found.id);
        }
        prop_assert_eq!(&after.clock, &before.clock);
        let moments = |marks: &[Mark]| marks.iter().map(|m| (m.start_s * 1e4).round()).collect::<Vec<_>>();
        prop_assert_eq!(moments(&after.marks), moments(&before.marks));
        // Marks of one moment have no order of their own: a full record passes the longer ones on.
        let words = |marks: &[Mark]| {
            let mut words: Vec<_> = marks
                .iter()
                .map(|m| ((m.start_s * 1e4).round().to_bits(), m.kind, m.text.clone()))
                .collect();
            words.sort();
            words
        };
        prop_assert_eq!(words(&after.marks), words(&before.marks));
    }
}

#[test]
fn the_same_recording_gives_the_same_bytes() {
    let (one, two) =
        (write_edf(&three(), EdfOptions::default()), write_edf(&three(), EdfOptions::default()));
    assert_eq!(one, two);
    let input = Input { name: "out.edf", bytes: &one, companions: &[] };
    assert!(read(input, &ReadOptions::default()).is_ok());
}
