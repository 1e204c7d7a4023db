//! The night as a picture: what a strip of paper needs, with no nadir lost.
//!
//! A lane has far more samples than a page has columns. Each column holds the first, last, lowest and
//! highest of its own believed samples, and apart from them those of its unbelieved ones, so that a
//! line drawn through the columns is the line drawn through the samples (`jugel-2014`).

use super::RuleLine;
use crate::correct::Corrected;
use crate::correct::Model;
use crate::criteria::Criteria;
use crate::judge::Answer;
use crate::judge::Judgement;
use crate::recording::Mark;
use crate::recording::MarkKind;
use crate::recording::Quantity;
use crate::report::levels;
use crate::report::words;
use crate::screen::ChannelScreen;
use crate::screen::Reason;
use crate::screen::Screened;
use crate::time::Clock;
use crate::time::Stretch;
use crate::trace::Trace;

/// Most columns a lane is drawn in: about eight to the millimetre on paper.
const COLUMNS_MOST: usize = 1200;

/// The night as lanes under one clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Length of the night in seconds.
    pub duration_s: f64,
    /// The lanes from top to bottom.
    pub lanes: Vec<Lane>,
    /// Whole hours of the civil clock.
    pub ticks: Vec<Tick>,
    /// Marks, in order of time.
    pub flags: Vec<Flag>,
    /// The scored time.
    pub scored: Vec<Stretch>,
    /// The picture in words, for who cannot see it.
    pub words: String,
}

/// One channel drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// What it shows.
    pub quantity: Quantity,
    /// Lowest value of the scale.
    pub low: f64,
    /// Highest value of the scale.
    pub high: f64,
    /// Distance of the scale's labels.
    pub step: f64,
    /// Seconds to the first column's left edge.
    pub start_s: f64,
    /// Seconds one column is wide.
    pub column_s: f64,
    /// Believed samples by column; `None` breaks the line.
    pub believed: Vec<Option<Column>>,
    /// Samples that are not believed, by column.
    pub doubted: Vec<Option<Column>>,
    /// CO2 as the monitor read it, where it was corrected; else empty. Believed time only.
    pub raw: Vec<Option<Column>>,
    /// Lowest and highest of the band around corrected CO2; empty where no band is known.
    pub band: Vec<Option<(f64, f64)>>,
    /// What is not believed, with the first reason.
    pub doubts: Vec<Doubt>,
    /// Levels that the rules asked compare with.
    pub levels: Vec<LevelLine>,
    /// Rules that speak of stretches of this lane.
    pub rules: Vec<RuleMark>,
}

/// One column: what its samples were.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// The first sample.
    pub first: f64,
    /// The last.
    pub last: f64,
    /// The lowest.
    pub min: f64,
    /// The highest.
    pub max: f64,
}

/// A stretch that is not believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// Where.
    pub stretch: Stretch,
    /// The first reason.
    pub reason: Reason,
}

/// A level that a rule compares with.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelLine {
    /// The level, in the lane's unit.
    pub level: f64,
    /// As printed: `≤ 88 %`, `> 55 mmHg`.
    pub label: String,
    /// Whether a rule that is met, or cannot be told, compares with it.
    pub spoken_of: bool,
}

/// The stretches a rule speaks of.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleMark {
    /// The rule's number in the list.
    pub number: usize,
    /// Its answer: met, the stretches it stands on; cannot tell, those that decide.
    pub answer: Answer,
    /// The stretches.
    pub stretches: Vec<Stretch>,
}

/// A whole hour.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// When.
    pub at_s: f64,
    /// `02:00`.
    pub label: String,
}

/// A mark.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// When.
    pub at_s: f64,
    /// Until when; `None` for a moment.
    pub until_s: Option<f64>,
    /// Its kind.
    pub kind: MarkKind,
    /// A few words.
    pub label: String,
}

pub(super) fn picture(judgement: &Judgement, criteria: &Criteria, rules: &[RuleLine]) -> Picture {
    let corrected = &judgement.scores.corrected;
    let screened = &corrected.screened;
    let recording = &screened.recording;
    let lanes: Vec<Lane> = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2]
        .into_iter()
        .filter_map(|quantity| lane(judgement, criteria, rules, quantity))
        .collect();
    Picture {
        duration_s: recording.duration_s,
        words: in_words(&recording.clock, recording.duration_s, &lanes),
        lanes,
        ticks: ticks(&recording.clock, recording.duration_s),
        flags: flags(screened),
        scored: screened.period.stretches.clone(),
    }
}

fn lane(
    judgement: &Judgement,
    criteria: &Criteria,
    rules: &[RuleLine],
    quantity: Quantity,
) -> Option<Lane> {
    let corrected = &judgement.scores.corrected;
    let trace = corrected.trace(quantity)?;
    let screen = corrected.screened.channel(quantity)?;
    let per_column = trace.len().div_ceil(COLUMNS_MOST).max(1);
    let believed = columns(&trace.values, per_column, |i| trace.believed[i]);
    let band = band(&trace, per_column);
    let (low, high, step) = scale(quantity, &believed, &band);
    Some(Lane {
        quantity,
        low,
        high,
        step,
        start_s: trace.offset_s,
        column_s: trace.period_s * per_column as f64,
        doubted: columns(&trace.values, per_column, |i| !trace.believed[i]),
        raw: raw(corrected, &trace, per_column),
        believed,
        band,
        doubts: doubts(&corrected.screened, screen),
        levels: levels::levels(criteria, rules, quantity),
        rules: levels::rule_marks(judgement, criteria, rules, quantity),
    })
}

/// First, last, lowest and highest of the kept samples of each `per_column` samples.
pub(super) fn columns(
    values: &[f64],
    per_column: usize,
    keep: impl Fn(usize) -> bool,
) -> Vec<Option<Column>> {
    (0..values.len().div_ceil(per_column))
        .map(|c| {
            let range = c * per_column..((c + 1) * per_column).min(values.len());
            range
                .filter(|&i| keep(i) && values[i].is_finite())
                .map(|i| values[i])
                .fold(None, |column, x| Some(joined(column, x)))
        })
        .collect()
}

fn joined(column: Option<Column>, x: f64) -> Column {
    column.map_or(Column { first: x, last: x, min: x, max: x }, |column| Column {
        first: column.first,
        last: x,
        min: column.min.min(x),
        max: column.max.max(x),
    })
}

fn raw(corrected: &Corrected, trace: &Trace, per_column: usize) -> Vec<Option<Column>> {
    let corrected_by = corrected.tcpco2.as_ref().map_or(Model::None, |co2| co2.model);
    match corrected.screened.recording.channel(trace.quantity) {
        Some(channel) if trace.quantity == Quantity::Tcpco2 && corrected_by != Model::None => {
            columns(&channel.samples, per_column, |i| trace.believed[i])
        }
        _ => Vec::new(),
    }
}

fn band(trace: &Trace, per_column: usize) -> Vec<Option<(f64, f64)>> {
    if trace.band.iter().all(|band| band.most() <= 0.0) {
        return Vec::new();
    }
    let (lowest, highest): (Vec<f64>, Vec<f64>) = (0..trace.len()).map(|i| trace.edges(i)).unzip();
    let low = columns(&lowest, per_column, |i| trace.believed[i]);
    let high = columns(&highest, per_column, |i| trace.believed[i]);
    low.into_iter().zip(high).map(|(l, h)| Some((l?.min, h?.max))).collect()
}

/// The scale: fixed to the range a clinician is used to, and wider only when the believed night is.
fn scale(
    quantity: Quantity,
    believed: &[Option<Column>],
    band: &[Option<(f64, f64)>],
) -> (f64, f64, f64) {
    let (low, high, step) = match quantity {
        Quantity::Spo2 => (70.0, 100.0, 10.0),
        Quantity::Pulse => (40.0, 120.0, 40.0),
        _ => (4.0, 8.0, 1.0),
    };
    let columns = || believed.iter().flatten();
    let bands = || band.iter().flatten();
    let least = columns().map(|c| c.min).chain(bands().map(|b| b.0)).fold(low, f64::min);
    let most = columns().map(|c| c.max).chain(bands().map(|b| b.1)).fold(high, f64::max);
    (low.min((least / step).floor() * step), high.max((most / step).ceil() * step), step)
}

/// What is not believed of a channel, persons' edits applied, cut where the first reason changes.
pub(super) fn doubts(screened: &Screened, screen: &ChannelScreen) -> Vec<Doubt> {
    let Some(channel) = screened.recording.channel(screen.quantity) else { return Vec::new() };
    let mut reasons: Vec<Option<Reason>> =
        screen.believed.iter().map(|believed| (!believed).then_some(Reason::Missing)).collect();
    let mut by_weight: Vec<_> = screen.spans.iter().collect();
    by_weight.sort_by_key(|span| std::cmp::Reverse(span.reason));
    for span in by_weight {
        for i in channel.indices(&span.stretch) {
            if !screen.believed[i] {
                reasons[i] = Some(span.reason);
            }
        }
    }
    let mut doubts: Vec<Doubt> = Vec::new();
    for (i, reason) in reasons.iter().enumerate() {
        let Some(reason) = *reason else { continue };
        let (from_s, to_s) = (channel.time_s(i), channel.time_s(i + 1));
        match doubts.last_mut() {
            Some(last)
                if last.reason == reason
                    && from_s - last.stretch.end_s < channel.period_s / 2.0 =>
            {
                last.stretch.end_s = to_s;
            }
            _ => doubts.push(Doubt { stretch: Stretch::new(from_s, to_s), reason }),
        }
    }
    doubts
}

/// The whole hours of the wall clock; after a clock change they are found afresh.
fn ticks(clock: &Clock, duration_s: f64) -> Vec<Tick> {
    let past_hour_s = |at_s: f64| {
        let civil = clock.at(at_s).civil;
        f64::from(civil.minute()) * 60.0
            + f64::from(civil.second())
            + f64::from(civil.subsec_nanosecond()) / 1e9
    };
    let mut ticks = Vec::new();
    let past_s = past_hour_s(0.0);
    let mut at_s = if past_s > 0.0 { 3600.0 - past_s } else { 0.0 };
    while at_s <= duration_s {
        ticks.push(Tick { at_s, label: clock.label(at_s, false) });
        at_s += 3600.0;
    }
    ticks
}

fn flags(screened: &Screened) -> Vec<Flag> {
    let mut marks: Vec<&Mark> =
        screened.recording.marks.iter().chain(&screened.notes.marks).collect();
    marks.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    marks
        .into_iter()
        .filter(|mark| (0.0..=screened.recording.duration_s).contains(&mark.start_s))
        .map(|mark| Flag {
            at_s: mark.start_s,
            until_s: mark.end_s,
            kind: mark.kind,
            label: flag_label(mark),
        })
        .collect()
}

fn flag_label(mark: &Mark) -> String {
    let kind = match mark.kind {
        MarkKind::LightsOut => "lights out",
        MarkKind::LightsOn => "lights on",
        MarkKind::Asleep => "asleep",
        MarkKind::Awake => "awake",
        MarkKind::Up => "up",
        MarkKind::Refitted => "refitted",
        MarkKind::Oxygen => "oxygen",
        MarkKind::Support => "support",
        MarkKind::Alarm => "alarm",
        MarkKind::GasCheck => "gas check",
        MarkKind::BloodGas => "blood gas",
        MarkKind::Note => "note",
    };
    let says_more = matches!(mark.kind, MarkKind::Oxygen | MarkKind::Support | MarkKind::Note);
    match (says_more && !mark.text.is_empty(), mark.kind) {
        (true, MarkKind::Note) => mark.text.clone(),
        (true, _) => format!("{kind}: {}", mark.text),
        (false, _) => kind.into(),
    }
}

fn in_words(clock: &Clock, duration_s: f64, lanes: &[Lane]) -> String {
    let span = words::clock_span(clock, &Stretch::new(0.0, duration_s));
    let lanes: Vec<String> = lanes.iter().filter_map(lane_in_words).collect();
    if lanes.is_empty() {
        return format!("The night from {span}: no channel could be drawn.");
    }
    format!("The night from {span}. {}", lanes.join(" "))
}

fn lane_in_words(lane: &Lane) -> Option<String> {
    let columns = || lane.believed.iter().flatten();
    let min = columns().map(|c| c.min).reduce(f64::min)?;
    let max = columns().map(|c| c.max).reduce(f64::max)?;
    let (decimals, unit) = match lane.quantity {
        Quantity::Tcpco2 => (1, "kPa"),
        Quantity::Pulse => (0, "/min"),
        _ => (0, "%"),
    };
    let doubts = match lane.doubts.len() {
        0 => "all of it believed".to_owned(),
        1 => "one stretch of it not believed".to_owned(),
        n => format!("{} stretches of it not believed", words::count(n)),
    };
    Some(format!(
        "{} between {} and {} {unit}, {doubts}.",
        lane.quantity.name(),
        words::fixed(min, decimals),
        words::fixed(max, decimals),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Each column's lowest is the lowest believed sample of its own stretch, counted afresh.
        #[test]
        fn no_nadir_is_lost(
            samples in prop::collection::vec((40u8..=100, prop::bool::weighted(0.9)), 1..4000),
            per_column in 1usize..60,
        ) {
            let values: Vec<f64> = samples.iter().map(|s| f64::from(s.0)).collect();
            let drawn = columns(&values, per_column, |i| samples[i].1);
            prop_assert_eq!(drawn.len(), samples.chunks(per_column).len());
            for (column, chunk) in drawn.iter().zip(samples.chunks(per_column)) {
                let kept: Vec<f64> =
                    chunk.iter().filter(|s| s.1).map(|s| f64::from(s.0)).collect();
                prop_assert_eq!(column.map(|c| c.min), kept.iter().copied().reduce(f64::min));
                prop_assert_eq!(column.map(|c| c.max), kept.iter().copied().reduce(f64::max));
                prop_assert_eq!(column.map(|c| c.first), kept.first().copied());
                prop_assert_eq!(column.map(|c| c.last), kept.last().copied());
            }
        }
    }

    #[test]
    fn ticks_fall_on_whole_hours_of_the_wall_clock() {
        let clock = Clock::civil(jiff::civil::datetime(2026, 3, 14, 22, 15, 0, 0));
        let ticks = ticks(&clock, 3.0 * 3600.0);
        let labels: Vec<&str> = ticks.iter().map(|tick| tick.label.as_str()).collect();
        assert_eq!(labels, ["23:00", "00:00", "01:00"]);
        assert!((ticks[0].at_s - 2700.0).abs() < 1e-9);
    }
}
