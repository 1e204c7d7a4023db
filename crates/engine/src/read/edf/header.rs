//! The header record.
//!
//! # Sources
//! `kemp-1992` for the layout; `kemp-2003` (EDF+, numbered sections) for what EDF+ adds.

use jiff::civil::Date;
use jiff::civil::DateTime;
use jiff::civil::Time;

use super::field::Field;
use super::field::Fields;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::recording::Format;

/// Bytes of the fixed part, and again of each signal's part (EDF, header record).
const PART: usize = 256;
/// Years from 85 on are 1985 to 1999, before it 2000 to 2084 (EDF+ 2.1.3 item 2).
const CLIP_YEAR: i16 = 85;
/// Faster than a million samples a second is no monitor: a damaged number.
const FASTEST_HZ: f64 = 1e6;
/// Longer than a month in one record is no monitor: a damaged number.
const LONGEST_RECORD_S: f64 = 31.0 * 86_400.0;

/// What the fixed part of the header says. Who the patient is, is read over and not kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// EDF or BDF, plain, contiguous or interrupted.
    pub format: Format,
    /// Start on the clock of the place of recording, to the second.
    pub start: DateTime,
    /// Whether the date is known; the time always is.
    pub date_known: bool,
    /// The equipment named in an EDF+ recording identification; `None` when it is not told.
    pub equipment: Option<String>,
    /// Number of data records the header promises; `None` for -1, a file never closed.
    pub records_promised: Option<usize>,
    /// Seconds a data record lasts; 0 where no ordinary signal needs it.
    pub record_s: f64,
}

impl Header {
    /// Bytes of one sample: three in BDF, two in EDF.
    pub fn sample_bytes(&self) -> usize {
        match self.format {
            Format::Bdf | Format::BdfPlusC | Format::BdfPlusD => 3,
            _ => 2,
        }
    }

    /// Whether the file may be interrupted.
    pub fn interrupted(&self) -> bool {
        matches!(self.format, Format::EdfPlusD | Format::BdfPlusD)
    }

    /// Whether the file keeps the time of its records in an annotation signal.
    pub fn plus(&self) -> bool {
        !matches!(self.format, Format::Edf | Format::Bdf)
    }
}

/// What the header says of one signal.
#[derive(Clone, Debug, PartialEq)]
pub struct SignalHeader {
    /// The label, as written.
    pub label: String,
    /// The transducer; empty when not told.
    pub transducer: String,
    /// The physical dimension, as written; empty for an uncalibrated signal.
    pub dimension: String,
    /// Physical value of `digital_min`.
    pub physical_min: f64,
    /// Physical value of `digital_max`; may lie below `physical_min`, for a negative gain.
    pub physical_max: f64,
    /// Least digital value.
    pub digital_min: i32,
    /// Greatest digital value; above `digital_min`.
    pub digital_max: i32,
    /// Filters applied before digitising; empty when not told.
    pub prefiltering: String,
    /// Samples in one data record.
    pub samples_per_record: usize,
}

impl SignalHeader {
    /// Whether it carries annotations and no samples (EDF+ 2.2.1; BDF's own name for the same).
    pub fn is_annotations(&self) -> bool {
        self.label == "EDF Annotations" || self.label == "BDF Annotations"
    }

    /// Physical value of a digital one, by the straight line through the two ends (EDF, header record).
    pub fn physical(&self, digital: i32) -> f64 {
        let steps = f64::from(digital) - f64::from(self.digital_min);
        let span = f64::from(self.digital_max) - f64::from(self.digital_min);
        self.physical_min + steps * (self.physical_max - self.physical_min) / span
    }

    /// Physical distance between neighbouring digital values; positive.
    pub fn step(&self) -> f64 {
        let span = f64::from(self.digital_max) - f64::from(self.digital_min);
        (self.physical_max - self.physical_min).abs() / span
    }
}

/// Reads the header record: its fixed part and each signal's, and what was noticed.
pub(super) fn parse(bytes: &[u8]) -> Result<(Header, Vec<SignalHeader>, Vec<Finding>), ReadError> {
    let mut fields = Fields::new(bytes);
    let mut findings = Vec::new();
    let (header, count) = fixed_part(&mut fields, &mut findings)?;
    let signals = signal_parts(&mut fields, count)?;
    check_rates(&header, &signals)?;
    note_wide_ranges(&header, &signals, &mut findings);
    note_odd_text(&fields.odd, &mut findings);
    Ok((header, signals, findings))
}

fn fixed_part(
    fields: &mut Fields<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(Header, usize), ReadError> {
    let version = fields.next("version", 8)?.text();
    fields.next_text("patient identification", 80)?;
    let recording = fields.next_text("recording identification", 80)?;
    let date = fields.next("startdate", 8)?;
    let time = fields.next("starttime", 8)?;
    let header_bytes = fields.next("number of bytes in the header", 8)?;
    let reserved = fields.next_text("reserved field", 44)?;
    let records = fields.next("number of data records", 8)?;
    let length = fields.next("duration of a data record", 8)?;
    let signals = fields.next("number of signals", 4)?;

    let count = signals.count()?;
    if count == 0 {
        return Err(signals.refuse("at least one signal"));
    }
    crate::read::limits::columns(count, crate::read::limits::SIGNALS)?;
    let expected = PART * (count + 1);
    if header_bytes.count()? != expected {
        let why = format!("{expected}, which is 256 for each of {count} signals and 256 more");
        return Err(header_bytes.refuse(&why));
    }
    let format = format(&version, &reserved);
    let plus = !matches!(format, Format::Edf | Format::Bdf);
    let identification =
        if plus { Identification::parse(&recording) } else { Identification::default() };
    let (day, date_known) = start_date(&date, identification.date.as_ref(), findings)?;
    let header = Header {
        format,
        start: day.to_datetime(start_time(&time)?),
        date_known,
        equipment: identification.equipment,
        records_promised: records_promised(&records)?,
        record_s: record_length(&length)?,
    };
    Ok((header, count))
}

fn format(version: &str, reserved: &str) -> Format {
    // EDF+ 2.1.1: the reserved field starts with the kind; BDF borrows the habit.
    match (version == "0", reserved.get(..5)) {
        (true, Some("EDF+C")) => Format::EdfPlusC,
        (true, Some("EDF+D")) => Format::EdfPlusD,
        (true, _) => Format::Edf,
        (false, Some("BDF+C")) => Format::BdfPlusC,
        (false, Some("BDF+D")) => Format::BdfPlusD,
        (false, _) => Format::Bdf,
    }
}

/// EDF+ 2.1.3 item 10: -1 only while recording.
fn records_promised(field: &Field<'_>) -> Result<Option<usize>, ReadError> {
    match field.whole()? {
        -1 => Ok(None),
        1.. => field.count().map(Some),
        _ => Err(field.refuse("at least one data record, or -1 while recording")),
    }
}

fn record_length(field: &Field<'_>) -> Result<f64, ReadError> {
    let record_s = field.number()?;
    if (0.0..=LONGEST_RECORD_S).contains(&record_s) {
        Ok(record_s)
    } else {
        Err(field.refuse("seconds from 0 to 2678400, a month"))
    }
}

/// What an EDF+ recording identification tells (EDF+ 2.1.3 item 4).
#[derive(Default)]
struct Identification {
    date: Option<StartText>,
    equipment: Option<String>,
}

enum StartText {
    Day(Date),
    Unknown,
}

impl Identification {
    fn parse(text: &str) -> Self {
        let mut parts = text.split(' ');
        if parts.next() != Some("Startdate") {
            return Self::default();
        }
        let date = match parts.next() {
            Some("X") => Some(StartText::Unknown),
            Some(day) => long_date(day).map(StartText::Day),
            None => None,
        };
        let equipment = parts.nth(2).filter(|name| *name != "X" && !name.is_empty());
        Self { date, equipment: equipment.map(|name| name.replace('_', " ")) }
    }
}

/// `02-MAR-2002` (EDF+ 2.1.3 item 4: English capitals).
fn long_date(text: &str) -> Option<Date> {
    const MONTHS: [&str; 12] =
        ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"];
    let mut parts = text.split('-');
    let day = parts.next()?.parse().ok()?;
    let month = parts.next()?.to_ascii_uppercase();
    let month = MONTHS.iter().position(|name| *name == month)? + 1;
    let year = parts.next()?.parse().ok()?;
    Date::new(year, i8::try_from(month).ok()?, day).ok()
}

/// Three two-digit numbers with a mark between; `None` for anything else.
fn three(text: &str) -> Option<[i8; 3]> {
    let parts: Vec<&str> = text.split(['.', ':', '/', '-']).collect();
    let [a, b, c] = parts.as_slice() else { return None };
    let number = |part: &str| part.trim().parse::<i8>().ok().filter(|n| *n >= 0);
    Some([number(a)?, number(b)?, number(c)?])
}

fn short_date(text: &str) -> Option<Date> {
    let [day, month, year] = three(text)?;
    let year = i16::from(year);
    let century = if year >= CLIP_YEAR { 1900 } else { 2000 };
    Date::new(century + year, month, day).ok()
}

fn start_time(field: &Field<'_>) -> Result<Time, ReadError> {
    let expected = "hh.mm.ss";
    let [hour, minute, second] = three(&field.text()).ok_or_else(|| field.refuse(expected))?;
    Time::new(hour, minute, second, 0).map_err(|_| field.refuse(expected))
}

fn start_date(
    field: &Field<'_>,
    long: Option<&StartText>,
    findings: &mut Vec<Finding>,
) -> Result<(Date, bool), ReadError> {
    let text = field.text();
    let short = short_date(&text);
    let blank = text.chars().all(|c| !c.is_ascii_digit() || c == '0');
    let unknown = Date::constant(2000, 1, 1);
    match (short, long) {
        // A file that hides its date carries the earliest one instead; common practice, no source.
        (Some(day), Some(StartText::Unknown)) if day == Date::constant(1985, 1, 1) => {
            findings.push(date_unknown());
            Ok((unknown, false))
        }
        (Some(day), Some(StartText::Day(other))) if day != *other && agree(day, *other) => {
            Ok((*other, true))
        }
        (Some(day), Some(StartText::Day(other))) if day != *other => {
            findings.push(contradiction(day, *other));
            Ok((day, true))
        }
        (Some(day), _) => Ok((day, true)),
        // EDF+ 2.1.3 item 2: after 2084 the year is written `yy` and only the long date tells it.
        (None, Some(StartText::Day(day))) if blank || text.ends_with("yy") => Ok((*day, true)),
        (None, _) if blank || text.ends_with("yy") => {
            findings.push(date_unknown());
            Ok((unknown, false))
        }
        (None, _) => Err(field.refuse("dd.mm.yy")),
    }
}

/// Whether the long date is what the two digits of the short one stand for, outside the clip's century.
fn agree(short: Date, long: Date) -> bool {
    (short.day(), short.month()) == (long.day(), long.month())
        && (short.year() - long.year()) % 100 == 0
        && !(1985..=2084).contains(&long.year())
}

fn date_unknown() -> Finding {
    let sentence = "The file does not tell the date of the night, only the time of day.";
    Finding::new("date_not_known", Weight::Note, sentence)
}

fn contradiction(short: Date, long: Date) -> Finding {
    let sentence = format!(
        "The header gives two dates for the start, {short} and {long}; the first, from the fixed \
         field, was taken."
    );
    Finding::new("edf_start_contradicts", Weight::Serious, sentence)
}

fn signal_parts(fields: &mut Fields<'_>, count: usize) -> Result<Vec<SignalHeader>, ReadError> {
    fn texts(f: &mut Fields<'_>, what: &str, n: usize, w: usize) -> Result<Vec<String>, ReadError> {
        (1..=n).map(|i| f.next_text(&format!("{what} of signal {i}"), w)).collect()
    }
    fn each<'a>(f: &mut Fields<'a>, what: &str, n: usize) -> Result<Vec<Field<'a>>, ReadError> {
        (1..=n).map(|i| f.next(&format!("{what} of signal {i}"), 8)).collect()
    }
    let label = texts(fields, "label", count, 16)?;
    let transducer = texts(fields, "transducer", count, 80)?;
    let dimension = texts(fields, "physical dimension", count, 8)?;
    let physical_min = each(fields, "physical minimum", count)?;
    let physical_max = each(fields, "physical maximum", count)?;
    let digital_min = each(fields, "digital minimum", count)?;
    let digital_max = each(fields, "digital maximum", count)?;
    let prefiltering = texts(fields, "prefiltering", count, 80)?;
    let samples = each(fields, "samples in a data record", count)?;
    texts(fields, "reserved field", count, 32)?;
    (0..count)
        .map(|i| {
            Ok(SignalHeader {
                label: label[i].clone(),
                transducer: transducer[i].clone(),
                dimension: dimension[i].clone(),
                physical_min: physical_min[i].number()?,
                physical_max: different(&physical_max[i], physical_min[i].number()?)?,
                digital_min: digital(&digital_min[i])?,
                digital_max: above(&digital_max[i], digital(&digital_min[i])?)?,
                prefiltering: prefiltering[i].clone(),
                samples_per_record: samples[i].count()?,
            })
        })
        .collect()
}

/// EDF+ 2.1.3 item 5: the physical ends differ.
fn different(field: &Field<'_>, from: f64) -> Result<f64, ReadError> {
    let value = field.number()?;
    #[expect(clippy::float_cmp, reason = "two written numbers are the same or they are not")]
    let same = value == from;
    if same {
        return Err(field.refuse(&format!("a number other than the physical minimum {from}")));
    }
    Ok(value)
}

fn digital(field: &Field<'_>) -> Result<i32, ReadError> {
    i32::try_from(field.whole()?).map_err(|_| field.refuse("a whole number of at most 32 bits"))
}

/// EDF+ 2.1.3 item 5: the digital maximum lies above the digital minimum.
fn above(field: &Field<'_>, least: i32) -> Result<i32, ReadError> {
    let value = digital(field)?;
    if value > least {
        Ok(value)
    } else {
        Err(field.refuse(&format!("more than the digital minimum {least}")))
    }
}

fn check_rates(header: &Header, signals: &[SignalHeader]) -> Result<(), ReadError> {
    let ordinary = signals.iter().filter(|s| !s.is_annotations() && s.samples_per_record > 0);
    for signal in ordinary {
        let samples = signal.samples_per_record;
        // EDF+ 2.1.2: 0 s only without ordinary signals, or interrupted with one sample a record.
        if header.record_s <= 0.0 && !(header.interrupted() && samples == 1) {
            return Err(ReadError::not_understood(format!(
                "duration of a data record: expected more than 0 s for {samples} samples of {}, found 0",
                signal.label
            ))
            .at("byte 244"));
        }
        if header.record_s > 0.0 && samples as f64 / header.record_s > FASTEST_HZ {
            return Err(ReadError::not_understood(format!(
                "samples in a data record of {}: expected at most a million a second, found {samples} in {} s",
                signal.label, header.record_s
            )));
        }
    }
    Ok(())
}

fn note_wide_ranges(header: &Header, signals: &[SignalHeader], findings: &mut Vec<Finding>) {
    let top = if header.sample_bytes() == 3 { 8_388_607 } else { 32_767 };
    let wide: Vec<&str> = signals
        .iter()
        .filter(|s| s.digital_max > top || s.digital_min < -top - 1)
        .map(|s| s.label.as_str())
        .collect();
    if !wide.is_empty() {
        let sentence = format!(
            "The header gives {} a digital range that its samples cannot hold; the scale was used as \
             written.",
            wide.join(", ")
        );
        findings.push(Finding::new("edf_digital_range", Weight::Note, sentence));
    }
}

fn note_odd_text(odd: &[String], findings: &mut Vec<Finding>) {
    if !odd.is_empty() {
        let sentence = format!(
            "The header holds letters outside plain ASCII in its {}; the format does not allow them.",
            odd.join(", ")
        );
        findings.push(Finding::new("edf_header_letters", Weight::Note, sentence));
    }
}
