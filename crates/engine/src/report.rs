//! `report`: the judgement as plain data, ready to be printed.
//!
//! Every number already stands here in the words and digits it is printed in, so that page, paper and
//! screen cannot differ. Who the patient is does not stand here: the printers take a heading beside the
//! report.

use crate::criteria::Criteria;
use crate::finding::Weight;
use crate::judge::Answer;
use crate::judge::Decision;
use crate::judge::Judgement;
use crate::recording::Quantity;
use crate::score::Figure;
use crate::time::Stretch;

mod answer;
mod caution;
mod figures;
mod gases;
mod levels;
mod night;
mod picture;
mod quality;
mod words;

pub use picture::{Column, Doubt, Flag, Lane, LevelLine, Picture, RuleMark, Tick};
pub use words::{clock_span, duration, fixed};

/// A night's report: everything a printer needs and nothing more.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// When the night was and what of it was scored.
    pub night: Night,
    /// The question, in words with its question mark; empty when the set asks none.
    pub question: String,
    /// What the rules the question needs say together.
    pub answer: Answer,
    /// What must be read before the answer, each a sentence: gases that do not agree with the sensor, harmed skin.
    pub first: Vec<String>,
    /// The answer in one short sentence.
    pub headline: String,
    /// What is severe whatever was asked, each a sentence; the headline begins with it.
    pub severe: Vec<SevereLine>,
    /// What the file may hold and was not read, each a sentence: without it no "none" may be believed.
    pub not_read: Vec<String>,
    /// What was seen, in whole sentences with units: every blood gas first, then the figures; empty where there
    /// is neither.
    pub summary: Vec<String>,
    /// Whether the night answers the question.
    pub decision: Decision,
    /// The decision in one short sentence.
    pub decision_words: String,
    /// Why, each a sentence.
    pub reasons: Vec<String>,
    /// Those of the reasons that do not only repeat a rule of the list; for the first page.
    pub brief_reasons: Vec<String>,
    /// What would mend it, each a sentence.
    pub mend: Vec<String>,
    /// Every rule: those the question needs first, then the others of the set.
    pub rules: Vec<RuleLine>,
    /// The figures, grouped by channel.
    pub figures: Vec<FigureGroup>,
    /// What was believed of each channel.
    pub quality: Vec<Quality>,
    /// How CO2 was corrected.
    pub correction: CorrectionLines,
    /// Patterns seen, described.
    pub patterns: Vec<PatternLine>,
    /// Cautions, each a sentence.
    pub cautions: Vec<String>,
    /// Findings of every step, the heaviest first.
    pub findings: Vec<FindingLine>,
    /// What the report was made from.
    pub provenance: Provenance,
    /// The night as a picture.
    pub picture: Picture,
}

/// When the night was.
#[derive(Clone, Debug, PartialEq)]
pub struct Night {
    /// `14 to 15 March 2026`; `None` when the file carries times of day only.
    pub date: Option<String>,
    /// Year, month and day of the recording's end; `None` when the date is not known.
    pub end_date: Option<(i16, i8, i8)>,
    /// Time of day at the start, `22:15`.
    pub start: String,
    /// Time of day at the end.
    pub end: String,
    /// The zone's name; `None` when no zone was given.
    pub zone: Option<String>,
    /// Length of the recording in words.
    pub length: String,
    /// What was scored, in one sentence.
    pub period: String,
    /// What the patient breathed, in words; `None` when nobody said.
    pub breathing: Option<String>,
    /// The patient's word on the night, in one sentence.
    pub representative: String,
    /// What else was told of it, each a sentence: answers without a time, marks with words.
    pub told: Vec<String>,
    /// Kind of file.
    pub format: String,
    /// The channels, each with unit and sampling, in words.
    pub channels: Vec<String>,
    /// The monitor as the file names it, and what is known of its settings; in words.
    pub monitor: Vec<String>,
}

/// One rule with its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleLine {
    /// The number by which list and picture speak of it, from 1.
    pub number: usize,
    /// Its id.
    pub id: String,
    /// What it asks, a sentence without a full stop.
    pub asks: String,
    /// Whether the question needs it.
    pub needed: bool,
    /// The answer.
    pub answer: Answer,
    /// How far the signal would have to shift for the answer to turn; `None` when it cannot be said.
    pub margin: Option<String>,
    /// Why, in one sentence.
    pub because: String,
    /// The stretches it speaks of, on the wall clock, longest first and at most three; then how many more.
    pub where_: Vec<String>,
    /// Where it was published.
    pub source: String,
}

/// A severe finding as printed.
#[derive(Clone, Debug, PartialEq)]
pub struct SevereLine {
    /// Its id, the key of its limit in the criteria.
    pub id: String,
    /// The finding with its limit, one sentence.
    pub sentence: String,
    /// The figure.
    pub figure: f64,
    /// The limit it lies beyond.
    pub limit: f64,
    /// The unit of both.
    pub unit: String,
    /// Where the limit comes from.
    pub source: String,
}

/// Figures of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureGroup {
    /// `Oxygen`, `Carbon dioxide`, `Pulse`.
    pub title: String,
    /// Id of the channel.
    pub channel: String,
    /// Believed seconds of the channel inside the scored time; most of its figures stand on them.
    pub seconds: f64,
    /// The same in words.
    pub stands_on: String,
    /// Its figures.
    pub lines: Vec<FigureLine>,
}

/// One figure.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureLine {
    /// Its id.
    pub id: String,
    /// The name a person reads.
    pub name: String,
    /// A short name under its channel's title, when it belongs on the first page.
    pub short: Option<String>,
    /// Whether it stands on a small part of the channel's believed time, so that it must be said.
    pub on_less: bool,
    /// The number, lowest and highest, as computed; or why there is none.
    pub figure: Figure,
    /// The number as printed; `None` when there is none.
    pub value: Option<String>,
    /// Unit as printed; empty when the value carries it.
    pub unit: String,
    /// The same number in mmHg; `None` for all but levels of CO2.
    pub mmhg: Option<String>,
    /// What the unbelieved time could make of it: `6.1–7.4`; `None` when it could change nothing.
    pub range: Option<String>,
    /// Why there is no number.
    pub absent: Option<String>,
    /// Believed seconds it stands on.
    pub seconds: f64,
    /// The same in words.
    pub stands_on: String,
    /// Its definition in one sentence.
    pub definition: String,
    /// Its source.
    pub source: String,
}

/// What was believed of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Quality {
    /// Id of the channel.
    pub channel: String,
    /// Its name.
    pub name: String,
    /// Believed seconds inside the scored time.
    pub believed_s: f64,
    /// Seconds of scored time.
    pub scored_s: f64,
    /// `6 h 52 min of 7 h 40 min believed (90 %)`.
    pub words: String,
    /// The same with the largest reasons, how long each and where most of it lies, in one sentence.
    pub sentence: String,
    /// Time not believed inside the scored time, by reason, the longest first: words, and how long with its
    /// place where one stretch makes most of it.
    pub reasons: Vec<(String, String)>,
}

/// How CO2 was corrected.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionLines {
    /// Id of the model; `none` when nothing was corrected; `None` without CO2.
    pub model: Option<String>,
    /// What was done, in one sentence.
    pub sentence: String,
    /// The anchors, each in words.
    pub anchors: Vec<String>,
}

/// A pattern seen.
#[derive(Clone, Debug, PartialEq)]
pub struct PatternLine {
    /// Its id.
    pub id: String,
    /// One sentence with its numbers.
    pub sentence: String,
}

/// A finding as printed.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingLine {
    /// Its fixed name.
    pub code: String,
    /// How much it weighs.
    pub weight: Weight,
    /// The channel's id, when it concerns one.
    pub channel: Option<String>,
    /// Where in the night, on the wall clock.
    pub at: Option<String>,
    /// The finding.
    pub sentence: String,
}

/// What a report was made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Provenance {
    /// Name of the criteria set.
    pub criteria_name: String,
    /// Its version.
    pub criteria_version: String,
    /// Its title.
    pub criteria_title: String,
    /// Its SHA-256.
    pub criteria_sha256: String,
    /// Engine and version.
    pub engine: String,
    /// SHA-256 of the recording's file.
    pub input_sha256: String,
}

/// Lays a judgement out as a report. `criteria` must be the set the judgement was made with.
pub fn report(judgement: &Judgement, criteria: &Criteria) -> Report {
    let rules = answer::rules(judgement, criteria);
    let figures = figures::groups(judgement);
    Report {
        night: night::night(judgement),
        question: judgement.verdict.asks.clone(),
        answer: judgement.verdict.answer,
        first: answer::first(judgement),
        headline: answer::headline(judgement, &rules, &figures),
        severe: severe(judgement),
        not_read: not_read(judgement),
        summary: answer::summary(judgement, &figures),
        decision: judgement.verdict.decision,
        decision_words: answer::decision(judgement.verdict.decision, &rules).into(),
        reasons: judgement.verdict.reasons.clone(),
        brief_reasons: answer::brief(judgement, &rules),
        mend: judgement.verdict.mend.clone(),
        picture: picture::picture(judgement, criteria, &rules),
        rules,
        figures,
        quality: quality::quality(judgement),
        correction: quality::correction(judgement),
        patterns: patterns(judgement),
        cautions: caution::cautions(judgement, criteria),
        findings: findings(judgement),
        provenance: provenance(judgement),
    }
}

fn severe(judgement: &Judgement) -> Vec<SevereLine> {
    let line = |one: &crate::judge::Severe| SevereLine {
        id: one.id.into(),
        sentence: one.sentence.clone(),
        figure: one.figure,
        limit: one.limit,
        unit: one.unit.symbol().into(),
        source: one.source.clone(),
    };
    judgement.severe.iter().map(line).collect()
}

fn not_read(judgement: &Judgement) -> Vec<String> {
    let recording = &judgement.scores.corrected.screened.recording;
    let scored = [Quantity::Spo2, Quantity::Tcpco2, Quantity::Pulse];
    let found = scored.into_iter().filter_map(|quantity| recording.not_taken(quantity));
    found.map(|finding| finding.sentence.clone()).collect()
}

fn patterns(judgement: &Judgement) -> Vec<PatternLine> {
    let line =
        |p: &crate::judge::Pattern| PatternLine { id: p.id.into(), sentence: p.sentence.clone() };
    judgement.patterns.iter().map(line).collect()
}

fn findings(judgement: &Judgement) -> Vec<FindingLine> {
    let scores = &judgement.scores;
    let screened = &scores.corrected.screened;
    let clock = &screened.recording.clock;
    let mut lines: Vec<FindingLine> = [
        &screened.recording.findings,
        &screened.notes.findings,
        &screened.findings,
        &scores.corrected.findings,
        &scores.findings,
    ]
    .into_iter()
    .flatten()
    .map(|finding| FindingLine {
        code: finding.code.into(),
        weight: finding.weight,
        channel: finding.channel.clone(),
        at: finding.stretch.map(|stretch: Stretch| clock_span(clock, &stretch)),
        sentence: finding.sentence.clone(),
    })
    .collect();
    // A stable sort: findings of equal weight keep the order of the steps that made them.
    lines.sort_by_key(|line| std::cmp::Reverse(line.weight));
    lines
}

fn provenance(judgement: &Judgement) -> Provenance {
    let stamp = &judgement.criteria;
    Provenance {
        criteria_name: stamp.name.clone(),
        criteria_version: stamp.version.clone(),
        criteria_title: stamp.title.clone(),
        criteria_sha256: stamp.sha256.clone(),
        engine: crate::ENGINE.into(),
        input_sha256: judgement.scores.corrected.screened.recording.input_sha256.clone(),
    }
}
