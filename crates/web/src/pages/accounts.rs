//! The administrator's pages: who may log in.

use askama::Template;
use axum::extract::Path;
use store::record::tables::Account;
use store::words::Role;

use crate::form::Field;
use crate::form::Form;
use crate::mark::Mark;
use crate::page::Answer;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/accounts", list)
        .get("/accounts/new", new)
        .post("/accounts/new", make)
        .get("/accounts/{id}", show)
        .post("/accounts/{id}", change)
        .post("/accounts/{id}/link", link)
        .post("/accounts/{id}/close", close)
}

struct Line {
    id: i64,
    name: String,
    login: String,
    role: &'static str,
    mark: Mark,
}

#[derive(Template)]
#[template(path = "accounts.html")]
struct List {
    lines: Vec<Line>,
}

async fn list(visit: Visit) -> Answer {
    let now = visit.app.store().now();
    let lines = visit.app.store().accounts().await?.into_iter().map(|account| Line {
        mark: standing(&account, now),
        id: account.id,
        name: account.name,
        login: account.login,
        role: account.role.says(),
    });
    visit.page("Accounts", &List { lines: lines.collect() })
}

fn standing(account: &Account, now: i64) -> Mark {
    match (account.closed_at, &account.password, account.once_until_at) {
        (Some(_), _, _) => Mark::new("closed", "closed", "quiet"),
        (None, Some(_), _) => Mark::new("ready", "in use", "plain"),
        (None, None, Some(until)) if until > now => {
            let waits = if account.wants_second() {
                "its link waits for a second person"
            } else {
                "waits for its first password"
            };
            Mark::new("clock", waits, "due")
        }
        (None, None, _) => Mark::new("unknown", "its link is over", "due"),
    }
}

#[derive(Template)]
#[template(path = "account_new.html")]
struct New {
    form: Form,
}

fn roles() -> Vec<(String, String)> {
    let says = |role: Role| match role {
        Role::Desk => "Desk: lends the monitors and takes them back; sees no results",
        Role::Physiologist => {
            "Physiologist: reads nights and signs them technically; may also lend"
        }
        Role::Physician => "Physician: interprets and signs reports",
        Role::Governance => "Governance: reads the audit, reviews retention",
        Role::Administrator => {
            "Administrator: keeps accounts, monitors and settings; sees no results"
        }
        Role::Program => "",
    };
    let given = Role::ALL.iter().filter(|role| **role != Role::Program);
    given.map(|role| (role.text().to_owned(), says(*role).to_owned())).collect()
}

fn new_form(visit: &Visit) -> Form {
    visit
        .form("/accounts/new", "Make the account")
        .field(Field::text("name", "Name").of("account", "name").hint("As it should stand on acts and reports.").needed().first())
        .field(Field::text("login", "Login").of("account", "login").hint("2 to 64 letters a to z, digits, or one of . - _ @. It cannot be changed later.").needed().with("autocapitalize", "none").with("spellcheck", "false"))
        .field(Field::one("role", "Role", roles()).needed())
        .back("/accounts", "Make none")
}

async fn new(visit: Visit) -> Answer {
    visit.page("New account", &New { form: new_form(&visit) })
}

async fn make(visit: Visit, typed: Typed) -> Answer {
    let mut form = new_form(&visit).filled(&typed).checked();
    let role = Role::read(typed.get("role"));
    if let (false, Some(role)) = (form.has_faults(), role) {
        let made = visit
            .app
            .store()
            .make_account(&visit.author(), typed.get("login"), typed.get("name"), role)
            .await;
        match made {
            Ok((account, token)) => {
                return visit.page("One-time link", &Link::of(&account, &token));
            }
            Err(error) => form.refused(
                error,
                &[("login", "login"), ("login_taken", "login"), ("name", "name"), ("role", "role")],
            )?,
        }
    }
    visit.again("New account", &New { form })
}

/// The one-time link, shown once. It is put together by the reader's own address bar: the server does not
/// know under which name it is reached.
#[derive(Template)]
#[template(path = "account_link.html")]
struct Link {
    name: String,
    login: String,
    path: String,
    /// Whether it works only after a second person has said that it is right.
    waits: bool,
}

impl Link {
    fn of(account: &Account, token: &str) -> Self {
        Self {
            name: account.name.clone(),
            login: account.login.clone(),
            path: format!("/first/{token}"),
            waits: account.wants_second(),
        }
    }
}

#[derive(Template)]
#[template(path = "account.html")]
struct Page {
    account: Account,
    mark: Mark,
    change: Form,
    link: Form,
    close: Form,
    closed: String,
}

fn page(visit: &Visit, account: Account) -> Page {
    let id = account.id;
    let change = visit
        .form(format!("/accounts/{id}"), "Save")
        .field(Field::text("name", "Name").of("account", "name").needed().value(account.name.clone()))
        .field(
            Field::one("role", "Role", roles())
                .needed()
                .value(account.role.text())
                .hint("A new role ends the sessions of this account. One that reads, signs, governs or keeps accounts is taken up by a new one-time link, and a second person says that it is right."),
        )
        .field(Field::hidden("seen", account.act.to_string()));
    let link = visit.form(format!("/accounts/{id}/link"), "Make a new one-time link");
    let close = visit
        .form(format!("/accounts/{id}/close"), "Close the account")
        .field(Field::text("because", "Why").needed())
        .grave();
    let mark = standing(&account, visit.app.store().now());
    let closed = account.closed_at.map(|at| visit.local(at)).unwrap_or_default();
    Page { account, mark, change, link, close, closed }
}

async fn show(visit: Visit, Path(id): Path<i64>) -> Answer {
    let account: Account = visit.app.store().read().await?.get(id).await?;
    visit.page(&account.name.clone(), &page(&visit, account))
}

async fn change(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let account: Account = visit.app.store().read().await?.get(id).await?;
    let mut page = page(&visit, account);
    page.change = page.change.filled(&typed).checked();
    if let (false, Some(role), Some(seen)) =
        (page.change.has_faults(), Role::read(typed.get("role")), typed.number("seen"))
    {
        match visit
            .app
            .store()
            .change_account(&visit.author(), id, seen, typed.get("name"), role)
            .await
        {
            Ok(None) => return Ok(visit.done("The account is changed.", "/accounts")),
            Ok(Some(token)) => {
                let account: Account = visit.app.store().read().await?.get(id).await?;
                return visit.page("One-time link", &Link::of(&account, &token));
            }
            Err(error) => page.change.refused(
                error,
                &[("name", "name"), ("role", "role"), ("last_administrator", "role")],
            )?,
        }
    }
    visit.again(&page.account.name.clone(), &page)
}

async fn link(visit: Visit, Path(id): Path<i64>) -> Answer {
    let token = visit.app.store().renew_link(&visit.author(), id).await?;
    let account: Account = visit.app.store().read().await?.get(id).await?;
    visit.page("One-time link", &Link::of(&account, &token))
}

async fn close(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let account: Account = visit.app.store().read().await?.get(id).await?;
    let mut page = page(&visit, account);
    page.close = page.close.filled(&typed).checked();
    if !page.close.has_faults() {
        match visit.app.store().close_account(&visit.author(), id, typed.get("because")).await {
            Ok(()) => {
                return Ok(
                    visit.done("The account is closed; its sessions have ended.", "/accounts")
                );
            }
            Err(error) => page.close.refused(error, &[("because", "because")])?,
        }
    }
    visit.again(&page.account.name.clone(), &page)
}
