//! Nights of one person beside each other over HTTP: what is shown and drawn, what is written down, what is
//! refused.

use std::fmt::Write as _;

use axum::http::StatusCode;
use store::intake::receive::Incoming;
use store::record::act::Author;
use store::record::tables::Night;
use store::words::NightStatus;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::bench;
use crate::lent::lend;

/// 2026-11-24T22:00:00Z.
const EVENING: i64 = 1_795_557_600;

/// Four hours, a sample each ten seconds, with one fall to a nadir, and after a pause four more at 96 %.
fn file(nadir: i64) -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in (0..1_440_i64).chain(2_400..3_840) {
        let at = store::when::rfc3339(EVENING + row * 10);
        let spo2 = (nadir + (row - 700).abs() * 2).min(96 - row % 2);
        let _ =
            writeln!(text, "{},{spo2},{},5.{}", at.trim_end_matches('Z'), 60 + row % 7, row % 10);
    }
    text.into_bytes()
}

async fn nights(bench: &Bench, n: i64, nadir: i64) -> Vec<Night> {
    lend(&bench.store, n, ("Nightcap", "Nell"), EVENING).await.unwrap();
    let name = format!("TC-100{n}.csv");
    let file = Incoming { name, bytes: file(nadir), ..Incoming::default() };
    let nights = bench.store.receive(&Author::program(), file).await.unwrap().nights;
    assert!(nights.iter().all(|night| night.status == NightStatus::Waiting), "{nights:?}");
    assert_eq!(nights.len(), 2, "a pause of more than two hours ends a night");
    nights
}

async fn two(bench: &Bench) -> (i64, [i64; 2], String) {
    for role in [Role::Physiologist, Role::Physician, Role::Desk] {
        bench.account(role).await;
    }
    let nights = nights(bench, 1, 71).await;
    let token = bench.token(Role::Physician).await;
    (nights[0].person.unwrap(), [nights[0].id, nights[1].id], token)
}

async fn looks(bench: &Bench, object: String) -> i64 {
    bench.store.read().await.unwrap().acts_of("look", Some(&object)).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn two_nights_stand_beside_each_other_with_what_must_be_known_first() {
    let bench = bench().await;
    let (person, [a, b], token) = two(&bench).await;
    let page = bench.get(&format!("/people/{person}/compare?side={a}&side={b}"), &token).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    for words in [
        "NIGHTCAP, Nell",
        "The averaging time of the oximeter is not told on any side",
        "no published figure found",
        "Lowest SpO2",
        "nobody by hand",
        "stoewhas-2017",
    ] {
        assert!(page.text.contains(words), "{words}");
    }
    assert!(!page.text.to_lowercase().contains("improve"), "no conclusion is drawn");
    assert!(!page.text.contains("style="), "the policy lets no style stand in a page");
    let again = format!("/people/{person}/compare?side={b}&side={a}&axis=lights");
    let lights = bench.get(&again, &token).await.text;
    assert!(lights.contains("Lights out is not marked on A"), "{lights}");
    for night in [a, b] {
        assert_eq!(looks(&bench, format!("night {night}")).await, 1, "once a session");
    }
}

/// The fall to 71 % on a scale from 70 to 100 %: 29 of 30 parts down a lane of 150 and of 78 units that begins
/// at 26, by hand: 171.0 and 101.4; the shade reaches 0.4 further.
#[tokio::test(flavor = "multi_thread")]
async fn the_nadir_of_a_night_is_in_both_drawings() {
    let bench = bench().await;
    let (person, [a, b], token) = two(&bench).await;
    let page = bench.get(&format!("/people/{person}/compare?side={a}&side={b}"), &token).await;
    let drawn = |class: &str| {
        let from = page.text.find(class).unwrap();
        page.text[from..].split("\"/>").next().unwrap().to_owned()
    };
    assert!(drawn("class=\"spread s0\"").contains("V171.4"));
    assert!(drawn("class=\"believed\"").contains("V101.4"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_night_under_two_sets_is_told_to_be_one_night() {
    let bench = bench().await;
    let (person, [a, _], token) = two(&bench).await;
    let form = format!(
        "/people/{person}/compare?side={a}&criteria=&side={a}&criteria=adult-ventilation&side=&criteria=&axis=clock"
    );
    let led = bench.get(&form, &token).await;
    let address =
        format!("/people/{person}/compare?side={a}&side={a}%40adult-ventilation&axis=clock");
    assert_eq!((led.status, led.header("location")), (StatusCode::SEE_OTHER, address.as_str()));
    let page = bench.get(&address, &token).await.text;
    assert!(page.contains("A and B are the same night") && page.contains("same night</span>"));
    assert!(page.contains("not asked"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_readers_version_stands_beside_the_night_as_it_came() {
    let bench = bench().await;
    let (person, [a, _], _) = two(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let night: Night = bench.store.read().await.unwrap().get(a).await.unwrap();
    let fields = format!(
        "seen={}&channel=spo2&from=23:00&until=23:20&reason=lay+on+it&believe=no",
        night.act
    );
    let done = bench.post(&format!("/nights/{a}/judge"), &token, &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let night: Night = bench.store.read().await.unwrap().get(a).await.unwrap();
    let came = bench.store.read().await.unwrap().versions(&night).await.unwrap().all[0].id;
    let path = format!("/people/{person}/compare?side={a}.{came}&side={a}");
    let page = bench.get(&path, &token).await.text;
    for words in [
        "They were judged by different readers: by the tool alone on A; by Bo physiologist on B.",
        "an earlier version: the night as it came",
        "Bo physiologist: excluded SpO2 from 23:00 to 23:20",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_table_is_a_file_and_fetching_it_is_written_down() {
    let bench = bench().await;
    let (person, [a, b], token) = two(&bench).await;
    let path = format!("/people/{person}/compare/table?side={a}&side={b}");
    let file = bench.get(&path, &token).await;
    assert_eq!(file.header("content-type"), "text/csv; charset=utf-8");
    let lines: Vec<&str> = file.text.lines().collect();
    let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(cells(lines[0])[..3], ["figure", "name", "unit"]);
    let lowest = cells(lines.iter().find(|line| line.starts_with("spo2.min,")).unwrap());
    // 71 % on A, 95 % on B, the difference 24.
    assert_eq!([&lowest[3], &lowest[7], &lowest[11]], ["71", "95", "24"], "{lowest:?}");
    assert!(lines.iter().all(|line| !line.contains("Nightcap") && !line.contains("NIGHTCAP")));
    assert_eq!(looks(&bench, format!("person {person}")).await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn another_patients_night_is_refused_and_the_desk_sees_nothing() {
    let bench = bench().await;
    let (person, [a, _], token) = two(&bench).await;
    let theirs = nights(&bench, 2, 80).await[0].id;
    let got = bench.get(&format!("/people/{person}/compare?side={a}&side={theirs}"), &token).await;
    assert_eq!(got.status, StatusCode::CONFLICT);
    assert!(
        got.text.contains("Only nights of one patient are laid beside each other."),
        "{}",
        got.text
    );
    let wrong = bench.get(&format!("/people/{person}/compare?side={a}&side=x"), &token).await;
    assert_eq!(wrong.status, StatusCode::BAD_REQUEST);
    let desk = bench.token(Role::Desk).await;
    assert_eq!(
        bench.get(&format!("/people/{person}/compare"), &desk).await.status,
        StatusCode::FORBIDDEN
    );
    assert!(!bench.get(&format!("/people/{person}"), &desk).await.text.contains("/compare"));
    let one = bench.get(&format!("/people/{person}/compare?side={a}"), &token).await;
    assert!(one.text.contains("Choose two sides or more"), "{}", one.text);
}
