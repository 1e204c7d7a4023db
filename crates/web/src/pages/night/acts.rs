//! What a reader does to a night. Each is saved at once; the answer is the parts that changed, or the page.

use axum::extract::Path;
use store::reading::edit::Beside;
use store::reading::edit::Change;
use store::reading::steps::Step;

use super::Reading;
use super::fragment;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::typed::Typed;
use crate::visit::Visit;

/// What a form asks for. `what` is the last part of its address.
pub(super) fn asked(what: &str, typed: &Typed) -> Result<Step, Trouble> {
    let get = |name: &str| typed.get(name).to_owned();
    Ok(Step::Change(match what {
        "undo" => return Ok(Step::Undo),
        "redo" => return Ok(Step::Redo),
        "judge" => Change::Judge {
            channels: typed.all("channel"),
            from: get("from"),
            until: get("until"),
            believe: typed.get("believe") == "yes",
            reason: get("reason"),
        },
        "reason" => Change::Reason { entry: entry(typed)?, reason: get("reason") },
        "mark" => Change::Mark {
            kind: get("kind"),
            at: get("at"),
            until: typed.option("until"),
            text: get("text"),
        },
        "move" => {
            Change::Move { entry: entry(typed)?, at: get("at"), until: typed.option("until") }
        }
        "remove" => Change::Remove { entry: entry(typed)? },
        "gas" => gas_typed(typed)?,
        "question" => Change::Question { id: get("question") },
        "criteria" => Change::Criteria { name: get("criteria") },
        _ => return Err(Trouble::not_found()),
    }))
}

fn gas_typed(typed: &Typed) -> Result<Change, Trouble> {
    let pco2 = typed.get("pco2").replace(',', ".").parse::<f64>();
    let Some(pco2) = pco2.ok().filter(|pco2| pco2.is_finite()) else {
        return Err(Trouble::not_understood("The pressure of carbon dioxide is no number."));
    };
    let mmhg = typed.get("unit") == "mmhg";
    let beside = match typed.get("beside") {
        "both" => Beside::KeepBoth,
        "replace" => Beside::Replace,
        _ => Beside::Ask,
    };
    Ok(Change::BloodGas { at: typed.get("at").to_owned(), pco2, mmhg, beside })
}

fn entry(typed: &Typed) -> Result<usize, Trouble> {
    let entry = typed.number("entry").and_then(|entry| usize::try_from(entry).ok());
    entry.ok_or_else(|| Trouble::not_understood("What was to be changed is not named."))
}

/// `POST /nights/{id}/WHAT`: takes the step. A whole judgement lies in its future, which is too large to be
/// handed around.
pub(super) async fn step(visit: Visit, Path(id): Path<i64>, typed: Typed, what: &str) -> Answer {
    let step = asked(what, &typed)?;
    Box::pin(taken(&visit, id, &typed, step)).await
}

/// The act that wrote the state a form was made for.
pub(super) fn seen(typed: &Typed) -> Result<i64, Trouble> {
    let seen = typed.number("seen");
    let says = "It is not told which state of the night was seen.";
    seen.ok_or_else(|| Trouble::not_understood(says))
}

/// Takes the step and answers with what changed.
async fn taken(visit: &Visit, id: i64, typed: &Typed, step: Step) -> Answer {
    let seen = seen(typed)?;
    let reading = Reading::open(visit, id).await?;
    stepped(visit, typed, reading, (seen, step)).await
}

/// Takes a step with a night that is open, and answers with what changed.
pub(super) async fn stepped(
    visit: &Visit,
    typed: &Typed,
    reading: Reading,
    (seen, step): (i64, Step),
) -> Answer {
    let recording = reading.opened.recording.clone();
    let (store, id) = (visit.app.store(), reading.night.id);
    let done = Box::pin(store.step(&visit.author(), id, seen, step, recording.clone())).await?;
    let (night, said) = (done.night.clone(), done.version.what.clone());
    let opened = visit.app.nights().stepped(done, recording).await?;
    changed(visit, typed, &Reading { night, opened, ..reading }, &said).await
}

/// What a step is answered with: the parts alone when a script asked, else the page again.
pub(super) async fn changed(visit: &Visit, typed: &Typed, reading: &Reading, said: &str) -> Answer {
    if typed.get("answer") == "parts" {
        return fragment(visit, reading).await;
    }
    visit.say(&crate::form::sentence(said));
    Ok(lead_to(&reading.base))
}
