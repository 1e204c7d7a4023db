//! Annotation files in the MIT format.
//!
//! # Sources
//! `wfdb-format`, its page on annotation files.

use crate::read::limits;

/// A long interval follows, high word first.
const SKIP: u16 = 59;
/// Text follows, belonging to the annotation before it.
const AUX: u16 = 63;
/// Number, subtype and channel: told of the annotation before, not used here.
const FIELDS: [u16; 3] = [60, 61, 62];
/// A note, among them one that tells the annotation file's own time resolution.
const NOTE: u16 = 22;
/// How that note begins.
const RESOLUTION: &str = "## time resolution: ";

/// The annotations of a file that carry words.
#[derive(Debug, Default)]
pub(super) struct Annotations {
    /// Seconds from the start, and the words.
    pub(super) texts: Vec<(f64, String)>,
    /// Annotations without words: beats and the like.
    pub(super) wordless: usize,
    /// Whether the file ends before its end mark.
    pub(super) cut_short: bool,
}

struct Raw {
    at: i64,
    kind: u16,
    text: String,
}

/// Reads an annotation file; times count in samples of `frequency_hz`, or in the file's own resolution.
pub(super) fn parse(bytes: &[u8], frequency_hz: f64) -> Annotations {
    let (raws, cut_short) = raws(bytes);
    let resolution = raws
        .iter()
        .filter(|raw| raw.kind == NOTE && raw.at == 0)
        .find_map(|raw| raw.text.strip_prefix(RESOLUTION)?.trim().parse::<f64>().ok())
        .filter(|hz| (1e-6..=1e9).contains(hz));
    let hz = resolution.unwrap_or(frequency_hz);
    let mut annotations = Annotations { cut_short, ..Annotations::default() };
    for raw in raws {
        if raw.text.is_empty() {
            annotations.wordless += 1;
        } else if !raw.text.starts_with("## ") {
            annotations.texts.push((raw.at as f64 / hz, raw.text));
        }
    }
    annotations
}

fn raws(bytes: &[u8]) -> (Vec<Raw>, bool) {
    let mut raws: Vec<Raw> = Vec::new();
    let mut words = bytes.chunks_exact(2).map(|pair| u16::from_le_bytes([pair[0], pair[1]]));
    let mut at: i64 = 0;
    while let Some(word) = words.next() {
        let (kind, value) = (word >> 10, word & 0x3ff);
        match kind {
            _ if word == 0 => return (raws, false),
            SKIP => {
                let (Some(high), Some(low)) = (words.next(), words.next()) else { break };
                let [a, b] = high.to_be_bytes();
                let [c, d] = low.to_be_bytes();
                at += i64::from(i32::from_be_bytes([a, b, c, d]));
            }
            AUX => {
                let length = usize::from(value);
                let packed: Vec<u8> =
                    words.by_ref().take(length.div_ceil(2)).flat_map(u16::to_le_bytes).collect();
                let text = String::from_utf8_lossy(&packed[..length.min(packed.len())]);
                if let Some(last) = raws.last_mut() {
                    text.trim_matches(char::from(0)).trim().clone_into(&mut last.text);
                }
            }
            _ if FIELDS.contains(&kind) => {}
            _ => {
                at += i64::from(value);
                if raws.len() >= limits::SAMPLES_FREE {
                    break;
                }
                raws.push(Raw { at, kind, text: String::new() });
            }
        }
    }
    (raws, true)
}
