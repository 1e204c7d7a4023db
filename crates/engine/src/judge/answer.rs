//! Each kind of test on the kindest and the harshest filling.

use std::fmt::Write as _;

use super::bench::Bench;
use super::enough;
use super::lane::Asked;
use super::lane::Filling;
use super::lane::Lane;
use super::level;
use super::outcome;
use super::outcome::Outcome;
use super::words::amount_words;
use super::words::level_words;
use super::words::minutes_words;
use crate::criteria::Amount;
use crate::criteria::Side;
use crate::criteria::Test;
use crate::criteria::Threshold;
use crate::recording::Quantity;
use crate::score::Figure;
use crate::unit::Unit;

/// What a test comes to on this night.
pub(super) fn outcome(test: &Test, bench: &Bench) -> Outcome {
    match test {
        Test::Held { quantity, threshold, for_s } => {
            on_lane(bench, *quantity, |lane| reached(bench, lane, threshold, *for_s))
        }
        Test::HeldRise { threshold, rise, for_s } => held_rise(bench, threshold, rise, *for_s),
        Test::Share { quantity, threshold, share } => on_lane(bench, *quantity, |lane| {
            let samples = level::count_for(share, 100.0 / inside_samples(lane));
            let how_long = amount_words(share, "% of the night");
            let outcome = added_up(lane, threshold, samples, &how_long);
            let outcome = enough::at_all(outcome, bench, lane);
            enough::unless_contradicted(outcome, bench, lane, threshold)
        }),
        Test::ShareRise { rise, share } => share_rise(bench, rise, share),
        Test::Total { quantity, threshold, total } => on_lane(bench, *quantity, |lane| {
            let samples = level::count_for(total, lane.trace.period_s);
            let how_long = minutes_words(total.value, total.strict);
            let outcome = added_up(lane, threshold, samples, &how_long);
            let outcome = enough::never(outcome, bench, lane, None);
            enough::unless_contradicted(outcome, bench, lane, threshold)
        }),
        Test::Extreme { quantity, threshold } => {
            on_lane(bench, *quantity, |lane| reached(bench, lane, threshold, 0.0))
        }
        Test::Mean { quantity, threshold } => on_lane(bench, *quantity, |lane| {
            let outcome = enough::at_all(mean(lane, threshold), bench, lane);
            enough::unless_contradicted(outcome, bench, lane, threshold)
        }),
        Test::Events { measure, rate } => events(bench, measure, rate),
        Test::Clusters { .. } => {
            let outcome = super::clusters::outcome(test, bench);
            match bench.lane(Quantity::Spo2) {
                Some(lane) => enough::never(outcome, bench, lane, None),
                None => outcome,
            }
        }
        Test::All(parts) => outcome::all(parts.iter().map(|part| outcome(part, bench)).collect()),
        Test::Any(parts) => outcome::any(parts.iter().map(|part| outcome(part, bench)).collect()),
    }
}

/// Runs a test on a channel that has time inside the period, or says why not.
fn on_lane(bench: &Bench, quantity: Quantity, test: impl Fn(&Lane) -> Outcome) -> Outcome {
    let unit = unit_of(quantity);
    match bench.lane(quantity) {
        None => {
            let recording = &bench.scores.corrected.screened.recording;
            Outcome::untold(unit, recording.lacks(quantity, quantity.name()))
        }
        Some(lane) if lane.is_empty() => {
            Outcome::untold(unit, format!("no {} inside the analysis period", quantity.name()))
        }
        Some(lane) => test(lane),
    }
}

/// One unbroken run past the threshold, as far as the night and its blood gases let it be answered.
fn reached(bench: &Bench, lane: &Lane, threshold: &Threshold, for_s: f64) -> Outcome {
    let outcome = held(lane, threshold, for_s, None);
    let outcome = enough::never(outcome, bench, lane, Some(threshold));
    enough::unless_contradicted(outcome, bench, lane, threshold)
}

/// One unbroken run past the threshold; `rise` when the threshold is a rise above awake.
fn held(lane: &Lane, threshold: &Threshold, for_s: f64, rise: Option<&Amount>) -> Outcome {
    let samples = lane.trace.samples_in(for_s);
    let figure = |filling| lane.level(threshold.side, filling, Asked::HeldFor(samples));
    let what = if for_s > 0.0 {
        format!("{} level held for {}", farthest(threshold.side), minutes_words(for_s, false))
    } else {
        format!("{} value", farthest(threshold.side))
    };
    let mut outcome = settle(
        lane,
        threshold,
        samples,
        figure(Filling::Kindest),
        figure(Filling::Harshest),
        &what,
    );
    if let Some(rise) = rise {
        let words = level_words(Quantity::Tcpco2, rise.value);
        let _ = write!(outcome.because, ", which is {words} above awake");
    }
    outcome
}

/// Time past the threshold added up to `samples` samples.
fn added_up(lane: &Lane, threshold: &Threshold, samples: usize, how_long: &str) -> Outcome {
    let figure = |filling| lane.level(threshold.side, filling, Asked::ReachedBy(samples));
    let what = format!("level passed for {how_long}");
    settle(lane, threshold, 1, figure(Filling::Kindest), figure(Filling::Harshest), &what)
}

/// The mean past the threshold.
fn mean(lane: &Lane, threshold: &Threshold) -> Outcome {
    let figure = |filling| lane.level(threshold.side, filling, Asked::Mean);
    let mut outcome =
        settle(lane, threshold, 1, figure(Filling::Kindest), figure(Filling::Harshest), "mean");
    // A mean stands on the whole period, not on the moments past the threshold.
    if outcome.answer == super::Answer::Met {
        outcome.stretches = lane.stretches(&lane.trace.runs(|i| lane.trace.inside[i]));
    }
    outcome
}

/// CO2 past a threshold and risen above awake, in one unbroken run.
fn held_rise(bench: &Bench, threshold: &Threshold, rise: &Amount, for_s: f64) -> Outcome {
    on_lane(bench, Quantity::Tcpco2, |lane| {
        let by_level = reached(bench, lane, threshold, for_s);
        let Some(awake_kpa) = bench.awake_co2_kpa else {
            return without_awake(by_level);
        };
        let risen = rise_threshold(awake_kpa, rise);
        let rising = bench.rise_lane().unwrap_or(lane);
        let by_rise = held(rising, &risen, for_s, Some(rise));
        outcome::all(vec![by_level, enough::never(by_rise, bench, lane, Some(&risen))])
    })
}

/// CO2 risen above awake for a share of the period.
fn share_rise(bench: &Bench, rise: &Amount, share: &Amount) -> Outcome {
    on_lane(bench, Quantity::Tcpco2, |lane| {
        let Some(awake_kpa) = bench.awake_co2_kpa else {
            return Outcome::untold(Unit::Kilopascal, NO_AWAKE);
        };
        let samples = level::count_for(share, 100.0 / inside_samples(lane));
        let how_long = amount_words(share, "% of the night");
        let rising = bench.rise_lane().unwrap_or(lane);
        let outcome = added_up(rising, &rise_threshold(awake_kpa, rise), samples, &how_long);
        enough::at_all(outcome, bench, lane)
    })
}

const NO_AWAKE: &str = "no CO2 level awake is known to measure the rise from";

/// Without an awake level only "not met" can be said, when the level alone already fails.
fn without_awake(by_level: Outcome) -> Outcome {
    if by_level.answer == super::Answer::NotMet {
        by_level
    } else {
        Outcome { because: NO_AWAKE.into(), ..Outcome::untold(Unit::Kilopascal, "") }
    }
}

fn rise_threshold(awake_kpa: f64, rise: &Amount) -> Threshold {
    Threshold { level: awake_kpa + rise.value, side: Side::Above, strict: rise.strict }
}

/// Events an hour: the measure's own range over the unseen decides.
fn events(bench: &Bench, measure: &str, rate: &Amount) -> Outcome {
    let Some(found) = bench.scores.measure(measure) else {
        return Outcome::untold(Unit::PerHour, format!("`{measure}` is not a measure"));
    };
    let (value, lowest, highest) = match &found.figure {
        Figure::Absent(why) => return Outcome::untold(Unit::PerHour, why.clone()),
        Figure::Given { value, lowest, highest } => {
            (*value, *lowest, bench.most_per_h(measure, *highest))
        }
    };
    let passes = |figure: f64| crate::criteria::passes(figure - rate.value, rate.strict);
    let answer = outcome::answer(passes(lowest), passes(highest));
    let margin = match answer {
        super::Answer::Met => Some(lowest - rate.value),
        super::Answer::NotMet => Some(rate.value - highest),
        super::Answer::CannotTell => None,
    };
    let outcome = Outcome {
        answer,
        margin,
        unit: Unit::PerHour,
        scale: rate.value,
        stretches: bench.event_stretches(measure, answer),
        because: format!(
            "{value:.1} an hour counted; with unbelieved time between {lowest:.1} and {highest:.1}"
        ),
    };
    match bench.lane(Quantity::Spo2) {
        Some(lane) => enough::at_all(outcome, bench, lane),
        None => outcome,
    }
}

/// The answer from the level on each filling. `None` for a level: no run, or not enough time, for it.
fn settle(
    lane: &Lane,
    threshold: &Threshold,
    least_samples: usize,
    kindest: Option<f64>,
    harshest: Option<f64>,
    what: &str,
) -> Outcome {
    let passed = |level: Option<f64>| level.is_some_and(|level| threshold.passed_by(level));
    let answer = outcome::answer(passed(kindest), passed(harshest));
    let quantity = lane.trace.quantity;
    let (margin, stretches) = match answer {
        super::Answer::Met => {
            let runs = lane.runs_past(threshold, Filling::Kindest, least_samples);
            (kindest.map(|level| threshold.slack(level)), lane.stretches(&runs))
        }
        super::Answer::NotMet => (harshest.map(|level| -threshold.slack(level)), Vec::new()),
        super::Answer::CannotTell => {
            let runs = lane.runs_past(threshold, Filling::Harshest, least_samples);
            (None, lane.deciding(&runs))
        }
    };
    Outcome {
        answer,
        // A level at the threshold to the last digit holds by nothing, not by a rounding error.
        margin: margin.map(|margin| margin.max(0.0)),
        unit: unit_of(quantity),
        scale: threshold.level,
        stretches,
        because: because(lane, threshold, kindest, harshest, what),
    }
}

fn because(
    lane: &Lane,
    threshold: &Threshold,
    kindest: Option<f64>,
    harshest: Option<f64>,
    what: &str,
) -> String {
    let quantity = lane.trace.quantity;
    let asked = level_words(quantity, threshold.level);
    match (kindest, harshest) {
        (Some(kindest), Some(harshest)) if (kindest - harshest).abs() < 0.005 => {
            format!("{what} is {}, asked {asked}", level_words(quantity, kindest))
        }
        (Some(kindest), Some(harshest)) => format!(
            "{what} lies between {} and {}, asked {asked}",
            level_words(quantity, kindest.min(harshest)),
            level_words(quantity, kindest.max(harshest))
        ),
        (None, Some(harshest)) => {
            format!("{what} is at most {}, asked {asked}", level_words(quantity, harshest))
        }
        _ => "the period holds no run that long".into(),
    }
}

fn farthest(side: Side) -> &'static str {
    match side {
        Side::Above => "highest",
        Side::Below => "lowest",
    }
}

fn inside_samples(lane: &Lane) -> f64 {
    lane.trace.inside.iter().filter(|&&inside| inside).count() as f64
}

/// The inside unit of a channel.
pub(super) fn unit_of(quantity: Quantity) -> Unit {
    match quantity {
        Quantity::Tcpco2 => Unit::Kilopascal,
        Quantity::Pulse => Unit::PerMinute,
        _ => Unit::Percent,
    }
}
