//! The scores as JSON, `matins.scores/1`: `schemas/scores-1.schema.json`.
//!
//! The shapes here mirror the engine's types, so that a change inside never changes what is sent.

use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};

use crate::correct::AnchorKind;
use crate::correct::CorrectedCo2;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::judge::Judgement;
use crate::judge::Pattern;
use crate::judge::RuleAnswer;
use crate::judge::Severe;
use crate::judge::Verdict;
use crate::notes::Told;
use crate::recording::Recording;
use crate::score::Figure;
use crate::score::Measure;
use crate::screen::ChannelScreen;
use crate::screen::PeriodBasis;
use crate::screen::Screened;
use crate::time;
use crate::time::Clock;
use crate::time::Stretch;
use crate::trace::Trace;

/// The judgement as JSON text, indented, with a newline at the end. Keys stand in a fixed order.
pub fn json(judgement: &Judgement) -> String {
    let scores = &judgement.scores;
    let screened = &scores.corrected.screened;
    let steps = [
        &screened.recording.findings,
        &screened.notes.findings,
        &screened.findings,
        &scores.corrected.findings,
        &scores.findings,
    ];
    written(&ScoresOut {
        schema: "matins.scores/1",
        recording: recording(&screened.recording),
        period: PeriodOut {
            basis: basis(screened.period.basis),
            stretches: screened.period.stretches.iter().map(stretch).collect(),
        },
        screen: Keyed(
            screened.channels.iter().map(|c| (c.quantity.id(), screen(screened, c))).collect(),
        ),
        correction: scores.corrected.tcpco2.as_ref().map(correction),
        measures: Keyed(scores.measures.iter().map(|m| (m.id, measure(m))).collect()),
        rules: judgement.rules.iter().map(rule).collect(),
        patterns: judgement.patterns.iter().map(pattern).collect(),
        severe: judgement.severe.iter().map(severe).collect(),
        told: screened.notes.told.iter().map(told).collect(),
        breathing: screened.notes.breathing.as_deref(),
        verdict: verdict(&judgement.verdict),
        findings: steps.into_iter().flatten().map(finding).collect(),
        criteria: CriteriaOut {
            name: &judgement.criteria.name,
            version: &judgement.criteria.version,
            title: &judgement.criteria.title,
            sha256: &judgement.criteria.sha256,
        },
        engine: crate::ENGINE,
        input_sha256: &screened.recording.input_sha256,
    })
}

/// A value as indented JSON text with a newline at the end.
fn written<T: Serialize>(value: &T) -> String {
    // Writing plain structs to memory fails for no value: every key is a string.
    serde_json::to_string_pretty(value).map_or_else(|_| "null\n".into(), |text| text + "\n")
}

/// A value as JSON text on one line.
pub(super) fn written_on_one_line<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).map_or_else(|_| "null\n".into(), |text| text + "\n")
}

/// Pairs written as a JSON object in their own order.
struct Keyed<'a, T>(Vec<(&'a str, T)>);

impl<T: Serialize> Serialize for Keyed<'_, T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (key, value) in &self.0 {
            map.serialize_entry(key, value)?;
        }
        map.end()
    }
}

#[derive(Serialize)]
struct ScoresOut<'a> {
    schema: &'static str,
    recording: RecordingOut<'a>,
    period: PeriodOut,
    screen: Keyed<'a, ScreenOut<'a>>,
    correction: Option<CorrectionOut>,
    measures: Keyed<'a, MeasureOut<'a>>,
    rules: Vec<RuleOut<'a>>,
    patterns: Vec<PatternOut<'a>>,
    severe: Vec<SevereOut<'a>>,
    told: Vec<ToldOut<'a>>,
    breathing: Option<&'a str>,
    verdict: VerdictOut<'a>,
    findings: Vec<FindingOut<'a>>,
    criteria: CriteriaOut<'a>,
    engine: &'static str,
    input_sha256: &'a str,
}

#[derive(Serialize)]
struct RecordingOut<'a> {
    format: &'static str,
    start: String,
    end: String,
    zone: Option<String>,
    duration_s: f64,
    monitor: Option<&'a str>,
    channels: Vec<ChannelOut<'a>>,
}

#[derive(Serialize)]
struct ChannelOut<'a> {
    id: &'a str,
    unit: &'a str,
    period_s: f64,
    samples: usize,
}

#[derive(Serialize)]
struct PeriodOut {
    basis: &'static str,
    stretches: Vec<StretchOut>,
}

#[derive(Serialize)]
pub(super) struct StretchOut {
    start_s: f64,
    end_s: f64,
}

#[derive(Serialize)]
struct ScreenOut<'a> {
    believed_s: f64,
    scored_s: f64,
    spans: Vec<SpanOut<'a>>,
}

#[derive(Serialize)]
struct SpanOut<'a> {
    start_s: f64,
    end_s: f64,
    reason: &'static str,
    author: &'a str,
}

#[derive(Serialize)]
struct CorrectionOut {
    model: &'static str,
    anchors: Vec<AnchorOut>,
    offset_start_kpa: Option<f64>,
    offset_end_kpa: Option<f64>,
}

#[derive(Serialize)]
struct AnchorOut {
    kind: &'static str,
    at_s: f64,
    reference_kpa: f64,
    observed_kpa: f64,
    sd_kpa: f64,
}

#[derive(Serialize)]
struct MeasureOut<'a> {
    name: &'static str,
    value: Option<f64>,
    unit: &'a str,
    seconds: f64,
    lowest: Option<f64>,
    highest: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    absent: Option<&'a str>,
    definition: &'static str,
    source: &'static str,
}

#[derive(Serialize)]
struct RuleOut<'a> {
    id: &'a str,
    asks: &'a str,
    answer: &'static str,
    margin: Option<f64>,
    margin_unit: &'a str,
    because: &'a str,
    source: &'a str,
    stretches: Vec<StretchOut>,
}

#[derive(Serialize)]
struct PatternOut<'a> {
    id: &'static str,
    sentence: &'a str,
    figures: Vec<PatternFigureOut<'a>>,
    stretches: Vec<StretchOut>,
}

#[derive(Serialize)]
struct PatternFigureOut<'a> {
    name: &'static str,
    value: f64,
    unit: &'a str,
}

#[derive(Serialize)]
struct SevereOut<'a> {
    id: &'static str,
    figure: f64,
    limit: f64,
    unit: &'a str,
    source: &'a str,
    sentence: &'a str,
}

#[derive(Serialize)]
struct ToldOut<'a> {
    about: &'a str,
    says: &'a str,
}

#[derive(Serialize)]
struct VerdictOut<'a> {
    question: &'a str,
    asks: &'a str,
    answer: &'static str,
    decision: &'static str,
    reasons: &'a [String],
    mend: &'a [String],
}

#[derive(Serialize)]
struct FindingOut<'a> {
    code: &'static str,
    weight: &'static str,
    channel: Option<&'a str>,
    start_s: Option<f64>,
    end_s: Option<f64>,
    sentence: &'a str,
}

#[derive(Serialize)]
struct CriteriaOut<'a> {
    name: &'a str,
    version: &'a str,
    title: &'a str,
    sha256: &'a str,
}

fn recording(recording: &Recording) -> RecordingOut<'_> {
    RecordingOut {
        format: recording.format.name(),
        start: stamp(&recording.clock, 0.0),
        end: stamp(&recording.clock, recording.duration_s),
        zone: recording.clock.zone().map(time::zone_name),
        duration_s: recording.duration_s,
        monitor: recording.monitor.as_deref(),
        channels: recording
            .channels
            .iter()
            .map(|channel| ChannelOut {
                id: &channel.id,
                unit: channel.unit.symbol(),
                period_s: channel.period_s,
                samples: channel.samples.len(),
            })
            .collect(),
    }
}

/// `2026-03-14T22:05:00+00:00`; without the offset when no zone is known, without the date when the
/// file has times of day only.
fn stamp(clock: &Clock, at_s: f64) -> String {
    let wall = clock.at(at_s);
    if !clock.date_known() {
        return wall.civil.strftime("%H:%M:%S").to_string();
    }
    let civil = wall.civil.strftime("%Y-%m-%dT%H:%M:%S").to_string();
    wall.offset.map_or(civil.clone(), |offset| {
        let s = offset.seconds();
        let sign = if s < 0 { '-' } else { '+' };
        format!("{civil}{sign}{:02}:{:02}", s.abs() / 3600, s.abs() / 60 % 60)
    })
}

fn basis(basis: PeriodBasis) -> &'static str {
    match basis {
        PeriodBasis::LightsMarked => "lights_marked",
        PeriodBasis::OneLightMarked => "one_light_marked",
        PeriodBasis::WholeRecording => "whole_recording",
    }
}

pub(super) fn stretch(stretch: &Stretch) -> StretchOut {
    StretchOut { start_s: stretch.start_s, end_s: stretch.end_s }
}

fn screen<'a>(screened: &Screened, channel: &'a ChannelScreen) -> ScreenOut<'a> {
    let trace = screened.trace(channel.quantity);
    ScreenOut {
        believed_s: trace.as_ref().map_or(0.0, Trace::believed_s),
        scored_s: trace.as_ref().map_or(0.0, Trace::inside_s),
        spans: channel
            .spans
            .iter()
            .map(|span| SpanOut {
                start_s: span.stretch.start_s,
                end_s: span.stretch.end_s,
                reason: span.reason.id(),
                author: span.author.name(),
            })
            .collect(),
    }
}

fn correction(co2: &CorrectedCo2) -> CorrectionOut {
    CorrectionOut {
        model: co2.model.id(),
        anchors: co2
            .anchors
            .iter()
            .map(|anchor| AnchorOut {
                kind: match anchor.kind {
                    AnchorKind::BloodGas => "blood_gas",
                    AnchorKind::GasCheck => "gas_check",
                },
                at_s: anchor.at_s,
                reference_kpa: anchor.reference_kpa,
                observed_kpa: anchor.observed_kpa,
                sd_kpa: anchor.sd_kpa,
            })
            .collect(),
        offset_start_kpa: co2.offset_start_kpa,
        offset_end_kpa: co2.offset_end_kpa,
    }
}

fn measure(measure: &Measure) -> MeasureOut<'_> {
    let (value, lowest, highest, absent) = match &measure.figure {
        Figure::Given { value, lowest, highest } => {
            (Some(*value), Some(*lowest), Some(*highest), None)
        }
        Figure::Absent(why) => (None, None, None, Some(why.as_str())),
    };
    MeasureOut {
        name: measure.name,
        value,
        unit: measure.unit.symbol(),
        seconds: measure.seconds,
        lowest,
        highest,
        absent,
        definition: measure.definition,
        source: measure.source,
    }
}

fn rule(rule: &RuleAnswer) -> RuleOut<'_> {
    RuleOut {
        id: &rule.id,
        asks: &rule.asks,
        answer: rule.answer.id(),
        margin: rule.margin,
        margin_unit: rule.margin_unit.symbol(),
        because: &rule.because,
        source: &rule.source,
        stretches: rule.stretches.iter().map(stretch).collect(),
    }
}

fn pattern(pattern: &Pattern) -> PatternOut<'_> {
    PatternOut {
        id: pattern.id,
        sentence: &pattern.sentence,
        figures: pattern
            .figures
            .iter()
            .map(|(name, value, unit)| PatternFigureOut {
                name,
                value: *value,
                unit: unit.symbol(),
            })
            .collect(),
        stretches: pattern.stretches.iter().map(stretch).collect(),
    }
}

fn severe(severe: &Severe) -> SevereOut<'_> {
    SevereOut {
        id: severe.id,
        figure: severe.figure,
        limit: severe.limit,
        unit: severe.unit.symbol(),
        source: &severe.source,
        sentence: &severe.sentence,
    }
}

fn told(told: &Told) -> ToldOut<'_> {
    ToldOut { about: &told.about, says: &told.says }
}

fn verdict(verdict: &Verdict) -> VerdictOut<'_> {
    VerdictOut {
        question: &verdict.question,
        asks: &verdict.asks,
        answer: verdict.answer.id(),
        decision: verdict.decision.id(),
        reasons: &verdict.reasons,
        mend: &verdict.mend,
    }
}

fn finding(finding: &Finding) -> FindingOut<'_> {
    FindingOut {
        code: finding.code,
        weight: weight(finding.weight),
        channel: finding.channel.as_deref(),
        start_s: finding.stretch.map(|s| s.start_s),
        end_s: finding.stretch.map(|s| s.end_s),
        sentence: &finding.sentence,
    }
}

/// The id of a finding's weight.
pub(super) fn weight(weight: Weight) -> &'static str {
    match weight {
        Weight::Note => "note",
        Weight::Caution => "caution",
        Weight::Serious => "serious",
    }
}
