//! EDF, EDF+ and BDF: vectors, rules, damaged files.
//!
//! `contiguous.edf` and `interrupted.edf` were written by the general library `edfio` 0.4.18.

use engine::read::edf::{EdfFile, parse};
use engine::read::map::ColumnMap;
use engine::read::{Input, ReadError, ReadErrorKind, ReadOptions};
use engine::recording::{Format, MarkKind, Quantity, Recording};

use crate::reader_contract::read_held;

pub(crate) const CONTIGUOUS: &[u8] = include_bytes!("../data/contiguous.edf");
pub(crate) const INTERRUPTED: &[u8] = include_bytes!("../data/interrupted.edf");

/// Label, dimension, physical and digital ends, samples in a record.
pub(crate) type Signal<'a> = (&'a str, &'a str, [&'a str; 4], usize);

pub(crate) const SAO2: Signal<'static> = ("SaO2", "%", ["0", "100", "0", "1000"], 2);
pub(crate) const NOTES: Signal<'static> =
    ("EDF Annotations", "", ["-1", "1", "-32768", "32767"], 30);

/// Latin-1 text, padded with spaces to a field's width.
fn put(out: &mut Vec<u8>, text: &str, width: usize) {
    let padded = text.chars().chain(std::iter::repeat(' ')).take(width);
    out.extend(padded.map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')));
}

/// A header and data, byte for byte as given.
pub(crate) fn file(
    kind: &str,
    records: i64,
    seconds: &str,
    signals: &[Signal<'_>],
    data: &[u8],
) -> Vec<u8> {
    let mut out = Vec::new();
    put(&mut out, if kind.starts_with("BDF") { "\u{ff}BIOSEMI" } else { "0" }, 8);
    put(&mut out, "X X X X", 80);
    put(&mut out, "Startdate 10-JAN-2026 X X Monitor_7", 80);
    put(&mut out, "10.01.26", 8);
    put(&mut out, "22.30.00", 8);
    put(&mut out, &(256 * (signals.len() + 1)).to_string(), 8);
    put(&mut out, kind, 44);
    put(&mut out, &records.to_string(), 8);
    put(&mut out, seconds, 8);
    put(&mut out, &signals.len().to_string(), 4);
    let mut column = |text: &dyn Fn(&Signal<'_>) -> String, width: usize| {
        for signal in signals {
            put(&mut out, &text(signal), width);
        }
    };
    column(&|signal| signal.0.to_owned(), 16);
    column(&|_| String::new(), 80);
    column(&|signal| signal.1.to_owned(), 8);
    for end in 0..4 {
        column(&|signal| signal.2[end].to_owned(), 8);
    }
    column(&|_| String::new(), 80);
    column(&|signal| signal.3.to_string(), 8);
    column(&|_| String::new(), 32);
    out.extend(data);
    out
}

/// 16-bit samples as bytes.
pub(crate) fn words(samples: &[i16]) -> Vec<u8> {
    samples.iter().flat_map(|sample| sample.to_le_bytes()).collect()
}

/// Annotation bytes filled up to 60.
pub(crate) fn notes(text: &str) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    assert!(bytes.len() <= 60, "too long for the record");
    bytes.resize(60, 0);
    bytes
}

fn read(bytes: &[u8]) -> Result<Recording, ReadError> {
    read_held(Input { name: "night.edf", bytes, companions: &[] }, &ReadOptions::default())
}

fn samples(recording: &Recording, quantity: Quantity) -> &[f64] {
    &recording.channel(quantity).expect("the channel is there").samples
}

fn refusal(bytes: &[u8]) -> String {
    read(bytes).expect_err("the file is refused").to_string()
}

fn codes(recording: &Recording) -> Vec<&'static str> {
    recording.findings.iter().map(|finding| finding.code).collect()
}

/// Replaces the bytes at a place of the header.
fn with(mut bytes: Vec<u8>, at: usize, text: &str) -> Vec<u8> {
    bytes[at..at + text.len()].copy_from_slice(text.as_bytes());
    bytes
}

fn plain() -> Vec<u8> {
    file("", 2, "2", &[SAO2], &words(&[970, 960, 885, 900]))
}

fn close(found: &[f64], expected: &[f64]) -> bool {
    found.len() == expected.len()
        && found
            .iter()
            .zip(expected)
            .all(|(f, e)| (f - e).abs() < 1e-9 || (f.is_nan() && e.is_nan()))
}

#[test]
fn a_contiguous_file_is_read_as_the_general_library_wrote_it() {
    let file = parse(CONTIGUOUS).unwrap();
    let physical: Vec<f64> = file.signals[0].physical().take(4).collect();
    assert!(close(&physical, &[97.0, 96.0, 88.5, 0.0]));
    assert_eq!(file.signals[0].digital.len(), 60);
    assert_eq!(file.signals[0].digital[..3], [970, 960, 885]);
    let annotations: Vec<_> =
        file.annotations.iter().map(|n| (n.onset_s, n.duration_s, n.text.as_str())).collect();
    assert_eq!(annotations, [(30.0, None, "Lights off"), (40.5, Some(12.0), "Probe off")]);

    let night = read(CONTIGUOUS).unwrap();
    assert_eq!(night.format, Format::EdfPlusC);
    assert!(close(&samples(&night, Quantity::Spo2)[..4], &[97.0, 96.0, 88.5, f64::NAN]));
    assert!(close(&samples(&night, Quantity::Tcpco2)[..4], &[5.5, 5.6, 5.7, 6.25]));
    assert_eq!(night.marks[0].kind, MarkKind::LightsOut);
    assert_eq!((night.marks[1].kind, night.marks[1].end_s), (MarkKind::Note, Some(52.5)));
    let told = "15 of 60 samples of SpO2 hold 0 or the bottom of their range: read as missing.";
    assert_eq!(night.findings[0].sentence, told);
}

#[test]
fn the_gap_of_an_interrupted_file_stays_a_gap() {
    let night = read(INTERRUPTED).unwrap();
    let spo2 = samples(&night, Quantity::Spo2);
    assert_eq!(night.format, Format::EdfPlusD);
    assert!((night.duration_s - 602.0).abs() < 1e-9);
    assert_eq!(spo2.len(), 602);
    assert_eq!(spo2.iter().filter(|sample| sample.is_nan()).count(), 598);
    assert!(close(&[spo2[0], spo2[1], spo2[600], spo2[601]], &[97.0, 96.5, 88.0, 88.5]));
    assert_eq!(codes(&night), ["edf_gaps"]);
    assert_eq!(night.clock.start().to_string(), "2024-10-27T00:30:00");
}

#[test]
fn plain_edf_is_read() {
    let night = read(&plain()).unwrap();
    assert_eq!(
        (night.format, night.clock.start().to_string()),
        (Format::Edf, "2026-01-10T22:30:00".into())
    );
    assert!(close(samples(&night, Quantity::Spo2), &[97.0, 96.0, 88.5, 90.0]));
    assert!((night.duration_s - 4.0).abs() < 1e-12);
    assert_eq!((night.monitor, night.findings.len()), (None, 0));
}

#[test]
fn bdf_holds_24_bits_and_annotations() {
    let wide = ("SaO2", "%", ["-838.861", "838.861", "-8388608", "8388607"], 2);
    let note = ("BDF Annotations", "", ["-1", "1", "-8388608", "8388607"], 14);
    let mut data = Vec::new();
    for digital in [970_000_i32, -1] {
        data.extend(&digital.to_le_bytes()[..3]);
    }
    let mut text = b"+0\x14\x14\0+1\x14Lights on\x14\0".to_vec();
    text.resize(42, 0);
    data.extend(text);
    let bytes = file("BDF+C", 1, "2", &[wide, note], &data);
    let file = parse(&bytes).unwrap();
    assert_eq!(file.signals[0].digital, [970_000, -1]);
    let night = read(&bytes).unwrap();
    assert_eq!((night.format, night.marks[0].kind), (Format::BdfPlusC, MarkKind::LightsOn));
    assert_eq!(night.monitor.as_deref(), Some("Monitor 7"));
}

#[test]
fn signals_keep_their_own_rates() {
    let slow = ("TcCO2", "mmHg", ["0", "100", "0", "1000"], 1);
    let pleth = ("Pleth", "", ["-1", "1", "-100", "100"], 7);
    let data = words(&[970, 960, 400, 1, 2, 3, 4, 5, 6, 7]);
    let night = read(&file("", 1, "3", &[SAO2, slow, pleth], &data)).unwrap();
    let periods: Vec<f64> = night.channels.iter().map(|channel| channel.period_s).collect();
    assert!(close(&periods, &[1.5, 3.0, 3.0 / 7.0]));
    // 40 mmHg by the conventional millimetre of mercury, 0.133322387415 kPa.
    assert!(close(samples(&night, Quantity::Tcpco2), &[5.332_895_496_6]));
}

#[test]
fn a_fraction_of_the_starting_second_moves_the_clock_and_no_sample() {
    let data = [words(&[970, 960]), notes("+0.25\x14\x14\0+1.25\x14Lights off\x14\0")].concat();
    let night = read(&file("EDF+C", 1, "2", &[SAO2, NOTES], &data)).unwrap();
    assert_eq!(night.clock.start().to_string(), "2026-01-10T22:30:00.25");
    assert!((night.marks[0].start_s - 1.0).abs() < 1e-12);
}

#[test]
fn sleep_stages_and_free_texts_become_marks() {
    let text = "+0\x14\x14\0+0\x14Sleep stage W\x14\0+1\x14Sleep stage R\x14x\x14\0";
    let data = [words(&[970, 960]), notes(text)].concat();
    let night = read(&file("EDF+C", 1, "2", &[SAO2, NOTES], &data)).unwrap();
    let kinds: Vec<MarkKind> = night.marks.iter().map(|mark| mark.kind).collect();
    assert_eq!(kinds, [MarkKind::Awake, MarkKind::Asleep, MarkKind::Note]);
}

#[test]
fn records_of_no_length_keep_the_time_of_their_single_sample() {
    let one = ("SaO2", "%", ["0", "100", "0", "1000"], 1);
    let record =
        |value: i16, at: u32| [words(&[value]), notes(&format!("+{at}\x14\x14\0"))].concat();
    let data = [record(970, 0), record(960, 10), record(950, 30)].concat();
    let night = read(&file("EDF+D", 3, "0", &[one, NOTES], &data)).unwrap();
    assert!(close(samples(&night, Quantity::Spo2), &[97.0, 96.0, f64::NAN, 95.0]));
}

#[test]
fn annotations_alone_are_understood_and_make_no_night() {
    let bytes = file("EDF+C", 1, "0", &[NOTES], &notes("+0\x14\x14\0+5\x14Lights off\x14\0"));
    assert_eq!(parse(&bytes).unwrap().annotations.len(), 1);
    let expected =
        "the file holds annotations only: expected at least one signal with samples, found none";
    assert_eq!(refusal(&bytes), expected);
}

#[test]
fn a_signal_without_samples_is_told() {
    let empty = ("Flow", "L/min", ["0", "100", "0", "1000"], 0);
    let night = read(&file("", 1, "2", &[SAO2, empty], &words(&[970, 960]))).unwrap();
    assert_eq!(night.findings[0].sentence, "The signal Flow has no samples and was left out.");
}

#[test]
fn every_broken_field_is_refused_by_name_and_place() {
    for (at, text, expected) in [
        (168, "10,01,26", "startdate: expected dd.mm.yy, found `10,01,26` (byte 168)"),
        (176, "25.00.00", "starttime: expected hh.mm.ss, found `25.00.00` (byte 176)"),
        (
            184,
            "768 ",
            "number of bytes in the header: expected 512, which is 256 for each of 1 signals and 256 more, found `768     ` (byte 184)",
        ),
        (
            236,
            "-2",
            "number of data records: expected at least one data record, or -1 while recording, found `-2      ` (byte 236)",
        ),
        (
            236,
            "0 ",
            "number of data records: expected at least one data record, or -1 while recording, found `0       ` (byte 236)",
        ),
        (
            244,
            "2,5",
            "duration of a data record: expected a number with a decimal point, not a comma, found `2,5     ` (byte 244)",
        ),
        (
            244,
            "inf",
            "duration of a data record: expected a number within 1e15, found `inf     ` (byte 244)",
        ),
        (
            244,
            "0",
            "duration of a data record: expected more than 0 s for 2 samples of SaO2, found 0 (byte 244)",
        ),
        (252, "0", "number of signals: expected at least one signal, found `0   ` (byte 252)"),
        (252, "many", "number of signals: expected a number, found `many` (byte 252)"),
        (252, "9999", "too many signals: expected at most 512, found 9999"),
        (
            252,
            "12",
            "number of bytes in the header: expected 3328, which is 256 for each of 12 signals and 256 more, found `512     ` (byte 184)",
        ),
        (
            360,
            "100",
            "physical maximum of signal 1: expected a number other than the physical minimum 100, found `100     ` (byte 368)",
        ),
        (
            384,
            "0   ",
            "digital maximum of signal 1: expected more than the digital minimum 0, found `0       ` (byte 384)",
        ),
        (
            472,
            "x",
            "samples in a data record of signal 1: expected a number, found `x       ` (byte 472)",
        ),
        (
            472,
            "\u{7}",
            "samples in a data record of signal 1: expected a number in plain ASCII, found `\\x07       ` (byte 472)",
        ),
        (472, "0", "the data records are empty: no signal has a sample (byte 472)"),
    ] {
        assert_eq!(refusal(&with(plain(), at, text)), expected);
    }
}

#[test]
fn a_header_cut_short_is_refused_where_it_ends() {
    let expected = "the header ends inside the startdate: expected 8 bytes, found 2 (byte 168)";
    assert_eq!(refusal(&plain()[..170]), expected);
    let expected = "the first data record is cut short: expected 4 bytes, found 3 (byte 512)";
    assert_eq!(refusal(&plain()[..515]), expected);
}

/// The header claims 10 GB: 99 999 999 records of 100 bytes. Only the bytes that are there count.
#[test]
fn a_lying_header_allocates_nothing_and_is_told() {
    let long = ("SaO2", "%", ["0", "100", "0", "1000"], 50);
    let night = read(&file("", 99_999_999, "50", &[long], &words(&[970; 70]))).unwrap();
    assert_eq!(samples(&night, Quantity::Spo2).len(), 50);
    let told: Vec<&str> = night.findings.iter().map(|f| f.sentence.as_str()).collect();
    assert_eq!(
        told,
        [
            "The header promises 99999999 data records and the file holds 1. The rest of the night is missing.",
            "40 bytes after the last whole data record that was read were left aside.",
        ]
    );
}

#[test]
fn a_file_never_closed_is_counted() {
    let night = read(&file("", -1, "2", &[SAO2], &words(&[970, 960, 885, 900]))).unwrap();
    assert_eq!(samples(&night, Quantity::Spo2).len(), 4);
    assert_eq!(codes(&night), ["edf_not_closed"]);
}

#[test]
fn letters_outside_ascii_in_names_are_told_and_in_numbers_refused() {
    let night = read(&{
        let mut bytes = plain();
        bytes[20] = 0xe9;
        bytes
    })
    .unwrap();
    assert_eq!(codes(&night), ["edf_header_letters"]);
    let debug = format!("{:?}", night.channels);
    assert!(!debug.contains('é'));
}

#[test]
fn two_dates_that_differ_are_told() {
    let night =
        read(&with(file("EDF+C", 2, "2", &[SAO2], &words(&[970; 4])), 168, "11.01.26")).unwrap();
    assert_eq!(codes(&night), ["edf_start_contradicts", "edf_no_annotation_signal"]);
    assert_eq!(night.clock.start().to_string(), "2026-01-11T22:30:00");
}

#[test]
fn the_clip_year_is_1985() {
    for (text, year) in
        [("01.02.85", 1985), ("01.02.99", 1999), ("01.02.00", 2000), ("01.02.84", 2084)]
    {
        let night = read(&with(plain(), 168, text)).unwrap();
        assert_eq!(night.clock.start().year(), year);
    }
    let late =
        with(with(file("EDF+C", 2, "2", &[SAO2], &words(&[970; 4])), 168, "10.01.yy"), 105, "2126");
    assert_eq!(read(&late).unwrap().clock.start().year(), 2126);
}

#[test]
fn a_date_that_is_hidden_is_unknown() {
    let hidden = with(
        with(file("EDF+C", 2, "2", &[SAO2], &words(&[970; 4])), 168, "01.01.85"),
        98,
        "X          ",
    );
    let night = read(&hidden).unwrap();
    assert!(!night.clock.date_known());
    assert_eq!(night.clock.label(0.0, true), "22:30:00");
}

#[test]
fn an_interrupted_file_that_runs_backwards_is_refused() {
    let record = |at: &str| [words(&[970, 960]), notes(&format!("{at}\x14\x14\0"))].concat();
    let bytes = |second: &str| {
        file("EDF+D", 2, "2", &[SAO2, NOTES], &[record("+0"), record(second)].concat())
    };
    let expected = "the data records overlap or run backwards: expected record 2 at 2 s or later, found 1 s (data record 2)";
    assert_eq!(refusal(&bytes("+1")), expected);
    let expected = "a data record of an interrupted file does not tell its time: expected a time-keeping annotation first, found none (data record 2)";
    assert_eq!(refusal(&bytes("x")), expected);
    let error = read(&bytes("+360000")).unwrap_err();
    assert_eq!(error.kind, ReadErrorKind::Refused);
    let expected = "the records of the interrupted file lie too far apart: expected at most 72 h from first to last, found 100.0 h";
    assert_eq!(error.to_string(), expected);
}

#[test]
fn a_contiguous_file_whose_clocks_jump_is_told_and_laid_out() {
    let record = |at: &str| [words(&[970, 960]), notes(&format!("{at}\x14\x14\0"))].concat();
    let night =
        read(&file("EDF+C", 2, "2", &[SAO2, NOTES], &[record("+0"), record("+10")].concat()))
            .unwrap();
    assert_eq!(codes(&night), ["edf_times_jump", "edf_gaps"]);
    assert_eq!(samples(&night, Quantity::Spo2).len(), 12);
}

#[test]
fn damaged_annotations_are_counted_and_left_out() {
    let data =
        [words(&[970, 960]), notes("+0\x14\x14\0+1\x14cut\0+1\x14\u{fffd}ok\x14\0")].concat();
    let mut bytes = file("EDF+C", 1, "2", &[SAO2, NOTES], &data);
    let bad = bytes.windows(3).position(|w| w == [0xef, 0xbf, 0xbd]).unwrap();
    bytes[bad] = 0xff;
    let night = read(&bytes).unwrap();
    assert_eq!(codes(&night), ["edf_annotation_damaged", "edf_annotation_letters"]);
    assert_eq!(night.marks.len(), 1);
}

fn co2(dimension: &str, value: i16) -> Vec<u8> {
    file(
        "",
        1,
        "2",
        &[("tcPCO2", dimension, ["0", "100", "0", "1000"], 2)],
        &words(&[value, value]),
    )
}

#[test]
fn the_unit_of_co2_is_never_guessed() {
    let refused = |bytes: &[u8]| {
        let error = read(bytes).unwrap_err();
        assert_eq!(error.kind, ReadErrorKind::Refused);
        (error.to_string(), error.hint.unwrap())
    };
    let (what, hint) = refused(&co2("", 53));
    assert_eq!(what, "the CO2 of `tcPCO2` has no unit: expected kPa or mmHg, found none");
    assert_eq!(
        hint,
        "the values lie around 5.3, as kPa would; say in a column map which unit it is"
    );
    let (what, hint) = refused(&co2("kPa", 400));
    assert_eq!(
        what,
        "the CO2 of `tcPCO2` cannot be in the unit it names: expected kPa, found values around 40.0, as mmHg would be"
    );
    assert_eq!(hint, "if the values are in mmHg, say so in a column map");
    let (what, _) = refused(&co2("mmHg", 53));
    assert_eq!(
        what,
        "the CO2 of `tcPCO2` cannot be in the unit it names: expected mmHg, found values around 5.3, as kPa would be"
    );
    let (what, _) = refused(&co2("vol%", 53));
    assert_eq!(
        what,
        "the CO2 of `tcPCO2` is in an unknown unit: expected kPa or mmHg, found `vol%`"
    );
    assert!(read(&co2("KPA", 53)).is_ok() && read(&co2("mmhg", 400)).is_ok());
}

#[test]
fn two_signals_for_one_quantity_are_refused() {
    let second = ("SpO2", "%", ["0", "100", "0", "1000"], 2);
    let error = read(&file("", 1, "2", &[SAO2, second], &words(&[970; 4]))).unwrap_err();
    assert_eq!(error.kind, ReadErrorKind::Refused);
    assert_eq!(
        error.to_string(),
        "two signals could be SpO2: expected one, found `SaO2` and `SpO2`"
    );
    assert_eq!(error.hint.as_deref(), Some("say in a column map which of the two is to be scored"));
}

fn with_map(bytes: &[u8], map: &str) -> Result<Recording, ReadError> {
    let map = Some(ColumnMap::parse(map).expect("the map reads"));
    let input = Input { name: "night.edf", bytes, companions: &[] };
    read_held(input, &ReadOptions { zone: None, map })
}

#[test]
fn a_column_map_settles_what_the_file_does_not_tell() {
    let second = ("SpO2", "%", ["0", "100", "0", "1000"], 2);
    let both = file("", 1, "2", &[SAO2, second], &words(&[970, 960, 900, 890]));
    let map = "[[column]]\ncolumn = \"SpO2\"\nquantity = \"spo2\"\nmissing = [\"89\"]\n";
    let night = with_map(&both, map).unwrap();
    let ids: Vec<&str> = night.channels.iter().map(|channel| channel.id.as_str()).collect();
    assert_eq!(ids, ["sao2", "spo2"]);
    assert!(close(samples(&night, Quantity::Spo2), &[90.0, f64::NAN]));
    let mmhg = "[[column]]\ncolumn = \"#1\"\nquantity = \"tcpco2\"\nunit = \"mmHg\"\n";
    let night = with_map(&co2("kPa", 400), mmhg).unwrap();
    assert!(close(samples(&night, Quantity::Tcpco2), &[5.332_895_496_6; 2]));
    assert_eq!(with_map(&both, "ignore = [\"SpO2\"]\n").unwrap().channels.len(), 1);
    let error = with_map(&plain(), map).unwrap_err().to_string();
    let expected =
        "the column map names the signal `SpO2`: expected it in the file, found none of that name";
    assert_eq!(error, expected);
}

#[test]
fn saturation_as_a_fraction_is_refused_and_a_unit_left_out_is_told() {
    let signal = |top| ("SaO2", "", ["0", top, "0", "1000"], 2);
    let error = refusal(&file("", 1, "2", &[signal("1")], &words(&[970, 960])));
    assert_eq!(error, "`SaO2` holds saturation as a fraction: expected %");
    let night = read(&file("", 1, "2", &[signal("100")], &words(&[970, 960]))).unwrap();
    assert_eq!(night.findings[0].sentence, "No unit is written for `SaO2`; it was read as %.");
}

#[test]
fn unknown_signals_are_kept_each_under_its_own_id() {
    let other = ("Snore mic.", "mV", ["-1", "1", "-100", "100"], 2);
    let night =
        read(&file("", 1, "2", &[other, other, SAO2], &words(&[1, 2, 3, 4, 970, 960]))).unwrap();
    let ids: Vec<&str> = night.channels.iter().map(|channel| channel.id.as_str()).collect();
    assert_eq!(ids, ["snore_mic", "snore_mic_2", "spo2"]);
}

#[test]
fn a_start_that_came_twice_is_refused() {
    let zone = engine::time::zone_named("Europe/London");
    let bytes = with(with(plain(), 168, "27.10.24"), 176, "01.30.00");
    let input = Input { name: "night.edf", bytes: &bytes, companions: &[] };
    let error = read_held(input, &ReadOptions { zone, map: None }).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the start of the recording is not clear: 2024-10-27T01:30:00 came twice in Europe/London when the clocks went back"
    );
}

#[test]
fn a_signal_may_run_upside_down() {
    let down = ("SaO2", "%", ["100", "0", "0", "1000"], 2);
    let parsed: EdfFile = parse(&file("", 1, "2", &[down], &words(&[30, 40]))).unwrap();
    let physical: Vec<f64> = parsed.signals[0].physical().collect();
    assert!(close(&physical, &[97.0, 96.0]));
}
