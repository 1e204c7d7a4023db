//! What a reader does to a night. Each is saved at once; the answer is the parts that changed, or the page.

use axum::extract::Path;
use store::hand::Change;
use store::reading::Step;

use super::Reading;
use super::fragment;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::typed::Typed;
use crate::visit::Visit;

/// `POST /nights/{id}/judge`: excludes a stretch or puts it back.
pub(super) async fn judge(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Judge {
        channels: typed.all("channel"),
        from: typed.get("from").to_owned(),
        until: typed.get("until").to_owned(),
        believe: typed.get("believe") == "yes",
        reason: typed.get("reason").to_owned(),
    };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/reason`: gives a stretch another reason.
pub(super) async fn reason(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Reason { entry: entry(&typed)?, reason: typed.get("reason").to_owned() };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/mark`: a mark more.
pub(super) async fn mark(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Mark {
        kind: typed.get("kind").to_owned(),
        at: typed.get("at").to_owned(),
        until: typed.option("until"),
        text: typed.get("text").to_owned(),
    };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/move`: a mark or blood gas to another time.
pub(super) async fn moved(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let (at, until) = (typed.get("at").to_owned(), typed.option("until"));
    let change = Change::Move { entry: entry(&typed)?, at, until };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/remove`: takes a mark or blood gas out.
pub(super) async fn remove(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Remove { entry: entry(&typed)? };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/gas`: a blood gas.
pub(super) async fn gas(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let pco2 = typed.get("pco2").replace(',', ".").parse::<f64>();
    let Some(pco2) = pco2.ok().filter(|pco2| pco2.is_finite()) else {
        return Err(Trouble::not_understood("The pressure of carbon dioxide is no number."));
    };
    let mmhg = typed.get("unit") == "mmhg";
    let change = Change::BloodGas { at: typed.get("at").to_owned(), pco2, mmhg };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/question`: the question the night is to answer.
pub(super) async fn question(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Question { id: typed.get("question").to_owned() };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/criteria`: the set of criteria the night is held against.
pub(super) async fn criteria(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let change = Change::Criteria { name: typed.get("criteria").to_owned() };
    step(&visit, id, &typed, Step::Change(change)).await
}

/// `POST /nights/{id}/undo`.
pub(super) async fn undo(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    step(&visit, id, &typed, Step::Undo).await
}

/// `POST /nights/{id}/redo`.
pub(super) async fn redo(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    step(&visit, id, &typed, Step::Redo).await
}

fn entry(typed: &Typed) -> Result<usize, Trouble> {
    let entry = typed.number("entry").and_then(|entry| usize::try_from(entry).ok());
    entry.ok_or_else(|| Trouble::not_understood("What was to be changed is not named."))
}

/// Takes the step. A whole judgement lies in its future, which is too large to be handed around.
async fn step(visit: &Visit, id: i64, typed: &Typed, step: Step) -> Answer {
    Box::pin(taken(visit, id, typed, step)).await
}

/// Takes the step and answers with what changed: the parts alone when a script asked, else the page again.
async fn taken(visit: &Visit, id: i64, typed: &Typed, step: Step) -> Answer {
    let Some(seen) = typed.number("seen") else {
        return Err(Trouble::not_understood("It is not told which state of the night was seen."));
    };
    let reading = Reading::open(visit, id).await?;
    let recording = reading.opened.recording.clone();
    let store = visit.app.store();
    let done = store.step(&visit.author(), id, seen, step, recording.clone()).await?;
    let night = done.night.clone();
    let said = done.version.what.clone();
    let opened = visit.app.nights().stepped(done, recording).await?;
    if typed.get("answer") == "parts" {
        return fragment(visit, &Reading { night, opened, ..reading }).await;
    }
    visit.say(&crate::form::sentence(&said));
    Ok(lead_to(&format!("/nights/{id}")))
}
