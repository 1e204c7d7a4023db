//! A diary that came after a night was judged: what it would change, and its reader's word on it.

use axum::extract::Path;
use axum::http::StatusCode;
use store::error::StoreError;
use store::reading::late::Late;
use store::reading::steps::Step;

use super::Reading;
use super::acts::seen;
use super::acts::stepped;
use super::checks::OfferRow;
use super::checks::would;
use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

/// The diary that waits for a word, with what it would change; of a signed night nothing is offered.
pub(super) async fn row(
    visit: &Visit,
    reading: &Reading,
    late: &Late,
) -> Result<OfferRow, Trouble> {
    let when = visit.local(late.entry.at);
    let mut says: Vec<String> = vec![sentence(&format!("It tells {}", late.says()))];
    says.extend(late.apart.iter().map(|one| sentence(&format!("It differs: {one}"))));
    let can = match would(reading, &late.take(when.clone()), "this diary").await {
        Ok(would) => {
            says.extend(would);
            true
        }
        // Times that cannot lie in this night: the page stays, and says why.
        Err(wrong) if wrong.status == StatusCode::CONFLICT => {
            says.push("It cannot be taken up as it is: correct it, or leave it out.".to_owned());
            says.extend(wrong.says.into_iter().chain(wrong.hints));
            false
        }
        Err(broken) => return Err(broken),
    };
    let forms =
        if reading.may_change(visit) { forms(visit, reading, late, can) } else { Vec::new() };
    Ok(OfferRow {
        says: format!("The diary entered at {when} came after this night was judged. Take it up?"),
        would: says,
        forms,
    })
}

fn forms(visit: &Visit, reading: &Reading, late: &Late, can: bool) -> Vec<Form> {
    let form = |path: &str, button: &str| {
        visit
            .form(format!("/nights/{}/{path}", reading.night.id), button)
            .field(Field::hidden("seen", reading.night.act.to_string()))
            .field(Field::hidden("diary", late.entry.id.to_string()))
    };
    let take = can.then(|| form("take-diary", "Take the diary up"));
    let reason = Field::text("reason", "Why it is left out")
        .hint("The report says that a diary was left out, why, and what it told.")
        .needed();
    take.into_iter().chain([form("leave-diary", "Leave it out").field(reason)]).collect()
}

/// `POST /nights/{id}/take-diary` and `/leave-diary`: the reader's word on a diary.
pub(super) async fn step(visit: Visit, Path(id): Path<i64>, typed: Typed, takes: bool) -> Answer {
    Box::pin(taken(&visit, id, &typed, takes)).await
}

async fn taken(visit: &Visit, id: i64, typed: &Typed, takes: bool) -> Answer {
    let seen = seen(typed)?;
    let reading = Reading::open(visit, id).await?;
    if reading.night.act != seen {
        return Err(StoreError::Changed { what: format!("night {id}") }.into());
    }
    let late = visit.app.store().read().await?.late_diary(&reading.night).await?;
    let late = late.filter(|late| Some(late.entry.id) == typed.number("diary"));
    let Some(late) = late else {
        let says = "This diary does not wait for a word on this night any more.";
        return Err(Trouble::not_understood(says));
    };
    let when = visit.local(late.entry.at);
    let change =
        if takes { late.take(when) } else { late.leave(when, typed.get("reason").to_owned()) };
    stepped(visit, typed, reading, (seen, Step::Change(change))).await
}
