//! The report as JSON, `matins.report/1`: `schemas/report-1.schema.json`. The PDF is set from it too.

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::json::{StretchOut, stretch, weight, written_on_one_line};
use crate::report::Column;
use crate::report::CorrectionLines;
use crate::report::FigureGroup;
use crate::report::FigureLine;
use crate::report::Lane;
use crate::report::Night;
use crate::report::Picture;
use crate::report::Quality;
use crate::report::Report;
use crate::report::RuleLine;
use crate::report::SevereLine;
use crate::score::Figure;

/// The report as JSON text on one line. Keys stand in a fixed order.
pub fn json_report(report: &Report) -> String {
    let mut shape = words(report);
    shape.picture = Some(picture(&report.picture));
    written_on_one_line(&shape)
}

/// The same without the picture, for who draws it as SVG beside the words.
pub fn json_words(report: &Report) -> String {
    written_on_one_line(&words(report))
}

/// The report's own id: the first sixteen digits of the SHA-256 of its JSON.
///
/// Two prints of one report have one id, whatever was written around them.
pub fn report_id(report: &Report) -> String {
    let hash = crate::hex(&Sha256::digest(json_report(report).as_bytes()));
    hash.chars().take(16).collect()
}

#[derive(Serialize)]
struct ReportOut<'a> {
    schema: &'static str,
    night: NightOut<'a>,
    question: &'a str,
    answer: &'static str,
    first: &'a [String],
    headline: &'a str,
    severe: Vec<SevereOut<'a>>,
    not_read: &'a [String],
    summary: &'a [String],
    decision: &'static str,
    decision_words: &'a str,
    reasons: &'a [String],
    brief_reasons: &'a [String],
    mend: &'a [String],
    rules: Vec<RuleOut<'a>>,
    figures: Vec<GroupOut<'a>>,
    quality: Vec<QualityOut<'a>>,
    correction: CorrectionOut<'a>,
    patterns: Vec<PatternOut<'a>>,
    cautions: &'a [String],
    findings: Vec<FindingOut<'a>>,
    criteria: CriteriaOut<'a>,
    engine: &'a str,
    input_sha256: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    picture: Option<PictureOut<'a>>,
}

#[derive(Serialize)]
struct NightOut<'a> {
    date: Option<&'a str>,
    end_date: Option<String>,
    start: &'a str,
    end: &'a str,
    zone: Option<&'a str>,
    length: &'a str,
    period: &'a str,
    breathing: Option<&'a str>,
    representative: &'a str,
    told: &'a [String],
    format: &'a str,
    channels: &'a [String],
    monitor: &'a [String],
}

#[derive(Serialize)]
struct RuleOut<'a> {
    number: usize,
    id: &'a str,
    asks: &'a str,
    needed: bool,
    answer: &'static str,
    answer_words: &'static str,
    margin: Option<&'a str>,
    because: &'a str,
    #[serde(rename = "where")]
    where_: &'a [String],
    source: &'a str,
}

#[derive(Serialize)]
struct SevereOut<'a> {
    id: &'a str,
    sentence: &'a str,
    figure: f64,
    limit: f64,
    unit: &'a str,
    source: &'a str,
}

#[derive(Serialize)]
struct GroupOut<'a> {
    title: &'a str,
    channel: &'a str,
    seconds: f64,
    stands_on: &'a str,
    lines: Vec<FigureOut<'a>>,
}

#[derive(Serialize)]
struct FigureOut<'a> {
    id: &'a str,
    name: &'a str,
    short: Option<&'a str>,
    on_less: bool,
    value: Option<&'a str>,
    unit: &'a str,
    mmhg: Option<&'a str>,
    range: Option<&'a str>,
    absent: Option<&'a str>,
    number: Option<f64>,
    lowest: Option<f64>,
    highest: Option<f64>,
    seconds: f64,
    stands_on: &'a str,
    definition: &'a str,
    source: &'a str,
}

#[derive(Serialize)]
struct QualityOut<'a> {
    channel: &'a str,
    name: &'a str,
    believed_s: f64,
    scored_s: f64,
    words: &'a str,
    sentence: &'a str,
    reasons: Vec<ReasonOut<'a>>,
}

#[derive(Serialize)]
struct ReasonOut<'a> {
    reason: &'a str,
    length: &'a str,
}

#[derive(Serialize)]
struct CorrectionOut<'a> {
    model: Option<&'a str>,
    sentence: &'a str,
    anchors: &'a [String],
}

#[derive(Serialize)]
struct PatternOut<'a> {
    id: &'a str,
    sentence: &'a str,
}

#[derive(Serialize)]
struct FindingOut<'a> {
    code: &'a str,
    weight: &'static str,
    channel: Option<&'a str>,
    at: Option<&'a str>,
    sentence: &'a str,
}

#[derive(Serialize)]
struct CriteriaOut<'a> {
    name: &'a str,
    version: &'a str,
    title: &'a str,
    sha256: &'a str,
}

#[derive(Serialize)]
struct PictureOut<'a> {
    words: &'a str,
    duration_s: f64,
    ticks: Vec<TickOut<'a>>,
    flags: Vec<FlagOut<'a>>,
    scored: Vec<StretchOut>,
    lanes: Vec<LaneOut<'a>>,
}

#[derive(Serialize)]
struct TickOut<'a> {
    at_s: f64,
    label: &'a str,
}

#[derive(Serialize)]
struct FlagOut<'a> {
    at_s: f64,
    until_s: Option<f64>,
    kind: &'static str,
    label: &'a str,
}

#[derive(Serialize)]
struct LaneOut<'a> {
    channel: &'static str,
    low: f64,
    high: f64,
    start_s: f64,
    column_s: f64,
    believed: Columns<'a>,
    not_believed: Columns<'a>,
    raw: Columns<'a>,
    band: &'a [Option<(f64, f64)>],
    doubts: Vec<DoubtOut>,
    levels: Vec<LevelOut<'a>>,
    rules: Vec<RuleMarkOut>,
}

#[derive(Serialize)]
struct DoubtOut {
    start_s: f64,
    end_s: f64,
    reason: &'static str,
}

#[derive(Serialize)]
struct LevelOut<'a> {
    level: f64,
    label: &'a str,
    spoken_of: bool,
}

#[derive(Serialize)]
struct RuleMarkOut {
    number: usize,
    answer: &'static str,
    stretches: Vec<StretchOut>,
}

/// Columns written as one list each of first, last, lowest and highest, `null` where there is none.
struct Columns<'a>(&'a [Option<Column>]);

impl Serialize for Columns<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(
            self.0.iter().map(|column| column.map(|c| [c.first, c.last, c.min, c.max])),
        )
    }
}

fn words(report: &Report) -> ReportOut<'_> {
    let made = &report.provenance;
    ReportOut {
        schema: "matins.report/1",
        night: night(&report.night),
        question: &report.question,
        answer: report.answer.id(),
        first: &report.first,
        headline: &report.headline,
        severe: report.severe.iter().map(severe).collect(),
        not_read: &report.not_read,
        summary: &report.summary,
        decision: report.decision.id(),
        decision_words: &report.decision_words,
        reasons: &report.reasons,
        brief_reasons: &report.brief_reasons,
        mend: &report.mend,
        rules: report.rules.iter().map(rule).collect(),
        figures: report.figures.iter().map(group).collect(),
        quality: report.quality.iter().map(quality).collect(),
        correction: correction(&report.correction),
        patterns: report
            .patterns
            .iter()
            .map(|p| PatternOut { id: &p.id, sentence: &p.sentence })
            .collect(),
        cautions: &report.cautions,
        findings: findings(report),
        criteria: CriteriaOut {
            name: &made.criteria_name,
            version: &made.criteria_version,
            title: &made.criteria_title,
            sha256: &made.criteria_sha256,
        },
        engine: &made.engine,
        input_sha256: &made.input_sha256,
        picture: None,
    }
}

fn severe(line: &SevereLine) -> SevereOut<'_> {
    SevereOut {
        id: &line.id,
        sentence: &line.sentence,
        figure: line.figure,
        limit: line.limit,
        unit: &line.unit,
        source: &line.source,
    }
}

fn night(night: &Night) -> NightOut<'_> {
    NightOut {
        date: night.date.as_deref(),
        end_date: night.end_date.map(|(y, m, d)| format!("{y:04}-{m:02}-{d:02}")),
        start: &night.start,
        end: &night.end,
        zone: night.zone.as_deref(),
        length: &night.length,
        period: &night.period,
        breathing: night.breathing.as_deref(),
        representative: &night.representative,
        told: &night.told,
        format: &night.format,
        channels: &night.channels,
        monitor: &night.monitor,
    }
}

fn rule(rule: &RuleLine) -> RuleOut<'_> {
    RuleOut {
        number: rule.number,
        id: &rule.id,
        asks: &rule.asks,
        needed: rule.needed,
        answer: rule.answer.id(),
        answer_words: rule.answer.words(),
        margin: rule.margin.as_deref(),
        because: &rule.because,
        where_: &rule.where_,
        source: &rule.source,
    }
}

fn group(group: &FigureGroup) -> GroupOut<'_> {
    GroupOut {
        title: &group.title,
        channel: &group.channel,
        seconds: group.seconds,
        stands_on: &group.stands_on,
        lines: group.lines.iter().map(figure).collect(),
    }
}

fn figure(line: &FigureLine) -> FigureOut<'_> {
    let (number, lowest, highest) = match &line.figure {
        Figure::Given { value, lowest, highest } => (Some(*value), Some(*lowest), Some(*highest)),
        Figure::Absent(_) => (None, None, None),
    };
    FigureOut {
        id: &line.id,
        name: &line.name,
        short: line.short.as_deref(),
        on_less: line.on_less,
        value: line.value.as_deref(),
        unit: &line.unit,
        mmhg: line.mmhg.as_deref(),
        range: line.range.as_deref(),
        absent: line.absent.as_deref(),
        number,
        lowest,
        highest,
        seconds: line.seconds,
        stands_on: &line.stands_on,
        definition: &line.definition,
        source: &line.source,
    }
}

fn quality(quality: &Quality) -> QualityOut<'_> {
    QualityOut {
        channel: &quality.channel,
        name: &quality.name,
        believed_s: quality.believed_s,
        scored_s: quality.scored_s,
        words: &quality.words,
        sentence: &quality.sentence,
        reasons: quality
            .reasons
            .iter()
            .map(|(reason, length)| ReasonOut { reason, length })
            .collect(),
    }
}

fn correction(lines: &CorrectionLines) -> CorrectionOut<'_> {
    CorrectionOut {
        model: lines.model.as_deref(),
        sentence: &lines.sentence,
        anchors: &lines.anchors,
    }
}

fn findings(report: &Report) -> Vec<FindingOut<'_>> {
    report
        .findings
        .iter()
        .map(|finding| FindingOut {
            code: &finding.code,
            weight: weight(finding.weight),
            channel: finding.channel.as_deref(),
            at: finding.at.as_deref(),
            sentence: &finding.sentence,
        })
        .collect()
}

fn picture(picture: &Picture) -> PictureOut<'_> {
    PictureOut {
        words: &picture.words,
        duration_s: picture.duration_s,
        ticks: picture.ticks.iter().map(|t| TickOut { at_s: t.at_s, label: &t.label }).collect(),
        flags: picture
            .flags
            .iter()
            .map(|flag| FlagOut {
                at_s: flag.at_s,
                until_s: flag.until_s,
                kind: flag.kind.id(),
                label: &flag.label,
            })
            .collect(),
        scored: picture.scored.iter().map(stretch).collect(),
        lanes: picture.lanes.iter().map(lane).collect(),
    }
}

fn lane(lane: &Lane) -> LaneOut<'_> {
    LaneOut {
        channel: lane.quantity.id(),
        low: lane.low,
        high: lane.high,
        start_s: lane.start_s,
        column_s: lane.column_s,
        believed: Columns(&lane.believed),
        not_believed: Columns(&lane.doubted),
        raw: Columns(&lane.raw),
        band: &lane.band,
        doubts: lane
            .doubts
            .iter()
            .map(|doubt| DoubtOut {
                start_s: doubt.stretch.start_s,
                end_s: doubt.stretch.end_s,
                reason: doubt.reason.id(),
            })
            .collect(),
        levels: lane
            .levels
            .iter()
            .map(|l| LevelOut { level: l.level, label: &l.label, spoken_of: l.spoken_of })
            .collect(),
        rules: lane
            .rules
            .iter()
            .map(|rule| RuleMarkOut {
                number: rule.number,
                answer: rule.answer.id(),
                stretches: rule.stretches.iter().map(stretch).collect(),
            })
            .collect(),
    }
}
