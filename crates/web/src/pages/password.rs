//! One's own password, and the first one by a one-time link.

use askama::Template;
use axum::extract::Path;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

const HINT: &str = "12 characters or more, of any kind. Three or four words that have nothing to do with each other are easy to keep. A password manager may fill it in.";

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/password", show)
        .post("/password", change)
        .get("/first/{token}", first)
        .post("/first/{token}", set_first)
}

#[derive(Template)]
#[template(path = "password.html")]
struct Page {
    form: Form,
    login: String,
    first: bool,
}

fn change_form(visit: &Visit) -> Form {
    visit
        .form("/password", "Change the password")
        .field(
            Field::password("old", "Present password")
                .autocomplete("current-password")
                .needed()
                .first(),
        )
        .field(
            Field::password("new", "New password").hint(HINT).autocomplete("new-password").needed(),
        )
        .field(
            Field::password("repeat", "New password once more")
                .autocomplete("new-password")
                .needed(),
        )
        .back("/", "Leave it as it is")
}

async fn show(visit: Visit) -> Answer {
    let page =
        Page { form: change_form(&visit), login: visit.account()?.login.clone(), first: false };
    visit.page("Your password", &page)
}

async fn change(visit: Visit, typed: Typed) -> Answer {
    let mut form = change_form(&visit).filled(&typed).checked();
    if typed.raw("new") != typed.raw("repeat") {
        form.fault("repeat", "The two new passwords are not the same.");
    }
    let account = visit.account()?;
    if !form.has_faults() {
        let keep = visit.session.as_ref().map(|session| session.token_sha256.as_str());
        let store = visit.app.store();
        let done = store
            .change_password(&visit.author(), account.id, typed.raw("old"), typed.raw("new"), keep)
            .await;
        match done {
            Ok(()) => {
                return Ok(visit.done(
                    "The password is changed. Every other session of yours has ended.",
                    "/",
                ));
            }
            Err(error) => form.refused(error, &[("password_wrong", "old"), ("password", "new")])?,
        }
    }
    visit.again("Your password", &Page { form, login: account.login.clone(), first: false })
}

fn first_form(visit: &Visit, token: &str) -> Form {
    visit
        .form(format!("/first/{token}"), "Set the password")
        .field(
            Field::password("new", "Password")
                .hint(HINT)
                .autocomplete("new-password")
                .needed()
                .first(),
        )
        .field(
            Field::password("repeat", "Password once more").autocomplete("new-password").needed(),
        )
}

async fn first(visit: Visit, Path(token): Path<String>) -> Answer {
    let account = visit.app.store().once(&token).await?.ok_or_else(over)?;
    visit.page(
        "Set your password",
        &Page { form: first_form(&visit, &token), login: account.login, first: true },
    )
}

async fn set_first(visit: Visit, Path(token): Path<String>, typed: Typed) -> Answer {
    let account = visit.app.store().once(&token).await?.ok_or_else(over)?;
    let mut form = first_form(&visit, &token).filled(&typed).checked();
    if typed.raw("new") != typed.raw("repeat") {
        form.fault("repeat", "The two passwords are not the same.");
    }
    if !form.has_faults() {
        match visit.app.store().set_password_once(&token, typed.raw("new"), &visit.station).await {
            Ok(_) => return Ok(lead_to("/login")),
            Err(error) => form.refused(error, &[("password", "new")])?,
        }
    }
    visit.again("Set your password", &Page { form, login: account.login, first: true })
}

fn over() -> Trouble {
    Trouble {
        title: "This link is over",
        says: vec!["The one-time link was used already, or its two days are over.".to_owned()],
        hints: vec!["Log in with your password, or ask an administrator for a new link. Before anybody has logged in, start matins again: it prints a new one.".to_owned()],
        ..Trouble::not_found()
    }
}
