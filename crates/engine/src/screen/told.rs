//! `motion`, `leak`, `calibrating`, `off`: told in words by a note of the file or the diary.
//!
//! A note counts only when it has an end: without one nobody knows what it covers, and a finding says
//! so. Alarms are not reasons: an alarm is often the true fall itself. "Leak" alone is not taken as
//! the sensor's, because a mask leaks too, and
//! "movement" alone may be a limb's. English words only.
//!
//! Source: the person or monitor that wrote the note. Age: the same at every age.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Author, Mark, MarkKind, Quantity};
use crate::screen::Reason;
use crate::screen::look::Look;
use crate::time::Stretch;

const OXIMETER: &[Quantity] = &[Quantity::Spo2, Quantity::Pulse];
const CO2: &[Quantity] = &[Quantity::Tcpco2];
const BOTH: &[Quantity] = &[Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

const WORDS: [(&str, Reason, &[Quantity]); 12] = [
    ("probe off", Reason::Off, BOTH),
    ("sensor off", Reason::Off, BOTH),
    ("sensor removed", Reason::Off, BOTH),
    ("clip off", Reason::Off, BOTH),
    ("motion art", Reason::Motion, OXIMETER),
    ("movement art", Reason::Motion, OXIMETER),
    ("sensor moved", Reason::Motion, OXIMETER),
    ("air under", Reason::Leak, CO2),
    ("sensor leak", Reason::Leak, CO2),
    ("sensor loose", Reason::Leak, CO2),
    ("clip slipped", Reason::Leak, CO2),
    ("calibrat", Reason::Calibrating, CO2),
];

/// What a note says of some channels.
pub(super) struct Told {
    pub(super) stretch: Stretch,
    pub(super) reason: Reason,
    pub(super) quantities: &'static [Quantity],
    pub(super) author: Author,
}

/// What the notes say, and a finding for each that cannot be used.
pub(super) fn find(look: &Look) -> (Vec<Told>, Vec<Finding>) {
    let (mut told, mut findings) = (Vec::new(), Vec::new());
    for mark in look.marks.iter().filter(|mark| mark.kind == MarkKind::Note) {
        let text = mark.text.to_lowercase();
        let Some(&(_, reason, quantities)) =
            WORDS.iter().find(|(words, _, _)| text.contains(words))
        else {
            continue;
        };
        match mark.end_s.filter(|&end_s| end_s > mark.start_s) {
            Some(end_s) => {
                let stretch = Stretch::new(mark.start_s, end_s);
                told.push(Told { stretch, reason, quantities, author: mark.author.clone() });
            }
            None => findings.push(without_end(mark)),
        }
    }
    (told, findings)
}

fn without_end(mark: &Mark) -> Finding {
    Finding::new(
        "note_without_end",
        Weight::Note,
        format!(
            "The note \"{}\" has no end, so nothing was excluded for it. Exclude the stretch by \
             hand if it matters.",
            mark.text
        ),
    )
    .at(Stretch::new(mark.start_s, mark.start_s))
}
