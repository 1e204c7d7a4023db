//! What stands around the strip: answers, figures, what is not believed, marks, and what was done by hand.

use askama::Template;
use engine::judge::Answer;
use engine::judge::Decision;
use engine::recording::Quantity;
use engine::report::Doubt;
use engine::report::FigureLine;
use engine::report::Report;
use engine::report::RuleLine;
use engine::report::clock_span;
use engine::report::duration;
use engine::report::fixed;
use engine::screen::Reason;
use serde_json::Value;
use store::reading::edit::Entry;
use store::reading::edit::entries;
use store::reading::edit::head_key;
use store::reading::standing::Became;
use store::reading::steps::Versions;
use store::record::db::Conn;
use store::record::tables::Outcome;
use store::record::tables::SecondReading;
use store::words::NightStatus;

use super::Reading;
use super::checks;
use super::checks::OfferRow;
use super::diary;
use super::repeat::Offer;
use super::repeat::offer;
use super::second;
use crate::access::Right;
use crate::form::Form;
use crate::form::sentence;
use crate::mark::Mark;
use crate::opened::Opened;
use crate::page::Trouble;
use crate::visit::Visit;

/// Reasons that are often given; common practice, no source.
const REASONS: [&str; 6] = [
    "lay on the sensor",
    "sensor half off the ear",
    "awake by the diary",
    "movement",
    "sensor refitted",
    "true, seen in both channels",
];

#[derive(Template)]
#[template(path = "night/parts.html")]
struct Parts {
    base: String,
    /// Finishing and withdrawing, while a second reading is open.
    forms: Vec<Form>,
    second: bool,
    seen: i64,
    csrf: String,
    may_change: bool,
    signed: bool,
    question: String,
    /// What must be read before the answer.
    first: Vec<String>,
    headline: String,
    severe: Vec<String>,
    not_read: Vec<String>,
    told: Vec<String>,
    decision: &'static str,
    decision_words: String,
    decision_was: Option<String>,
    changed: Vec<Changed>,
    reasons: Vec<String>,
    mend: Vec<String>,
    needed: Vec<RuleRow>,
    others: Vec<RuleRow>,
    figures: Vec<Group>,
    patterns: Vec<String>,
    cautions: Vec<String>,
    correction: String,
    channels: Vec<(&'static str, &'static str)>,
    quality: Vec<(String, String)>,
    doubts: Vec<DoubtRow>,
    marks: Vec<EntryRow>,
    judged: Vec<EntryRow>,
    kinds: Vec<(&'static str, String)>,
    reasons_offered: [&'static str; 6],
    questions: Vec<(String, String, bool)>,
    sets: Vec<(String, bool)>,
    /// The version of the set that was adopted since the night was scored.
    newer: Option<String>,
    undo: Option<String>,
    redo: Option<String>,
    history: Vec<HistoryRow>,
    report_word: &'static str,
    again: Offer,
    /// What became of its report: mark, and why, a sentence each.
    became: Option<(Mark, Vec<String>)>,
    /// What was learnt since its report was signed.
    learnt: Vec<String>,
    /// How it was tied by hand, what was learnt of its monitor.
    reservations: Vec<String>,
    /// A diary and gas checks that came after the night was judged, or were voided: what each would change.
    offers: Vec<OfferRow>,
    /// Where it is untied, for who may.
    untie: Option<String>,
}

/// What the last thing done by hand changed.
struct Changed {
    name: String,
    was: String,
    now: String,
}

struct RuleRow {
    id: String,
    number: usize,
    asks: String,
    answer: &'static str,
    words: &'static str,
    was: Option<&'static str>,
    margin: Option<String>,
    because: String,
    where_: Vec<String>,
    source: String,
    lights: bool,
}

struct Group {
    title: String,
    stands_on: String,
    lines: Vec<FigureRow>,
}

struct FigureRow {
    name: String,
    value: String,
    was: Option<String>,
    range: Option<String>,
    definition: String,
    stands_on: String,
    source: String,
}

struct DoubtRow {
    from_s: f64,
    to_s: f64,
    lane: &'static str,
    channel: &'static str,
    when: String,
    long: String,
    why: String,
}

struct EntryRow {
    index: usize,
    movable: bool,
    at: String,
    until: String,
    says: String,
    reason: String,
    from_s: f64,
    to_s: f64,
    lane: String,
}

struct HistoryRow {
    at: String,
    who: String,
    what: String,
    because: String,
}

/// The parts of a night as HTML.
pub(super) async fn parts(visit: &Visit, reading: &Reading) -> Result<String, Trouble> {
    if let Some(second) = &reading.second {
        return Ok(second_parts(visit, reading, second).render()?);
    }
    let mut conn = visit.app.store().read().await?;
    let versions = conn.versions(&reading.night).await?;
    let old = before(&mut conn, &versions).await?;
    let held = &reading.opened.criteria;
    let names = conn.set_names().await?;
    let now = conn.criteria(&held.name).await.ok();
    let again = offer(visit, &mut conn, reading).await?;
    let beside = conn.beside(std::slice::from_ref(&reading.night)).await?;
    drop(conn);
    let mut parts = made(visit, reading, &versions, &old);
    parts.again = again;
    parts.became = beside.became(&reading.night).map(became);
    parts.learnt = sentences(&beside.learnt(&reading.night));
    // What waits for the reader stands above, with what to do.
    parts.reservations = sentences(&beside.reservations(&reading.night));
    parts.reservations.retain(|one| !parts.learnt.contains(one));
    if let Some(late) = beside.late_diary(&reading.night) {
        parts.offers.push(diary::row(visit, reading, &late).await?);
    }
    parts.offers.extend(checks::rows(visit, reading).await?);
    let free = reading.night.status != NightStatus::Signed && visit.may(Right::Read);
    parts.untie = free.then(|| format!("/nights/{}/untie", reading.night.id));
    parts.sets = sets(&held.name, names);
    parts.newer = now.filter(|now| now.sha256 != held.sha256).map(|now| now.version);
    Ok(parts.render()?)
}

/// The parts of a second reading: nothing of the first is in them.
fn second_parts(visit: &Visit, reading: &Reading, own: &SecondReading) -> Parts {
    let old = serde_json::from_str(&own.before).unwrap_or(Value::Null);
    let mut parts = made(visit, reading, &Versions::default(), &old);
    (parts.undo, parts.redo) = (own.undo().map(str::to_owned), own.redo().map(str::to_owned));
    parts.forms = second::forms(visit, own);
    parts
}

/// The scores before the last thing that was done by hand.
async fn before(conn: &mut Conn, versions: &Versions) -> Result<Value, Trouble> {
    let Some(last) = versions.all.len().checked_sub(2).and_then(|at| versions.all.get(at)) else {
        return Ok(Value::Null);
    };
    let outcome: Outcome = conn.get(last.outcome).await?;
    Ok(serde_json::from_str(&outcome.scores).unwrap_or(Value::Null))
}

fn made(visit: &Visit, reading: &Reading, versions: &Versions, old: &Value) -> Parts {
    let (night, opened) = (&reading.night, &reading.opened);
    let report = &opened.report;
    let (needed, others) = report.rules.iter().partition::<Vec<&RuleLine>, _>(|rule| rule.needed);
    let row = |rules: Vec<&RuleLine>| -> Vec<RuleRow> {
        rules.iter().map(|rule| rule_row(opened, rule, old)).collect()
    };
    let (needed, others, figures) = (row(needed), row(others), figures(opened, old));
    let all = entries(&night.notes);
    Parts {
        base: reading.base.clone(),
        forms: Vec::new(),
        second: reading.second.is_some(),
        seen: night.act,
        csrf: visit.csrf(),
        may_change: reading.may_change(visit),
        signed: night.status == NightStatus::Signed,
        question: report.question.clone(),
        first: report.first.clone(),
        headline: report.headline.clone(),
        severe: report.severe.iter().map(|one| one.sentence.clone()).collect(),
        not_read: report.not_read.clone(),
        told: told(report),
        decision: report.decision.id(),
        decision_words: report.decision_words.clone(),
        decision_was: decision_was(report.decision, old),
        reasons: report.brief_reasons.clone(),
        mend: report.mend.clone(),
        changed: changed(&needed, &others, &figures),
        needed,
        others,
        figures,
        patterns: report.patterns.iter().map(|pattern| pattern.sentence.clone()).collect(),
        cautions: report.cautions.clone(),
        correction: report.correction.sentence.clone(),
        channels: report
            .picture
            .lanes
            .iter()
            .map(|l| (l.quantity.id(), l.quantity.name()))
            .collect(),
        quality: report.quality.iter().map(|one| (one.name.clone(), one.words.clone())).collect(),
        doubts: doubts(opened),
        marks: marks(opened, &night.notes, &all),
        judged: all.iter().filter_map(|entry| judged_row(opened, &night.notes, entry)).collect(),
        kinds: kinds(),
        reasons_offered: REASONS,
        questions: questions(opened),
        sets: Vec::new(),
        newer: None,
        undo: versions.before().and(versions.here()).map(|here| here.what.clone()),
        redo: versions.after().map(|after| after.what.clone()),
        history: history(visit, versions),
        report_word: report_word(visit, night.status),
        again: Offer::Nothing,
        became: None,
        learnt: Vec::new(),
        reservations: Vec::new(),
        offers: Vec::new(),
        untie: None,
    }
}

/// What was told of the night: how it was, what was breathed, and every answer.
fn told(report: &Report) -> Vec<String> {
    let breathing = report.night.breathing.as_deref().unwrap_or("not told");
    let first = [report.night.representative.clone(), format!("Breathing: {breathing}.")];
    first.into_iter().chain(report.night.told.iter().cloned()).collect()
}

pub(super) fn sentences(all: &[String]) -> Vec<String> {
    all.iter().map(|one| sentence(one)).collect()
}

pub(super) fn became(one: Became) -> (Mark, Vec<String>) {
    let mut says = vec![sentence(&one.says), sentence(&one.because)];
    says.retain(|one| !one.is_empty());
    (one.into(), says)
}

fn report_word(visit: &Visit, status: NightStatus) -> &'static str {
    match status {
        NightStatus::Signed if visit.may(Right::Interpret) => "Interpret and sign",
        NightStatus::Signed => "The signed report",
        _ if visit.may(Right::Read) => "Report and sign",
        _ => "The report as it stands",
    }
}

fn changed(needed: &[RuleRow], others: &[RuleRow], figures: &[Group]) -> Vec<Changed> {
    let rules = needed.iter().chain(others).filter_map(|rule| {
        let (name, now) = (rule.asks.clone(), rule.words.to_owned());
        rule.was.map(|was| Changed { name, was: was.to_owned(), now })
    });
    let lines = figures.iter().flat_map(|group| &group.lines).filter_map(|line| {
        let (name, now) = (line.name.clone(), line.value.clone());
        line.was.clone().map(|was| Changed { name, was, now })
    });
    rules.chain(lines).collect()
}

fn decision_was(now: Decision, old: &Value) -> Option<String> {
    let was = old["verdict"]["decision"].as_str()?;
    (was != now.id()).then(|| was.to_owned())
}

fn rule_row(opened: &Opened, rule: &RuleLine, old: &Value) -> RuleRow {
    let old = old["rules"].as_array().into_iter().flatten();
    let old =
        old.filter(|one| one["id"] == rule.id.as_str()).find_map(|one| one["answer"].as_str());
    let answers = [Answer::Met, Answer::NotMet, Answer::CannotTell];
    let was = answers.into_iter().find(|answer| old == Some(answer.id()));
    let answered = opened.judgement.rules.iter().find(|answered| answered.id == rule.id);
    RuleRow {
        id: rule.id.clone(),
        number: rule.number,
        asks: rule.asks.clone(),
        answer: rule.answer.id(),
        words: rule.answer.words(),
        was: was.filter(|was| *was != rule.answer).map(Answer::words),
        margin: rule.margin.clone(),
        because: rule.because.clone(),
        where_: rule.where_.clone(),
        source: rule.source.clone(),
        lights: answered.is_some_and(|answered| !answered.stretches.is_empty()),
    }
}

fn figures(opened: &Opened, old: &Value) -> Vec<Group> {
    let group = |group: &engine::report::FigureGroup| Group {
        title: group.title.clone(),
        stands_on: group.stands_on.clone(),
        lines: group.lines.iter().map(|line| figure_row(line, old)).collect(),
    };
    opened.report.figures.iter().map(group).collect()
}

fn figure_row(line: &FigureLine, old: &Value) -> FigureRow {
    let with_unit = |value: &str| match (&line.mmhg, line.unit.is_empty()) {
        (_, true) => value.to_owned(),
        (_, false) => format!("{value} {}", line.unit),
    };
    let value = match (&line.value, &line.mmhg) {
        (Some(value), Some(mmhg)) => format!("{} ({mmhg} mmHg)", with_unit(value)),
        (Some(value), None) => with_unit(value),
        (None, _) => line.absent.clone().unwrap_or_default(),
    };
    FigureRow {
        name: line.name.clone(),
        value,
        was: was(line, old).map(|value| with_unit(&value)),
        range: line.range.clone(),
        definition: line.definition.clone(),
        stands_on: line.stands_on.clone(),
        source: line.source.clone(),
    }
}

/// The figure before the last thing done by hand, where it is printed otherwise.
fn was(line: &FigureLine, old: &Value) -> Option<String> {
    let measure = old["measures"].get(&line.id)?;
    let Some(value) = measure["value"].as_f64() else {
        return line.value.as_ref().map(|_| "none".to_owned());
    };
    let now = line.value.as_deref().unwrap_or_default();
    let text = if line.unit.is_empty() {
        duration(value)
    } else {
        fixed(value, now.split_once('.').map_or(0, |(_, decimals)| decimals.len()))
    };
    (text != now).then_some(text)
}

/// Why a stretch is not believed; a person's own words with their name.
pub(super) fn doubt_words(opened: &Opened, quantity: Quantity, doubt: &Doubt) -> String {
    if doubt.reason != Reason::ByPerson {
        return doubt.reason.words().to_owned();
    }
    let edits = &opened.judgement.scores.corrected.screened.notes.edits;
    let by = edits.iter().rev().find(|edit| {
        !edit.believe && edit.quantity == quantity && edit.stretch.overlaps(&doubt.stretch)
    });
    by.map_or_else(
        || doubt.reason.words().to_owned(),
        |edit| format!("{} ({})", edit.reason, edit.author),
    )
}

fn doubts(opened: &Opened) -> Vec<DoubtRow> {
    let clock = &opened.recording.clock;
    let mut rows: Vec<DoubtRow> = Vec::new();
    for lane in &opened.report.picture.lanes {
        rows.extend(lane.doubts.iter().map(|doubt| DoubtRow {
            from_s: doubt.stretch.start_s,
            to_s: doubt.stretch.end_s,
            lane: lane.quantity.id(),
            channel: lane.quantity.name(),
            when: clock_span(clock, &doubt.stretch),
            long: duration(doubt.stretch.length_s()),
            why: doubt_words(opened, lane.quantity, doubt),
        }));
    }
    rows.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    rows
}

/// Where an entry lies in the night, s; `None` when it cannot be placed.
fn placed(opened: &Opened, notes: &str, entry: &Entry) -> Option<(f64, f64)> {
    let zone =
        head_key(notes, "zone").map_or_else(String::new, |zone| format!("zone = {zone:?}\n"));
    let alone = engine::notes::NotesFile::parse(&format!("{zone}{}", entry.alone)).ok()?;
    let notes = alone.place_kept(&opened.recording).ok()?;
    let mark = notes.marks.first().map(|mark| (mark.start_s, mark.end_s.unwrap_or(mark.start_s)));
    let gas = notes.blood_gases.first().map(|gas| (gas.at_s, gas.at_s));
    let check = notes.gas_checks.first().map(|check| (check.at_s, check.at_s));
    let edit = notes.edits.first().map(|edit| (edit.stretch.start_s, edit.stretch.end_s));
    mark.or(gas).or(check).or(edit)
}

fn marks(opened: &Opened, notes: &str, all: &[Entry]) -> Vec<EntryRow> {
    let mut rows: Vec<EntryRow> = ["lights_out", "lights_on"]
        .into_iter()
        .filter_map(|key| {
            let at = head_key(notes, key)?;
            let alone = format!("[[mark]]\nkind = \"{key}\"\nat = {at:?}\n");
            let entry = Entry { index: 0, table: "mark".to_owned(), fields: Vec::new(), alone };
            let (from_s, to_s) = placed(opened, notes, &entry)?;
            let says = key.replace('_', " ");
            Some(row(opened, (0, false), (from_s, to_s), says, String::new()))
        })
        .collect();
    rows.extend(all.iter().filter_map(|entry| mark_row(opened, notes, entry)));
    rows.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    rows
}

fn mark_row(opened: &Opened, notes: &str, entry: &Entry) -> Option<EntryRow> {
    let says = match entry.table.as_str() {
        "mark" => {
            let kind = entry.get("kind").replace('_', " ");
            if entry.get("text").is_empty() {
                kind
            } else {
                format!("{kind}: {}", entry.get("text"))
            }
        }
        "blood_gas" if entry.get("pco2_kpa").is_empty() => {
            format!("blood gas, {} mmHg", entry.get("pco2_mmhg"))
        }
        "blood_gas" => format!("blood gas, {} kPa", entry.get("pco2_kpa")),
        "gas_check" => {
            let kpa = |key: &str| match entry.get(key).parse::<f64>() {
                Ok(value) => format!("{} kPa", fixed(value, 2)),
                Err(_) => entry.get(key).to_owned(),
            };
            format!("gas check: {} expected, {} read", kpa("expected_kpa"), kpa("observed_kpa"))
        }
        _ => return None,
    };
    let movable = entry.table != "gas_check";
    let at = placed(opened, notes, entry)?;
    Some(row(opened, (entry.index, movable), at, says, String::new()))
}

fn judged_row(opened: &Opened, notes: &str, entry: &Entry) -> Option<EntryRow> {
    let verb = match entry.table.as_str() {
        "exclude" => "excluded",
        "put_back" => "put back",
        _ => return None,
    };
    let quantity = Quantity::from_id(entry.get("channel"))?;
    let says = format!("{} {verb} by {}", quantity.name(), entry.get("author"));
    let at = placed(opened, notes, entry)?;
    let reason = entry.get("reason").to_owned();
    let made = row(opened, (entry.index, true), at, says, reason);
    Some(EntryRow { lane: quantity.id().to_owned(), ..made })
}

fn row(
    opened: &Opened,
    (index, movable): (usize, bool),
    (from_s, to_s): (f64, f64),
    says: String,
    reason: String,
) -> EntryRow {
    let label = |at_s: f64| opened.recording.clock.label(at_s, true);
    EntryRow {
        index,
        movable,
        at: label(from_s),
        until: if to_s > from_s { label(to_s) } else { String::new() },
        says,
        reason,
        from_s,
        to_s,
        lane: String::new(),
    }
}

fn kinds() -> Vec<(&'static str, String)> {
    use engine::recording::MarkKind;
    let apart = |kind: &MarkKind| matches!(kind, MarkKind::BloodGas | MarkKind::GasCheck);
    let kinds = MarkKind::ALL.into_iter().filter(|kind| !apart(kind));
    kinds.map(|kind| (kind.id(), kind.id().replace('_', " "))).collect()
}

fn questions(opened: &Opened) -> Vec<(String, String, bool)> {
    let asked = &opened.judgement.verdict.question;
    let questions = opened.criteria.questions.iter();
    questions.map(|one| (one.id.clone(), one.asks.clone(), one.id == *asked)).collect()
}

/// The sets that travel with the program and the department's own, and which the night is held against.
fn sets(now: &str, mut names: Vec<String>) -> Vec<(String, bool)> {
    if !names.iter().any(|name| name == now) {
        names.push(now.to_owned());
    }
    names.into_iter().map(|name| (name == now, name)).map(|(here, name)| (name, here)).collect()
}

fn history(visit: &Visit, versions: &Versions) -> Vec<HistoryRow> {
    let rows = versions.all.iter().rev().map(|version| HistoryRow {
        at: visit.local(version.at),
        who: version.who.clone(),
        what: version.what.clone(),
        because: version.because.clone().unwrap_or_default(),
    });
    rows.collect()
}
