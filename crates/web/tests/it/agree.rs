//! A second reading over HTTP: read blind on the night's own page, refused what the first reader did, and
//! held against it when it is finished.

use std::fmt::Write as _;

use axum::http::StatusCode;
use serde_json::Value;
use store::intake::receive::Incoming;
use store::login::session::LogIn;
use store::record::act::Author;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::SecondReading;
use store::words::LoanStatus;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::lent::lend;

/// 2026-11-24T22:00:00Z.
const EVENING: i64 = 1_795_557_600;

/// Eight hours, a sample each ten seconds.
fn file() -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in 0..2_880_i64 {
        let at = store::when::rfc3339(EVENING + row * 10);
        let at = at.trim_end_matches('Z');
        let _ = writeln!(text, "{at},{},{},5.{}", 95 + row % 2, 60 + row % 7, row % 10);
    }
    text.into_bytes()
}

/// A night the first physiologist has judged by hand, and the tokens of the first and the second.
async fn read_once(bench: &Bench) -> (Night, String, String) {
    for role in [Role::Physiologist, Role::Physician] {
        bench.account(role).await;
    }
    let made = (Author::program(), "candle", "Cora Candle", Role::Physiologist);
    bench.store.make_account_with(&made.0, made.1, made.2, made.3, PASSWORD).await.unwrap();
    lend(&bench.store, 1, ("Nightcap", "Nell"), EVENING).await.unwrap();
    let file = Incoming { name: "TC-1001.csv".to_owned(), bytes: file(), ..Incoming::default() };
    let night = bench.store.receive(&Author::program(), file).await.unwrap().nights.remove(0);
    let first = bench.token(Role::Physiologist).await;
    let second = match bench.store.log_in("candle", PASSWORD, "192.0.2.1", 900).await.unwrap() {
        LogIn::Done { token, .. } => token,
        other => panic!("{other:?}"),
    };
    let fields = format!("seen={}&{}", night.act, excluded("23:00", "23:30"));
    let done = bench.post(&format!("/nights/{}/judge", night.id), &first, &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    (now(bench, night.id).await, first, second)
}

fn excluded(from: &str, until: &str) -> String {
    format!("channel=spo2&from={from}&until={until}&reason=a+telling+word&believe=no")
}

async fn now(bench: &Bench, id: i64) -> Night {
    bench.store.read().await.unwrap().get(id).await.unwrap()
}

async fn second(bench: &Bench) -> SecondReading {
    bench.store.read().await.unwrap().get(1).await.unwrap()
}

const DRAW: &str = "asked=3&from=2026-11-20&to=2026-11-25&seed=lullaby";

#[tokio::test(flavor = "multi_thread")]
async fn a_drawn_night_is_read_blind_and_held_against_the_first_reading() {
    let bench = bench().await;
    let (night, first, blind) = Box::pin(read_once(&bench)).await;
    assert_eq!(bench.post("/agreement/draw", &first, DRAW).await.status, StatusCode::SEE_OTHER);
    let none = bench.get("/second", &first).await.text;
    assert!(
        none.contains("No second reading waits for you"),
        "who read it first is not offered it"
    );
    let list = bench.get("/second", &blind).await.text;
    assert!(list.contains("NIGHTCAP, Nell") && list.contains("drawn at random by physiologist"));
    let begun = bench.post("/second/1/begin", &blind, "").await;
    assert_eq!(begun.header("location"), "/second/1");
    let page = bench.get("/second/1", &blind).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    for telling in
        ["a telling word", "Bo physiologist", "/report", "/compare", "What was done by hand"]
    {
        assert!(!page.text.contains(telling), "{telling} is told to a blind reader");
    }
    let seen = second(&bench).await.act;
    let fields = format!("seen={seen}&answer=parts&{}", excluded("23:15", "23:45"));
    let parts = bench.post("/second/1/judge", &blind, &fields).await;
    assert_eq!(parts.status, StatusCode::OK, "{}", parts.text);
    assert!(parts.text.contains("excluded by Cora Candle"), "{}", parts.text);
    let strip: Value =
        serde_json::from_str(&bench.get("/second/1/strip", &blind).await.text).unwrap();
    assert!(strip["lanes"][0]["doubts"].to_string().contains("Cora Candle"));
    let seen = second(&bench).await.act;
    let finish = format!("seen={seen}&sure=yes");
    assert_eq!(
        bench.post("/second/1/finish", &blind, &finish).await.header("location"),
        "/agreement"
    );
    let page = bench.get("/agreement", &blind).await.text;
    for words in [
        "One night was read by two readers, with the same verdict",
        "Kappa cannot be computed",
        "too few",
        "1 drawn at random, 0 picked by hand",
        "agree-6-broad",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    for telling in ["NIGHTCAP", "Candle", "Bo physiologist"] {
        let main = page.split("<main").nth(1).unwrap().split("</main>").next().unwrap();
        assert!(!main.contains(telling), "{telling} is named");
    }
    let csv = bench.get("/agreement/pairs.csv", &blind).await.text;
    // Eight hours less half an hour each, by hand: 27 000 s.
    assert!(csv.lines().any(|line| line.starts_with("1,spo2 believed (s),")), "{csv}");
    assert_eq!(bench.get("/agreement/figures.csv", &blind).await.status, StatusCode::OK);
    assert_eq!(now(&bench, night.id).await, night, "the night is as it was");
    assert_eq!(bench.get(&format!("/nights/{}", night.id), &blind).await.status, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_of_the_first_reading_is_open_to_who_reads_blind() {
    let bench = bench().await;
    let (night, first, blind) = Box::pin(read_once(&bench)).await;
    bench.post("/agreement/draw", &first, &format!("night={}", night.id)).await;
    bench.post("/second/1/begin", &blind, "").await;
    let (id, person) = (night.id, night.person.unwrap());
    for path in [
        format!("/nights/{id}"),
        format!("/nights/{id}/strip"),
        format!("/nights/{id}/columns?from=0&to=9&width=9"),
        format!("/nights/{id}/parts"),
        format!("/nights/{id}/report"),
        format!("/nights/{id}/report/preview"),
        format!("/nights/{id}/reports/1"),
        format!("/nights/{id}/repeat"),
        format!("/people/{person}/compare?side={id}&side={id}@adult-ventilation"),
        format!("/people/{person}/compare/table?side={id}&side={id}@adult-ventilation"),
    ] {
        let got = bench.get(&path, &blind).await;
        assert_ne!(got.status, StatusCode::OK, "{path}");
        assert!(got.text.contains("You read this night blind"), "{path}: {}", got.text);
        assert!(
            !bench.get(&path, &first).await.text.contains("You read this night blind"),
            "{path}"
        );
    }
    let fields = format!("seen={}&{}", night.act, excluded("01:00", "02:00"));
    let (seen, signed) = (format!("seen={}", night.act), format!("password={PASSWORD}"));
    for (act, fields) in [
        ("judge", fields),
        ("undo", seen.clone()),
        ("sign", format!("{seen}&{signed}")),
        ("reopen", format!("{seen}&{signed}&reason=why")),
        ("withdraw", format!("{seen}&{signed}&reason=why")),
    ] {
        let got = bench.post(&format!("/nights/{id}/{act}"), &blind, &fields).await;
        assert!(got.text.contains("You read this night blind"), "{act}: {}", got.text);
    }
    let nights = bench.get("/nights", &blind).await.text;
    assert!(!nights.contains(&format!("/nights/{id}\"")), "the list tells its verdict");
    let choose = bench.get(&format!("/people/{person}/compare"), &blind).await.text;
    assert!(!choose.contains(&format!("value=\"{id}\"")), "its versions are not offered");
    let theirs = bench.get("/second/1", &first).await;
    assert!(theirs.text.contains("This second reading is somebody else"), "{}", theirs.text);
    let withdraw = format!("seen={}&reason=I+knew+the+patient", second(&bench).await.act);
    assert_eq!(
        bench.post("/second/1/withdraw", &blind, &withdraw).await.header("location"),
        "/second"
    );
    assert_eq!(bench.get(&format!("/nights/{id}"), &blind).await.status, StatusCode::OK);
    assert!(bench.get("/agreement", &blind).await.text.contains("1 withdrawn"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_draw_that_cannot_be_made_says_why_in_its_form() {
    let bench = bench().await;
    let (_, first, _) = Box::pin(read_once(&bench)).await;
    for (fields, words) in [
        ("night=987", "There is no night 987"),
        ("asked=3&from=2025-01-01&to=2025-01-02&seed=x", "No night of these days"),
        ("asked=3&from=2026-01-02&to=2026-01-01&seed=x", "the wrong way round"),
    ] {
        let got = bench.post("/agreement/draw", &first, fields).await;
        assert_ne!(got.status, StatusCode::SEE_OTHER, "{fields}");
        assert!(got.text.contains(words), "{words}: {}", got.text);
    }
    let physician = bench.token(Role::Physician).await;
    let page = bench.get("/agreement", &physician).await;
    assert!(page.status == StatusCode::OK && !page.text.contains("Draw a sample"));
}

#[tokio::test(flavor = "multi_thread")]
async fn why_a_night_is_repeated_is_not_told_to_who_reads_it_blind() {
    let bench = bench().await;
    let (night, first, blind) = Box::pin(read_once(&bench)).await;
    let mut act = bench.store.act(&Author::program(), "loan.book").await.unwrap();
    let loan: Loan = act.get(night.loan.unwrap()).await.unwrap();
    let mut again = Loan {
        id: 0,
        act: 0,
        mark: "L-00002-X".to_owned(),
        status: LoanStatus::Booked,
        repeats_night: Some(night.id),
        repeats_because: Some("too little of it believed".to_owned()),
        ..loan
    };
    act.put(&mut again).await.unwrap();
    act.close().await.unwrap();
    bench.post("/agreement/draw", &first, &format!("night={}", night.id)).await;
    bench.post("/second/1/begin", &blind, "").await;
    let page = format!("/loans/{}", again.id);
    assert!(bench.get(&page, &first).await.text.contains("too little of it believed"));
    let told = bench.get(&page, &blind).await;
    assert_eq!(told.status, StatusCode::OK);
    assert!(!told.text.contains("too little of it believed"));
}
