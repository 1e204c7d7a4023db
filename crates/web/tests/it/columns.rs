//! A file whose columns nobody knows: asked about, told, kept, and the next of the same head reads by itself.

use axum::http::StatusCode;
use engine::recording::Quantity;
use store::record::tables::Night;
use store::record::tables::Original;
use store::record::tables::Setting;
use store::words::NightStatus;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::Got;
use crate::ask::bench;
use crate::lent::lend;
use crate::limits::upload;
use crate::night::EVENING;
use crate::night::file;
use crate::night::hidden;

/// The night of the bench under these names.
fn night(names: &str) -> Vec<u8> {
    let text = String::from_utf8(file()).unwrap();
    text.replacen("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)", names, 1).into_bytes()
}

async fn at_the_desk() -> (Bench, String) {
    let bench = bench().await;
    for role in [Role::Physiologist, Role::Physician, Role::Desk] {
        bench.account(role).await;
    }
    lend(&bench.store, 1, ("Nightcap", "Nell"), EVENING).await.unwrap();
    let token = bench.token(Role::Desk).await;
    (bench, token)
}

async fn nights(bench: &Bench) -> Vec<Night> {
    bench.store.read().await.unwrap().nights().await.unwrap()
}

async fn told(bench: &Bench, token: &str, asked: &Got, words: &str) -> Got {
    let held = hidden(&asked.text, "held");
    bench.post("/receive/columns", token, &format!("held={held}&{words}")).await
}

/// Whether the night's recording has CO2, by how its file is read.
async fn has_co2(bench: &Bench, night: &Night) -> bool {
    let held = bench.store.read().await.unwrap().held(night).await.unwrap();
    held.recording().unwrap().channel(Quantity::Tcpco2).is_some()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_with_odd_names_is_asked_about_told_read_and_remembered() {
    let (bench, token) = at_the_desk().await;
    let odd = night("Stamp,A,B,mmHg or kPa");
    let asked = bench.send(upload(&token, "TC-1001.csv", &odd)).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    for words in
        ["What its columns are", "name=\"c-2\"", "name=\"c-4\"", "5.0, 5.1, 5.2", "60, 61, 62"]
    {
        assert!(asked.text.contains(words), "{words} is not in {}", asked.text);
    }
    assert!(!asked.text.contains("name=\"c-1\""), "the time is no column to choose for");
    assert_eq!(nights(&bench).await.len(), 0, "kept before anybody said what it is");

    // What cannot be is refused with words, and nothing is kept.
    for (wrong, says) in [
        ("", "Nothing was chosen"),
        ("c-2=spo2&c-3=spo2", "SpO2 was chosen for two columns, A and B"),
        ("c-2=spo2&c-3=pulse&c-4=tcpco2-mmhg", "its numbers are those of kPa"),
        ("c-2=spo2&c-3=tcpco2-kpa", "numbers are those of mmHg"),
        ("c-4=spo2", "is called SpO2, but its numbers lie around"),
        ("c-2=elephant", "is no meaning of a column"),
    ] {
        let got = told(&bench, &token, &asked, wrong).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
        assert!(got.text.contains(says), "{wrong}: {says} is not in {}", got.text);
    }
    assert_eq!(nights(&bench).await.len(), 0);

    let right = "c-2=spo2&c-3=pulse&c-4=tcpco2-kpa";
    let done = told(&bench, &token, &asked, right).await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.text);
    assert!(done.text.contains("every night in it found its loan"), "{}", done.text);
    let kept = nights(&bench).await;
    assert_eq!((kept.len(), kept[0].status), (1, NightStatus::Waiting));
    assert!(kept[0].result.is_some() && has_co2(&bench, &kept[0]).await);
    // The original is whole, and the map stands beside it.
    let mut conn = bench.store.read().await.unwrap();
    let original: Original = conn.get(kept[0].original).await.unwrap();
    assert_eq!(conn.bytes(&original.sha256).await.unwrap(), odd);
    let all: Vec<Setting> = conn.find("", &[]).await.unwrap();
    drop(conn);
    for name in ["reading:1", "columns:"] {
        let one = all.iter().find(|one| one.name.starts_with(name)).unwrap();
        assert!(one.value.contains("mmHg or kPa"), "{name}");
        assert_eq!(one.who, "desk");
    }
    let reader = bench.token(Role::Physiologist).await;
    let page = bench.get(&format!("/nights/{}", kept[0].id), &reader).await;
    assert!(!page.text.contains("No CO2 was"), "{}", page.text);
    // What was held is let go.
    let again = told(&bench, &token, &asked, right).await;
    assert!(again.text.contains("not held any longer"), "{}", again.text);

    // The next file of the same head reads by itself and says so.
    let next = String::from_utf8(odd.clone()).unwrap().replace(",71,", ",72,").into_bytes();
    let next = bench.send(upload(&token, "TC-1001b.csv", &next)).await;
    assert_eq!(next.status, StatusCode::OK, "{}", next.text);
    assert!(next.text.contains("read by the column map that desk gave on"), "{}", next.text);
    // Under the same head in another unit it is not taken by the map.
    let other = String::from_utf8(odd).unwrap().replace(",5.", ",4").into_bytes();
    let other = bench.send(upload(&token, "TC-1001c.csv", &other)).await;
    assert_eq!(other.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", other.text);
    assert!(other.text.contains("by the column map that desk gave"), "{}", other.text);
    bench.store.verify(&[], &store::safekeeping::verify::in_silence).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_column_that_looks_like_co2_is_asked_about_and_may_be_left_and_told_later() {
    let (bench, token) = at_the_desk().await;
    let odd = night("time,SpO2 (%),Pulse (/min),kPa");
    let asked = bench.send(upload(&token, "TC-1001.csv", &odd)).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.text.contains("looks like tcPCO2"), "{}", asked.text);
    // Somebody else is not shown it.
    let other = bench.token(Role::Physiologist).await;
    let got = told(&bench, &other, &asked, "as_it_is=yes").await;
    assert!(got.text.contains("not held any longer"), "{}", got.text);
    let left = told(&bench, &token, &asked, "as_it_is=yes").await;
    assert_eq!(left.status, StatusCode::OK, "{}", left.text);
    assert!(left.text.contains("Serious: The column"), "{}", left.text);
    let before = nights(&bench).await.remove(0);
    assert!(!has_co2(&bench, &before).await);

    // The very same file again, with words: read anew, the result before stays.
    let asking = |body: &str| {
        let mut request = upload(&token, "TC-1001.csv", &odd);
        let form = "--b\r\ncontent-disposition: form-data; name=\"ask\"\r\n\r\nyes\r\n";
        *request.body_mut() = axum::body::Body::from([form.as_bytes(), body.as_bytes()].concat());
        request
    };
    let rest = format!(
        "--b\r\ncontent-disposition: form-data; name=\"file\"; filename=\"TC-1001.csv\"\r\n\r\n{}\r\n--b--\r\n",
        String::from_utf8(odd.clone()).unwrap()
    );
    let asked = bench.send(asking(&rest)).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", asked.text);
    let done = told(&bench, &token, &asked, "c-4=tcpco2-kpa").await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.text);
    assert!(done.text.contains("read anew by what you said"), "{}", done.text);
    let after = nights(&bench).await;
    assert_eq!(after.len(), 1);
    assert!(has_co2(&bench, &after[0]).await && after[0].result != before.result);
    bench.store.verify(&[], &store::safekeeping::verify::in_silence).await.unwrap();
}

/// The page works without script: it is one form, sent as forms are.
#[tokio::test(flavor = "multi_thread")]
async fn a_file_without_names_is_told_by_number_and_not_remembered() {
    let (bench, token) = at_the_desk().await;
    let text = String::from_utf8(night("x")).unwrap();
    let headless = text.split_once('\n').unwrap().1;
    let asked = bench.send(upload(&token, "TC-1001.csv", headless.as_bytes())).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.text.contains("column 4, without a name"), "{}", asked.text);
    let words = "time=%231&written=iso&c-2=spo2&c-3=pulse&c-4=tcpco2-kpa";
    let done = told(&bench, &token, &asked, words).await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.text);
    let kept = nights(&bench).await;
    assert!(has_co2(&bench, &kept[0]).await);
    let mut conn = bench.store.read().await.unwrap();
    let all: Vec<Setting> = conn.find("", &[]).await.unwrap();
    assert!(all.iter().all(|one| !one.name.starts_with("columns:")));
}
