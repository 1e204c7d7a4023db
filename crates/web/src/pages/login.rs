//! Logging in and out.

use askama::Template;
use axum::http::HeaderMap;
use axum::http::HeaderValue;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Response;
use store::login::account::LinkAct;
use store::login::account::TOLD_S;
use store::login::session::Browser;
use store::login::session::KNOWN_S;
use store::login::session::LogIn;
use store::record::tables::Account;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::keep_cookie;
use crate::page::lead_to;
use crate::page::own_path;
use crate::page::set_cookie;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Marks a field that was sent too late and is kept while its author logs in again.
const KEPT: &str = "kept.";

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/login", show).post("/login", log_in).post("/logout", log_out)
}

#[derive(Template)]
#[template(path = "login.html")]
struct Page {
    form: Form,
    then: String,
    /// Where kept fields go once logged in; empty when none are kept.
    resend: String,
    kept: Vec<(String, String)>,
    /// The account that typed what is kept; nobody else gets it.
    kept_for: String,
    department: String,
}

#[derive(Template)]
#[template(path = "resend.html")]
struct Resend {
    csrf: String,
    /// Why it was not sent at once.
    says: &'static str,
    to: String,
    kept: Vec<(String, String)>,
}

async fn show(visit: Visit, typed: Typed) -> Answer {
    if visit.session.is_some() {
        return Ok(lead_to(own_path("GET", typed.get("then"))));
    }
    visit.page("Log in", &page(&visit, typed.get("then"), "", Vec::new()))
}

async fn log_in(visit: Visit, typed: Typed) -> Answer {
    let tried = attempt(&visit, &typed).await?;
    let (resend, kept_for) = (own_path("POST", typed.get("resend")), typed.get("kept_for"));
    let kept = kept(&typed);
    let entered = match tried {
        Ok(entered) => entered,
        Err(words) => {
            let resend = if kept.is_empty() { "" } else { resend };
            let mut page = page(&visit, typed.get("then"), resend, kept);
            kept_for.clone_into(&mut page.kept_for);
            page.form.fields[0].values = vec![typed.get("login").to_owned()];
            page.form.faults.push((words, String::new()));
            return visit.again("Log in", &page);
        }
    };
    let theirs = entered.account.id.to_string() == kept_for;
    let mut response = if kept.is_empty() || !theirs || resend == "/" {
        lead_to(own_path("GET", typed.get("then")))
    } else {
        let says = "You are logged in again. What you typed has not been sent yet.";
        let (csrf, to) = (entered.csrf(&visit), resend.to_owned());
        visit.page("Send it now", &Resend { csrf, says, to, kept })?
    };
    entered.keep(&visit, &mut response);
    Ok(response)
}

/// Somebody who has just logged in.
pub(crate) struct Entered {
    pub(crate) account: Account,
    token: String,
    known: String,
}

impl Entered {
    /// The proof for the forms of the new session.
    pub(crate) fn csrf(&self, visit: &Visit) -> String {
        let csrf = Visit { secret: self.token.clone(), ..visit.clone() }.csrf();
        visit.app.remember_proof(&csrf, self.account.id);
        csrf
    }

    /// Gives the browser the session's cookie, and the one by which it is known from now on.
    pub(crate) fn keep(&self, visit: &Visit, response: &mut Response) {
        let (app, headers) = (&visit.app, response.headers_mut());
        set_cookie(headers, app.cookie(), &self.token, app.tls());
        keep_known(visit, headers, &self.known);
    }
}

/// Gives the browser the cookie by which it is known.
pub(crate) fn keep_known(visit: &Visit, headers: &mut HeaderMap, known: &str) {
    let app = &visit.app;
    keep_cookie(headers, app.known_cookie(), known, app.tls(), Some(KNOWN_S));
}

/// Tries login and password of a form: who has entered, or the words for whoever typed them.
pub(crate) async fn attempt(
    visit: &Visit,
    typed: &Typed,
) -> Result<Result<Entered, String>, Trouble> {
    let store = visit.app.store();
    let browser = Browser {
        station: &visit.station,
        known: visit.known.as_deref(),
        session: visit.token.as_deref(),
    };
    let (login, password) = (typed.get("login"), typed.raw("password"));
    let tried = store.log_in_with(login, password, browser, visit.department.idle_s).await?;
    Ok(match tried {
        LogIn::Done { session, token, known } => {
            if let Some(words) = links_told(visit, session.account.id).await? {
                visit.app.say(&session.token_sha256, &words);
            }
            Ok(Entered { account: session.account, token, known })
        }
        LogIn::Wrong => Err("Login or password is wrong.".to_owned()),
        LogIn::Wait { wait_s } => {
            visit.app.warn("too many wrong passwords", &format!("from {}", visit.station));
            Err(format!("Too many wrong tries. Wait {} and try again.", length(wait_s)))
        }
    })
}

/// What the owner of an account is told at every log-in for two weeks: that somebody made a way into it. Whoever
/// used the link may have been told before; the owner is told still.
async fn links_told(visit: &Visit, account: i64) -> Result<Option<String>, Trouble> {
    let acts = visit.app.store().link_acts(account, TOLD_S).await?;
    let used =
        |at: i64| acts.iter().rev().find(|act| act.verb == "account.password" && act.at >= at);
    let told = |link: &LinkAct| {
        let used = used(link.at).map_or_else(
            || "It was not used.".to_owned(),
            |act| format!("A password was set {}.", visit.local(act.at)),
        );
        format!("A link to your account was made by {} {}. {used}", link.who, visit.local(link.at))
    };
    let links = acts.iter().filter(|act| act.verb == "account.link");
    let words: Vec<String> = links.map(told).collect();
    let ask = "If that was not you, tell governance.";
    Ok((!words.is_empty()).then(|| format!("{} {ask}", words.join(" "))))
}

async fn log_out(visit: Visit) -> Answer {
    if let Some(session) = &visit.session {
        visit.app.store().log_out(session, &visit.station).await?;
    }
    let mut response = lead_to("/login");
    set_cookie(response.headers_mut(), visit.app.cookie(), "", visit.app.tls());
    // Not the cookies: this browser stays known, and the session's has just been taken.
    let clear = HeaderValue::from_static("\"cache\", \"storage\"");
    response.headers_mut().insert("clear-site-data", clear);
    Ok(response)
}

/// What somebody sees who is not logged in: the login, which leads on to the page asked for. A form that was
/// sent after the session had ended is kept in that page and can be sent again by whoever typed it; what carries no
/// proof that this server gave to somebody is not.
pub(crate) fn asked_first(visit: &Visit, typed: Option<&Typed>, then: &str) -> Response {
    if visit.background {
        return StatusCode::UNAUTHORIZED.into_response();
    }
    let Some(typed) = typed else {
        return lead_to(&format!("/login?then={then}"));
    };
    let whose = visit.app.proof_of(typed.get("csrf"));
    let kept = if whose.is_some() { sendable(typed) } else { Vec::new() };
    let resend = if kept.is_empty() { "" } else { visit.path.as_str() };
    let mut page = page(visit, "", resend, kept);
    page.kept_for = whose.map(|id| id.to_string()).unwrap_or_default();
    let made = page.render().map_err(Trouble::from);
    let shown =
        made.and_then(|body| visit.page_of(StatusCode::UNAUTHORIZED, "Log in again", &body));
    shown.unwrap_or_else(Trouble::into_response)
}

/// What somebody sees whose form carries the proof of an older session of theirs: another page of this browser has
/// logged in since. Nothing they typed is lost, and nothing is done before they say so on a page with the new proof.
pub(crate) fn sent_from_before(
    visit: &Visit,
    path: &str,
    typed: Option<&Typed>,
) -> Option<Response> {
    let (session, typed) = (visit.session.as_ref()?, typed?);
    let theirs = visit.app.proof_of(typed.get("csrf")) == Some(session.account.id);
    if !theirs || path == "/logout" {
        return None;
    }
    let says =
        "You have logged in anew on another page. What you typed here has not been sent yet.";
    let (csrf, to, kept) = (visit.csrf(), visit.path.clone(), sendable(typed));
    let body = Resend { csrf, says, to, kept }.render().ok()?;
    visit.page_of(StatusCode::FORBIDDEN, "Send it now", &body).ok()
}

/// The fields of a form that may be sent again.
fn sendable(typed: &Typed) -> Vec<(String, String)> {
    let keep = |name: &str| name != "csrf" && !name.contains("password");
    typed.fields().iter().filter(|(name, _)| keep(name)).cloned().collect()
}

fn page(visit: &Visit, then: &str, resend: &str, kept: Vec<(String, String)>) -> Page {
    let form = visit
        .form("/login", "Log in")
        .field(
            Field::text("login", "Login")
                .autocomplete("username")
                .needed()
                .first()
                .with("autocapitalize", "none")
                .with("spellcheck", "false"),
        )
        .field(Field::password("password", "Password").autocomplete("current-password").needed());
    let department = [visit.department.hospital.as_str(), visit.department.name.as_str()];
    let department: Vec<&str> = department.into_iter().filter(|line| !line.is_empty()).collect();
    Page {
        form,
        then: then.to_owned(),
        resend: resend.to_owned(),
        kept,
        kept_for: String::new(),
        department: department.join(", "),
    }
}

fn kept(typed: &Typed) -> Vec<(String, String)> {
    let strip = |(name, value): &(String, String)| {
        Some((name.strip_prefix(KEPT)?.to_owned(), value.clone()))
    };
    typed.fields().iter().filter_map(strip).collect()
}

/// A length of time in words.
fn length(seconds: i64) -> String {
    match seconds {
        ..=1 => "a second".to_owned(),
        2..=90 => format!("{seconds} seconds"),
        _ => format!("{} minutes", (seconds + 59) / 60),
    }
}
