//! A second, blind reading on the night's own page: the same strip and acts, and nothing of the first reading.

use askama::Template;
use axum::extract::Path;
use serde_json::json;
use store::error::StoreError;
use store::reading::steps::Step;
use store::record::tables::Night;
use store::record::tables::Person;
use store::record::tables::SecondReading;
use store::words::NightStatus;

use super::Page;
use super::Reading;
use super::acts;
use super::fragment;
use super::looked_at;
use super::parts;
use super::strip;
use super::untied;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/second", list)
        .post("/second/{id}/begin", begin)
        .get("/second/{id}", page)
        .get("/second/{id}/strip", picture)
        .get("/second/{id}/columns", columns)
        .get("/second/{id}/parts", all_parts)
        .post("/second/{id}/judge", |visit, id, typed| step(visit, id, typed, "judge"))
        .post("/second/{id}/reason", |visit, id, typed| step(visit, id, typed, "reason"))
        .post("/second/{id}/mark", |visit, id, typed| step(visit, id, typed, "mark"))
        .post("/second/{id}/move", |visit, id, typed| step(visit, id, typed, "move"))
        .post("/second/{id}/remove", |visit, id, typed| step(visit, id, typed, "remove"))
        .post("/second/{id}/gas", |visit, id, typed| step(visit, id, typed, "gas"))
        .post("/second/{id}/undo", |visit, id, typed| step(visit, id, typed, "undo"))
        .post("/second/{id}/redo", |visit, id, typed| step(visit, id, typed, "redo"))
        .post("/second/{id}/finish", finish)
        .post("/second/{id}/withdraw", withdraw)
}

impl Reading {
    /// Opens a second reading for its reader, and for nobody else.
    async fn second(visit: &Visit, id: i64) -> Result<Self, Trouble> {
        let mut conn = visit.app.store().read().await?;
        let second: SecondReading = conn.get(id).await?;
        if second.reader.as_deref() != Some(visit.author().login.as_str()) {
            return Err(somebody_elses().into());
        }
        let night: Night = conn.get(second.night).await?;
        let person: Person = match night.person {
            Some(person) => conn.get(person).await?,
            None => return Err(untied(&night)),
        };
        drop(conn);
        looked_at(visit, &night);
        let opened = visit.app.nights().open_second(visit.app.store(), &night, &second).await?;
        let bare = Self { base: String::new(), night, person, opened, second: None };
        Ok(bare.of(second))
    }

    /// The same night with the notes of a second reading, and as if it were being read.
    fn of(mut self, second: SecondReading) -> Self {
        self.base = format!("/second/{}", second.id);
        second.text().clone_into(&mut self.night.notes);
        (self.night.act, self.night.status) = (second.act, NightStatus::Reading);
        self.night.result = None;
        self.second = Some(second);
        self
    }
}

fn somebody_elses() -> StoreError {
    let says = "this second reading is somebody else's, or nobody has begun it";
    StoreError::refused("not_yours_to_read", says, "yours stand under second readings")
}

#[derive(Template)]
#[template(path = "night/second.html")]
struct List {
    rows: Vec<Row>,
    assets: &'static str,
}

struct Row {
    name: String,
    when: String,
    how: String,
    /// Where it is read on, once it was begun.
    href: Option<String>,
    begin: Form,
}

/// `GET /second`: the second readings that wait for whoever asks.
async fn list(visit: Visit) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let mut rows = Vec::new();
    for reading in conn.second_waiting(&visit.author()).await? {
        let night: Night = conn.get(reading.night).await?;
        if let Some(person) = night.person {
            rows.push(row(&visit, &reading, &night, &conn.get(person).await?));
        }
    }
    drop(conn);
    visit.looks("second readings", None, json!({"second readings": rows.len()}));
    visit.page("Second readings", &List { rows, assets: crate::assets::FOLDER.as_str() })
}

fn row(visit: &Visit, reading: &SecondReading, night: &Night, person: &Person) -> Row {
    let base = format!("/second/{}", reading.id);
    let drawn = visit.local(reading.drawn_at);
    Row {
        name: person.listed(),
        when: visit.local(night.start_at),
        how: format!("{} by {} on {drawn}", reading.how, reading.drawn_by),
        begin: visit.form(format!("{base}/begin"), "Read it blind"),
        href: reading.reader.as_ref().map(|_| base),
    }
}

/// `POST /second/{id}/begin`.
async fn begin(visit: Visit, Path(id): Path<i64>) -> Answer {
    let begun = Box::pin(visit.app.store().begin_second(&visit.author(), id)).await?;
    Ok(visit.done("Begun. You read this night blind now.", &format!("/second/{}", begun.id)))
}

/// `GET /second/{id}`.
async fn page(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::second(&visit, id).await?;
    let parts = parts::parts(&visit, &reading).await?;
    let report = &reading.opened.report;
    let page = Page {
        id: reading.night.id,
        base: reading.base.clone(),
        second: true,
        person: reading.person.id,
        seen: reading.night.act,
        outcome: reading.opened.outcome,
        name: reading.person.listed(),
        born: reading.person.born_on.clone(),
        number: reading.person.mrn.clone(),
        when: report.night.date.clone().unwrap_or_default(),
        asked: String::new(),
        words: report.picture.words.clone(),
        before: None,
        after: None,
        place: String::new(),
        assets: crate::assets::FOLDER.as_str(),
        parts,
    };
    visit.page(&format!("Second reading of {}", page.name), &page)
}

/// What ends an open second reading.
pub(super) fn forms(visit: &Visit, second: &SecondReading) -> Vec<Form> {
    if !second.is_open() {
        return Vec::new();
    }
    let base = format!("/second/{}", second.id);
    let seen = || Field::hidden("seen", second.act.to_string());
    vec![
        visit.form(format!("{base}/finish"), "Finish this reading").field(seen()).field(
            Field::tick("sure", "I have read the whole night; it is not changed any more").needed(),
        ),
        visit
            .form(format!("{base}/withdraw"), "Withdraw it")
            .grave()
            .field(seen())
            .field(Field::text("reason", "Why it is withdrawn").needed()),
    ]
}

/// `GET /second/{id}/strip`.
async fn picture(visit: Visit, Path(id): Path<i64>) -> Answer {
    Ok(strip::picture_of(&Reading::second(&visit, id).await?))
}

/// `GET /second/{id}/columns?from=&to=&width=`.
async fn columns(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    strip::columns_of(&Reading::second(&visit, id).await?, &typed)
}

/// `GET /second/{id}/parts`.
async fn all_parts(visit: Visit, Path(id): Path<i64>) -> Answer {
    fragment(&visit, &Reading::second(&visit, id).await?).await
}

/// `POST /second/{id}/WHAT`: takes the step. A whole judgement lies in its future, which is too large to be
/// handed around.
async fn step(visit: Visit, Path(id): Path<i64>, typed: Typed, what: &str) -> Answer {
    let step = acts::asked(what, &typed)?;
    Box::pin(taken(&visit, id, &typed, step)).await
}

async fn taken(visit: &Visit, id: i64, typed: &Typed, step: Step) -> Answer {
    let seen = acts::seen(typed)?;
    let reading = Reading::second(visit, id).await?;
    let recording = reading.opened.recording.clone();
    let store = visit.app.store();
    let said = said(&step, &reading);
    let done = store.step_second(&visit.author(), id, seen, step, recording.clone()).await?;
    let second = done.reading.clone();
    let opened = visit.app.nights().stepped_second(done, recording).await?;
    let said = said.or_else(|| second.undo().map(str::to_owned)).unwrap_or_default();
    let reading = Reading { opened, ..reading }.of(second);
    acts::changed(visit, typed, &reading, &said).await
}

/// What an undo takes back, before it does; for every other step what it did, afterwards.
fn said(step: &Step, reading: &Reading) -> Option<String> {
    let second = reading.second.as_ref()?;
    matches!(step, Step::Undo).then(|| second.undo().map(|what| format!("undid: {what}")))?
}

/// `POST /second/{id}/finish`.
async fn finish(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let seen = acts::seen(&typed)?;
    if !typed.ticked("sure") {
        return Err(Trouble::not_understood("It is not said that the whole night was read."));
    }
    Box::pin(visit.app.store().finish_second(&visit.author(), id, seen)).await?;
    let words = "The second reading is finished. The first reading is open to you again.";
    Ok(visit.done(words, "/agreement"))
}

/// `POST /second/{id}/withdraw`.
async fn withdraw(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let seen = acts::seen(&typed)?;
    visit.app.store().withdraw_second(&visit.author(), id, seen, typed.get("reason")).await?;
    Ok(visit.done("The second reading is withdrawn.", "/second"))
}
