//! How much time SpO2 could have spent low in a short gap, by what stretches as long were seen to hold.
//!
//! The envelope alone would have a quarter of an hour's gap spent at its floor. On a night that is known,
//! a short gap is taken to hold, at or under any level, no more time than the most that any stretch as long
//! was seen to hold at or under the criteria's step above that level.

use std::ops::Range;

use crate::criteria::Criteria;
use crate::score::unseen::oxygen::{is_known, is_short};
use crate::stats::sort;
use crate::trace::Trace;

/// Whole per cents from 0 to 100.
const LEVELS: usize = 101;
/// The shortest stretch that is looked at; longer ones double, so that few are.
const SHORTEST_S: f64 = 30.0;

/// The lowest values that SpO2 may have taken in the period, in any order within a gap, %.
///
/// `lowest` is the lower side of its envelope; samples outside the period stay NaN.
pub fn least_numbers(trace: &Trace, lowest: &[f64], criteria: &Criteria) -> Vec<f64> {
    let mut least = lowest.to_vec();
    if !is_known(trace, criteria) {
        return least;
    }
    let deeper_pct = criteria.judge.spo2_gap_deeper_pct.value;
    let mut seen: Vec<(usize, [usize; LEVELS])> = Vec::new();
    let short = |gap: &Range<usize>| is_short(trace, gap, criteria);
    for gap in trace.runs(|i| !trace.believed[i]).into_iter().filter(short) {
        let mut numbers: Vec<f64> = gap.clone().map(|i| least[i]).filter(|x| !x.is_nan()).collect();
        sort(&mut numbers);
        let mut length = trace.samples_in(SHORTEST_S);
        while length < gap.len() {
            length *= 2;
        }
        if seen.last().is_none_or(|(known, _)| *known != length) {
            let known = seen.iter().position(|(known, _)| *known == length);
            let most = known.map_or_else(|| most_low(trace, length), |at| seen[at].1);
            seen.push((length, most));
        }
        if let Some((_, most)) = seen.last() {
            raise(&mut numbers, most, deeper_pct);
        }
        let inside = gap.filter(|&i| !lowest[i].is_nan());
        for (i, number) in inside.zip(numbers) {
            least[i] = number;
        }
    }
    least
}

/// Raises numbers in ascending order so that no more of them lie at or under a level than `most` allows
/// the step above it.
fn raise(numbers: &mut [f64], most: &[usize; LEVELS], deeper_pct: f64) {
    let mut level = 0;
    for (rank, number) in numbers.iter_mut().enumerate() {
        while level + 1 < LEVELS && most[level] <= rank {
            level += 1;
        }
        *number = number.max(level as f64 - deeper_pct);
    }
}

/// For each whole per cent the most believed samples of the period at or under it within `length` on end.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "believed SpO2 lies between 0 and 100"
)]
fn most_low(trace: &Trace, length: usize) -> [usize; LEVELS] {
    // A level above all stands for a sample that does not count.
    let level = |i: usize| {
        if trace.counts(i) { trace.values[i].ceil().clamp(0.0, 100.0) as usize } else { LEVELS }
    };
    let (mut now, mut most) = ([0_usize; LEVELS], [0_usize; LEVELS]);
    for i in 0..trace.len() {
        let entering = level(i);
        let leaving = i.checked_sub(length).map_or(LEVELS, level);
        if leaving < entering {
            now[leaving..entering].iter_mut().for_each(|count| *count -= 1);
        }
        for at in entering..leaving {
            now[at] += 1;
            most[at] = most[at].max(now[at]);
        }
    }
    most
}
