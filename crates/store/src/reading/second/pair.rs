//! Two readings of one night beside each other.

use engine::judge::Judgement;
use engine::recording::Quantity;
use engine::score::Figure;

use crate::intake::scoring::believed_h;
use crate::reading::second::BELIEVED_H;
use crate::reading::second::FIGURES;
use crate::record::tables::Pair;

/// Channels whose belief is held against each other.
const CHANNELS: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// Two judgements of one recording beside each other.
pub(super) fn pair(first: i64, unlike: Option<String>, one: &Judgement, two: &Judgement) -> Pair {
    let both = [one, two];
    let answers = one.rules.iter().filter_map(|rule| {
        let other = two.rules.iter().find(|other| other.id == rule.id)?;
        let ids = [rule.answer.id().to_owned(), other.answer.id().to_owned()];
        Some((rule.asks.clone(), ids))
    });
    Pair {
        engine: engine::ENGINE.to_owned(),
        first,
        unlike,
        verdict: both.map(|judgement| judgement.verdict.decision.id().to_owned()),
        rules: answers.collect(),
        figures: FIGURES.map(|id| (id.to_owned(), both.map(|one| figure(one, id)))).to_vec(),
        seconds: CHANNELS.iter().filter_map(|channel| seconds(one, two, *channel)).collect(),
    }
}

fn figure(judgement: &Judgement, id: &str) -> Option<f64> {
    if id == BELIEVED_H {
        return Some(believed_h(judgement));
    }
    let measure = judgement.scores.measures.iter().find(|measure| measure.id == id)?;
    match measure.figure {
        Figure::Given { value, .. } => Some(value),
        Figure::Absent(_) => None,
    }
}

/// Seconds of a channel that lie in either reading's period, by who believes them.
fn seconds(one: &Judgement, two: &Judgement, channel: Quantity) -> Option<(String, [f64; 4])> {
    let of = |judgement: &Judgement| judgement.scores.corrected.screened.trace(channel);
    let (one, two) = (of(one)?, of(two)?);
    let mut sums = [0.0; 4];
    for at in 0..one.len().min(two.len()) {
        if one.inside[at] || two.inside[at] {
            let class = match (one.counts(at), two.counts(at)) {
                (true, true) => 0,
                (true, false) => 1,
                (false, true) => 2,
                (false, false) => 3,
            };
            sums[class] += one.period_s;
        }
    }
    Some((channel.id().to_owned(), sums))
}
