//! One's own password, and the first one by a one-time link.

use askama::Template;
use axum::extract::Path;
use store::login::account::LinkAct;
use store::login::session::OwnSession;
use store::record::tables::Account;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::pages::login::keep_known;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

const HINT: &str = "12 characters or more, of any kind. Three or four words that have nothing to do with each other are easy to keep. A password manager may fill it in.";

/// For how long what was done to the ways into one's account is shown, s.
const YEAR_S: i64 = 365 * 24 * 3600;

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
    /// Whether the link wants a second person first.
    waits: bool,
    /// One's own sessions.
    sessions: Vec<String>,
    elsewhere: Option<Form>,
    /// What was done to the ways into the account.
    ways: Vec<String>,
}

impl Page {
    fn first(form: Form, account: Account) -> Self {
        Self {
            form,
            waits: account.wants_second(),
            login: account.login,
            first: true,
            sessions: Vec::new(),
            elsewhere: None,
            ways: Vec::new(),
        }
    }
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
    visit.page("Your password", &own_page(&visit, change_form(&visit)).await?)
}

async fn change(visit: Visit, typed: Typed) -> Answer {
    let mut form = change_form(&visit).filled(&typed).checked();
    if typed.raw("new") != typed.raw("repeat") {
        form.fault("repeat", "The two new passwords are not the same.");
    }
    let session = visit.open_session()?;
    if !form.has_faults() {
        let store = visit.app.store();
        let done = store
            .change_password(&visit.author(), session, typed.raw("old"), typed.raw("new"))
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
    visit.again("Your password", &own_page(&visit, form).await?)
}

/// The page of one's own password, with one's sessions and what was done to the ways into the account.
async fn own_page(visit: &Visit, form: Form) -> Result<Page, Trouble> {
    let session = visit.open_session()?;
    let account = &session.account;
    let store = visit.app.store();
    let own = store.read().await?.sessions_of(account.id).await?;
    let here = |one: &OwnSession| one.token_sha256 == session.token_sha256;
    let sessions = own.iter().map(|one| {
        let this = if here(one) { ", this one" } else { "" };
        let (began, seen) = (visit.local(one.began_at), visit.local(one.seen_at));
        format!("From {} since {began}, last touched {seen}{this}", one.station)
    });
    let ways = store.link_acts(account.id, YEAR_S).await?;
    Ok(Page {
        form,
        login: account.login.clone(),
        first: false,
        waits: false,
        sessions: sessions.collect(),
        elsewhere: (own.len() > 1)
            .then(|| visit.form("/session/elsewhere", "End every other session")),
        ways: ways.iter().map(|act| way(visit, act)).collect(),
    })
}

/// What was done to a way into the account, as a line.
fn way(visit: &Visit, act: &LinkAct) -> String {
    let what = match act.verb.as_str() {
        "account.link" => "a one-time link was made",
        "account.second" => "a link was confirmed",
        "account.password" => "a password was set",
        _ => "name or role were changed",
    };
    format!("{}: {what} by {}", visit.local(act.at), act.who)
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
    visit.page("Set your password", &Page::first(first_form(&visit, &token), account))
}

async fn set_first(visit: Visit, Path(token): Path<String>, typed: Typed) -> Answer {
    let account = visit.app.store().once(&token).await?.ok_or_else(over)?;
    let mut form = first_form(&visit, &token).filled(&typed).checked();
    if typed.raw("new") != typed.raw("repeat") {
        form.fault("repeat", "The two passwords are not the same.");
    }
    if !form.has_faults() {
        let (store, known) = (visit.app.store(), visit.known.as_deref());
        match store.set_password_in(&token, typed.raw("new"), &visit.station, known).await {
            Ok((_, known)) => {
                let mut response = lead_to("/login");
                keep_known(&visit, response.headers_mut(), &known);
                return Ok(response);
            }
            Err(error) => form.refused(error, &[("password", "new")])?,
        }
    }
    visit.again("Set your password", &Page::first(form, account))
}

fn over() -> Trouble {
    Trouble {
        title: "This link is over",
        says: vec!["The one-time link was used already, or its two days are over.".to_owned()],
        hints: vec!["Log in with your password, or ask an administrator for a new link. Before anybody has logged in, start matins again: it prints a new one.".to_owned()],
        ..Trouble::not_found()
    }
}
