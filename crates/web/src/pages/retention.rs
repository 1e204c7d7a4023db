//! Retention: whose time is over, holds, access by the person themselves, and destruction, all as recorded acts.

use askama::Template;
use axum::extract::Path;
use serde_json::json;
use store::record::tables::Person;
use store::retention::schedule::Due;
use store::when;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::download;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/retention", list)
        .get("/retention/{id}", one)
        .post("/retention/{id}/hold", hold)
        .post("/retention/{id}/release", release)
        .post("/retention/{id}/access", access)
        .post("/retention/{id}/destroy", destroy)
}

#[derive(Debug, Template)]
#[template(path = "retention.html")]
struct List {
    rule: String,
    due: Vec<Line>,
}

#[derive(Debug)]
struct Line {
    id: i64,
    name: String,
    last: String,
    due: String,
    because: String,
    held: String,
}

/// `GET /retention`.
async fn list(visit: Visit) -> Answer {
    let store = visit.app.store();
    let today = when::local_date(store.now(), &visit.department.zone);
    let mut conn = store.read().await?;
    let settings = conn.retention().await?;
    let mut due = Vec::new();
    for one in conn.due_for_review(today).await? {
        let person: Person = conn.get(one.person).await?;
        due.push(line(one, &person));
    }
    drop(conn);
    let people: Vec<i64> = due.iter().map(|line| line.id).collect();
    visit.looks("retention", None, json!({"due": people}));
    let rule = format!(
        "Kept {} years after the last entry; a child's until their {}th birthday, the {}th for somebody who was 17. \
         These figures are from memory: read the schedule in force before anything is destroyed.",
        settings.adult_years, settings.child_until_age, settings.child_until_age_if_17
    );
    visit.page("Retention", &List { rule, due })
}

fn line(due: Due, person: &Person) -> Line {
    Line {
        id: due.person,
        name: person.listed(),
        last: due.last_on,
        due: due.due_on,
        because: due.rule,
        held: due.held.unwrap_or_default(),
    }
}

#[derive(Debug, Template)]
#[template(path = "retention_one.html")]
struct One {
    name: String,
    born: String,
    held: String,
    acts: Vec<(&'static str, Form)>,
}

fn forms(visit: &Visit, id: i64, held: bool) -> Vec<(&'static str, Form)> {
    let form = |path: &str, button: &str| visit.form(format!("/retention/{id}/{path}"), button);
    let why =
        || Field::lines("reason", "Why", 2).hint("Stands in the record with your name.").needed();
    let certificate = Field::lines("certificate", "Certificate of destruction", 4)
        .hint("Who decided, by which schedule, and what was destroyed.")
        .needed();
    let holding = if held {
        ("Let the hold go", form("release", "Release").field(why()))
    } else {
        ("Hold: nothing is destroyed", form("hold", "Hold").field(why()))
    };
    vec![
        (
            "Everything that is about them, for themselves",
            form("access", "Make the file").field(why()),
        ),
        holding,
        ("Destroy their data", form("destroy", "Destroy").field(why()).field(certificate).grave()),
    ]
}

async fn page(visit: &Visit, id: i64) -> Result<One, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let person: Person = conn.get(id).await?;
    let held = conn.hold_of(id).await?;
    Ok(One {
        name: person.listed(),
        born: person.born_on,
        acts: forms(visit, id, held.is_some()),
        held: held.unwrap_or_default(),
    })
}

/// `GET /retention/{id}`.
async fn one(visit: Visit, Path(id): Path<i64>) -> Answer {
    let page = page(&visit, id).await?;
    visit.page("Retention", &page)
}

/// `POST /retention/{id}/hold`.
async fn hold(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    visit.app.store().hold_person(&visit.author(), id, typed.get("reason")).await?;
    Ok(visit.done("Held.", &format!("/retention/{id}")))
}

/// `POST /retention/{id}/release`.
async fn release(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    visit.app.store().release_person(&visit.author(), id, typed.get("reason")).await?;
    Ok(visit.done("Released.", &format!("/retention/{id}")))
}

/// `POST /retention/{id}/access`: everything as one file of JSON. Files lie beside it in the record.
async fn access(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let made = visit.app.store().subject_access(&visit.author(), id, typed.get("reason")).await?;
    Ok(download(&format!("person-{id}.json"), "application/json", made.json.into_bytes()))
}

/// `POST /retention/{id}/destroy`.
async fn destroy(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let (reason, certificate) = (typed.get("reason"), typed.get("certificate"));
    let done = visit.app.store().destroy_person(&visit.author(), id, reason, certificate).await?;
    visit.app.nights().close_all();
    let says = format!(
        "Destroyed: {} files and the content of {} acts. Act {} says so.",
        done.files, done.acts, done.seq
    );
    Ok(visit.done(&says, "/retention"))
}
