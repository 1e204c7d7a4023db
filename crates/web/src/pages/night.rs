//! One night: the strip dusk to dawn, the answers beside it, what a person judges, and the report.

mod acts;
mod checks;
mod diary;
mod parts;
mod repeat;
mod report;
mod second;
mod strip;

use std::sync::Arc;

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use serde_json::json;
use store::lending::desk::NightLine;
use store::record::tables::Night;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::SecondReading;
use store::record::tables::Study;
use store::words::NightStatus;

use crate::access::Right;
use crate::opened::Opened;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::html;
use crate::routes::Routes;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/nights/{id}", page)
        .get("/nights/{id}/strip", strip::strip)
        .get("/nights/{id}/columns", strip::columns)
        .get("/nights/{id}/parts", parts)
        .post("/nights/{id}/judge", |visit, id, typed| acts::step(visit, id, typed, "judge"))
        .post("/nights/{id}/reason", |visit, id, typed| acts::step(visit, id, typed, "reason"))
        .post("/nights/{id}/mark", |visit, id, typed| acts::step(visit, id, typed, "mark"))
        .post("/nights/{id}/move", |visit, id, typed| acts::step(visit, id, typed, "move"))
        .post("/nights/{id}/remove", |visit, id, typed| acts::step(visit, id, typed, "remove"))
        .post("/nights/{id}/gas", |visit, id, typed| acts::step(visit, id, typed, "gas"))
        .post("/nights/{id}/question", |visit, id, typed| acts::step(visit, id, typed, "question"))
        .post("/nights/{id}/criteria", |visit, id, typed| acts::step(visit, id, typed, "criteria"))
        .post("/nights/{id}/take-check", |visit, id, typed| checks::step(visit, id, typed, true))
        .post("/nights/{id}/drop-check", |visit, id, typed| checks::step(visit, id, typed, false))
        .post("/nights/{id}/take-diary", |visit, id, typed| diary::step(visit, id, typed, true))
        .post("/nights/{id}/leave-diary", |visit, id, typed| diary::step(visit, id, typed, false))
        .post("/nights/{id}/undo", |visit, id, typed| acts::step(visit, id, typed, "undo"))
        .post("/nights/{id}/redo", |visit, id, typed| acts::step(visit, id, typed, "redo"))
        .get("/nights/{id}/repeat", repeat::page)
        .post("/nights/{id}/repeat", repeat::repeat)
        .get("/nights/{id}/report", report::page)
        .get("/nights/{id}/report/preview", report::preview)
        .post("/nights/{id}/report/preview", report::preview)
        .post("/nights/{id}/sign", report::sign)
        .post("/nights/{id}/interpret", report::interpret)
        .post("/nights/{id}/reopen", report::reopen)
        .post("/nights/{id}/withdraw", report::withdraw)
        .get("/nights/{id}/reports/{version}", report::paper)
        .and(second::routes())
}

/// A night that is open, with whose it is.
struct Reading {
    /// Where it stands: `/nights/12`, or `/second/3` for a second reading.
    base: String,
    night: Night,
    person: Person,
    opened: Arc<Opened>,
    /// The second reading, when it is one; `night` then has its notes, and never those of the first.
    second: Option<SecondReading>,
}

impl Reading {
    /// Opens a night and tells that it is looked at.
    async fn open(visit: &Visit, id: i64) -> Result<Self, Trouble> {
        let mut conn = visit.app.store().read().await?;
        let night: Night = conn.get(id).await?;
        conn.not_blind(&visit.author().login, id).await?;
        let Some(person) = night.person else {
            // Its doubts may quote what the file says of whose it is.
            looked_at(visit, &night);
            return Err(untied(&night));
        };
        let person: Person = conn.get(person).await?;
        drop(conn);
        looked_at(visit, &night);
        match (night.status, night.result) {
            (NightStatus::SetAside, _) => return Err(set_aside(&night)),
            (_, None) => return Err(unscored(visit, &night).await?),
            _ => {}
        }
        let opened = visit.app.nights().open(visit.app.store(), &night).await?;
        Ok(Self { base: format!("/nights/{id}"), night, person, opened, second: None })
    }

    /// Whether whoever asks may change it now.
    fn may_change(&self, visit: &Visit) -> bool {
        match &self.second {
            Some(second) => second.is_open(),
            None => visit.may(Right::Read) && self.night.status != NightStatus::Signed,
        }
    }
}

/// Tells that a night is looked at.
pub(crate) fn looked_at(visit: &Visit, night: &Night) {
    visit.looks(format!("night {}", night.id), night.person, json!({}));
}

/// What is said of a night that was set aside, and of the one that took its place.
fn set_aside(night: &Night) -> Trouble {
    let because = night.settled_because.clone().unwrap_or_default();
    let mut says = vec!["This night was set aside.".to_owned(), crate::form::sentence(&because)];
    says.extend(night.replaced_by.map(|now| format!("Night {now} stands in its place.")));
    says.retain(|line| !line.is_empty());
    Trouble { title: "Set aside", says, ..Trouble::refused(&[]) }
}

/// What is said of a night that is tied and could not be scored: what is wrong, and where it is mended.
async fn unscored(visit: &Visit, night: &Night) -> Result<Trouble, Trouble> {
    let wrong = visit.app.store().why_unscored(night).await?;
    let (says, hint) = match wrong {
        Some(error) => {
            (crate::form::sentence(&error.to_string()), crate::form::sentence(&error.hint()))
        }
        None => ("What stood in the way is mended.".to_owned(), String::new()),
    };
    let mut hints = vec![
        hint,
        "The list of nights leads to its diary, its monitor, and to scoring it again.".to_owned(),
    ];
    hints.retain(|hint| !hint.is_empty());
    Ok(Trouble {
        title: "Not scored yet",
        says: vec!["This night is tied to its loan and cannot be scored.".to_owned(), says],
        hints,
        ..Trouble::refused(&[])
    })
}

/// What is said of a night that nobody has tied to a patient.
fn untied(night: &Night) -> Trouble {
    let mut says = vec!["Nobody has settled whose night this is.".to_owned()];
    says.extend(night.doubts.0.iter().map(|doubt| crate::form::sentence(doubt)));
    Trouble {
        title: "Not to be read yet",
        says,
        hints: vec!["A physiologist or an administrator settles it with a reason.".to_owned()],
        ..Trouble::refused(&[])
    }
}

#[derive(Template)]
#[template(path = "night/night.html")]
struct Page {
    id: i64,
    base: String,
    second: bool,
    person: i64,
    seen: i64,
    outcome: i64,
    name: String,
    born: String,
    number: String,
    when: String,
    asked: String,
    words: String,
    before: Option<(i64, String)>,
    after: Option<(i64, String)>,
    place: String,
    assets: &'static str,
    parts: String,
}

/// `GET /nights/{id}`.
async fn page(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let parts = parts::parts(&visit, &reading).await?;
    let mut conn = visit.app.store().read().await?;
    let waiting = super::nights::waiting(&mut conn).await?;
    let asked = match reading.night.study {
        Some(study) => {
            let study: Study = conn.get(study).await?;
            asked(&conn.get(study.referral).await?)
        }
        None => String::new(),
    };
    drop(conn);
    let at = waiting.iter().position(|(line, _)| line.night.id == id);
    let next = |line: Option<&(NightLine, Option<Referral>)>| {
        line.map(|(line, _)| {
            let name = line.person.as_ref().map_or_else(String::new, Person::listed);
            (line.night.id, name)
        })
    };
    let report = &reading.opened.report;
    let page = Page {
        id,
        base: reading.base.clone(),
        second: false,
        person: reading.person.id,
        seen: reading.night.act,
        outcome: reading.opened.outcome,
        name: reading.person.listed(),
        born: reading.person.born_on.clone(),
        number: reading.person.mrn.clone(),
        when: report.night.date.clone().unwrap_or_default(),
        asked,
        words: report.picture.words.clone(),
        before: next(at.and_then(|at| at.checked_sub(1)).and_then(|at| waiting.get(at))),
        after: next(at.map_or(waiting.first(), |at| waiting.get(at + 1))),
        place: at
            .map_or_else(String::new, |at| format!("{} of {} that wait", at + 1, waiting.len())),
        assets: crate::assets::FOLDER.as_str(),
        parts,
    };
    visit.page(&format!("Night of {}", page.name), &page)
}

/// Who asked, and how soon it is needed.
fn asked(referral: &Referral) -> String {
    let words = referral.words.clone().unwrap_or_default();
    let said = if words.is_empty() { String::new() } else { format!(": {words}") };
    format!("{} asked{said} ({})", referral.asked_by, referral.urgency.says())
}

/// `GET /nights/{id}/parts`: everything but the strip.
async fn parts(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    fragment(&visit, &reading).await
}

async fn fragment(visit: &Visit, reading: &Reading) -> Answer {
    let parts = parts::parts(visit, reading).await?;
    Ok::<Response, Trouble>(html(axum::http::StatusCode::OK, parts))
}
