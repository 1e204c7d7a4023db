//! The one way in: every request passes here before it is handled, and every response before it leaves.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::PoisonError;

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
use axum::http::Uri;
use axum::http::header;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;
use serde_json::json;
use store::error::StoreError;
use store::login::session::new_token;
use store::record::row::Record as _;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Person;
use store::record::tables::SecondReading;
use store::record::tables::Study;

use crate::access::ROUTES;
use crate::access::Right;
use crate::access::may;
use crate::access::page_of;
use crate::access::right_of;
use crate::access::shows_people;
use crate::app::App;
use crate::fields;
use crate::limits;
use crate::look::Look;
use crate::page::Trouble;
use crate::page::same_secret;
use crate::page::set_cookie;
use crate::pages::login;
use crate::typed::Typed;
use crate::typed::encode;
use crate::visit::Visit;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; connect-src 'self'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'";

/// Lets a request in or not, and dresses its response.
pub async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let matched = request.extensions().get::<MatchedPath>().cloned();
    let path = matched.as_ref().map(MatchedPath::as_str);
    let tls = app.tls();
    if !host(&request).is_some_and(|host| app.answers_to(host)) {
        app.warn("asked under a foreign name", &format!("from {}", station(&request)));
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
    let from = station(&request);
    let address = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|address| address.0);
    let (method, uri) = (request.method().clone(), request.uri().clone());
    let visit = match visit(app, request.headers(), (&method, uri.path(), from), &mut fresh).await {
        Ok(visit) => visit,
        Err(trouble) => {
            log(app, &trouble, path);
            return (trouble.status, trouble.title).into_response();
        }
    };
    let uploads = is_multipart(request.headers());
    let mut response = if let Err(refusal) = admitted(&visit, &mut request, path).await {
        refusal
    } else {
        request.extensions_mut().insert(visit.clone());
        let limits = app.door().limits();
        let time = if uploads { limits.upload } else { limits.answer };
        // From here on the connection waits for us, and not we for it.
        let _answering = address.and_then(|address| app.door().answering(address));
        let run = tokio::time::timeout(time, next.run(request));
        let answer = run.await.unwrap_or_else(|_| Trouble::too_slow().into_response());
        written_down(&visit, (&method, path, &uri), answer).await
    };
    if uploads && response.status().is_client_error() {
        let line = format!(
            "{} with {}, from {}",
            path.unwrap_or("no page"),
            response.status(),
            visit.station
        );
        app.warn("an upload was refused", &line);
    }
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

/// Writes down what an answer shows of people, before it leaves: what its handler told, or else what its route is
/// about. What cannot be written down is not shown.
async fn written_down(
    visit: &Visit,
    (method, path, uri): (&Method, Option<&str>, &Uri),
    answer: Response,
) -> Response {
    let Some(path) = path else { return answer };
    let told = std::mem::take(&mut *visit.looks.lock().unwrap_or_else(PoisonError::into_inner));
    let shown = answer.extensions().get::<Trouble>().is_none() && !answer.status().is_redirection();
    let wrote = async {
        let looks = if told.is_empty() && shown && shows_people(method.as_str(), path) {
            vec![of_route(visit, path).await?]
        } else {
            told
        };
        for look in looks {
            write_look(visit, path, uri, look).await?;
        }
        Ok::<(), StoreError>(())
    };
    match wrote.await {
        Ok(()) => answer,
        Err(error) => Trouble::from(error).into_response(),
    }
}

/// One look. What a page asks by itself, in the background or piece by piece, is covered by the look that its
/// session had written for the same thing a moment ago; a browser cannot say so of itself.
async fn write_look(visit: &Visit, path: &str, uri: &Uri, look: Look) -> Result<(), StoreError> {
    let store = visit.app.store();
    let session = visit.session.as_ref().map_or("", |session| session.token_sha256.as_str());
    let place = uri.path_and_query().map_or("", |place| place.as_str());
    let same = format!("{place} {} {:?} {}", look.object, look.person, look.facts);
    let (looked, now) = (visit.app.looked(), store.steady_now());
    let piece = page_of(path).map(|page| format!("{page} {}", look.object));
    let covered = (visit.background && looked.lately(session, &same, now))
        || piece.as_ref().is_some_and(|piece| looked.lately(session, piece, now));
    if covered {
        return Ok(());
    }
    store.looked(&visit.author(), look.object.clone(), look.person, look.facts).await?;
    looked.wrote(session, same, now);
    if let Some(piece) = piece {
        looked.wrote(session, piece, now);
    }
    Ok(())
}

/// What a route is about, by its path: `loan 12` of whoever has it, or the page's own name.
async fn of_route(visit: &Visit, path: &str) -> Result<Look, StoreError> {
    let parts: Vec<&str> = visit.path.split('/').collect();
    let kind = parts.get(1).copied().unwrap_or_default();
    let id =
        path.split('/').position(|part| part == "{id}").and_then(|at| parts.get(at)?.parse().ok());
    let of = |object: String, person| Look { object, person, facts: json!({"page": path}) };
    let Some(id) = id else { return Ok(of(kind.to_owned(), None)) };
    let mut conn = visit.app.store().read().await?;
    Ok(match kind {
        "people" | "retention" => of(Person::name(id), Some(id)),
        "loans" => of(Loan::name(id), Some(conn.get::<Loan>(id).await?.person)),
        "studies" => of(Study::name(id), Some(conn.get::<Study>(id).await?.person)),
        "nights" => of(Night::name(id), conn.get::<Night>(id).await?.person),
        "second" => {
            let night = conn.get::<SecondReading>(id).await?.night;
            of(Night::name(night), conn.get::<Night>(night).await?.person)
        }
        "monitors" => of(format!("monitor {id}"), None),
        _ => of(format!("{kind} {id}"), None),
    })
}

/// Who asks, from where.
async fn visit(
    app: &App,
    headers: &HeaderMap,
    (method, path, station): (&Method, &str, String),
    fresh: &mut Option<String>,
) -> Result<Visit, Trouble> {
    // Only what changes nothing can be asked by nobody.
    let background = headers.contains_key("x-matins-background") && method == Method::GET;
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
    let visit = Visit {
        app: app.clone(),
        department,
        session,
        secret,
        station,
        path: path.to_owned(),
        background,
        known: cookie(headers, app.known_cookie()).map(str::to_owned),
        token: token.map(str::to_owned),
        looks: Arc::default(),
    };
    if let Some(session) = &visit.session {
        app.remember_proof(&visit.csrf(), session.account.id);
    }
    Ok(visit)
}

/// The address a request comes from.
fn station(request: &Request) -> String {
    let address = request.extensions().get::<ConnectInfo<SocketAddr>>();
    address.map_or_else(|| "unknown".to_owned(), |address| address.0.ip().to_string())
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
    if acts && let Err(trouble) = same_origin(visit, request.headers(), host(request)) {
        return Err(foreign(visit, path, trouble).await.into_response());
    }
    let typed =
        if acts { read_form(visit, request).await.map_err(Trouble::into_response)? } else { None };
    // Nothing stands there: the router says so itself.
    let Some(path) = path else { return Ok(()) };
    let right = right_of(method.as_str(), path).ok_or_else(|| unlisted(path).into_response())?;
    if right != Right::Open {
        let Some(session) = &visit.session else {
            return Err(login::asked_first(visit, typed.as_ref(), &then(request)));
        };
        if !may(session.account.role, right) {
            return Err(visit.refused(path).await.into_response());
        }
    }
    if acts {
        if let Err(trouble) = proved(visit, path, request.headers(), typed.as_ref()) {
            if let Some(again) = login::sent_from_before(visit, path, typed.as_ref()) {
                return Err(again);
            }
            return Err(foreign(visit, Some(path), trouble).await.into_response());
        }
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

/// What came from no page of ours: in the audit when somebody is logged in whose browser sent it, and the operator
/// is told either way.
async fn foreign(visit: &Visit, path: Option<&str>, trouble: Trouble) -> Trouble {
    let path = path.unwrap_or("no page");
    visit.app.warn("not from a page of this server", &format!("{path}, from {}", visit.station));
    if visit.session.is_some() {
        visit.attempted("access.foreign", path).await;
    }
    trouble
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
async fn read_form(visit: &Visit, request: &mut Request) -> Result<Option<Typed>, Trouble> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let is_form = kind.is_none_or(|kind| kind.starts_with("application/x-www-form-urlencoded"));
    if !is_form {
        return Ok(None);
    }
    let (most, fields) = if visit.session.is_some() {
        (limits::FORM, limits::FIELDS)
    } else {
        (limits::FORM_OF_NOBODY, limits::FIELDS_OF_NOBODY)
    };
    let body = std::mem::replace(request.body_mut(), Body::empty());
    let come = tokio::time::timeout(visit.app.door().limits().body, to_bytes(body, most)).await;
    let bytes =
        come.map_err(|_| Trouble::sent_too_slowly())?.map_err(|_| Trouble::too_large(most))?;
    Typed::read_within(&bytes, fields).ok_or_else(Trouble::too_many_fields).map(Some)
}

/// An act writes its own fields and nothing else: a form with any other is refused whole.
fn own_fields(path: &str, typed: Option<&Typed>) -> Result<(), Trouble> {
    match typed.map(|typed| fields::foreign(path, typed)) {
        Some(names) if !names.is_empty() => Err(Trouble::foreign_fields(&names)),
        _ => Ok(()),
    }
}

/// A request that changes something carries the proof made for this browser: in its form, or in a header.
fn proved(
    visit: &Visit,
    path: &str,
    headers: &HeaderMap,
    typed: Option<&Typed>,
) -> Result<(), Trouble> {
    let sent = headers.get("x-csrf").and_then(|value| value.to_str().ok());
    let sent = sent.or(typed.map(|typed| typed.get("csrf")));
    let proves = sent.is_some_and(|sent| same_secret(sent, &visit.csrf()));
    // A file sent without script has no header; that it came from here its Origin has shown. So it has for the
    // login over a page whose proof is that of an older session: it asks for the password.
    let by_origin = (sent.is_none() && is_multipart(headers))
        || (path == "/session/again" && headers.contains_key(header::ORIGIN));
    if proves || by_origin {
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
    // A request that names two is one for a proxy and another for us (RFC 9112, 3.2).
    if request.headers().get_all(header::HOST).iter().count() > 1 {
        return None;
    }
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
