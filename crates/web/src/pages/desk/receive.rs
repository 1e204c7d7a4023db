//! The night off the monitor: a file comes in, and each night in it finds its loan or waits to be settled.

use askama::Template;
use axum::extract::Multipart;
use serde_json::json;
use store::error::StoreError;
use store::intake::receive::Asks;
use store::intake::receive::Incoming;
use store::intake::receive::Received;
use store::intake::receive::SERIOUS;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Night;
use store::record::tables::Person;
use store::words::MonitorStatus;
use store::words::NightStatus;
use tokio::sync::OwnedSemaphorePermit;

use super::Titled;
use super::columns;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::form::Kind;
use crate::form::sentence;
use crate::limits;
use crate::mark::Mark;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

#[derive(Debug, Template)]
#[template(path = "desk/received.html")]
struct Page {
    title: &'static str,
    words: String,
    nights: Vec<Row>,
    noticed: Vec<String>,
    next: Option<(String, String)>,
}

#[derive(Debug)]
struct Row {
    when: String,
    who: String,
    loan: i64,
    loan_name: String,
    mark: Mark,
    doubts: Vec<String>,
    settle: String,
    /// Where it can take the place of a night of the same time.
    replace: String,
    read: String,
}

async fn form(visit: &Visit, chosen: Option<i64>) -> Result<Form, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let all = conn.monitors_kept().await?;
    let (back, rest): (Vec<_>, Vec<_>) =
        all.iter().partition(|one| one.status == MonitorStatus::Back);
    let option = |one: &&Monitor| (one.id.to_string(), format!("{} ({})", one.mark, one.status));
    let of: Vec<(String, String)> = back.iter().chain(&rest).map(option).collect();
    let chosen = chosen.or(if back.len() == 1 { Some(back[0].id) } else { None });
    let monitor = Field::menu("monitor", "Taken off which monitor", of)
        .hint("As its label says. A choice here is compared and never enough: the serial number must stand in the file or its name.")
        .needed();
    let monitor = match chosen {
        Some(id) => monitor.value(id.to_string()),
        None => monitor,
    };
    let mut form = visit
        .form("/receive", "Take it in")
        .field(monitor)
        .field(
            Field::new("file", "The file", Kind::Line("file"))
                .hint("Choose it, or drop it anywhere on this page. Kept whole as it is. Text, EDF, EDF+ or BDF.")
                .with("data-most", limits::UPLOAD.to_string())
                .needed(),
        )
        .field(
            Field::tick("ask", "Let me say what its columns are")
                .hint("Not needed where they are known by name, or were told for a file of the same head."),
        )
        .back("/morning", "Not now");
    form.file = true;
    Ok(form)
}

/// `GET /receive`, with `?monitor=` when it is known.
pub(crate) async fn receiving(visit: Visit, typed: Typed) -> Answer {
    let form = form(&visit, typed.number("monitor")).await?;
    visit.page("Take off a night", &titled(form))
}

fn titled(form: Form) -> Titled {
    let mut page = Titled::new("Take the night off a monitor", "", form);
    let assets = crate::assets::FOLDER.as_str();
    page.after = format!("<script type=\"module\" src=\"{assets}/drop.js\"></script>");
    page
}

/// `POST /receive`.
pub(crate) async fn receive(visit: Visit, parts: Multipart) -> Answer {
    let uploads = visit.app.uploads();
    let place = uploads.place()?;
    let sent = uploads.read(parts).await?;
    let foreign: Vec<&str> = sent.fields.iter().map(|(name, _)| name.as_str()).collect();
    let foreign: Vec<&str> =
        foreign.into_iter().filter(|name| !["csrf", "monitor", "ask"].contains(name)).collect();
    if !foreign.is_empty() {
        return Err(Trouble::foreign_fields(&foreign));
    }
    let monitor = sent.get("monitor").parse().ok();
    let asks = if sent.get("ask").is_empty() { Asks::InDoubt } else { Asks::Always };
    let (name, bytes) = (sent.name, sent.bytes);
    let file = Incoming { name, bytes, taken_off: monitor, asks, ..Incoming::default() };
    if file.bytes.is_empty() {
        let mut form = form(&visit, monitor).await?;
        form.fault("file", "Choose the file that came off the monitor.");
        return visit.again("Take off a night", &titled(form));
    }
    match taken_in(&visit, file, place).await? {
        Ok(received) => received_page(&visit, received, monitor).await,
        Err(refused) => {
            let (error, file) = *refused;
            if let Some(asked) = columns::asked(&visit, &error, file)? {
                return asked;
            }
            let mut form = form(&visit, monitor).await?;
            form.refused(error, &[])?;
            visit.again("Take off a night", &titled(form))
        }
    }
}

/// Takes a file in when its turn has come. While it waits and while it is read, a browser that goes away takes
/// everything with it: reading goes to its end, and gives the turn back. What has begun to be written goes on.
pub(super) async fn taken_in(
    visit: &Visit,
    file: Incoming,
    place: OwnedSemaphorePermit,
) -> Result<Result<Received, Box<(StoreError, Incoming)>>, Trouble> {
    let turn = visit.app.uploads().turn().await?;
    let (store, author) = (visit.app.store().clone(), visit.author());
    let ready = store.prepare(file).await?;
    let read = tokio::task::spawn_blocking(move || (ready.open(), turn)).await;
    let (opening, turn) = read.map_err(|_| Trouble::broken("reading a file broke off"))?;
    let opening = match opening {
        Ok(opening) => opening,
        Err(refused) => return Ok(Err(refused)),
    };
    let run = tokio::spawn(async move {
        let received = store.take_in(&author, opening).await;
        drop((turn, place));
        received
    });
    let received = run.await.map_err(|_| Trouble::broken("taking a file in broke off"))?;
    Ok(received.map_err(|error| Box::new((error, Incoming::default()))))
}

pub(super) async fn received_page(
    visit: &Visit,
    received: Received,
    monitor: Option<i64>,
) -> Answer {
    for night in &received.nights {
        // One that was read anew is not what was opened before.
        visit.app.nights().forget(night.id);
        visit.looks(format!("night {}", night.id), night.person, json!({"page": "received"}));
    }
    let mut nights = Vec::new();
    for night in &received.nights {
        nights.push(row(visit, night).await?);
    }
    let untied = received.nights.iter().filter(|night| night.status == NightStatus::Untied).count();
    let words = match (received.again, untied) {
        (true, _) => {
            "This very file is in the record already. Nothing was stored twice.".to_owned()
        }
        (false, 0) => "Kept whole, and every night in it found its loan.".to_owned(),
        (false, _) => {
            "Kept whole. It cannot be read until somebody has settled whose night it is.".to_owned()
        }
    };
    // A file that lacks what it may hold must not read as whole.
    let serious = received.noticed.iter().filter(|one| one.starts_with(SERIOUS));
    let words = serious.fold(words, |words, one| format!("{words} {one}"));
    let next = monitor
        .filter(|_| untied == 0)
        .map(|id| (format!("/monitors/{id}"), "Go on with the monitor".to_owned()));
    let page = Page { title: "Taken in", words, nights, noticed: received.noticed, next };
    visit.page("Taken in", &page)
}

async fn row(visit: &Visit, night: &Night) -> Result<Row, StoreError> {
    let mut conn = visit.app.store().read().await?;
    let loan: Option<Loan> = match night.loan {
        Some(id) => Some(conn.get(id).await?),
        None => None,
    };
    let who = match night.person {
        Some(id) => conn.get::<Person>(id).await?.listed(),
        None => "not settled".to_owned(),
    };
    let settle = night.status == NightStatus::Untied && visit.may(Right::Read);
    let read = night.status == NightStatus::Waiting && visit.may(Right::Read);
    let double =
        settle && night.doubts.0.iter().any(|doubt| doubt.contains("of the same time already"));
    Ok(Row {
        replace: if double { format!("/nights/{}/replace", night.id) } else { String::new() },
        when: format!("{} to {}", visit.local(night.start_at), visit.local(night.end_at)),
        who,
        loan: loan.as_ref().map_or(0, |loan| loan.id),
        loan_name: loan.map_or_else(String::new, |loan| loan.mark),
        mark: night.status.into(),
        doubts: night.doubts.0.iter().map(|doubt| sentence(doubt)).collect(),
        read: if read { format!("/nights/{}", night.id) } else { String::new() },
        settle: if settle { format!("/nights/{}/settle", night.id) } else { String::new() },
    })
}
