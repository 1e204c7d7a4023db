//! The nights of the morning: what waits to be read, and what waits to be interpreted.

use std::fmt::Write as _;
use std::sync::Arc;

use askama::Template;
use axum::extract::Path;
use engine::judge::Cause;
use engine::judge::Decision;
use engine::report::Lane;
use engine::report::Picture;
use serde_json::json;
use store::error::StoreError;
use store::lending::desk::NightLine;
use store::reading::beside::Beside;
use store::reading::repeat::Repeated;
use store::reading::reserve::Learnt;
use store::record::db::Conn;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Outcome;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::Report;
use store::words::NightStatus;
use store::words::Urgency;

use crate::access::Right;
use crate::app::App;
use crate::form::Form;
use crate::form::sentence;
use crate::mark::Mark;
use crate::opened::Little;
use crate::opened::Opened;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/nights", page).post("/nights/{id}/score", score)
}

#[derive(Template)]
#[template(path = "night/nights.html")]
struct Page {
    answer: String,
    /// Tied and not scored: first, for nobody reads them until they are mended.
    unscored: Vec<UnscoredRow>,
    /// Signed, and something was learnt since: somebody may act upon them now.
    learnt: Vec<LearntRow>,
    rows: Vec<Row>,
    untied: Vec<UntiedRow>,
    signed: Vec<SignedRow>,
    again: Vec<AgainRow>,
    /// How many second readings wait for whoever asks.
    seconds: usize,
    reads: bool,
    /// What is to be interpreted comes first for who interprets.
    interprets: bool,
    assets: &'static str,
}

struct Row {
    id: i64,
    name: String,
    when: String,
    verdict: String,
    verdict_words: &'static str,
    reason: String,
    believed: String,
    urgency: Option<&'static str>,
    question: String,
    strip: String,
    mark: Option<Mark>,
    /// What became of its report.
    became: Option<Mark>,
    /// How it was tied by hand and what was learnt of its monitor.
    reservations: Vec<String>,
}

/// A signed night that its reader must look at again.
struct LearntRow {
    id: i64,
    name: String,
    when: String,
    says: Vec<String>,
}

/// A night that is tied and cannot be scored: what is wrong and where it is mended.
struct UnscoredRow {
    name: String,
    when: String,
    says: String,
    hint: String,
    ways: Vec<(String, &'static str)>,
    again: Option<Form>,
}

struct UntiedRow {
    /// Where it is settled, for who may.
    href: Option<String>,
    when: String,
    doubt: String,
}

/// A night that is being repeated.
struct AgainRow {
    id: i64,
    name: String,
    when: String,
    loan: i64,
    says: String,
}

struct SignedRow {
    id: i64,
    name: String,
    when: String,
    says: String,
    /// The question, and why: the words of a night that is not signed yet.
    question: String,
    reason: String,
    became: Option<Mark>,
    reservations: Vec<String>,
}

/// A signed night that waits for a physician.
struct SignedLine {
    report: Report,
    night: Night,
    person: Person,
    outcome: Outcome,
    severe: Option<String>,
}

/// Nights that can be read, the one that matters most first: those with a severe finding, then those to be
/// repeated before those that answer in part before the others, the urgent before the routine, the old before the new.
pub(crate) async fn waiting(
    conn: &mut Conn,
) -> Result<Vec<(NightLine, Option<Referral>)>, Trouble> {
    let lines = conn.nights_waiting().await?;
    in_order(conn, lines.into_iter().filter(is_readable).collect()).await
}

async fn in_order(
    conn: &mut Conn,
    lines: Vec<NightLine>,
) -> Result<Vec<(NightLine, Option<Referral>)>, Trouble> {
    let nights: Vec<&Night> = lines.iter().map(|line| &line.night).collect();
    let asked = conn.asked_of(&nights).await?;
    let with = |line: NightLine| {
        let asked = line.night.study.and_then(|study| asked.get(&study).cloned());
        (line, asked)
    };
    let mut lines: Vec<(NightLine, Option<Referral>)> = lines.into_iter().map(with).collect();
    lines.sort_by_key(|(line, asked)| {
        let urgency = asked.as_ref().map_or(2, urgency);
        (line.severe.is_none(), rank(line), urgency, line.night.start_at, line.night.id)
    });
    Ok(lines)
}

fn is_readable(line: &NightLine) -> bool {
    line.night.status != NightStatus::Untied && line.outcome.is_some()
}

fn rank(line: &NightLine) -> usize {
    let verdict = line.outcome.as_ref().map_or("", |outcome| outcome.verdict.as_str());
    ["repeat", "partial", "sufficient"].iter().position(|one| *one == verdict).unwrap_or(3)
}

/// `GET /nights`. Whatever waits is read once: a list of a hundred nights asks the record as often as one of two.
async fn page(visit: Visit) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let all = conn.nights_waiting().await?;
    let (untied, tied): (Vec<NightLine>, Vec<NightLine>) =
        all.into_iter().partition(|line| line.night.status == NightStatus::Untied);
    let untied = untied_rows(&visit, &mut conn, &untied).await?;
    let (readable, bare): (Vec<NightLine>, Vec<NightLine>) =
        tied.into_iter().partition(is_readable);
    let mut lines = in_order(&mut conn, readable).await?;
    let mut signed = signed(&mut conn).await?;
    let mut learnt: Vec<LearntRow> =
        conn.learnt().await?.iter().map(|one| learnt_row(&visit, one)).collect();
    let mut again: Vec<AgainRow> =
        conn.repeated().await?.iter().map(|one| again_row(&visit, one)).collect();
    // What these lists say of a night is of its first reading.
    let blind = conn.blind_nights(&visit.author().login).await?;
    lines.retain(|(line, _)| !blind.contains(&line.night.id));
    signed.retain(|line| !blind.contains(&line.night.id));
    learnt.retain(|row| !blind.contains(&row.id));
    again.retain(|row| !blind.contains(&row.id));
    let reads = visit.may(Right::Read);
    let seconds = if reads { conn.second_waiting(&visit.author()).await?.len() } else { 0 };
    let nights: Vec<Night> = lines.iter().map(|(line, _)| line.night.clone()).collect();
    let mut listed = nights.clone();
    listed.extend(signed.iter().map(|line| line.night.clone()));
    let beside = conn.beside(&listed).await?;
    drop(conn);
    let shown: Vec<i64> = nights.iter().map(|night| night.id).collect();
    visit.looks("nights", None, json!({"nights": shown}));
    draw(&visit, listed).await?;
    let signed = signed.into_iter().map(|line| signed_row(&visit, line, &beside)).collect();
    let rows: Vec<Row> =
        lines.into_iter().map(|(line, asked)| row(&visit, line, asked, &beside)).collect();
    let mut unscored = Vec::with_capacity(bare.len());
    for line in bare {
        unscored.push(unscored_row(&visit, &line).await?);
    }
    let answer = answer(&rows, unscored.len(), learnt.len());
    let page = Page {
        answer,
        unscored,
        learnt,
        rows,
        untied,
        signed,
        again,
        seconds,
        reads,
        interprets: visit.may(Right::Interpret),
        assets: crate::assets::FOLDER.as_str(),
    };
    visit.page("Nights", &page)
}

fn urgency(referral: &Referral) -> usize {
    match referral.urgency {
        Urgency::Urgent => 0,
        Urgency::Soon => 1,
        Urgency::Routine => 2,
    }
}

/// Signed nights that wait for a physician.
async fn signed(conn: &mut Conn) -> Result<Vec<SignedLine>, Trouble> {
    let reports = conn.reports_to_interpret().await?;
    let ids = |of: fn(&Report) -> i64| reports.iter().map(of).collect::<Vec<_>>();
    let nights: Vec<Night> = conn.find_among("id", &ids(|one| one.night)).await?;
    let results: Vec<Outcome> = conn.find_among("id", &ids(|one| one.outcome)).await?;
    let people: Vec<i64> = nights.iter().filter_map(|night| night.person).collect();
    let people: Vec<Person> = conn.find_among("id", &people).await?;
    let of = |report: Report| {
        let night = nights.iter().find(|night| night.id == report.night)?.clone();
        let person = people.iter().find(|one| Some(one.id) == night.person)?.clone();
        let outcome = results.iter().find(|one| one.id == report.outcome)?.clone();
        let severe = outcome.severe();
        let line = SignedLine { report, night, person, outcome, severe };
        (line.night.status == NightStatus::Signed).then_some(line)
    };
    let mut lines: Vec<SignedLine> = reports.into_iter().filter_map(of).collect();
    // The order of signing stays within each kind.
    lines.sort_by_key(|line| line.severe.is_none());
    Ok(lines)
}

fn signed_row(visit: &Visit, line: SignedLine, beside: &Beside) -> SignedRow {
    let by = line.report.signed_by.as_deref().unwrap_or_default();
    let little = little(&visit.app, &line.night).unwrap_or_default();
    SignedRow {
        id: line.night.id,
        name: line.person.listed(),
        when: visit.local(line.night.start_at),
        says: format!("{}, signed by {by}", verdict_words(&line.outcome.verdict)),
        question: little.question.clone(),
        reason: reason(line.severe, little.cause.clone(), line.outcome.reason),
        became: beside.became(&line.night).map(Mark::from),
        reservations: reserved(beside, &line.night),
    }
}

/// Why a night is as it is, as every list says it: what is severe, and what is to be known of its gases.
fn reason(severe: Option<String>, cause: Option<String>, first: Option<String>) -> String {
    match (severe, cause) {
        (Some(severe), cause) => format!("{severe} {}", cause.unwrap_or_default()),
        (None, Some(cause)) => cause,
        (None, None) => first.unwrap_or_default(),
    }
}

/// What must be known of a night, as every list says it.
fn reserved(beside: &Beside, night: &Night) -> Vec<String> {
    beside.reservations(night).iter().map(|one| sentence(one)).collect()
}

fn learnt_row(visit: &Visit, one: &Learnt) -> LearntRow {
    LearntRow {
        id: one.night.id,
        name: one.person.listed(),
        when: visit.local(one.night.start_at),
        says: one.says.iter().map(|says| sentence(says)).collect(),
    }
}

async fn untied_rows(
    visit: &Visit,
    conn: &mut Conn,
    lines: &[NightLine],
) -> Result<Vec<UntiedRow>, Trouble> {
    let proposed = conn.ties_proposed().await?;
    let is_proposed = |id: i64| proposed.iter().any(|tie| tie.night == id);
    Ok(lines.iter().map(|line| untied_row(visit, line, is_proposed(line.night.id))).collect())
}

fn untied_row(visit: &Visit, line: &NightLine, proposed: bool) -> UntiedRow {
    let doubt = if proposed {
        "proposed, and waits for a second person".to_owned()
    } else {
        line.night.doubts.0.first().cloned().unwrap_or_default()
    };
    let settle = format!("/nights/{}/settle", line.night.id);
    let href = visit.may(Right::Read).then_some(settle);
    UntiedRow { href, when: visit.local(line.night.start_at), doubt }
}

fn again_row(visit: &Visit, one: &Repeated) -> AgainRow {
    let (loan, because) = (&one.loan, one.loan.repeats_because.as_deref().unwrap_or_default());
    AgainRow {
        id: one.night.id,
        name: one.person.listed(),
        when: visit.local(one.night.start_at),
        loan: loan.id,
        says: format!(
            "{}, {}, first night {}: {because}",
            loan.mark, loan.status, loan.first_night_on
        ),
    }
}

/// How many nights are drawn before the list is shown; the rest follow while it is.
const AT_ONCE: usize = 12;

/// Sees to it that the list has its nights in little. Each is opened once for each result, not for each look;
/// whether its data are still there is asked of the record every time.
async fn draw(visit: &Visit, nights: Vec<Night>) -> Result<(), Trouble> {
    let app = &visit.app;
    let gone = app.store().read().await?.destroyed_among(&nights).await?;
    let mut missing = Vec::new();
    for night in nights {
        if gone.contains(&night.id) {
            app.nights().forget(night.id);
        } else if little(app, &night).is_none() {
            missing.push(night);
        }
    }
    let rest = missing.split_off(missing.len().min(AT_ONCE));
    for night in &missing {
        drawn(app, night).await;
    }
    if rest.is_empty() || !app.nights().begin_drawing() {
        return Ok(());
    }
    let app = app.clone();
    tokio::spawn(async move {
        for night in &rest {
            if *app.stopping().borrow() {
                break;
            }
            drawn(&app, night).await;
        }
        app.nights().end_drawing();
    });
    Ok(())
}

fn little(app: &App, night: &Night) -> Option<Arc<Little>> {
    app.nights().little(night.id, night.result?)
}

/// Draws one night. One that cannot be opened is listed without: its own page says why.
async fn drawn(app: &App, night: &Night) {
    let little = match app.nights().glance(app.store(), night).await {
        Ok(open) => Little {
            strip: small(&open.report.picture),
            question: open.report.question.clone(),
            cause: cause(&open),
        },
        // Its bytes cannot be read today either.
        Err(StoreError::Damaged { .. }) => Little::default(),
        Err(_) => return,
    };
    app.nights().keep_little(night.id, night.result.unwrap_or(0), little);
}

fn row(visit: &Visit, line: NightLine, asked: Option<Referral>, beside: &Beside) -> Row {
    let reservations = reserved(beside, &line.night);
    let became = beside.became(&line.night).map(Mark::from);
    let little = little(&visit.app, &line.night).unwrap_or_default();
    let (strip, question) = (little.strip.clone(), little.question.clone());
    let (verdict, reason, believed_h) = match line.outcome {
        Some(outcome) => {
            let reason = reason(line.severe, little.cause.clone(), outcome.reason);
            (outcome.verdict, reason, outcome.believed_h)
        }
        None => (String::new(), String::new(), 0.0),
    };
    let urgency = asked.map(|asked| asked.urgency).filter(|urgency| *urgency != Urgency::Routine);
    Row {
        id: line.night.id,
        name: line.person.as_ref().map_or_else(String::new, Person::listed),
        when: visit.local(line.night.start_at),
        verdict_words: verdict_words(&verdict),
        verdict,
        reason,
        believed: format!("{believed_h:.1} h"),
        urgency: urgency.map(Urgency::says),
        question,
        strip,
        mark: (line.night.status == NightStatus::Reading).then(|| line.night.status.into()),
        became,
        reservations,
    }
}

/// What is wrong with a night that is not scored, and the ways to mend it.
async fn unscored_row(visit: &Visit, line: &NightLine) -> Result<UnscoredRow, Trouble> {
    let night = &line.night;
    let wrong = visit.app.store().why_unscored(night).await?;
    let (says, hint) = match wrong {
        Some(error) => (sentence(&error.to_string()), sentence(&error.hint())),
        None => ("What stood in the way is mended.".to_owned(), "Score it again.".to_owned()),
    };
    let mut conn = visit.app.store().read().await?;
    let mut ways = Vec::new();
    if let Some(loan) = night.loan {
        let monitor = conn.get::<Loan>(loan).await?.monitor;
        ways = vec![(format!("/loans/{loan}/diary"), "Its diary")];
        if visit.may(Right::SeeMonitors) {
            ways.push((format!("/monitors/{monitor}"), "Its monitor and checks"));
        }
    }
    if visit.may(Right::Read) {
        ways.push((format!("/nights/{}/untie", night.id), "Not this patient's"));
    }
    let again = visit.form(format!("/nights/{}/score", night.id), "Score it again");
    Ok(UnscoredRow {
        name: line.person.as_ref().map_or_else(String::new, Person::listed),
        when: visit.local(night.start_at),
        says,
        hint,
        ways,
        again: visit.may(Right::Read).then_some(again),
    })
}

/// `POST /nights/{id}/score`: a night that could not be scored is tried again.
async fn score(visit: Visit, Path(id): Path<i64>) -> Answer {
    let store = visit.app.store();
    let night: Night = store.read().await?.get(id).await?;
    if night.result.is_some() {
        return Err(Trouble::not_understood("This night is scored."));
    }
    store.score_night(&visit.author(), id).await?;
    Ok(visit.done("Scored.", &format!("/nights/{id}")))
}

/// Why a night must be repeated, where more is known than that its rules cannot be told; and a blood gas that
/// the sensor does not agree with, whatever the verdict.
fn cause(open: &Opened) -> Option<String> {
    let verdict = &open.judgement.verdict;
    let causes = engine::judge::causes(&verdict.reasons);
    let by_gas = |cause: &Cause| matches!(cause, Cause::Disagree | Cause::Unpaired);
    let of_gas: Vec<Cause> = causes.iter().copied().filter(by_gas).collect();
    let told = if verdict.decision != Decision::Repeat || causes.contains(&Cause::Untold) {
        of_gas
    } else {
        causes
    };
    let words: Vec<String> = told.into_iter().map(Cause::words).collect();
    (!words.is_empty()).then(|| crate::form::sentence(&words.join("; ")))
}

fn verdict_words(verdict: &str) -> &'static str {
    match verdict {
        "repeat" => "to be repeated",
        "partial" => "answers in part",
        "sufficient" => "answers",
        _ => "not scored",
    }
}

fn answer(rows: &[Row], unscored: usize, learnt: usize) -> String {
    if learnt > 0 {
        let wait = if learnt == 1 {
            "signed night must be looked at again"
        } else {
            "signed nights must be looked at again"
        };
        return format!("{learnt} {wait}. {}", answer(rows, unscored, 0));
    }
    if unscored > 0 {
        let wait = if unscored == 1 {
            "night is tied and cannot be scored"
        } else {
            "nights are tied and cannot be scored"
        };
        return format!("{unscored} {wait}. {}", answer(rows, 0, 0));
    }
    if rows.is_empty() {
        return "No night waits to be read.".to_owned();
    }
    let of = |verdict: &str| rows.iter().filter(|row| row.verdict == verdict).count();
    let parts = [
        (of("repeat"), "to be repeated"),
        (of("partial"), "answering in part"),
        (of("sufficient"), "answering the question"),
    ];
    let said: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, words)| format!("{n} {words}")).collect();
    format!("{} to read: {}.", rows.len(), said.join(", "))
}

/// Width of the small strip and height of one of its lanes, in its own units.
const WIDTH: usize = 240;
const LANE: f64 = 22.0;

/// The night in little: SpO2 over CO2, what is not believed hatched.
fn small(picture: &Picture) -> String {
    let lanes: Vec<&Lane> = picture
        .lanes
        .iter()
        .filter(|lane| lane.quantity != engine::recording::Quantity::Pulse)
        .collect();
    let height = LANE * lanes.len() as f64;
    let mut text = format!(
        "<svg class=\"little\" viewBox=\"0 0 {WIDTH} {height}\" preserveAspectRatio=\"none\" aria-hidden=\"true\">"
    );
    for (at, lane) in lanes.iter().enumerate() {
        little_lane(&mut text, picture, lane, LANE * at as f64);
    }
    text.push_str("</svg>");
    text
}

fn little_lane(text: &mut String, picture: &Picture, lane: &Lane, top: f64) {
    let x = |at_s: f64| at_s / picture.duration_s * WIDTH as f64;
    let y = |value: f64| {
        let part = (value - lane.low) / (lane.high - lane.low);
        top + (LANE - 2.0) * (1.0 - part.clamp(0.0, 1.0)) + 1.0
    };
    for doubt in &lane.doubts {
        let (left, right) = (x(doubt.stretch.start_s), x(doubt.stretch.end_s));
        let _ = write!(
            text,
            "<rect class=\"unsure\" x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{LANE}\"/>",
            (right - left).max(0.4)
        );
    }
    text.push_str("<path d=\"");
    for column in 0..WIDTH {
        let of = |at: usize| lane.start_s + at as f64 * lane.column_s;
        let own = lane.believed.iter().enumerate().filter(|(at, _)| {
            let left = x(of(*at));
            left >= column as f64 && left < (column + 1) as f64
        });
        let own = own.filter_map(|(_, cell)| *cell);
        let both = own.fold(None, |sum: Option<(f64, f64)>, cell| {
            Some(sum.map_or((cell.min, cell.max), |(low, high)| {
                (low.min(cell.min), high.max(cell.max))
            }))
        });
        if let Some((low, high)) = both {
            let _ = write!(text, "M{column}.5 {:.1}V{:.1}", y(high) - 0.5, y(low) + 0.5);
        }
    }
    text.push_str("\"/>");
}
