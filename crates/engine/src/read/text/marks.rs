//! Words in a file turned to marks.

use crate::read::text::rows::Event;
use crate::recording::{Author, Mark, MarkKind};

/// Words that tell a kind, looked for in this order.
const KINDS: [(MarkKind, &[&str]); 11] = [
    (MarkKind::LightsOut, &["lights out", "lights off", "light off", "light out"]),
    (MarkKind::LightsOn, &["lights on", "light on"]),
    (MarkKind::GasCheck, &["gas check", "calibrat"]),
    (MarkKind::BloodGas, &["blood gas"]),
    (MarkKind::Refitted, &["refit", "sensor moved", "new site", "site change"]),
    (MarkKind::Alarm, &["alarm"]),
    (MarkKind::Asleep, &["asleep", "fell asleep"]),
    (MarkKind::Awake, &["awake", "woke"]),
    (MarkKind::Up, &["toilet", "out of bed", "got up"]),
    (MarkKind::Oxygen, &["oxygen", "o2 on"]),
    (MarkKind::Support, &["ventilat", "support", "positive pressure"]),
];

/// The kind of mark that a few words tell; a free note when they tell none.
pub(crate) fn kind_of(text: &str) -> MarkKind {
    let lower = text.to_lowercase();
    let tells = |words: &&[&str]| words.iter().any(|word| lower.contains(word));
    KINDS.iter().find(|(_, words)| tells(words)).map_or(MarkKind::Note, |(kind, _)| *kind)
}

/// Marks from words in the rows; `time_s` gives a row's seconds from the start.
pub(super) fn marks(events: &[Event], period_s: f64, time_s: impl Fn(usize) -> f64) -> Vec<Mark> {
    let mut marks: Vec<Mark> = events
        .iter()
        .map(|event| {
            let (from_s, to_s) = (time_s(event.from), time_s(event.to));
            Mark {
                kind: kind_of(&event.text),
                start_s: from_s.min(to_s),
                end_s: (event.to > event.from).then_some(from_s.max(to_s) + period_s),
                text: event.text.clone(),
                author: Author::File,
            }
        })
        .collect();
    marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    marks
}
