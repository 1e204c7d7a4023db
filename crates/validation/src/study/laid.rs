//! Gaps laid over nights of which everything is known: do the bounds on SpO2 in a gap hold?
//!
//! The monitor's own unharmed recording is judged whole, then once more with gaps laid over SpO2. An answer
//! that opens is the price of a gap; one that is turned round shows that a bound was too tight.

use engine::correct::correct;
use engine::criteria::Criteria;
use engine::judge::{Answer, judge};
use engine::recording::{Channel, Quantity};
use engine::score::score;
use engine::screen::Screened;

use crate::study::draw::Draw;
use crate::study::night::channels;

/// How gaps are laid.
pub const WAYS: [&str; 2] =
    ["over 8 % of the night by chance", "over the quarter of an hour with the lowest mean"];

/// The share of the night that gaps laid by chance may cover.
const SHARE: f64 = 0.08;
/// The shortest gap, s.
const SHORTEST_S: f64 = 10.0;
/// The longest, s: half an hour, the longest that the shipped criteria bound.
const LONGEST_S: f64 = 1800.0;
/// The length of the gap over the lowest, s.
const LOWEST_S: f64 = 900.0;

/// What became of the answers about SpO2 that the whole night gives.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Laid {
    /// Answers met or not met on the whole night.
    pub told: u64,
    /// Of those, cannot tell with the gaps.
    pub opened: u64,
    /// Of those, the opposite with the gaps.
    pub turned: u64,
}

/// Lays gaps over a night in each of [`WAYS`].
pub fn lay(whole: &Screened, criteria: &Criteria, seed: u64) -> [Laid; 2] {
    let Some(channel) = whole.recording.channel(Quantity::Spo2) else { return Default::default() };
    let before = answers(whole.clone(), criteria);
    let ways = [by_chance(channel, &mut Draw::new(seed)), vec![lowest(channel)]];
    ways.map(|gaps| {
        let mut night = whole.clone();
        for judged in night.channels.iter_mut().filter(|c| c.quantity == Quantity::Spo2) {
            for &(from, to) in &gaps {
                let to = to.min(judged.believed.len());
                judged.believed[from.min(to)..to].fill(false);
            }
        }
        let mut laid = Laid::default();
        for (before, after) in before.iter().zip(answers(night, criteria)) {
            if *before != Answer::CannotTell {
                laid.told += 1;
                laid.opened += u64::from(after == Answer::CannotTell);
                laid.turned += u64::from(after != Answer::CannotTell && after != *before);
            }
        }
        laid
    })
}

/// The answers of the rules that look at SpO2 alone.
fn answers(night: Screened, criteria: &Criteria) -> Vec<Answer> {
    let alone = |test| channels(test).iter().all(|&quantity| quantity == Quantity::Spo2);
    let judged = judge(score(correct(night, criteria), criteria), criteria);
    let rules = judged.rules.iter().zip(&criteria.rules);
    rules.filter(|(_, rule)| alone(&rule.test)).map(|(answer, _)| answer.answer).collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a non-negative count of samples in a night"
)]
fn samples(channel: &Channel, seconds: f64) -> usize {
    (seconds / channel.period_s).round() as usize
}

/// Gaps whose lengths spread evenly over their logarithm, until the share is used up.
fn by_chance(channel: &Channel, draw: &mut Draw) -> Vec<(usize, usize)> {
    let night_s = channel.samples.len() as f64 * channel.period_s;
    let mut left_s = SHARE * night_s;
    let mut gaps = Vec::new();
    loop {
        let length_s = SHORTEST_S * (LONGEST_S / SHORTEST_S).powf(draw.unit());
        if length_s > left_s {
            return gaps;
        }
        left_s -= length_s;
        let from = samples(channel, draw.unit() * night_s);
        gaps.push((from, from + samples(channel, length_s)));
    }
}

fn lowest(channel: &Channel) -> (usize, usize) {
    let width = samples(channel, LOWEST_S).min(channel.samples.len());
    let mut sum: f64 = channel.samples[..width].iter().sum();
    let (mut least, mut from) = (sum, 0);
    for to in width..channel.samples.len() {
        sum += channel.samples[to] - channel.samples[to - width];
        if sum < least {
            (least, from) = (sum, to + 1 - width);
        }
    }
    (from, from + width)
}
