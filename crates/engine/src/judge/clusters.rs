//! Clusters of falls: runs of falls close together, and the published children's score built on them.

use super::Answer;
use super::bench::Bench;
use super::outcome;
use super::outcome::Outcome;
use crate::criteria::Amount;
use crate::criteria::Test;
use crate::criteria::passes;
use crate::score::Fall;
use crate::time::Stretch;
use crate::unit::Unit;

/// Groups of at least `falls` falls whose nadirs all come within `within_s`; groups do not overlap.
///
/// Walking on from the first fall, a cluster opens where `falls` nadirs fit, and keeps each next fall
/// that still comes within `within_s` of the cluster's first.
pub(super) fn clusters(events: &[Fall], falls: usize, within_s: f64) -> Vec<Stretch> {
    let mut found = Vec::new();
    let mut from = 0;
    while from + falls <= events.len() {
        let first_s = events[from].nadir_s;
        if events[from + falls - 1].nadir_s - first_s > within_s {
            from += 1;
            continue;
        }
        let inside = events[from..].iter().take_while(|fall| fall.nadir_s - first_s <= within_s);
        let to = from + inside.count();
        found.push(Stretch::new(events[from].stretch.start_s, events[to - 1].stretch.end_s));
        from = to;
    }
    found
}

/// The children's score on falls of 4 % from the peak.
pub(super) fn outcome(test: &Test, bench: &Bench) -> Outcome {
    let Test::Clusters { falls, within_s, clusters: least, nadir, nadirs, baseline } = test else {
        return Outcome::untold(Unit::One, "not a test of clusters");
    };
    if bench.scores.value("spo2.odi4").is_none() {
        return Outcome::untold(Unit::One, "falls could not be counted");
    }
    let events = bench.falls("spo2.odi4");
    let found = clusters(events, *falls, *within_s);
    let low = events.iter().filter(|fall| nadir.passed_by(fall.nadir_pct)).count();
    let hidden = hidden(bench, *falls, *within_s);
    let both = |clusters: usize, low: usize| reaches(clusters, least) && reaches(low, nadirs);
    let stable = bench.scores.value("spo2.median").is_some_and(|median| baseline.passed_by(median));
    let answer = match outcome::answer(
        both(found.len(), low),
        both(found.len().max(hidden.clusters), low + hidden.falls),
    ) {
        // The published texts call a night negative only on few low falls and a stable baseline.
        Answer::NotMet if reaches(low, nadirs) || !stable => Answer::CannotTell,
        answer => answer,
    };
    let seen = format!("{} clusters and {low} falls to below {} %", found.len(), nadir.level);
    Outcome {
        answer,
        margin: margin(answer, found.len(), low, least, nadirs),
        unit: Unit::One,
        scale: 1.0,
        stretches: match answer {
            Answer::Met => found,
            Answer::NotMet => Vec::new(),
            Answer::CannotTell => {
                bench.hidden_falls("spo2.odi4").into_iter().map(|(gap, _)| gap).collect()
            }
        },
        because: match answer {
            Answer::CannotTell if hidden.falls == 0 => {
                format!("{seen}; the published texts do not decide this case")
            }
            _ => seen,
        },
    }
}

/// How many more or fewer clusters or falls would flip the answer.
fn margin(
    answer: Answer,
    clusters: usize,
    low: usize,
    least: &Amount,
    nadirs: &Amount,
) -> Option<f64> {
    let (by_clusters, by_nadirs) = (clusters as f64 - least.value, low as f64 - nadirs.value);
    match answer {
        Answer::Met => Some(by_clusters.min(by_nadirs) + 1.0),
        Answer::NotMet => Some(-by_nadirs),
        Answer::CannotTell => None,
    }
}

fn reaches(count: usize, amount: &Amount) -> bool {
    passes(count as f64 - amount.value, amount.strict)
}

/// What the unseen could hide at most.
struct Hidden {
    falls: usize,
    clusters: usize,
}

/// The rate's own upper bound tells how many falls could hide. Laid into the gaps that could hide them,
/// beside those seen, they make at most so many clusters.
fn hidden(bench: &Bench, falls: usize, within_s: f64) -> Hidden {
    let seen = bench.falls("spo2.odi4");
    let gaps = bench.hidden_falls("spo2.odi4");
    let mut nadirs: Vec<f64> = seen.iter().map(|fall| fall.nadir_s).collect();
    for (gap, most) in &gaps {
        // Where in a long gap a fall may have been is not known: it counts at either end.
        let ends = [Some(gap.start_s), (gap.length_s() > APART_S).then_some(gap.end_s)];
        nadirs.extend(ends.into_iter().flatten().flat_map(|at_s| std::iter::repeat_n(at_s, *most)));
    }
    nadirs.sort_by(f64::total_cmp);
    Hidden {
        falls: gaps.iter().map(|(_, most)| most).sum(),
        clusters: most_clusters(&nadirs, falls, within_s + APART_S),
    }
}

/// A gap no longer than this is one moment, s.
const APART_S: f64 = 60.0;

/// The most groups of `falls` nadirs in order of time, each within `within_s`, that can be made.
fn most_clusters(nadirs: &[f64], falls: usize, within_s: f64) -> usize {
    let (mut made, mut from) = (0, 0);
    while falls > 0 && from + falls <= nadirs.len() {
        if nadirs[from + falls - 1] - nadirs[from] <= within_s {
            made += 1;
            from += falls;
        } else {
            from += 1;
        }
    }
    made
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_as_many_as_fit_and_share_no_fall() {
        let nadirs = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 4000.0, 9000.0, 9001.0, 9002.0];
        assert_eq!(most_clusters(&nadirs, 3, 60.0), 3);
        assert_eq!(most_clusters(&nadirs, 5, 60.0), 1);
        assert_eq!(most_clusters(&nadirs, 3, 5.0), 1);
        assert_eq!(most_clusters(&[], 3, 60.0), 0);
    }
}
