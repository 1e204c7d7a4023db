//! The one way in: every request passes here before it is handled, and every response before it leaves.

use std::net::SocketAddr;
use std::time::Duration;

use axum::body::Body;
use axum::body::to_bytes;
use axum::extract::ConnectInfo;
use axum::extract::MatchedPath;
use axum::extract::Request;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::HeaderValue;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;
use store::session::new_token;

use crate::access::ROUTES;
use crate::access::Right;
use crate::access::may;
use crate::access::right_of;
use crate::app::App;
use crate::fields::foreign;
use crate::page::Trouble;
use crate::page::set_cookie;
use crate::pages::login;
use crate::typed::Typed;
use crate::typed::encode;
use crate::visit::Visit;

/// The most a form may hold, bytes.
const FORM: usize = 1 << 20;
/// How long an answer may take; an upload takes as long as its line.
const TIME: Duration = Duration::from_mins(1);
/// How long an upload may take.
const UPLOAD_TIME: Duration = Duration::from_mins(15);

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; connect-src 'self'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'";

/// Lets a request in or not, and dresses its response.
pub async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let matched = request.extensions().get::<MatchedPath>().cloned();
    let path = matched.as_ref().map(MatchedPath::as_str);
    let tls = app.tls();
    if !host(&request).is_some_and(|host| app.answers_to(host)) {
        return dressed(
            (StatusCode::MISDIRECTED_REQUEST, "This server is not asked under that name.\n")
                .into_response(),
            tls,
        );
    }
    let open_file = path == Some("/assets/{hash}/{name}") && request.method() == Method::GET;
    let response =
        if open_file { next.run(request).await } else { visited(&app, request, next, path).await };
    dressed(response, tls)
}

/// A request that needs to know who asks.
async fn visited(app: &App, mut request: Request, next: Next, path: Option<&str>) -> Response {
    let mut fresh = None;
    let address = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|address| address.0);
    let visit = match visit(app, request.headers(), request.uri().path(), address, &mut fresh).await
    {
        Ok(visit) => visit,
        Err(trouble) => {
            log(app, &trouble, path);
            return (trouble.status, trouble.title).into_response();
        }
    };
    let mut response = if let Err(refusal) = admitted(&visit, &mut request, path).await {
        refusal
    } else {
        request.extensions_mut().insert(visit.clone());
        let time = if is_multipart(request.headers()) { UPLOAD_TIME } else { TIME };
        let run = tokio::time::timeout(time, next.run(request));
        run.await.unwrap_or_else(|_| Trouble::too_slow().into_response())
    };
    if let Some(trouble) = response.extensions_mut().remove::<Trouble>() {
        log(app, &trouble, path);
        response = visit.trouble(&trouble);
    } else if response.status() == StatusCode::METHOD_NOT_ALLOWED {
        response = visit.trouble(&Trouble::method());
    }
    if let Some(secret) = fresh {
        set_cookie(response.headers_mut(), app.visitor_cookie(), &secret, app.tls());
    }
    response
}

/// Who asks, from where.
async fn visit(
    app: &App,
    headers: &HeaderMap,
    path: &str,
    address: Option<SocketAddr>,
    fresh: &mut Option<String>,
) -> Result<Visit, Trouble> {
    let background = headers.contains_key("x-matins-background");
    let department = app.department().await?;
    let token = cookie(headers, app.cookie());
    let session = match token {
        Some(token) => app.store().session(token, department.idle_s, !background).await?,
        None => None,
    };
    // Also the token of a session that has ended: a page still open may log in again in place.
    let known = token.or(cookie(headers, app.visitor_cookie())).filter(|secret| secret.len() == 64);
    let secret = match known {
        Some(secret) => secret.to_owned(),
        None => fresh.insert(new_token()?).clone(),
    };
    Ok(Visit {
        app: app.clone(),
        department,
        session,
        secret,
        station: address.map_or_else(|| "unknown".to_owned(), |address| address.ip().to_string()),
        path: path.to_owned(),
        background,
    })
}

/// Whether a request may be handled; its form is read and proved on the way.
async fn admitted(
    visit: &Visit,
    request: &mut Request,
    path: Option<&str>,
) -> Result<(), Response> {
    let method = request.method().clone();
    if ![Method::GET, Method::HEAD, Method::POST].contains(&method) {
        return Err(Trouble::method().into_response());
    }
    let acts = method == Method::POST;
    if acts {
        same_origin(visit, request.headers(), host(request)).map_err(Trouble::into_response)?;
    }
    let typed = if acts { read_form(request).await.map_err(Trouble::into_response)? } else { None };
    // Nothing stands there: the router says so itself.
    let Some(path) = path else { return Ok(()) };
    let right = right_of(method.as_str(), path).ok_or_else(|| unlisted(path).into_response())?;
    if right != Right::Open {
        let Some(session) = &visit.session else {
            return Err(login::asked_first(visit, typed.as_ref(), &then(request)));
        };
        if !may(session.account.role, right) {
            return Err(refused(visit, path).await.into_response());
        }
    }
    if acts {
        proved(visit, request.headers(), typed.as_ref()).map_err(Trouble::into_response)?;
        own_fields(path, typed.as_ref()).map_err(Trouble::into_response)?;
        request.extensions_mut().insert(typed.unwrap_or_default());
    }
    Ok(())
}

/// Where to go on after logging in.
fn then(request: &Request) -> String {
    request.uri().path_and_query().map_or_else(|| "/".to_owned(), |place| encode(place.as_str()))
}

fn unlisted(path: &str) -> Trouble {
    if ROUTES.iter().any(|route| route.1 == path) {
        return Trouble::method();
    }
    Trouble { log: Some(format!("{path} is not in the table of access")), ..Trouble::forbidden() }
}

/// The attempt is written down; when it cannot be, it is refused all the same.
async fn refused(visit: &Visit, path: &str) -> Trouble {
    if !visit.background {
        let wrote = async {
            let mut act = visit.app.store().act(&visit.author(), "access.refused").await?;
            act.on(path, None);
            act.close().await
        };
        if let Err(error) = wrote.await {
            visit.app.log(&format!("a refused attempt could not be written down: {error}"));
        }
    }
    Trouble::forbidden()
}

/// A request that changes something comes from a page of this server (Fetch Metadata, and Origin for
/// browsers without it).
fn same_origin(visit: &Visit, headers: &HeaderMap, host: Option<&str>) -> Result<(), Trouble> {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    if text("sec-fetch-site").is_some_and(|site| site != "same-origin") {
        return Err(Trouble::foreign("This was sent from a page of another server."));
    }
    let scheme = if visit.app.tls() { "https" } else { "http" };
    let own = host.map(|host| format!("{scheme}://{host}"));
    match text("origin") {
        Some(origin) if own.as_deref() == Some(origin) => Ok(()),
        Some(_) => Err(Trouble::foreign("This was sent from a page of another server.")),
        None if is_multipart(headers) => {
            Err(Trouble::foreign("The browser did not say which page sent this."))
        }
        None => Ok(()),
    }
}

/// Reads a form; other bodies are left for their handler.
async fn read_form(request: &mut Request) -> Result<Option<Typed>, Trouble> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let is_form = kind.is_none_or(|kind| kind.starts_with("application/x-www-form-urlencoded"));
    if !is_form {
        return Ok(None);
    }
    let body = std::mem::replace(request.body_mut(), Body::empty());
    let bytes = to_bytes(body, FORM).await.map_err(|_| Trouble::too_large())?;
    Ok(Some(Typed::read(&bytes)))
}

/// An act writes its own fields and nothing else: a form with any other is refused whole.
fn own_fields(path: &str, typed: Option<&Typed>) -> Result<(), Trouble> {
    match typed.map(|typed| foreign(path, typed)) {
        Some(names) if !names.is_empty() => Err(Trouble::foreign_fields(&names)),
        _ => Ok(()),
    }
}

/// A request that changes something carries the proof made for this browser: in its form, or in a header.
fn proved(visit: &Visit, headers: &HeaderMap, typed: Option<&Typed>) -> Result<(), Trouble> {
    let sent = headers.get("x-csrf").and_then(|value| value.to_str().ok());
    let sent = sent.or(typed.map(|typed| typed.get("csrf")));
    // A file sent without script has no header; that it came from here its Origin has shown.
    if sent == Some(visit.csrf().as_str()) || (sent.is_none() && is_multipart(headers)) {
        return Ok(());
    }
    Err(Trouble::foreign("The proof that this came from a page of this server is missing or old."))
}

fn is_multipart(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    kind.is_some_and(|kind| kind.starts_with("multipart/form-data"))
}

/// The host asked for: a header in HTTP/1, part of the address in HTTP/2.
fn host(request: &Request) -> Option<&str> {
    let named = request.headers().get(header::HOST).and_then(|host| host.to_str().ok());
    named.or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str))
}

fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let sent = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs =
        sent.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(known, _)| *known == name).map(|(_, value)| value)
}

fn log(app: &App, trouble: &Trouble, path: Option<&str>) {
    if let Some(line) = &trouble.log {
        app.log(&format!("{}: {line}", path.unwrap_or("no page")));
    }
}

/// What every response carries. A page sets its own when it must.
fn dressed(mut response: Response, tls: bool) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        // Stricter ones would hide the Origin of our own forms.
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        ("permissions-policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
        ("cache-control", "no-store"),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    if tls {
        headers.insert("strict-transport-security", HeaderValue::from_static("max-age=63072000"));
    }
    response
}

/// Nothing stands at this address.
pub(crate) async fn nothing_here() -> Trouble {
    Trouble::not_found()
}
