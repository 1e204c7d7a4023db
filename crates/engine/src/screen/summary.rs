//! What screening found, in a sentence for each channel: how much of the period is not believed, and why.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Channel;
use crate::screen::{ChannelScreen, Period, Reason};

/// The share of the period that is not believed, each sample counted under one reason.
pub(super) fn finding(
    channel: &Channel,
    screen: &ChannelScreen,
    period: &Period,
) -> Option<Finding> {
    let mut inside = vec![false; channel.samples.len()];
    for stretch in &period.stretches {
        inside[channel.indices(stretch)].fill(true);
    }
    let total = count(&inside, |i| inside[i]);
    if total == 0 {
        return None;
    }
    let doubted = count(&inside, |i| inside[i] && !screen.believed[i]);
    if doubted == 0 {
        return None;
    }
    let share = |n: usize| percent(n as f64 / total as f64 * 100.0);
    let reasons: Vec<String> = by_reason(channel, screen, &inside)
        .into_iter()
        .map(|(reason, n)| format!("{} {}", reason.words(), share(n)))
        .collect();
    let name = channel.quantity.name();
    let reasons = reasons.join(", ");
    Some(if doubted == total {
        let sentence = format!("No sample of {name} in the period can be believed: {reasons}.");
        Finding::new("nothing_believed", Weight::Serious, sentence).on(channel.id.as_str())
    } else {
        let sentence =
            format!("{} of {name} in the period is not believed: {reasons}.", share(doubted));
        Finding::new("share_not_believed", Weight::Note, sentence).on(channel.id.as_str())
    })
}

/// Unbelieved samples by reason, the commonest first; one under several counts for the first in order.
fn by_reason(channel: &Channel, screen: &ChannelScreen, inside: &[bool]) -> Vec<(Reason, usize)> {
    let mut left: Vec<bool> = (0..inside.len()).map(|i| inside[i] && !screen.believed[i]).collect();
    let mut counts = Vec::new();
    for reason in Reason::ALL {
        let mut n = 0;
        for span in screen.spans.iter().filter(|span| span.reason == reason) {
            for i in channel.indices(&span.stretch) {
                n += usize::from(std::mem::take(&mut left[i]));
            }
        }
        if n > 0 {
            counts.push((reason, n));
        }
    }
    counts.sort_by_key(|&(_, n)| std::cmp::Reverse(n));
    counts
}

fn count(of: &[bool], keep: impl Fn(usize) -> bool) -> usize {
    (0..of.len()).filter(|&i| keep(i)).count()
}

/// A share as a person writes it: never a bare 0 for something, nor 100 for less than all.
fn percent(share: f64) -> String {
    match share {
        s if s < 1.0 => "under 1 %".to_owned(),
        s if s > 99.0 && s < 100.0 => "over 99 %".to_owned(),
        s => format!("{s:.0} %"),
    }
}
