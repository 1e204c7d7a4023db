//! `by_person`: what a person reading the night excluded or put back.
//!
//! Edits are applied in the order in which they were made, so a later one wins. Putting back makes a
//! sample believed whatever the tool found; the tool's span stays listed. A missing sample can never be
//! believed.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::Edit;
use crate::recording::{Author, Channel, Quantity};
use crate::screen::{Reason, Span, span};

/// Applies the edits of one channel to its belief and lists the exclusions among its spans.
pub(super) fn apply(
    edits: &[Edit],
    channel: &Channel,
    spans: &mut Vec<Span>,
    believed: &mut [bool],
) {
    for edit in edits.iter().filter(|edit| edit.quantity == channel.quantity) {
        let run = channel.indices(&edit.stretch);
        for i in run.clone() {
            believed[i] = edit.believe && channel.samples[i].is_finite();
        }
        if !edit.believe && !run.is_empty() {
            let author = Author::Person(edit.author.clone());
            spans.push(span(channel, &run, Reason::ByPerson, author));
        }
    }
}

/// The edits that touch no sample.
pub(super) fn findings(edits: &[Edit], channels: &[&Channel]) -> Vec<Finding> {
    let misses = |edit: &&Edit| {
        let channel = channels.iter().find(|channel| channel.quantity == edit.quantity);
        channel.is_none_or(|channel| channel.indices(&edit.stretch).is_empty())
    };
    edits.iter().filter(misses).map(nothing_touched).collect()
}

fn nothing_touched(edit: &Edit) -> Finding {
    let name = Quantity::name(edit.quantity);
    let author = &edit.author;
    Finding::new(
        "edit_without_samples",
        Weight::Caution,
        format!("The judgement of {author} on {name} covers no sample of this night."),
    )
    .on(edit.quantity.id())
    .at(edit.stretch)
}
