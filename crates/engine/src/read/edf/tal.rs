//! Time-stamped annotation lists: the texts and the times inside an annotation signal.
//!
//! # Sources
//! `kemp-2003` sections 2.2.2 to 2.2.4.

/// Between onset and duration (EDF+ 2.2.2).
const DURATION: u8 = 0x15;
/// After the onset, or the duration, and after each text (EDF+ 2.2.2).
const TEXT: u8 = 0x14;
/// A time more than a month off is a damaged number.
const FURTHEST_S: f64 = 31.0 * 86_400.0;

/// One annotation as the file wrote it.
#[derive(Clone, Debug, PartialEq)]
pub struct Annotation {
    /// Seconds from the start time in the header.
    pub onset_s: f64,
    /// How long, in seconds; `None` when not told.
    pub duration_s: Option<f64>,
    /// The text; never empty.
    pub text: String,
}

/// What the annotation bytes of one data record tell.
#[derive(Debug, Default)]
pub(super) struct Lists {
    pub(super) annotations: Vec<Annotation>,
    /// Onset of the first list, when it is the time-keeper: its first text empty (EDF+ 2.2.4).
    pub(super) record_s: Option<f64>,
    /// Lists that could not be understood.
    pub(super) damaged: usize,
    /// Texts that were not UTF-8 (EDF+ 2.2.3).
    pub(super) not_utf8: usize,
}

/// Reads the annotation bytes of one signal in one data record.
pub(super) fn parse(bytes: &[u8]) -> Lists {
    let mut lists = Lists::default();
    let filled = bytes.split(|byte| *byte == 0).filter(|list| !list.is_empty());
    for (index, list) in filled.enumerate() {
        if parse_list(list, index == 0, &mut lists).is_none() {
            lists.damaged += 1;
        }
    }
    lists
}

fn parse_list(list: &[u8], first: bool, lists: &mut Lists) -> Option<()> {
    let mut parts = list.split(|byte| *byte == TEXT);
    let mut stamp = parts.next()?.split(|byte| *byte == DURATION);
    let onset_s = seconds(stamp.next()?, true)?;
    let duration_s = match stamp.next() {
        Some(text) => Some(seconds(text, false)?),
        None => None,
    };
    let texts: Vec<&[u8]> = parts.collect();
    // Each text ends with its own mark, so that the last part is empty in a whole list.
    let (rest, texts) = texts.split_last()?;
    if stamp.next().is_some() || !rest.is_empty() {
        return None;
    }
    if first && texts.first().is_some_and(|text| text.is_empty()) {
        lists.record_s = Some(onset_s);
    }
    for text in texts.iter().filter(|text| !text.is_empty()) {
        let words = String::from_utf8_lossy(text);
        lists.not_utf8 += usize::from(std::str::from_utf8(text).is_err());
        lists.annotations.push(Annotation { onset_s, duration_s, text: words.into_owned() });
    }
    Some(())
}

/// Seconds written with digits and a dot; an onset has a sign, a duration has none (EDF+ 2.2.2).
fn seconds(bytes: &[u8], signed: bool) -> Option<f64> {
    let digits =
        if signed { bytes.strip_prefix(b"+").or_else(|| bytes.strip_prefix(b"-"))? } else { bytes };
    if digits.is_empty() || !digits.iter().all(|b| b.is_ascii_digit() || *b == b'.') {
        return None;
    }
    std::str::from_utf8(bytes).ok()?.parse::<f64>().ok().filter(|s| s.abs() <= FURTHEST_S)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The examples of EDF+ 2.2.2: two texts at one onset in 28 bytes, and an onset with a duration.
    #[test]
    fn the_examples_of_the_specification_are_read() {
        let list = b"+180\x14Lights off\x14Close door\x14\0";
        assert_eq!(list.len(), 28);
        let lists = parse(list);
        let texts: Vec<&str> = lists.annotations.iter().map(|a| a.text.as_str()).collect();
        assert_eq!(texts, ["Lights off", "Close door"]);
        let apnoea = parse(b"+1800.2\x1525.5\x14Apnea\x14\0");
        let expected = Annotation { onset_s: 1800.2, duration_s: Some(25.5), text: "Apnea".into() };
        assert_eq!(apnoea.annotations, [expected]);
    }

    #[test]
    fn a_list_cut_short_is_counted_and_the_next_is_read() {
        let lists = parse(b"+0\x14\x14\0+5\x14cut\0no stamp\x14x\x14\0+9\x14whole\x14\0\0");
        assert_eq!((lists.record_s, lists.damaged), (Some(0.0), 2));
        assert_eq!(lists.annotations.len(), 1);
    }
}
