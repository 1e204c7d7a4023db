//! What each of screening's reasons is worth: the same nights without it.

use engine::screen::Reason;

use crate::study::gather::gather;
use crate::study::night::Row;
use crate::study::results::{Ablation, Results, RuleRow};
use crate::study::run::{Options, Progress, run_each};
use crate::study::tally::rounded;

/// The tool as it is, then without each reason that is its own: what the file leaves out and what a person
/// says cannot be left out.
///
/// # Errors
/// As [`run_each`].
pub fn ablate(options: &Options, progress: Progress<'_>) -> Result<Vec<Ablation>, String> {
    let own = |reason: &Reason| !matches!(reason, Reason::Missing | Reason::ByPerson);
    let reasons = Reason::ALL.into_iter().filter(own).map(Some);
    let drops: Vec<Option<Reason>> = std::iter::once(None).chain(reasons).collect();
    let mut nights: Vec<_> =
        run_each(options, &drops, progress)?.into_iter().map(Vec::into_iter).collect();
    drops
        .into_iter()
        .map(|without| {
            let rows: Vec<Row> = nights.iter_mut().filter_map(Iterator::next).collect();
            Ok(row(&gather(&rows, &Options { without, ..*options })?))
        })
        .collect()
}

fn row(results: &Results) -> Ablation {
    let share = |what| {
        let share = results.share("second", "all", what);
        share.map_or(0.0, |share| rounded(share.value()))
    };
    let q95 = |id| results.errors(id, "all").map_or(0.0, |row| row.found.q95);
    let all = results.rule("all");
    let count = |of: fn(&RuleRow) -> u64| all.map_or(0, of);
    Ablation {
        without: results.without.clone().unwrap_or_else(|| "none".to_owned()),
        honest: share("honest believed"),
        caught: share("wrong and matters"),
        odi4_q95: q95("spo2.odi4"),
        below_90_q95: q95("spo2.time_below_90"),
        lowest_q95: q95("spo2.min"),
        sustained_q95: q95("tcpco2.sustained10"),
        highest_q95: q95("tcpco2.max"),
        contradicted: count(|rule| rule.contradicted.hit),
        against_unharmed: count(|rule| rule.against_unharmed.hit),
        cannot_tell: count(|rule| rule.cannot_tell.hit),
    }
}
