//! What a draft would change: past nights run with it, beside other work, and what came of it.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::Path;
use engine::judge::Answer as RuleAnswer;
use engine::report::fixed;
use engine::unit::Unit;
use serde_json::json;
use store::criteria::rerun::Changed;
use store::criteria::rerun::Choice;
use store::criteria::rerun::Ended;
use store::criteria::rerun::Moved;
use store::criteria::rerun::Rerun;
use store::criteria::rerun::State;
use store::criteria::rerun::words;
use store::record::db::Conn;
use store::record::tables::Person;

use super::editor;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::typed::Typed;
use crate::visit::Visit;

/// How many nights are listed one by one.
const LISTED: usize = 100;

#[derive(Template)]
#[template(path = "criteria/rerun.html")]
struct Page {
    name: String,
    csrf: String,
    form: Form,
    run: Option<Run>,
    assets: &'static str,
}

/// A run as it is shown.
struct Run {
    /// Still under way.
    running: bool,
    chosen: usize,
    done: usize,
    /// How far it is, and how fast.
    says: String,
    /// The draft was changed, or another set adopted, since.
    stale: bool,
    words: Vec<String>,
    nights: Vec<Night>,
    more: usize,
    figures: Vec<Figure>,
}

struct Night {
    /// Where it is read, for who may see results.
    href: Option<String>,
    name: String,
    when: String,
    verdict: String,
    rules: Vec<String>,
    figures: Vec<String>,
}

struct Figure {
    name: &'static str,
    nights: usize,
    before: String,
    after: String,
    href: Option<String>,
    when: String,
}

/// `GET /criteria/{name}/rerun`.
pub(super) async fn page(visit: Visit, Path(name): Path<String>) -> Answer {
    let form = form(&visit, &name);
    let page = made(&visit, name, form).await?;
    visit.page(&format!("What {} would change", page.name), &page)
}

async fn made(visit: &Visit, name: String, form: Form) -> Result<Page, Trouble> {
    let Some(open) = editor::opened(visit, &name).await? else {
        return Err(no_draft());
    };
    let run = match &open.rerun {
        Some(rerun) => Some(run(visit, rerun, open.same_run().is_none()).await?),
        None => None,
    };
    Ok(Page { name, csrf: visit.csrf(), form, run, assets: crate::assets::FOLDER.as_str() })
}

fn no_draft() -> Trouble {
    Trouble {
        title: "No draft",
        says: vec!["There is no draft of this set: nothing would change.".to_owned()],
        hints: vec!["Begin one on the set's page.".to_owned()],
        ..Trouble::refused(&[])
    }
}

fn form(visit: &Visit, name: &str) -> Form {
    let choice = visit.app.rerun(name).map(|run| run.choice).unwrap_or_default();
    let which = |every: bool| if every { "every" } else { "own" }.to_owned();
    let sets = vec![
        (which(false), "those read by the set it takes the place of".to_owned()),
        (which(true), "those read by any set".to_owned()),
    ];
    visit
        .form(format!("/criteria/{name}/rerun"), "Run past nights")
        .field(
            Field::number("days", "Nights of the last so many days", "1")
                .needed()
                .with("min", "1")
                .value(choice.days.to_string()),
        )
        .field(
            Field::number("most", "At most so many, the newest first", "1")
                .needed()
                .with("min", "1")
                .value(choice.most.to_string()),
        )
        .field(Field::one("which", "Which nights", sets).needed().value(which(choice.every_set)))
        .back(format!("/criteria/{name}/draft"), "To the draft")
}

/// `POST /criteria/{name}/rerun`: begins a run, or stops the one under way.
pub(super) async fn act(visit: Visit, Path(name): Path<String>, typed: Typed) -> Answer {
    let here = format!("/criteria/{name}/rerun");
    if typed.ticked("stop") {
        if let Some(run) = visit.app.rerun(&name) {
            run.stop();
        }
        return Ok(visit.done("It stops after the night it is at.", &here));
    }
    let mut form = form(&visit, &name).filled(&typed).checked();
    let number = |name: &str, most: i64| typed.number(name).filter(|n| (1..=most).contains(n));
    let (days, most) = (number("days", 36_500), number("most", 100_000));
    for (field, given) in [("days", days), ("most", most)] {
        if given.is_none() {
            form.fault(field, "A whole number above zero.");
        }
    }
    if let (false, Some(days), Some(most)) = (form.has_faults(), days, most) {
        let choice = Choice { days, most, every_set: typed.get("which") == "every" };
        match visit.app.store().choose_nights(&visit.author(), &name, choice).await {
            Ok(rerun) => {
                if begun(&visit, &name, rerun) {
                    return Ok(lead_to(&here));
                }
                let (says, hint) = ("Another run is under way.", "Wait until it ends, or stop it.");
                form.faults.push((says.to_owned(), hint.to_owned()));
            }
            Err(error) => form.refused(error, &[])?,
        }
    }
    let page = made(&visit, name, form).await?;
    visit.again(&format!("What {} would change", page.name), &page)
}

/// Begins a run beside other work; `false` when another is under way.
fn begun(visit: &Visit, name: &str, rerun: Rerun) -> bool {
    let rerun = Arc::new(rerun);
    let kept = visit.app.keep_rerun(name, &rerun);
    if kept {
        let (app, store) = (visit.app.clone(), visit.app.store().clone());
        tokio::spawn(async move {
            let mut stopping = app.stopping();
            tokio::select! {
                () = rerun.clone().run(store) => {}
                // The server ends; the night it is at is the last.
                _ = stopping.changed() => rerun.stop(),
            }
        });
    }
    kept
}

async fn run(visit: &Visit, of: &Rerun, old: bool) -> Result<Run, Trouble> {
    // What was found on a night is kept in memory; it goes with the night's data.
    of.forget(&visit.app.store().read().await?.destroyed_nights().await?);
    let state = of.state();
    let running = state.ended.is_none();
    let mut shown: Vec<&Changed> = if running { Vec::new() } else { ordered(&state) };
    let login = visit.author().login;
    let blind = visit.app.store().read().await?.blind_nights(&login).await?;
    shown.retain(|one| !blind.contains(&one.night));
    let sees = visit.may(Right::SeeResults) && visit.may(Right::SeePeople);
    if sees && !shown.is_empty() {
        let facts = json!({"nights": shown.len().min(LISTED)});
        visit.looks(format!("rerun {}", of.draft.name), None, facts);
    }
    let mut conn = visit.app.store().read().await?;
    let mut nights = Vec::new();
    for one in shown.iter().take(LISTED) {
        nights.push(night(visit, &mut conn, one, sees).await?);
    }
    Ok(Run {
        running,
        chosen: state.chosen,
        done: state.done,
        says: progress(visit, of, &state),
        stale: old,
        words: if running { Vec::new() } else { words(&state) },
        more: shown.len().saturating_sub(LISTED),
        nights,
        figures: if running { Vec::new() } else { figures(visit, &state, sees, &blind) },
    })
}

/// Nights on which an answer changes: verdicts first, then rules.
fn ordered(state: &State) -> Vec<&Changed> {
    let turns = |one: &&Changed| one.verdict_turns() || one.turned().next().is_some();
    let mut shown: Vec<&Changed> = state.changed.iter().filter(turns).collect();
    shown.sort_by_key(|one| (!one.verdict_turns(), std::cmp::Reverse(one.turned().count())));
    shown
}

fn progress(visit: &Visit, rerun: &Rerun, state: &State) -> String {
    let seconds = state.took_ms as f64 / 1_000.0;
    let speed = if state.done > 0 && seconds > 0.0 {
        format!(", {} nights a second", fixed(state.done as f64 / seconds, 0))
    } else {
        String::new()
    };
    let broke = match &state.ended {
        Some(Ended::Broke(because)) => format!(" {}", sentence(because)),
        _ => String::new(),
    };
    format!(
        "Version {} against {} {}, begun {} by {}: {}. {} of {} nights{speed}.{broke}",
        rerun.sets().1.version,
        rerun.sets().0.name,
        rerun.sets().0.version,
        visit.local(rerun.at),
        rerun.who,
        editor::run_words(state.ended.as_ref()),
        state.done,
        state.chosen,
    )
}

fn href(one: &Changed, sees: bool) -> Option<String> {
    sees.then(|| format!("/nights/{}", one.night))
}

async fn night(
    visit: &Visit,
    conn: &mut Conn,
    one: &Changed,
    sees: bool,
) -> Result<Night, Trouble> {
    let name = match one.person.filter(|_| sees) {
        Some(id) => conn.get::<Person>(id).await?.listed(),
        None => format!("night {}", one.night),
    };
    let word = |answer: Option<RuleAnswer>| answer.map_or("", RuleAnswer::words);
    let rules = one
        .turned()
        .map(|rule| format!("{}: {} to {}", rule.asks, word(rule.before), word(rule.after)));
    let (before, after) = (one.verdict.0.id(), one.verdict.1.id());
    Ok(Night {
        href: href(one, sees),
        name,
        when: visit.local(one.start_at),
        verdict: if before == after {
            format!("{after}, as before")
        } else {
            format!("{before} to {after}")
        },
        rules: rules.collect(),
        figures: one.figures.iter().filter(|one| is_seen(one)).take(3).map(moved_words).collect(),
    })
}

/// One that is printed alike has not moved for a reader.
fn is_seen(one: &Moved) -> bool {
    number(one.before, &one.unit) != number(one.after, &one.unit)
}

fn moved_words(one: &Moved) -> String {
    format!("{}: {} to {}", one.name, number(one.before, &one.unit), number(one.after, &one.unit))
}

fn number(value: Option<f64>, unit: &Unit) -> String {
    match value {
        None => "none".to_owned(),
        Some(value) => format!("{} {}", fixed(value, 2), unit.symbol()).trim_end().to_owned(),
    }
}

/// Each figure that moves, with the night on which it moves farthest. Nights that whoever asks reads blind now
/// are left out.
fn figures(visit: &Visit, state: &State, sees: bool, blind: &[i64]) -> Vec<Figure> {
    let mut all: BTreeMap<&str, (usize, &Moved, &Changed)> = BTreeMap::new();
    for night in state.changed.iter().filter(|night| !blind.contains(&night.night)) {
        for one in &night.figures {
            let entry = all.entry(one.id).or_insert((0, one, night));
            entry.0 += 1;
            if one.share() > entry.1.share() {
                (entry.1, entry.2) = (one, night);
            }
        }
    }
    let mut rows: Vec<(usize, &Moved, &Changed)> = all.into_values().collect();
    rows.sort_by(|a, b| b.1.share().total_cmp(&a.1.share()));
    let rows = rows.into_iter().filter(|row| is_seen(row.1)).map(|(nights, one, night)| Figure {
        name: one.name,
        nights,
        before: number(one.before, &one.unit),
        after: number(one.after, &one.unit),
        href: href(night, sees),
        when: visit.local(night.start_at),
    });
    rows.collect()
}
