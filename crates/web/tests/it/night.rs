//! A night over HTTP: nothing is lost on its way to the screen, every look is written down once, and a change
//! made on an old state is refused.

use std::fmt::Write as _;

use axum::http::StatusCode;
use serde_json::Value;
use store::intake::receive::Incoming;
use store::record::act::Author;
use store::record::tables::Night;
use store::words::NightStatus;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::lent::lend;

/// 2026-11-24T22:00:00Z.
pub(crate) const EVENING: i64 = 1_795_557_600;

/// Eight hours, a sample each ten seconds, with one fall to 71 %.
pub(crate) fn file() -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in 0..2_880_i64 {
        let at = store::when::rfc3339(EVENING + row * 10);
        let spo2 = 71 + (row - 1_500).abs().min(12) * 2 + row % 2;
        let _ =
            writeln!(text, "{},{spo2},{},5.{}", at.trim_end_matches('Z'), 60 + row % 7, row % 10);
    }
    text.into_bytes()
}

pub(crate) async fn night(bench: &Bench) -> Night {
    for role in [Role::Physiologist, Role::Physician, Role::Desk] {
        bench.account(role).await;
    }
    lend(&bench.store, 1, ("Nightcap", "Nell"), EVENING).await.unwrap();
    let file = Incoming { name: "TC-1001.csv".to_owned(), bytes: file(), ..Incoming::default() };
    let night = bench.store.receive(&Author::program(), file).await.unwrap().nights.remove(0);
    assert_eq!((night.status, night.doubts.0.as_slice()), (NightStatus::Waiting, &[][..]));
    night
}

/// What a hidden field of a page holds, ready to be sent again.
pub(crate) fn hidden(page: &str, name: &str) -> String {
    let at = format!("name=\"{name}\" value=\"");
    let rest = page.split_once(&at).unwrap_or_else(|| panic!("{name} is not on the page")).1;
    let value = rest.split('"').next().unwrap();
    web::typed::encode(&value.replace("&#39;", "'").replace("&#38;", "&"))
}

/// The lowest number of a series as it is sent, drawn as single samples or as columns.
fn lowest(series: &Value) -> f64 {
    let numbers = ["v", "b", "d"].into_iter().filter_map(|key| series[key].as_array()).flatten();
    numbers.filter_map(Value::as_f64).fold(f64::INFINITY, f64::min)
}

#[tokio::test(flavor = "multi_thread")]
async fn the_nadir_of_the_night_is_on_screen_at_every_width() {
    let bench = bench().await;
    let night = night(&bench).await;
    let token = bench.token(Role::Physician).await;
    for width in [1, 2, 7, 53, 320, 736, 1_440, 4_096] {
        for (from, to) in [(0.0, 28_800.0), (14_000.0, 16_000.5), (14_990.0, 15_010.0)] {
            let path = format!("/nights/{}/columns?from={from}&to={to}&width={width}", night.id);
            let got = bench.get(&path, &token).await;
            let data: Value = serde_json::from_str(&got.text).unwrap();
            let found = lowest(&data["series"]["spo2"]);
            assert!((found - 71.0).abs() < 1e-9, "{path}: {found}");
        }
    }
    for wrong in [
        "from=0&to=0&width=10",
        "from=0&to=9&width=0",
        "from=x&to=9&width=9",
        "from=0&to=inf&width=9",
    ] {
        let got = bench.get(&format!("/nights/{}/columns?{wrong}", night.id), &token).await;
        assert_eq!(got.status, StatusCode::BAD_REQUEST, "{wrong}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_night_looked_at_is_written_down_once_a_session() {
    let bench = bench().await;
    let night = night(&bench).await;
    let path = format!("/nights/{}", night.id);
    for looks in 1..3 {
        let token = bench.token(Role::Physiologist).await;
        for more in ["", "/strip", "/columns?from=0&to=9&width=9", "/parts", ""] {
            assert_eq!(bench.get(&format!("{path}{more}"), &token).await.status, StatusCode::OK);
        }
        let mut conn = bench.store.read().await.unwrap();
        let found = conn.acts_of("look", Some(&format!("night {}", night.id))).await;
        assert_eq!(found.unwrap(), looks);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_is_shown_against_what_was_and_an_old_page_is_refused() {
    let bench = bench().await;
    let night = night(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let judge = format!("/nights/{}/judge", night.id);
    let fields = format!(
        "seen={}&channel=spo2&from=02:00&until=02:20&reason=lay+on+it&believe=no",
        night.act
    );
    let parts = bench.post(&judge, &token, &format!("{fields}&answer=parts")).await;
    assert_eq!(parts.status, StatusCode::OK, "{}", parts.text);
    assert!(!parts.text.contains("<html"), "only the parts were asked for");
    // The fall to 71 % lies at 02:10.
    assert!(parts.text.contains("Changed just now") && parts.text.contains("was 71 %"));
    assert!(parts.text.contains("lay on it (Bo physiologist)"));
    let late = bench.post(&judge, &token, &fields).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.text.contains("changed by somebody else meanwhile"));
    let now: Night = bench.store.read().await.unwrap().get(night.id).await.unwrap();
    let unsaid = format!("seen={}&channel=spo2&from=03:00&until=03:20&believe=no", now.act);
    let unsaid = bench.post(&judge, &token, &unsaid).await;
    assert!(unsaid.text.contains("A reason is missing."), "{}", unsaid.text);
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_printer_nothing_is_signed() {
    let bench = bench().await;
    let night = night(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let sign = format!("/nights/{}/sign", night.id);
    let page = bench.get(&format!("/nights/{}/report", night.id), &token).await;
    let shown = hidden(&page.text, "shown");
    let seen = format!("seen={}&shown={shown}", night.act);
    let unsure = bench.post(&sign, &token, &seen).await;
    assert_eq!(unsure.status, StatusCode::UNPROCESSABLE_ENTITY);
    let wrong = format!("{seen}&comment=calm&password=seven+quiet+lantern");
    let wrong = bench.post(&sign, &token, &wrong).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.text.contains("The password is wrong. Nothing was done."), "{}", wrong.text);
    assert!(wrong.text.contains("calm") && !wrong.text.contains("lantern"));
    let right = format!("{seen}&password={}", PASSWORD.replace(' ', "+"));
    let got = bench.post(&sign, &token, &right).await;
    assert!(got.text.contains("Nothing was signed."), "{}", got.text);
    assert!(bench.store.read().await.unwrap().reports(night.id).await.unwrap().is_empty());
    let page = bench.get(&format!("/nights/{}/report/preview", night.id), &token).await;
    assert!(page.header("content-security-policy").contains("frame-ancestors 'self'"));
    assert!(page.text.contains("NIGHTCAP, Nell"));
}
