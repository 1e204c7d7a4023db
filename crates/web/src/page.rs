//! A whole page: the shell with its navigation around a body, and the pages that say why not.

use askama::Template;
use axum::http::HeaderMap;
use axum::http::HeaderValue;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Response;
use store::error::Refusal;
use store::error::StoreError;

use crate::access::answers;
use crate::form::sentence;
use crate::limits;

/// What a handler gives: a response, or why there is none.
pub type Answer = Result<Response, Trouble>;

/// Why a page cannot be shown or an act not done, for the person who asked. The guard makes a page of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The status of the response.
    pub status: StatusCode,
    /// The heading.
    pub title: &'static str,
    /// What is wrong, one sentence each.
    pub says: Vec<String>,
    /// What to do next, one sentence each.
    pub hints: Vec<String>,
    /// What the operator's log is told; never shown.
    pub log: Option<String>,
}

impl Trouble {
    fn new(status: StatusCode, title: &'static str, says: &str, hint: &str) -> Self {
        let lines = |text: &str| (!text.is_empty()).then(|| text.to_owned()).into_iter().collect();
        Self { status, title, says: lines(says), hints: lines(hint), log: None }
    }

    /// Nothing stands at this address.
    pub fn not_found() -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "Not here",
            "There is nothing at this address, or it is not there any more.",
            "Go back, or begin from the first page.",
        )
    }

    /// The role does not allow it.
    pub fn forbidden() -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "Not for your role",
            "Your role does not allow this. The attempt is in the audit.",
            "An administrator can say who may do it.",
        )
    }

    /// It was asked for in a way a page of ours never would.
    pub fn foreign(says: &str) -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "Not from this page",
            says,
            "Open the page again and repeat what you did.",
        )
    }

    /// The page does not take this kind of request.
    pub fn method() -> Self {
        Self::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "Not in this way",
            "This address does not take this kind of request.",
            "",
        )
    }

    /// A form is larger than it may be, bytes.
    pub fn too_large(most: usize) -> Self {
        Self::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "Too large",
            &format!("What was sent is larger than this page takes: at most {}.", size(most)),
            "Shorten it, and send it again. Nothing was done.",
        )
    }

    /// A form has more fields than any of ours.
    pub fn too_many_fields() -> Self {
        Self::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "Too many fields",
            &format!(
                "A form of this server has at most {} fields, with names of at most {} letters. More were sent.",
                limits::FIELDS,
                limits::NAME
            ),
            "Open the page again and repeat what you did.",
        )
    }

    /// A file is larger than one that is taken in, bytes.
    pub fn file_too_large(found: usize) -> Self {
        Self::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "Too large",
            &format!(
                "The file is too large: at most {} are taken in, and it has {}. Nothing of it was kept.",
                size(limits::UPLOAD),
                size(found)
            ),
            "A recording of several nights is cut into nights first; `matins score` reads larger files.",
        )
    }

    /// What was sent did not come in time.
    pub fn sent_too_slowly() -> Self {
        Self::new(
            StatusCode::REQUEST_TIMEOUT,
            "It came too slowly",
            "What you sent did not arrive in time. Nothing of it was kept.",
            "See to the connection, and send it again.",
        )
    }

    /// So many files are on their way in that there is no place for one more.
    pub fn full(places: usize) -> Self {
        Self::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "Others are taking files in",
            &format!(
                "{places} files are being taken in already, one after the other. Nothing of yours was kept."
            ),
            "Send it again in a minute.",
        )
    }

    /// What was sent is not understood.
    pub fn not_understood(says: &str) -> Self {
        Self::new(
            StatusCode::BAD_REQUEST,
            "Not understood",
            says,
            "Open the page again and repeat what you did.",
        )
    }

    /// It brought fields that the act does not have. Only the beginning of their names is said again.
    pub fn foreign_fields(names: &[&str]) -> Self {
        let told: Vec<String> =
            names.iter().take(5).map(|name| name.chars().take(40).collect()).collect();
        let says = format!("This form has no field of the name: {}.", told.join(", "));
        Self {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            hints: vec![
                "Nothing was done. Open the page again and repeat what you did.".to_owned(),
            ],
            ..Self::not_understood(&says)
        }
    }

    /// It took too long.
    pub fn too_slow() -> Self {
        Self::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "It took too long",
            "The answer did not come in time.",
            "Look whether it was done before you try again.",
        )
    }

    /// Something broke. The words are for the log only.
    pub fn broken(log: impl Into<String>) -> Self {
        let trouble = Self::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "That went wrong",
            "This is a fault of the program or of its machine. What was acknowledged before is safe.",
            "Try again; if it stays, tell whoever looks after matins.",
        );
        Self { log: Some(log.into()), ..trouble }
    }

    /// Rules of the department stand against it.
    pub fn refused(all: &[Refusal]) -> Self {
        let lines = |of: fn(&Refusal) -> &str| {
            all.iter().map(|one| sentence(of(one))).filter(|line| !line.is_empty()).collect()
        };
        Self {
            status: StatusCode::CONFLICT,
            title: "Not done",
            says: lines(|one| &one.says),
            hints: lines(|one| &one.hint),
            log: None,
        }
    }
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        match &error {
            StoreError::Refused(all) => Self::refused(all),
            StoreError::Changed { .. } => Self::new(
                StatusCode::CONFLICT,
                "Changed meanwhile",
                &sentence(&error.to_string()),
                "Go back, open the page again and look at it before you repeat what you did.",
            ),
            StoreError::Missing { .. } => Self::not_found(),
            StoreError::Unusable { says, hint, .. } => {
                let trouble = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "The record cannot be used",
                    &sentence(says),
                    &sentence(hint),
                );
                Self { log: Some(error.to_string()), ..trouble }
            }
            StoreError::Damaged { .. } | StoreError::Database(_) => Self::broken(error.to_string()),
        }
    }
}

impl From<askama::Error> for Trouble {
    fn from(error: askama::Error) -> Self {
        Self::broken(format!("a page could not be made: {error}"))
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let mut response = self.status.into_response();
        response.extensions_mut().insert(self);
        response
    }
}

/// The body of the page that says why not.
#[derive(Debug, Template)]
#[template(path = "trouble.html")]
pub(crate) struct TroublePage<'a> {
    pub(crate) trouble: &'a Trouble,
}

/// The shell around a body.
#[derive(Debug, Template)]
#[template(path = "shell.html")]
pub(crate) struct Shell<'a> {
    pub(crate) title: &'a str,
    pub(crate) body: &'a str,
    pub(crate) assets: &'a str,
    pub(crate) department: &'a str,
    /// Name, role, login of whoever is logged in.
    pub(crate) person: Option<(&'a str, &'a str, &'a str)>,
    /// Path, word, and whether it is here.
    pub(crate) navigation: Vec<(&'static str, &'static str, bool)>,
    pub(crate) csrf: &'a str,
    /// How long the session holds if nothing is touched, s.
    pub(crate) ends_in_s: i64,
    pub(crate) said: Option<String>,
}

/// A size in words.
fn size(bytes: usize) -> String {
    match bytes >> 20 {
        0 => format!("{} KiB", bytes.div_ceil(1 << 10)),
        _ => format!("{} MiB", bytes.div_ceil(1 << 20)),
    }
}

/// A page of a rendered text, with a status.
pub fn html(status: StatusCode, text: String) -> Response {
    (status, Html(text)).into_response()
}

/// Leads the browser on after an act, so that a reload does not act again.
pub fn lead_to(path: &str) -> Response {
    let place = HeaderValue::from_str(path).unwrap_or(HeaderValue::from_static("/"));
    (StatusCode::SEE_OTHER, [(header::LOCATION, place)]).into_response()
}

/// A path that a route of this server answers, to go on to, from what a browser sent; the first page otherwise.
/// A browser leaves out tabs and line ends and takes `\` for `/`, so nothing is taken but what is plain.
pub fn own_path<'a>(method: &str, sent: &'a str) -> &'a str {
    let plain = |byte: u8| byte.is_ascii_graphic() && !b"\\\"'<>^`{|}".contains(&byte);
    let path = sent.split(['?', '#']).next().unwrap_or_default();
    if sent.bytes().all(plain) && answers(method, path) { sent } else { "/" }
}

/// Whether two secrets are the same, in the same time wherever they differ.
pub(crate) fn same_secret(one: &str, other: &str) -> bool {
    let differ = one.bytes().zip(other.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
    one.len() == other.len() && differ == 0
}

/// Sets a cookie for this server only, out of reach of scripts and of other sites' requests.
pub(crate) fn set_cookie(headers: &mut HeaderMap, name: &str, value: &str, tls: bool) {
    let age = if value.is_empty() { Some(0) } else { None };
    keep_cookie(headers, name, value, tls, age);
}

/// The same for so many seconds; `None` until the browser ends.
pub(crate) fn keep_cookie(
    headers: &mut HeaderMap,
    name: &str,
    value: &str,
    tls: bool,
    age_s: Option<i64>,
) {
    let secure = if tls { "; Secure" } else { "" };
    let ends = age_s.map_or_else(String::new, |age| format!("; Max-Age={age}"));
    let text = format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}{ends}");
    if let Ok(value) = HeaderValue::from_str(&text) {
        headers.append(header::SET_COOKIE, value);
    }
}

/// A file to be kept, never opened in the page. Signs that could lead out of a folder or a header are
/// replaced in its name.
pub fn download(name: &str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let safe =
        |sign: char| if sign.is_ascii_alphanumeric() || "-_.".contains(sign) { sign } else { '_' };
    let name: String = name.chars().map(safe).collect();
    let disposition = format!("attachment; filename=\"{name}\"");
    ([(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_DISPOSITION, disposition)], bytes)
        .into_response()
}

/// Signs that begin a formula, also those as wide as a letter of the east, which spreadsheets read alike.
const FORMULA: [char; 11] =
    ['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

/// One cell of a CSV file. A cell that a spreadsheet would take for a formula gets an apostrophe before it
/// (OWASP, CSV injection).
pub fn csv_cell(text: &str) -> String {
    let formula = text.starts_with(FORMULA) && text.parse::<f64>().is_err();
    let text = if formula { format!("'{text}") } else { text.to_owned() };
    if text.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// OWASP, CSV injection: cells that begin with = + - @ or a tab.
    #[test]
    fn a_cell_is_no_formula_and_a_number_stays_one() {
        for (text, cell) in [
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("-4.5", "-4.5"),
            ("-cmd", "'-cmd"),
            ("\u{ff1d}1", "'\u{ff1d}1"),
            ("\n=1", "\"'\n=1\""),
            ("\u{ff1d}1+1", "'\u{ff1d}1+1"),
            ("\n=1+1", "\"'\n=1+1\""),
            ("a,b", "\"a,b\""),
            ("say \"x\"", "\"say \"\"x\"\"\""),
            ("plain", "plain"),
        ] {
            assert_eq!(csv_cell(text), cell);
        }
    }

    /// What a browser makes of a place it is led to (WHATWG URL: tabs and line ends fall away, `\\` is `/`).
    fn as_a_browser_reads_it(sent: &str) -> String {
        sent.chars().filter(|sign| !"\t\r\n".contains(*sign)).collect::<String>().replace('\\', "/")
    }

    /// However a place is spelled: nobody is led off this server, and nowhere that no route answers.
    #[test]
    fn nobody_is_led_off_this_server_however_the_place_is_spelled() {
        let pieces = [
            "/",
            "//",
            "\\",
            "\t",
            "\n",
            "\r",
            " ",
            "evil.example",
            "nights",
            "12",
            "people",
            ".",
            "..",
            "@",
            ":",
            "http:",
            "https://evil.example",
            "?then=",
            "#",
            "%09",
            "%2f",
            "%5c",
            "%2e%2e",
            "\u{0}",
            "\u{ff0f}",
            "\u{2044}",
            "\u{85}",
            "compare",
            "login",
            "javascript:1",
            "",
        ];
        let mut led = 0;
        for a in pieces {
            for b in pieces {
                for c in pieces {
                    for d in pieces {
                        let sent = format!("{a}{b}{c}{d}");
                        let place = own_path("GET", &sent);
                        let read = as_a_browser_reads_it(place);
                        assert_eq!(read, place, "{sent:?}");
                        assert!(read.starts_with('/') && !read.starts_with("//"), "{sent:?}");
                        let path = read.split(['?', '#']).next().unwrap();
                        assert!(answers("GET", path), "{sent:?}");
                        led += usize::from(place != "/");
                    }
                }
            }
        }
        assert!(led > 100, "some of them are places of ours: {led}");
    }

    #[test]
    fn r010_a_tab_leads_nowhere() {
        for sent in
            ["/\t/evil.example/phish", "/\n/evil.example", "/\\evil.example", "//evil.example"]
        {
            assert_eq!(own_path("GET", sent), "/", "{sent:?}");
        }
        assert_eq!(
            own_path("GET", "/people/12/compare?side=1&side=2"),
            "/people/12/compare?side=1&side=2"
        );
        assert_eq!(own_path("POST", "/people/12/compare"), "/", "it is not sent to");
    }
}
