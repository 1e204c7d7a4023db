//! From bytes to characters: which encoding, and is it text at all.

use std::borrow::Cow;

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::Encoding;

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;

/// How much of a file is looked at to tell text from other things.
const LOOKED_AT: usize = 4096;

/// Text, and how it was written.
pub(super) struct Decoded<'a> {
    /// The characters, without byte order mark.
    pub(super) text: Cow<'a, str>,
    /// What to tell about the encoding; `None` for plain UTF-8.
    pub(super) finding: Option<Finding>,
}

/// The characters of a file; `label` is the encoding a column map names.
pub(super) fn decode<'a>(bytes: &'a [u8], label: Option<&str>) -> Result<Decoded<'a>, ReadError> {
    let (encoding, told) = encoding(bytes, label)?;
    let (text, _) = encoding.decode_with_bom_removal(bytes);
    let sample = text.as_bytes();
    let sample = &sample[..sample.len().min(LOOKED_AT)];
    // One stray control character may sit in a text; a file of them is something else.
    let controls = sample.iter().filter(|&&b| b < 0x20 && !b"\t\n\r\x0c\x1a".contains(&b)).count();
    if sample.contains(&0) || controls * 100 > sample.len() {
        return Err(not_text(bytes));
    }
    if text.trim().is_empty() {
        return Err(ReadError::not_understood("the file holds nothing but white space"));
    }
    let finding = (!told && encoding != encoding_rs::UTF_8).then(|| {
        let sentence = format!("The text is not UTF-8; it was read as {}.", encoding.name());
        Finding::new("encoding_guessed", Weight::Note, sentence)
    });
    Ok(Decoded { text, finding })
}

/// The encoding, and whether it is told (by the file or a map) and not guessed.
fn encoding(bytes: &[u8], label: Option<&str>) -> Result<(&'static Encoding, bool), ReadError> {
    if let Some(label) = label {
        return Encoding::for_label(label.as_bytes()).map(|found| (found, true)).ok_or_else(|| {
            ReadError::not_understood(format!("the column map's encoding `{label}` is not known"))
                .hint("for instance utf-8, utf-16le, windows-1252, iso-8859-15")
        });
    }
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return Ok((encoding, true));
    }
    if let Some(encoding) = wide(bytes) {
        return Ok((encoding, false));
    }
    if std::str::from_utf8(bytes).is_ok() {
        return Ok((encoding_rs::UTF_8, true));
    }
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    Ok((detector.guess(None, Utf8Detection::Allow), false))
}

/// UTF-16 without a byte order mark: plain characters leave every other byte zero.
fn wide(bytes: &[u8]) -> Option<&'static Encoding> {
    let sample = &bytes[..bytes.len().min(LOOKED_AT)];
    let zeros = |from: usize| sample.iter().skip(from).step_by(2).filter(|&&b| b == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    let many = sample.len() / 2 * 7 / 10;
    let few = sample.len() / 40;
    match () {
        () if odd > many && even <= few => Some(encoding_rs::UTF_16LE),
        () if even > many && odd <= few => Some(encoding_rs::UTF_16BE),
        () => None,
    }
}

/// How well-known other files begin, and what to do with them.
const OTHERS: [(&[u8], &str, &str); 6] = [
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook", "save the sheet as CSV"),
    (b"\xd0\xcf\x11\xe0", "an old office document", "save the sheet as CSV"),
    (b"%PDF", "a PDF document", "export the samples, not the printed report"),
    (b"\x89PNG", "a picture", "export the samples, not the picture"),
    (b"\x1f\x8b", "a gzip archive", "unpack it first"),
    (b"SQLite format 3", "a database", "export the night as CSV or EDF"),
];

/// The refusal of bytes that are no text.
pub(super) fn not_text(bytes: &[u8]) -> ReadError {
    let known = OTHERS.iter().find(|(magic, _, _)| bytes.starts_with(magic));
    let hex: Vec<String> = bytes.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    let begins = known.map_or_else(String::new, |(_, what, _)| format!(", as {what} does"));
    ReadError::not_understood(format!(
        "neither EDF, WFDB nor delimited text: the file begins with the bytes {}{begins}",
        hex.join(" ")
    ))
    .at("byte 0")
    .hint(known.map_or("export the night from the monitor as CSV or EDF", |(_, _, hint)| *hint))
}
