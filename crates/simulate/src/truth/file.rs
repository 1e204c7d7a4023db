//! The truth as a JSON document. The shapes here are the file's; nothing else is stored or sent.

use super::{Event, Summary, TrueFitting, Truth};
use crate::faults::FaultSpan;
use engine::time::Stretch;
use serde::Serialize;

/// Name and version of the document.
const SCHEMA: &str = "matins.truth/1";

#[derive(Serialize)]
struct File<'a> {
    schema: &'static str,
    seed: u64,
    start: String,
    zone: Option<String>,
    duration_s: usize,
    lights: Span,
    summary: &'a Summary,
    spans: Vec<WrongSpan>,
    fittings: Vec<FittingSpan>,
    events: Vec<EventSpan>,
    hypnogram: Vec<StageSpan>,
    visits: Vec<Span>,
    oxygen: Vec<Span>,
    support: Vec<Span>,
    /// Every 60 s.
    co2_error_kpa: Vec<Option<f64>>,
    /// Every 60 s.
    drift_kpa: Vec<Option<f64>>,
    /// Every second, as are the next three.
    spo2_pct: Vec<f64>,
    paco2_kpa: Vec<f64>,
    skin_pco2_kpa: Vec<f64>,
    pulse_per_min: Vec<f64>,
}

#[derive(Serialize)]
struct Span {
    start_s: f64,
    end_s: f64,
}

#[derive(Serialize)]
struct WrongSpan {
    channel: &'static str,
    reason: &'static str,
    cause: &'static str,
    start_s: f64,
    end_s: f64,
}

#[derive(Serialize)]
struct FittingSpan {
    start_s: f64,
    end_s: f64,
    offset_kpa: f64,
    overshoot_kpa: f64,
}

#[derive(Serialize)]
struct EventSpan {
    kind: &'static str,
    start_s: f64,
    end_s: f64,
    onset_s: f64,
    nadir_s: f64,
    recovered_s: Option<f64>,
    fall_pct: f64,
}

#[derive(Serialize)]
struct StageSpan {
    stage: &'static str,
    start_s: usize,
    end_s: usize,
}

pub(super) fn to_json(truth: &Truth) -> String {
    let clock = &truth.clock;
    let file = File {
        schema: SCHEMA,
        seed: truth.seed,
        start: clock.start().strftime("%Y-%m-%dT%H:%M:%S").to_string(),
        zone: clock.zone().map(engine::time::zone_name),
        duration_s: truth.stages.len(),
        lights: span(&truth.lights),
        summary: &truth.summary,
        spans: truth.spans.iter().map(wrong).collect(),
        fittings: truth.fittings.iter().map(fitting).collect(),
        events: truth.events.iter().map(event).collect(),
        hypnogram: hypnogram(truth),
        visits: truth.visits.iter().map(span).collect(),
        oxygen: truth.oxygen.iter().map(span).collect(),
        support: truth.support.iter().map(span).collect(),
        co2_error_kpa: each_minute(&truth.co2_error_kpa),
        drift_kpa: each_minute(&truth.drift_kpa),
        spo2_pct: to_digits(&truth.spo2, 1e3),
        paco2_kpa: to_digits(&truth.paco2_kpa, 1e4),
        skin_pco2_kpa: to_digits(&truth.skin_pco2_kpa, 1e4),
        pulse_per_min: to_digits(&truth.pulse, 1e2),
    };
    // A plain tree of numbers and strings: writing it to a string cannot fail.
    serde_json::to_string(&file).unwrap_or_default()
}

fn span(stretch: &Stretch) -> Span {
    Span { start_s: stretch.start_s, end_s: stretch.end_s }
}

fn wrong(span: &FaultSpan) -> WrongSpan {
    WrongSpan {
        channel: span.quantity.id(),
        reason: span.reason,
        cause: span.cause,
        start_s: span.stretch.start_s,
        end_s: span.stretch.end_s,
    }
}

fn fitting(fitting: &TrueFitting) -> FittingSpan {
    FittingSpan {
        start_s: fitting.stretch.start_s,
        end_s: fitting.stretch.end_s,
        offset_kpa: digits(fitting.offset_kpa, 1e4),
        overshoot_kpa: digits(fitting.overshoot_kpa, 1e4),
    }
}

fn event(event: &Event) -> EventSpan {
    EventSpan {
        kind: event.kind.id(),
        start_s: event.stretch.start_s,
        end_s: event.stretch.end_s,
        onset_s: event.onset_s,
        nadir_s: event.nadir_s,
        recovered_s: event.recovered_s,
        fall_pct: digits(event.fall_pct, 1e3),
    }
}

fn hypnogram(truth: &Truth) -> Vec<StageSpan> {
    let mut spans: Vec<StageSpan> = Vec::new();
    for (i, stage) in truth.stages.iter().enumerate() {
        match spans.last_mut() {
            Some(last) if last.stage == stage.id() => last.end_s = i + 1,
            _ => spans.push(StageSpan { stage: stage.id(), start_s: i, end_s: i + 1 }),
        }
    }
    spans
}

fn each_minute(signal: &[f64]) -> Vec<Option<f64>> {
    signal.iter().step_by(60).map(|&x| x.is_finite().then(|| digits(x, 1e4))).collect()
}

fn to_digits(signal: &[f64], per_unit: f64) -> Vec<f64> {
    signal.iter().map(|&x| digits(x, per_unit)).collect()
}

fn digits(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}
