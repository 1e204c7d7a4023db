//! What is looked at is written down: every route of the table, whatever the browser says of itself.

use std::sync::Arc;

use axum::body::Body;
use axum::http::Request;
use axum::http::StatusCode;
use store::lending::setting::DeskSettings;
use store::record::tables::Night;
use store::words::Role;
use web::access::NOBODY;
use web::access::ROUTES;
use web::access::Right;
use web::access::may;
use web::access::shows_people;
use web::printer::Paper;
use web::printer::Printer;

use crate::ask::Bench;
use crate::ask::Got;
use crate::ask::bench_on;
use crate::lent::lend;
use crate::night::file;

const EVERYBODY: [Role; 5] =
    [Role::Desk, Role::Physiologist, Role::Physician, Role::Governance, Role::Administrator];
/// 2026-11-24T22:00:00Z.
const EVENING: i64 = 1_795_557_600;
/// A name that stands nowhere else.
const FAMILY: &str = "Quiltermarsh";

/// Prints everything it is given, so that a name on a paper is found in its bytes.
struct Shows;

impl Printer for Shows {
    fn print(&self, paper: &Paper, _desk: &DeskSettings) -> Result<Vec<u8>, String> {
        Ok(format!("{paper:?}").into_bytes())
    }
}

/// A department with one patient, their loan and their night, and an account of every role.
async fn department() -> (Bench, Night) {
    let bench = bench_on(false, Arc::new(Shows)).await;
    for role in EVERYBODY {
        bench.account(role).await;
    }
    lend(&bench.store, 1, (FAMILY, "Nell"), EVENING).await.unwrap();
    let file = store::intake::receive::Incoming {
        name: "TC-1001.csv".to_owned(),
        bytes: file(),
        ..store::intake::receive::Incoming::default()
    };
    let by = store::record::act::Author::program();
    let night = bench.store.receive(&by, file).await.unwrap().nights.remove(0);
    (bench, night)
}

async fn looks(bench: &Bench) -> i64 {
    count(bench, "look").await
}

async fn count(bench: &Bench, verb: &str) -> i64 {
    bench.store.read().await.unwrap().acts_of(verb, None).await.unwrap()
}

/// The address of a route in this department: everything has the number 1.
fn address(path: &str) -> String {
    path.replace("{id}", "1")
        .replace("{version}", "1")
        .replace("{token}", "none")
        .replace("{hash}", "none")
        .replace("/settings/{name}", "/settings/desk")
        .replace("{name}", "adult-air")
}

async fn background(bench: &Bench, path: &str, token: &str) -> Got {
    let request = Request::get(path)
        .header("host", "127.0.0.1:8417")
        .header("cookie", format!("matins={token}"))
        .header("x-matins-background", "1");
    bench.send(request.body(Body::empty()).unwrap()).await
}

#[test]
fn every_route_that_shows_nobody_stands_in_the_table_of_access() {
    for (method, path) in NOBODY {
        assert!(
            ROUTES.iter().any(|route| (route.0, route.1) == (*method, *path)),
            "{method} {path}"
        );
    }
}

/// Every page and file of the table, as every role that may see it, in a fresh session: what shows people's data has
/// its look written, also when the browser says that nobody clicked; and the planted name stands on no other.
#[tokio::test(flavor = "multi_thread")]
async fn every_route_that_shows_a_persons_data_has_its_look_written() {
    let (bench, _) = department().await;
    let (mut shown, mut named) = (0, 0);
    for role in EVERYBODY {
        for (method, path, right) in ROUTES {
            if *method != "GET" || *path == "/live" || !may(role, *right) {
                continue;
            }
            for quietly in [false, true] {
                let token = bench.token(role).await;
                let before = looks(&bench).await;
                let place = address(path);
                let got = if quietly {
                    background(&bench, &place, &token).await
                } else {
                    bench.get(&place, &token).await
                };
                let wrote = looks(&bench).await - before;
                let what = format!("{path} as {role}, quietly {quietly}: {} {}", got.status, wrote);
                if got.text.to_lowercase().contains(&FAMILY.to_lowercase()) {
                    assert!(wrote > 0, "{what}: the name stands on it");
                    assert!(may(role, Right::SeePeople), "{what}: no name for this role");
                    named += 1;
                }
                if got.status.is_success() && shows_people(method, path) {
                    assert!(wrote > 0, "{what}");
                    shown += 1;
                }
                bench.post("/logout", &token, "").await;
            }
        }
    }
    assert!(named > 60 && shown > 150, "the crawl saw {named} names on {shown} pages");
}

/// Another page about the same person shows other data of them: only the pieces that a page asks by itself are
/// covered by its look. Every page of the table in turn, forth and back, in one session each.
#[tokio::test(flavor = "multi_thread")]
async fn r017_another_page_about_the_same_person_is_another_look() {
    let (bench, _) = department().await;
    for back in [false, true] {
        let token = bench.token(Role::Physiologist).await;
        let mut pages = std::collections::BTreeSet::new();
        let mut routes: Vec<_> = ROUTES.iter().collect();
        if back {
            routes.reverse();
        }
        let mut counted = 0;
        for (method, path, right) in routes {
            let asked = *method == "GET" && *path != "/live" && may(Role::Physiologist, *right);
            if !asked || !shows_people(method, path) {
                continue;
            }
            let before = looks(&bench).await;
            let got = bench.get(&address(path), &token).await;
            let piece = web::access::page_of(path).is_some_and(|page| !pages.insert(page));
            if got.status.is_success() && !piece {
                assert!(looks(&bench).await > before, "{path}, back {back}");
                counted += 1;
            }
        }
        assert!(counted > 20, "{counted}");
    }
    let token = bench.token(Role::Physiologist).await;
    for path in ["/people/1", "/people/1/compare", "/nights/1"] {
        let before = looks(&bench).await;
        bench.get(path, &token).await;
        assert_eq!(looks(&bench).await, before + 1, "{path}");
    }
    let before = looks(&bench).await;
    for path in ["/people/1/compare", "/nights/1/parts", "/nights/1/strip"] {
        bench.get(path, &token).await;
    }
    assert_eq!(looks(&bench).await, before, "pieces of pages that are open");
}

/// What is sent and shown again is a page like any other.
#[tokio::test(flavor = "multi_thread")]
async fn a_form_that_is_shown_again_is_a_look_and_so_is_a_search() {
    let (bench, _) = department().await;
    let token = bench.token(Role::Desk).await;
    for (path, fields) in [
        ("/people/1/edit", ""),
        ("/people/1/refer", ""),
        ("/people/1/void", ""),
        ("/studies/1/book", ""),
        ("/loans/1/take-back", ""),
        ("/people", "find=quilter"),
    ] {
        let before = looks(&bench).await;
        let got = bench.post(path, &token, fields).await;
        assert!(got.text.to_lowercase().contains(&FAMILY.to_lowercase()), "{path}: {}", got.status);
        assert_eq!(looks(&bench).await, before + 1, "{path}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn r016_a_header_does_not_switch_the_audit_of_looking_off() {
    let (bench, _) = department().await;
    let token = bench.token(Role::Desk).await;
    let before = looks(&bench).await;
    assert_eq!(background(&bench, "/people/1", &token).await.status, StatusCode::OK);
    assert_eq!(looks(&bench).await, before + 1, "nobody had looked before");
    background(&bench, "/people/1", &token).await;
    assert_eq!(looks(&bench).await, before + 1, "the page that is open keeps itself up to date");
    background(&bench, "/loans/1", &token).await;
    assert_eq!(looks(&bench).await, before + 2, "another page is another look");
    bench.wait_s(600);
    background(&bench, "/people/1", &token).await;
    assert_eq!(looks(&bench).await, before + 3, "ten minutes later it is one again");
    // Nor does it hide an attempt, nor a search.
    let refused = count(&bench, "access.refused").await;
    assert_eq!(background(&bench, "/nights", &token).await.status, StatusCode::FORBIDDEN);
    assert_eq!(count(&bench, "access.refused").await, refused + 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn r017_the_administrator_is_not_told_whether_a_person_is_known() {
    let (bench, _) = department().await;
    let token = bench.token(Role::Administrator).await;
    let refused = count(&bench, "access.refused").await;
    let mut answers = Vec::new();
    for mark in ["LM+000+001", "L-00001-X", "LM+000+999"] {
        let got = bench.post("/scan", &token, &format!("mark={mark}")).await;
        answers.push((got.status, got.text.replace(&mark.replace('+', " "), "")));
    }
    assert_eq!(answers[0].0, StatusCode::NOT_FOUND);
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]));
    assert_eq!(count(&bench, "access.refused").await, refused + 3);
    let found = bench.post("/scan", &token, "mark=M-0001-X").await;
    assert_eq!(found.header("location"), "/monitors/1");
    // Whoever may see people is led on, and that it was asked is written down though nobody follows.
    let desk = bench.token(Role::Desk).await;
    let before = looks(&bench).await;
    assert_eq!(bench.post("/scan", &desk, "mark=LM+000+001").await.header("location"), "/people/1");
    assert_eq!(looks(&bench).await, before + 1);
}

/// The morning of who sees no people holds no name, no remark and no skin.
#[tokio::test(flavor = "multi_thread")]
async fn r018_the_administrators_morning_has_no_name() {
    let (bench, _) = department().await;
    let by = store::record::act::Author::program();
    let person = store::people::person::PersonForm {
        mrn: "LM 777 777".to_owned(),
        family: "Eiderwick".to_owned(),
        given: "Ada".to_owned(),
        born_on: "1971-02-03".to_owned(),
        ..store::people::person::PersonForm::default()
    };
    let person = bench.store.add_person(&by, &person).await.unwrap();
    let asked = store::people::person::ReferralForm {
        person: person.id,
        asked_by: "Dr Duvet".to_owned(),
        received_on: "2026-11-20".to_owned(),
        question: "night_gas_exchange".to_owned(),
        words: String::new(),
        support: String::new(),
        urgency: store::words::Urgency::Routine,
        criteria: "adult-air".to_owned(),
    };
    bench.store.add_referral(&by, asked).await.unwrap();
    let desk = bench.get("/morning", &bench.token(Role::Desk).await).await.text;
    assert!(desk.contains("EIDERWICK"));
    let keys = bench.get("/morning", &bench.token(Role::Administrator).await).await.text;
    assert!(!keys.contains("EIDERWICK") && !keys.contains("/people/"), "{keys}");
    assert!(keys.contains("One patient waits for a loan."));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_comes_from_another_page_is_in_the_audit_of_whoever_is_logged_in() {
    let (bench, _) = department().await;
    let token = bench.token(Role::Desk).await;
    let request = crate::ask::post("/people/new", &token, "family=X");
    assert_eq!(bench.send(request).await.status, StatusCode::FORBIDDEN);
    let act = bench.store.read().await.unwrap().last_act().await.unwrap().unwrap();
    assert_eq!(
        (act.verb.as_str(), act.who.as_str(), act.object.as_str()),
        ("access.foreign", "desk", "/people/new")
    );
}
