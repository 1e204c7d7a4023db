//! Logging in and out.

use askama::Template;
use axum::http::HeaderValue;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Response;
use store::session::LogIn;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
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
    department: String,
}

#[derive(Template)]
#[template(path = "resend.html")]
struct Resend {
    csrf: String,
    to: String,
    kept: Vec<(String, String)>,
}

async fn show(visit: Visit, typed: Typed) -> Answer {
    if visit.session.is_some() {
        return Ok(lead_to(own_path(typed.get("then"))));
    }
    visit.page("Log in", &page(&visit, typed.get("then"), "", Vec::new()))
}

async fn log_in(visit: Visit, typed: Typed) -> Answer {
    let tried = attempt(&visit, &typed).await?;
    let resend = typed.get("resend");
    let kept = kept(&typed);
    let token = match tried {
        Ok(token) => token,
        Err(words) => {
            let mut page = page(&visit, typed.get("then"), resend, kept);
            page.form.fields[0].values = vec![typed.get("login").to_owned()];
            page.form.faults.push((words, String::new()));
            return visit.again("Log in", &page);
        }
    };
    let mut response = if resend.is_empty() {
        lead_to(own_path(typed.get("then")))
    } else {
        let visit = Visit { secret: token.clone(), ..visit.clone() };
        visit.page(
            "Send it now",
            &Resend { csrf: visit.csrf(), to: own_path(resend).to_owned(), kept },
        )?
    };
    set_cookie(response.headers_mut(), visit.app.cookie(), &token, visit.app.tls());
    Ok(response)
}

/// Tries login and password of a form: the session's token, or the words for whoever typed them.
pub(crate) async fn attempt(
    visit: &Visit,
    typed: &Typed,
) -> Result<Result<String, String>, Trouble> {
    let tried = visit
        .app
        .store()
        .log_in(typed.get("login"), typed.raw("password"), &visit.station, visit.department.idle_s)
        .await?;
    Ok(match tried {
        LogIn::Done { token, .. } => Ok(token),
        LogIn::Wrong => Err("Login or password is wrong.".to_owned()),
        LogIn::Wait { wait_s } => {
            Err(format!("Too many wrong tries. Wait {} and try again.", length(wait_s)))
        }
    })
}

async fn log_out(visit: Visit) -> Answer {
    if let Some(session) = &visit.session {
        visit.app.store().log_out(session, &visit.station).await?;
    }
    let mut response = lead_to("/login");
    set_cookie(response.headers_mut(), visit.app.cookie(), "", visit.app.tls());
    let clear = HeaderValue::from_static("\"cache\", \"cookies\", \"storage\"");
    response.headers_mut().insert("clear-site-data", clear);
    Ok(response)
}

/// What somebody sees who is not logged in: the login, which leads on to the page asked for. A form that was
/// sent after the session had ended is kept in that page and can be sent again.
pub(crate) fn asked_first(visit: &Visit, typed: Option<&Typed>, then: &str) -> Response {
    if visit.background {
        return StatusCode::UNAUTHORIZED.into_response();
    }
    let Some(typed) = typed else {
        return lead_to(&format!("/login?then={then}"));
    };
    let keep = |name: &str| name != "csrf" && !name.contains("password");
    let kept = typed.fields().iter().filter(|(name, _)| keep(name)).cloned().collect();
    let page = page(visit, "", &visit.path, kept);
    let made = page.render().map_err(Trouble::from);
    let shown =
        made.and_then(|body| visit.page_of(StatusCode::UNAUTHORIZED, "Log in again", &body));
    shown.unwrap_or_else(Trouble::into_response)
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
