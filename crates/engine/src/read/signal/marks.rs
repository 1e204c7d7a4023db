//! The texts of annotations and the marks they are, both ways.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Author;
use crate::recording::Mark;
use crate::recording::MarkKind;

/// Words of annotations and the marks they are: the standard texts of EDF+ first, then ours for what
/// has none. Words after a colon are the mark's own.
const TEXTS: [(&str, MarkKind); 14] = [
    ("Lights off", MarkKind::LightsOut),
    ("Lights on", MarkKind::LightsOn),
    ("Sleep stage W", MarkKind::Awake),
    ("Lights out", MarkKind::LightsOut),
    ("Asleep", MarkKind::Asleep),
    ("Awake", MarkKind::Awake),
    ("Out of bed", MarkKind::Up),
    ("Sensor refitted", MarkKind::Refitted),
    ("Oxygen", MarkKind::Oxygen),
    ("Support", MarkKind::Support),
    ("Alarm", MarkKind::Alarm),
    ("Gas check", MarkKind::GasCheck),
    ("Blood gas", MarkKind::BloodGas),
    ("Note", MarkKind::Note),
];

/// Sleep stages as EDF+ writes them, the older numbers too; all are sleep.
const ASLEEP: [&str; 9] = ["N1", "N2", "N3", "N", "R", "1", "2", "3", "4"];

/// The mark an annotation's text means; a text that is not known is a note in its own words.
pub(in crate::read) fn mark(text: &str, start_s: f64, end_s: Option<f64>) -> Mark {
    let (kind, text) = meaning(text);
    Mark { kind, start_s, end_s, text, author: Author::File }
}

fn meaning(text: &str) -> (MarkKind, String) {
    let text = text.trim();
    let (head, tail) = text.split_once(':').map_or((text, ""), |(head, tail)| (head, tail.trim()));
    if let Some((_, kind)) = TEXTS.iter().find(|(words, _)| words.eq_ignore_ascii_case(head)) {
        return (*kind, tail.to_owned());
    }
    let stage = text.strip_prefix("Sleep stage ").is_some_and(|stage| ASLEEP.contains(&stage));
    (if stage { MarkKind::Asleep } else { MarkKind::Note }, text.to_owned())
}

/// Marks that lie outside the recording are kept, and told.
pub(in crate::read) fn note_marks_outside(
    marks: &[Mark],
    duration_s: f64,
    findings: &mut Vec<Finding>,
) {
    let end_s = |mark: &Mark| mark.end_s.unwrap_or(mark.start_s);
    let inside = |mark: &&Mark| mark.start_s >= 0.0 && end_s(mark) <= duration_s + 1e-6;
    let outside = marks.len() - marks.iter().filter(inside).count();
    if outside > 0 {
        let sentence = format!(
            "{outside} of {} annotations lie outside the recording, or end after it.",
            marks.len()
        );
        findings.push(Finding::new("mark_outside", Weight::Note, sentence));
    }
}

/// The text that an annotation gives a mark; the reader gives the mark back.
pub fn text_of(mark: &Mark) -> String {
    let own = meaning(&mark.text);
    if own == (mark.kind, mark.text.clone()) {
        return mark.text.clone();
    }
    let words =
        TEXTS.iter().find(|(_, kind)| *kind == mark.kind).map_or("Note", |(words, _)| words);
    if mark.text.is_empty() { words.to_owned() } else { format!("{words}: {}", mark.text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mark_reads_back_from_its_text() {
        for kind in MarkKind::ALL {
            for text in ["", "2 L/min", "asleep, I think"] {
                let mark_before = Mark {
                    kind,
                    start_s: 1.0,
                    end_s: None,
                    text: text.to_owned(),
                    author: Author::File,
                };
                assert_eq!(mark(&text_of(&mark_before), 1.0, None), mark_before);
            }
        }
        assert_eq!(meaning("Sleep stage N2"), (MarkKind::Asleep, "Sleep stage N2".into()));
        assert_eq!(meaning("Sleep stage W"), (MarkKind::Awake, String::new()));
    }
}
