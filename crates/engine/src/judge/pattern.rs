//! Patterns: what the night looks like, in words with numbers. Described, never diagnosed; several may
//! stand together (in one series of lung disease they overlapped in half the nights,
//! `copd-patterns-2021`).

use std::fmt::Write as _;

use super::Pattern;
use super::bench::Bench;
use super::clusters::clusters;
use super::words::level_words;
use crate::criteria::Criteria;
use crate::criteria::Side;
use crate::criteria::Threshold;
use crate::recording::MarkKind;
use crate::recording::Quantity;
use crate::stats;
use crate::time::Stretch;
use crate::time::total_s;
use crate::trace::Trace;
use crate::unit::Unit;

mod cycle;

/// The patterns that this night shows, in a fixed order.
pub(super) fn patterns(bench: &Bench, criteria: &Criteria) -> Vec<Pattern> {
    let repetitive = repetitive(bench, criteria);
    let sustained = sustained(bench, criteria);
    let falls = repetitive.is_some() || sustained.is_some();
    [
        repetitive,
        sustained,
        clustered(bench, criteria),
        baseline_low(bench, criteria),
        co2_rise(bench, criteria, falls),
        co2_rise_on_oxygen(bench, criteria),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Falls that come again and again, with how regular they are.
fn repetitive(bench: &Bench, criteria: &Criteria) -> Option<Pattern> {
    let least = criteria.judge.repetitive_per_h.value;
    let rate = bench.scores.value("spo2.odi4").filter(|rate| *rate >= least)?;
    let trace = &bench.lane(Quantity::Spo2)?.trace;
    let events = bench.falls("spo2.odi4");
    let mut spacing_s: Vec<f64> =
        events.windows(2).map(|pair| pair[1].nadir_s - pair[0].nadir_s).collect();
    spacing_s.sort_unstable_by(f64::total_cmp);
    let quartile = |percent| stats::percentile(&spacing_s, percent);
    let (low_s, middle_s, high_s) = (quartile(25.0)?, quartile(50.0)?, quartile(75.0)?);
    let stretches: Vec<Stretch> = events.iter().map(|fall| fall.stretch).collect();
    let share = 100.0 * total_s(&stretches) / trace.believed_s();
    let mut sentence = format!(
        "SpO2 falls by 4 % or more {rate:.0} times an hour, one nadir {middle_s:.0} s after the other (half of them {low_s:.0} to {high_s:.0} s); {share:.0} % of believed time is spent in falls."
    );
    let mut figures = vec![
        ("rate", rate, Unit::PerHour),
        ("median_spacing", middle_s, Unit::Second),
        ("share_of_time", share, Unit::Percent),
    ];
    if let Some(cycle) = cycle::cycle(trace) {
        let _ = write!(
            sentence,
            " The strongest cycle is {:.0} s long; {:.0} % of the swing lies between 20 and 100 s.",
            cycle.length_s, cycle.share_pct
        );
        figures.push(("cycle_length", cycle.length_s, Unit::Second));
        figures.push(("cyclic_share", cycle.share_pct, Unit::Percent));
    }
    Some(Pattern { id: "repetitive_falls", sentence, figures, stretches })
}

/// Long runs of low saturation.
fn sustained(bench: &Bench, criteria: &Criteria) -> Option<Pattern> {
    let trace = &bench.lane(Quantity::Spo2)?.trace;
    let below = Threshold { level: 90.0, side: Side::Below, strict: true };
    let least = trace.samples_in(criteria.judge.sustained_s.value);
    let mut runs = trace.runs(|i| trace.counts(i) && below.passed_by(trace.values[i]));
    runs.retain(|run| run.len() >= least);
    let stretches: Vec<Stretch> =
        runs.iter().map(|run| trace.stretch(run.start, run.end)).collect();
    let longest_s = stretches.iter().map(Stretch::length_s).reduce(f64::max)?;
    let whole_s = total_s(&stretches);
    Some(Pattern {
        id: "sustained_low",
        sentence: format!(
            "SpO2 stays below 90 % for {:.0} min or longer at a time, {:.0} min in all, {:.0} min at the longest.",
            criteria.judge.sustained_s.value / 60.0,
            whole_s / 60.0,
            longest_s / 60.0
        ),
        figures: vec![("total", whole_s, Unit::Second), ("longest", longest_s, Unit::Second)],
        stretches,
    })
}

/// Falls in clusters, with what lies between them.
fn clustered(bench: &Bench, criteria: &Criteria) -> Option<Pattern> {
    let judge = &criteria.judge;
    let falls = rounded(judge.cluster_falls.value);
    let found = clusters(bench.falls("spo2.odi4"), falls, judge.cluster_within_s.value);
    let apart: Vec<Stretch> = apart(&found, judge.cluster_within_s.value);
    if apart.len() < 2 {
        return None;
    }
    let spacing: Vec<f64> =
        apart.windows(2).map(|pair| (pair[1].start_s - pair[0].start_s) / 60.0).collect();
    let spacing_min = median_of(spacing)?;
    // Sleep cycles last about 90 minutes; an oximeter cannot stage sleep, so no more than this is said.
    let like_rem = if (60.0..=130.0).contains(&spacing_min) {
        "; such spacing is compatible with REM sleep, which this recording does not measure"
    } else {
        ""
    };
    let mut sentence = format!(
        "Falls come in {} separate clusters, about {spacing_min:.0} min from one to the next{like_rem}.",
        apart.len()
    );
    let mut figures = vec![
        ("clusters", apart.len() as f64, Unit::One),
        ("median_spacing", spacing_min * 60.0, Unit::Second),
    ];
    if let Some(rise_kpa) = rise_in_clusters(bench, &apart) {
        let rise = level_words(Quantity::Tcpco2, rise_kpa);
        let _ = write!(
            sentence,
            " CO2 rises by {rise} from before a cluster to its end, at the median."
        );
        figures.push(("co2_rise", rise_kpa, Unit::Kilopascal));
    }
    Some(Pattern { id: "clusters", sentence, figures, stretches: apart })
}

/// The median change of CO2 from the ten minutes before a cluster to the five that follow it: the sensor
/// trails the blood by minutes, so a cluster's effect shows at its end.
fn rise_in_clusters(bench: &Bench, clusters: &[Stretch]) -> Option<f64> {
    let trace = &bench.lane(Quantity::Tcpco2)?.trace;
    let rises: Vec<f64> = clusters
        .iter()
        .filter_map(|cluster| {
            let before = level_in(trace, Stretch::new(cluster.start_s - 600.0, cluster.start_s))?;
            let after = level_in(trace, Stretch::new(cluster.end_s, cluster.end_s + 300.0))?;
            Some(after - before)
        })
        .collect();
    median_of(rises)
}

/// Clusters that follow each other within `within_s` are one.
fn apart(found: &[Stretch], within_s: f64) -> Vec<Stretch> {
    let mut apart: Vec<Stretch> = Vec::new();
    for stretch in found {
        match apart.last_mut() {
            Some(last) if stretch.start_s - last.end_s < within_s => last.end_s = stretch.end_s,
            _ => apart.push(*stretch),
        }
    }
    apart
}

/// A low level between the falls.
fn baseline_low(bench: &Bench, criteria: &Criteria) -> Option<Pattern> {
    let trace = &bench.lane(Quantity::Spo2)?.trace;
    let mut between = trace.inside.clone();
    for fall in bench.falls("spo2.odi4") {
        let range =
            crate::recording::indices(trace.offset_s, trace.period_s, trace.len(), &fall.stretch);
        between[range].fill(false);
    }
    let levels: Vec<f64> = (0..trace.len())
        .filter(|&i| between[i] && trace.believed[i])
        .map(|i| trace.values[i])
        .collect();
    let level = median_of(levels).filter(|level| *level < criteria.judge.baseline_low_pct.value)?;
    Some(Pattern {
        id: "baseline_low",
        sentence: format!("Between falls SpO2 lies at {level:.0} %, a low baseline."),
        figures: vec![("median_between_falls", level, Unit::Percent)],
        stretches: Vec::new(),
    })
}

/// CO2 risen above awake, with or without falls of oxygen.
fn co2_rise(bench: &Bench, criteria: &Criteria, falls: bool) -> Option<Pattern> {
    let rise_kpa = bench
        .scores
        .value("tcpco2.rise")
        .filter(|rise| *rise >= criteria.judge.co2_rise_kpa.value)?;
    let (id, with) = if falls {
        ("co2_rise_with_falls", "with falls of SpO2")
    } else {
        ("co2_rise_without_falls", "without falls of SpO2")
    };
    Some(Pattern {
        id,
        sentence: format!(
            "CO2 rises by {} above its level awake, {with}.",
            level_words(Quantity::Tcpco2, rise_kpa)
        ),
        figures: vec![("rise", rise_kpa, Unit::Kilopascal)],
        stretches: Vec::new(),
    })
}

/// The largest rise of a trace of CO2 after a start of oxygen, and when that was.
pub(super) fn rise_on_oxygen(bench: &Bench, trace: &Trace) -> Option<(f64, f64)> {
    let screened = &bench.scores.corrected.screened;
    let marks = screened.recording.marks.iter().chain(&screened.notes.marks);
    marks
        .filter(|mark| mark.kind == MarkKind::Oxygen)
        .filter_map(|mark| {
            // A quarter of an hour before; half an hour after, once stores have had half an hour to fill.
            let before = level_in(trace, Stretch::new(mark.start_s - 900.0, mark.start_s))?;
            let after =
                level_in(trace, Stretch::new(mark.start_s + 1800.0, mark.start_s + 3600.0))?;
            Some((mark.start_s, after - before))
        })
        .reduce(|a, b| if b.1 > a.1 { b } else { a })
}

/// CO2 higher after oxygen starts than before.
fn co2_rise_on_oxygen(bench: &Bench, criteria: &Criteria) -> Option<Pattern> {
    let screened = &bench.scores.corrected.screened;
    let (at_s, rise_kpa) = rise_on_oxygen(bench, &bench.lane(Quantity::Tcpco2)?.trace)?;
    if rise_kpa < criteria.judge.co2_rise_kpa.value {
        return None;
    }
    Some(Pattern {
        id: "co2_rise_after_oxygen",
        sentence: format!(
            "CO2 is {} higher from half an hour after oxygen starts at {}; SpO2 on oxygen says nothing about CO2.",
            level_words(Quantity::Tcpco2, rise_kpa),
            screened.recording.clock.label(at_s, false)
        ),
        figures: vec![("rise", rise_kpa, Unit::Kilopascal)],
        stretches: vec![Stretch::new(at_s, at_s + 3600.0)],
    })
}

/// The median of believed values in a stretch that is at least half believed.
fn level_in(trace: &Trace, stretch: Stretch) -> Option<f64> {
    let range = crate::recording::indices(trace.offset_s, trace.period_s, trace.len(), &stretch);
    let values: Vec<f64> = range.filter(|&i| trace.believed[i]).map(|i| trace.values[i]).collect();
    let enough = values.len() as f64 * trace.period_s >= stretch.length_s() / 2.0;
    if enough { median_of(values) } else { None }
}

fn median_of(mut values: Vec<f64>) -> Option<f64> {
    stats::sort(&mut values);
    stats::median(&values)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a small non-negative count from a criteria file"
)]
fn rounded(count: f64) -> usize {
    count.max(1.0).round() as usize
}
