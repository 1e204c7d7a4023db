//! Odd numbers and odd texts at every field of every page and every act: refused or taken, never a fault of the
//! program.
//!
//! What is asked for is found, not listed: the names of fields stand in the pages' own sources and in their
//! forms, the routes in the table of access.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use axum::http::StatusCode;
use store::words::Role;
use web::access::ROUTES;
use web::access::Right;
use web::access::may;

use crate::ask::Bench;
use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::night::night;

const ROLES: [Role; 5] =
    [Role::Physiologist, Role::Physician, Role::Desk, Role::Governance, Role::Administrator];

/// Numbers at the ends of what a number can be, days at the ends of the calendar, and texts of signs nobody types.
const ODD: [&str; 15] = [
    "9223372036854775807",
    "-9223372036854775808",
    "9223372036854775808",
    "1e308",
    "-1e999",
    "NaN",
    "9999-12-31",
    "-9999-01-01",
    "%00",
    "%E2%80%AE%F0%9F%92%A4",
    "%FF%FE",
    "%27%22%3C%26%25_%5C",
    "%E1%BA%9E%C4%B0%C7%86",
    "%0D%0A%0D%0A",
    "-0",
];

/// Those that each field is tried with by itself, the others as its form shows them.
const EACH: [&str; 4] = [ODD[0], ODD[1], ODD[5], ODD[8]];

/// The names of all fields that pages ask for, as their sources call them.
fn names() -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    let asks =
        ["get", "raw", "option", "all", "ticked", "number", "day", "decimal", "text", "date"];
    while let Some(folder) = folders.pop() {
        for file in std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if file.is_dir() {
                folders.push(file);
                continue;
            }
            let source = std::fs::read_to_string(file).unwrap();
            let mut parts = source.split("(\"");
            let mut before = parts.next().unwrap_or_default();
            for part in parts {
                let called =
                    before.rsplit(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap();
                let name = part.split('"').next().unwrap_or_default();
                let is_field = before.trim_end_matches(called).ends_with("Field::");
                let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
                if (is_field || asks.contains(&called))
                    && !name.is_empty()
                    && name.chars().all(plain)
                {
                    names.insert(name.to_owned());
                }
                before = part;
            }
        }
    }
    names
}

/// The attribute of a tag.
fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    tag.split_once(&format!(" {name}=\""))?.1.split('"').next()
}

/// What the forms of a page send: where to, and each field with what stands in it.
fn forms(page: &str) -> Vec<(String, BTreeMap<String, String>)> {
    let mut found = Vec::new();
    for form in page.split("<form ").skip(1) {
        let form = form.split("</form>").next().unwrap_or_default();
        let form = format!(" {form}");
        let Some(action) = attribute(&form, "action") else { continue };
        let mut fields = BTreeMap::new();
        for tag in form.split('<').filter(|tag| tag.contains(" name=\"")) {
            let name = attribute(tag, "name").unwrap_or_default().to_owned();
            let value = attribute(tag, "value").unwrap_or_default();
            if name != "csrf" {
                fields.entry(name).or_insert_with(|| value.to_owned());
            }
        }
        found.push((action.to_owned(), fields));
    }
    found
}

/// Whether an address is one of a route.
fn is_of(path: &str, route: &str) -> bool {
    let path = path.split('?').next().unwrap_or_default();
    let (path, route): (Vec<_>, Vec<_>) = (path.split('/').collect(), route.split('/').collect());
    path.len() == route.len()
        && path.iter().zip(&route).all(|(part, of)| of.starts_with('{') || part == of)
}

struct Asking {
    bench: Bench,
    tokens: BTreeMap<Role, String>,
    asked: usize,
    wrong: Vec<String>,
}

impl Asking {
    /// A session of whoever may do it.
    async fn token(&mut self, right: Right) -> (Role, String) {
        let role =
            ROLES.into_iter().find(|role| right == Right::Open || may(*role, right)).unwrap();
        let known = self.tokens.get(&role).cloned().unwrap_or_default();
        if !known.is_empty() && self.bench.store.session(&known, 900, true).await.unwrap().is_some()
        {
            return (role, known);
        }
        // Wrong passwords slow down; here nobody waits.
        self.bench.wait_s(1_000);
        let fresh = self.bench.token(role).await;
        self.tokens.insert(role, fresh.clone());
        (role, fresh)
    }

    async fn ask(&mut self, (method, right): (&str, Right), path: &str, fields: &str) -> String {
        let (role, token) = self.token(right).await;
        let got = match method {
            "GET" => self.bench.get(&format!("{path}?{fields}"), &token).await,
            _ => self.bench.post(path, &token, fields).await,
        };
        self.asked += 1;
        // What needs a printer says so; the bench has none.
        let printer = got.status == StatusCode::SERVICE_UNAVAILABLE;
        if got.status.is_server_error() && !printer {
            let fields: String = fields.chars().take(300).collect();
            self.wrong.push(format!("{method} {path} as {role}: {} with {fields}", got.status));
        }
        got.text
    }
}

/// An address of a route: of the rows there are, or at the ends of numbers.
///
/// Accounts are those that nobody of the test logs in with.
fn address(route: &str, id: &str) -> String {
    let id = if route.starts_with("/accounts/") && id == "1" { "6" } else { id };
    let text = ["{token}", "{hash}", "{name}"];
    let path = text.iter().fold(route.to_owned(), |path, part| path.replace(part, "desk"));
    path.replace("{id}", id).replace("{version}", id)
}

fn all_as(names: &BTreeSet<String>, value: &str) -> String {
    let fields = names.iter().filter(|name| !["csrf", "password"].contains(&name.as_str()));
    fields.fold(String::new(), |mut text, name| {
        let _ = write!(text, "{name}={value}&");
        text
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn r018_no_number_and_no_text_in_any_field_is_a_fault_of_the_program() {
    let bench = bench().await;
    night(&bench).await;
    for role in [Role::Governance, Role::Administrator] {
        bench.account(role).await;
    }
    let by = store::record::act::Author::program();
    bench.store.make_account_with(&by, "other", "Bo Other", Role::Desk, PASSWORD).await.unwrap();
    let names = names();
    assert!(names.len() > 60 && names.contains("more"), "{names:?}");
    let mut asking = Asking { bench, tokens: BTreeMap::new(), asked: 0, wrong: Vec::new() };
    let mut shown: Vec<(String, BTreeMap<String, String>)> = Vec::new();
    for (method, route, right) in ROUTES.iter().filter(|route| route.0 == "GET") {
        if *route == "/live" {
            continue;
        }
        for id in ["1", "-1", "9223372036854775807", "9223372036854775808"] {
            let text = asking.ask((method, *right), &address(route, id), "").await;
            shown.extend(forms(&text));
        }
        for value in EACH.into_iter().chain([ODD[6], &*"x".repeat(20_000 / names.len())]) {
            asking.ask((method, *right), &address(route, "1"), &all_as(&names, value)).await;
        }
    }
    for (method, route, right) in ROUTES.iter().filter(|route| route.0 == "POST") {
        if *route == "/logout" {
            continue;
        }
        for value in ODD {
            asking.ask((method, *right), &address(route, "1"), &all_as(&names, value)).await;
        }
        let form = shown.iter().find(|(action, _)| is_of(action, route)).cloned();
        let (mut action, fields) = form.unwrap_or((address(route, "1"), BTreeMap::new()));
        if route.starts_with("/accounts/") {
            action = address(route, "1");
        }
        let text = "x".repeat(100_000);
        for name in fields.keys() {
            for value in EACH.into_iter().chain([text.as_str()]) {
                let sent: Vec<String> = fields
                    .iter()
                    .map(|(other, usual)| {
                        let usual = web::typed::encode(usual);
                        format!("{other}={}", if other == name { value } else { &usual })
                    })
                    .collect();
                asking.ask((method, *right), &action, &sent.join("&")).await;
            }
        }
    }
    assert!(asking.asked > 1_000, "only {} requests", asking.asked);
    let wrong: BTreeSet<_> = asking.wrong.into_iter().collect();
    assert!(wrong.is_empty(), "{} faults:\n{}", wrong.len(), Vec::from_iter(wrong).join("\n"));
}
