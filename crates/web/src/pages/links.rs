//! The second person: one-time links that somebody made and that do not work before another says they are right.

use askama::Template;
use axum::extract::Path;
use store::record::tables::Account;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/links", list).post("/links/{id}", second)
}

#[derive(Template)]
#[template(path = "links.html")]
struct List {
    lines: Vec<Line>,
}

struct Line {
    name: String,
    says: String,
    /// `None` for whoever made it, and for whose it is.
    form: Option<Form>,
}

/// `GET /links`.
async fn list(visit: Visit) -> Answer {
    let page = page(&visit, None).await?;
    visit.page("Links", &page)
}

async fn page(visit: &Visit, mut refused: Option<(i64, Form)>) -> Result<List, Trouble> {
    let store = visit.app.store();
    let waits = |account: &Account| account.has_link(store.now()) && account.wants_second();
    let waiting = store.accounts().await?.into_iter().filter(waits);
    let own = visit.account()?.login.clone();
    let line = |account: Account| {
        let made_by = account.once_by.clone().unwrap_or_default();
        let until = visit.local(account.once_until_at.unwrap_or(0));
        let theirs = made_by != own && account.login != own;
        let form = match refused.take() {
            Some((id, form)) if id == account.id => Some(form),
            other => {
                refused = other;
                theirs.then(|| form(visit, (account.id, account.act)))
            }
        };
        Line {
            says: format!(
                "{}, as {}. Made by {made_by}; ends {until}.",
                account.login, account.role
            ),
            name: account.name,
            form,
        }
    };
    Ok(List { lines: waiting.map(line).collect() })
}

fn form(visit: &Visit, (id, seen): (i64, i64)) -> Form {
    visit
        .form(format!("/links/{id}"), "It is right")
        .field(Field::hidden("seen", seen.to_string()))
        .field(
            Field::tick(
                "asked",
                "I have asked them, or whoever answers for them, and not only who made it",
            )
            .needed(),
        )
        .field(
            Field::password("password", "Your password").autocomplete("current-password").needed(),
        )
}

/// `POST /links/{id}`.
async fn second(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let seen = typed.number("seen").unwrap_or(0);
    let mut form = form(&visit, (id, seen)).filled(&typed).checked();
    if !form.has_faults() {
        let session = visit.open_session()?;
        let proved = store.confirm_in(session, typed.raw("password"), &visit.station).await;
        let done = match proved {
            Ok(()) => store.second_link(&visit.author(), id, seen).await,
            Err(error) => Err(error),
        };
        match done {
            Ok(()) => {
                return Ok(
                    visit.done("The link works now. The audit says that you said so.", "/links")
                );
            }
            Err(error) => form.refused(error, &[("password_wrong", "password")])?,
        }
    }
    let page = page(&visit, Some((id, form))).await?;
    visit.again("Links", &page)
}
