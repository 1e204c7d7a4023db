//! EDF+, written by its published specification (`kemp-2003`, sections by number).

use engine::read::annotation_text;
use engine::recording::Recording;

mod header;
mod layout;
mod scale;

use layout::Layout;

/// How an EDF+ file is laid out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct EdfOptions {
    /// Leave out data records in which no channel has a sample, as EDF+D. Some readers refuse such files
    /// and some close their gaps, so that the default writes every record, as EDF+C.
    pub interrupted: bool,
}

/// The recording as EDF+.
///
/// EDF has no code for a missing sample: each is written as the least digital value, in a range that
/// reaches below physiology, and each run of them is annotated `Not valid: LABEL` with its length. Marks
/// become annotations, with the standard texts of EDF+ where there is one. Saturation keeps 0.01 %,
/// pulse 0.1 a minute and CO2 0.001 kPa. The patient identification is `X X X X`. The last data record is
/// filled up with missing samples where the night does not end with it. Where channels' periods have no common
/// length of record, or one too large for the format, slow channels repeat their samples.
pub fn edf(recording: &Recording, options: EdfOptions) -> Vec<u8> {
    let layout = Layout::of(recording);
    let kept = kept_records(&layout, options);
    let lists = annotation_bytes(recording, &layout, &kept);
    let width = lists.iter().map(Vec::len).max().unwrap_or(0).next_multiple_of(2);
    let mut bytes = header::header(recording, &layout, kept.len(), width / 2, options);
    for (record, list) in kept.iter().zip(lists) {
        for signal in &layout.signals {
            for place in record * signal.per_record..(record + 1) * signal.per_record {
                bytes.extend(signal.digital(place).to_le_bytes());
            }
        }
        bytes.extend(&list);
        bytes.extend(std::iter::repeat_n(0, width - list.len()));
    }
    bytes
}

/// The records to write; the first and the last always, so that the night keeps its length.
fn kept_records(layout: &Layout<'_>, options: EdfOptions) -> Vec<usize> {
    let last = layout.records - 1;
    let holds = |record: usize| layout.signals.iter().any(|signal| signal.holds_any(record));
    (0..layout.records)
        .filter(|record| !options.interrupted || *record == 0 || *record == last || holds(*record))
        .collect()
}

/// Annotations of each kept record: its time-keeper first (EDF+ 2.2.4), then its share of the rest.
fn annotation_bytes(recording: &Recording, layout: &Layout<'_>, kept: &[usize]) -> Vec<Vec<u8>> {
    let fraction_s = header::fraction_s(recording);
    let mut lists: Vec<Vec<u8>> = kept
        .iter()
        .map(|record| {
            let onset = seconds(fraction_s + *record as f64 * layout.record_s);
            format!("+{onset}\x14\x14\0").into_bytes()
        })
        .collect();
    let mut texts: Vec<(f64, Option<f64>, String)> = recording
        .marks
        .iter()
        .map(|mark| {
            let length_s = mark.end_s.map(|end_s| end_s - mark.start_s);
            (mark.start_s, length_s, annotation_text(mark))
        })
        .collect();
    texts.extend(layout.signals.iter().flat_map(layout::SignalOut::invalid_runs));
    texts.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (start_s, length_s, text) in texts {
        let list = list(start_s + fraction_s, length_s, &text);
        // In the record it belongs to; or one after it where that is full (EDF+ 2.2.3 asks it
        // only of annotations that tell of one record alone).
        let place = kept.partition_point(|record| *record as f64 * layout.record_s <= start_s);
        lists[place.saturating_sub(1)].extend(list);
    }
    level(&lists)
}

/// Moves annotations on from crowded records to the next, so that all stay small: every record has room
/// for as many bytes as the fullest.
fn level(lists: &[Vec<u8>]) -> Vec<Vec<u8>> {
    let split: Vec<Vec<&[u8]>> = lists
        .iter()
        .map(|list| list.split_inclusive(|byte| *byte == 0).collect::<Vec<_>>())
        .collect();
    let keeper = split.iter().map(|lists| lists[0].len()).max().unwrap_or(0);
    let longest = split.iter().flatten().map(|list| list.len()).max().unwrap_or(0);
    let total: usize = lists.iter().map(Vec::len).sum();
    // Room for an even share, and for the longest single one beside the time-keeper.
    let room = (total / lists.len().max(1) + keeper + longest).max(2 * keeper + longest);
    let mut levelled = Vec::with_capacity(split.len());
    let mut waiting = std::collections::VecDeque::new();
    for lists in &split {
        let mut record = lists[0].to_vec();
        waiting.extend(lists[1..].iter().copied());
        while waiting.front().is_some_and(|next| record.len() + next.len() <= room) {
            record.extend(waiting.pop_front().unwrap_or_default());
        }
        levelled.push(record);
    }
    // What the last record could not take goes to the emptiest before it.
    for list in waiting {
        if let Some(record) = levelled.iter_mut().min_by_key(|record| record.len()) {
            record.extend(list);
        }
    }
    levelled
}

/// One annotation (EDF+ 2.2.2).
fn list(onset_s: f64, length_s: Option<f64>, text: &str) -> Vec<u8> {
    let sign = if onset_s < 0.0 { '-' } else { '+' };
    let length = length_s.map(|s| format!("\x15{}", seconds(s))).unwrap_or_default();
    // EDF+ 2.2.3: of the control characters only tab, line feed and carriage return may stand in a text.
    let plain = |c: char| matches!(c, '\t' | '\n' | '\r') || !c.is_ascii_control();
    let text: String = text.chars().map(|c| if plain(c) { c } else { ' ' }).collect();
    format!("{sign}{}{length}\x14{text}\x14\0", seconds(onset_s.abs())).into_bytes()
}

/// Seconds to the microsecond, without needless digits.
fn seconds(s: f64) -> String {
    let text = format!("{s:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
