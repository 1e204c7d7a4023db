//! The header file: a record line, then signal lines, or segment lines of a record in parts.
//!
//! # Sources
//! `wfdb-format`, its page on header files.

use jiff::civil::Date;
use jiff::civil::DateTime;
use jiff::civil::Time;

use super::storage::Format;
use crate::read::ReadError;
use crate::read::limits;

/// Samples per second where the record line does not tell.
const DEFAULT_HZ: f64 = 250.0;
/// Digital steps per unit where the signal line does not tell, or tells 0.
const DEFAULT_GAIN: f64 = 200.0;
/// Faster than this is no monitor: a damaged number.
const FASTEST_HZ: f64 = 1e6;
/// Slower than one frame a day is no monitor: a damaged number.
const SLOWEST_HZ: f64 = 1.0 / 86_400.0;

/// A header file.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// The record's name.
    pub name: String,
    /// Frames a second.
    pub frequency_hz: f64,
    /// Frames in the record; `None` when not told.
    pub frames: Option<usize>,
    /// Time of day at the start; `None` when not told.
    pub time: Option<Time>,
    /// Date of the start; `None` when not told.
    pub date: Option<Date>,
    /// The signals; empty in a record in parts.
    pub signals: Vec<SignalLine>,
    /// The parts, in order; empty in a record of one piece.
    pub segments: Vec<Segment>,
}

impl Header {
    /// Start on the wall clock; without a date on 1 January 2000. `None` when no time is told.
    pub(super) fn start(&self) -> Option<DateTime> {
        Some(self.date.unwrap_or(Date::constant(2000, 1, 1)).to_datetime(self.time?))
    }
}

/// One part of a record in parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    /// Name of its record; `None` for `~`, time without any signal.
    pub name: Option<String>,
    /// Its length in frames; 0 for a part that only lays out the signals.
    pub frames: usize,
}

/// One signal line.
#[derive(Clone, Debug, PartialEq)]
pub struct SignalLine {
    /// The signal file; `~` for none.
    pub file: String,
    /// How samples are stored.
    pub format: Format,
    /// Samples in each frame.
    pub per_frame: usize,
    /// Frames by which the signal lies late in its file.
    pub skew: usize,
    /// Bytes before the first sample.
    pub byte_offset: usize,
    /// Digital steps per unit; 200 where not told or 0.
    pub gain: f64,
    /// Whether the gain was told, and not 0.
    pub calibrated: bool,
    /// Digital value of physical 0.
    pub baseline: i32,
    /// The unit; `mV` where not told.
    pub units: String,
    /// First value, from which differences count.
    pub initial: i32,
    /// Sum of all samples in 16 bits; `None` when not told.
    pub checksum: Option<i16>,
    /// The description; empty when not told.
    pub description: String,
}

/// Reads a header file.
pub(super) fn parse(bytes: &[u8]) -> Result<Header, ReadError> {
    if bytes.len() > limits::HEADER_BYTES {
        let found = format!("{} bytes", bytes.len());
        let expected = format!("at most {} bytes", limits::HEADER_BYTES);
        return Err(refuse(1, "header file", &expected, &found));
    }
    let text = std::str::from_utf8(bytes)
        .map_err(|error| refuse(1, "header file", "UTF-8 text", &error.to_string()))?;
    let mut lines = (1..)
        .zip(text.lines())
        .map(|(number, line)| (number, line.trim()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
    let (number, record) =
        lines.next().ok_or_else(|| refuse(1, "header file", "a record line", "none"))?;
    let (mut header, signals, segments) = record_line(number, record)?;
    limits::columns(signals, limits::SIGNALS)?;
    for _ in 0..segments {
        let (number, line) = lines
            .next()
            .ok_or_else(|| refuse(number, "record line", "a line for each segment", "fewer"))?;
        header.segments.push(segment_line(number, line)?);
    }
    for _ in 0..if segments == 0 { signals } else { 0 } {
        let (number, line) = lines
            .next()
            .ok_or_else(|| refuse(number, "record line", "a line for each signal", "fewer"))?;
        header.signals.push(signal_line(number, line)?);
    }
    Ok(header)
}

fn refuse(line: usize, what: &str, expected: &str, found: &str) -> ReadError {
    let found: String = found.chars().take(80).collect();
    ReadError::not_understood(format!("{what}: expected {expected}, found `{found}`"))
        .at(format!("line {line}"))
}

/// `name[/segments] signals [frequency[/counter[(base)]] [frames [time [date]]]]`.
fn record_line(number: usize, line: &str) -> Result<(Header, usize, usize), ReadError> {
    let mut words = line.split_whitespace();
    let first = words.next().unwrap_or_default();
    let count = |what: &str, word: &str| {
        word.parse::<usize>().map_err(|_| refuse(number, what, "a whole number", word))
    };
    let (name, segments) = match first.split_once('/') {
        Some((name, parts)) => (name, count("number of segments", parts)?.max(1)),
        None => (first, 0),
    };
    check_name(number, name)?;
    let signals = count("number of signals", words.next().unwrap_or_default())?;
    let frequency_hz = words.next().map_or(Ok(DEFAULT_HZ), |word| frequency(number, word))?;
    let frames = words.next().map(|word| count("number of samples", word)).transpose()?;
    let time = words.next().map(|word| time_of_day(number, word)).transpose()?;
    let date = words.next().map(|word| day(number, word)).transpose()?;
    let header = Header {
        name: name.to_owned(),
        frequency_hz,
        // 0 stands for a length that was not known when the header was written.
        frames: frames.filter(|frames| *frames > 0),
        time,
        date,
        signals: Vec::new(),
        segments: Vec::new(),
    };
    Ok((header, signals, segments))
}

/// A name stays inside its folder: it is used to find files.
fn check_name(number: usize, name: &str) -> Result<(), ReadError> {
    let plain = !name.is_empty() && !name.contains(['/', '\\', '\0']) && !name.starts_with('.');
    if plain { Ok(()) } else { Err(refuse(number, "name", "a plain file name", name)) }
}

/// The counter frequency behind the slash serves other tools and changes nothing here.
fn frequency(number: usize, word: &str) -> Result<f64, ReadError> {
    let text = word.split('/').next().unwrap_or_default();
    let expected = "a frequency from one a day to a million a second";
    let hz = text.parse::<f64>().map_err(|_| refuse(number, "frequency", expected, word))?;
    match hz {
        _ if hz == 0.0 => Ok(DEFAULT_HZ),
        _ if (SLOWEST_HZ..=FASTEST_HZ).contains(&hz) => Ok(hz),
        _ => Err(refuse(number, "frequency", expected, word)),
    }
}

/// `SS`, `MM:SS` or `HH:MM:SS`, seconds with a fraction or without.
fn time_of_day(number: usize, word: &str) -> Result<Time, ReadError> {
    let wrong = || refuse(number, "start time", "HH:MM:SS or MM:SS", word);
    let parts: Vec<&str> = word.split(':').collect();
    let (whole, seconds) = match parts.as_slice() {
        [s] => ([0, 0], s),
        [m, s] => ([0, m.parse().map_err(|_| wrong())?], s),
        [h, m, s] => ([h.parse().map_err(|_| wrong())?, m.parse().map_err(|_| wrong())?], s),
        _ => return Err(wrong()),
    };
    let (second, fraction) = seconds.split_once('.').unwrap_or((seconds, ""));
    let plain = fraction.len() <= 9 && fraction.bytes().all(|b| b.is_ascii_digit());
    let nanosecond = format!("{fraction:0<9}").parse::<i32>().map_err(|_| wrong())?;
    let second = second.parse::<i8>().map_err(|_| wrong())?;
    let time = Time::new(whole[0], whole[1], second, nanosecond).map_err(|_| wrong())?;
    if plain { Ok(time) } else { Err(wrong()) }
}

/// `DD/MM/YYYY`.
fn day(number: usize, word: &str) -> Result<Date, ReadError> {
    let wrong = || refuse(number, "start date", "DD/MM/YYYY", word);
    let parts: Vec<&str> = word.split('/').collect();
    let [day, month, year] = parts.as_slice() else { return Err(wrong()) };
    let small = |part: &str| part.parse::<i8>().map_err(|_| wrong());
    let year = year.parse::<i16>().map_err(|_| wrong())?;
    Date::new(year, small(month)?, small(day)?).map_err(|_| wrong())
}

fn segment_line(number: usize, line: &str) -> Result<Segment, ReadError> {
    let mut words = line.split_whitespace();
    let name = words.next().unwrap_or_default();
    let frames = words.next().unwrap_or_default();
    let frames = frames
        .parse()
        .map_err(|_| refuse(number, "segment length", "a whole number of samples", frames))?;
    if name == "~" {
        return Ok(Segment { name: None, frames });
    }
    check_name(number, name)?;
    Ok(Segment { name: Some(name.to_owned()), frames })
}

/// `file format[xN][:skew][+offset] [gain[(baseline)][/units] [resolution [zero [initial [checksum
/// [block [description]]]]]]]`.
fn signal_line(number: usize, line: &str) -> Result<SignalLine, ReadError> {
    let (head, description) = split_words(line, 8);
    let word = |index: usize| head.get(index).copied();
    let file = word(0).unwrap_or_default();
    if file != "~" {
        check_name(number, file)?;
    }
    let storage = Storage::parse(word(1).unwrap_or_default())
        .ok_or_else(|| refuse(number, "format", "a WFDB storage format", word(1).unwrap_or("")))?;
    let whole = |index: usize, what: &str| -> Result<Option<i32>, ReadError> {
        word(index)
            .map(|text| text.parse().map_err(|_| refuse(number, what, "a whole number", text)))
            .transpose()
    };
    whole(3, "ADC resolution")?;
    let zero = whole(4, "ADC zero")?.unwrap_or(0);
    let initial = whole(5, "initial value")?.unwrap_or(zero);
    let checksum = whole(6, "checksum")?;
    whole(7, "block size")?;
    let scale = Scale::parse(word(2).unwrap_or(""))
        .ok_or_else(|| refuse(number, "gain", "gain(baseline)/units", word(2).unwrap_or("")))?;
    Ok(SignalLine {
        file: file.to_owned(),
        format: storage.format,
        per_frame: storage.per_frame,
        skew: storage.skew,
        byte_offset: storage.byte_offset,
        gain: scale.gain.unwrap_or(DEFAULT_GAIN),
        calibrated: scale.gain.is_some(),
        baseline: scale.baseline.unwrap_or(zero),
        units: scale.units,
        initial,
        checksum: checksum.map(low_half),
        description,
    })
}

/// Writers differ on whether a checksum is signed; its low 16 bits are the same.
#[expect(clippy::cast_possible_truncation, reason = "the low 16 bits are what is wanted")]
fn low_half(checksum: i32) -> i16 {
    checksum as i16
}

/// The first `count` words and the rest of the line.
fn split_words(line: &str, count: usize) -> (Vec<&str>, String) {
    let mut words = Vec::new();
    let mut rest = line.trim();
    while words.len() < count && !rest.is_empty() {
        let (word, more) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
        words.push(word);
        rest = more.trim_start();
    }
    (words, rest.to_owned())
}

struct Storage {
    format: Format,
    per_frame: usize,
    skew: usize,
    byte_offset: usize,
}

impl Storage {
    fn parse(text: &str) -> Option<Self> {
        let (text, byte_offset) = cut(text, '+', 0)?;
        let (text, skew) = cut(text, ':', 0)?;
        let (text, per_frame) = cut(text, 'x', 1)?;
        let format = Format::from_number(text.parse().ok()?)?;
        Some(Self { format, per_frame: per_frame.max(1), skew, byte_offset })
    }
}

/// The text before a mark and the number after it; the number given where the mark is not there.
fn cut(text: &str, mark: char, missing: usize) -> Option<(&str, usize)> {
    match text.split_once(mark) {
        Some((before, number)) => Some((before, number.parse().ok()?)),
        None => Some((text, missing)),
    }
}

struct Scale {
    gain: Option<f64>,
    baseline: Option<i32>,
    units: String,
}

impl Scale {
    fn parse(text: &str) -> Option<Self> {
        let (number, units) = text.split_once('/').unwrap_or((text, "mV"));
        let (gain, baseline) = match number.split_once('(') {
            Some((gain, baseline)) => (gain, Some(baseline.strip_suffix(')')?.parse().ok()?)),
            None => (number, None),
        };
        let gain = if gain.is_empty() { 0.0 } else { gain.parse::<f64>().ok()? };
        // Beyond these bounds no gain makes sense, and arithmetic could overflow.
        let usable = gain == 0.0 || (1e-15..=1e15).contains(&gain.abs());
        let gain = usable.then_some(gain)?;
        Some(Self { gain: (gain != 0.0).then_some(gain), baseline, units: units.to_owned() })
    }
}
