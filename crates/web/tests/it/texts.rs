//! The department's texts and places: what is saved is what the desk and the reader then have.

use std::sync::Arc;

use axum::http::StatusCode;
use store::lending::setting::DeskSettings;
use store::words::Role;
use web::printer::Paper;
use web::printer::Printer;

use crate::ask::bench;
use crate::ask::bench_on;
use crate::night::night;

/// A printer that wants the telephone in every leaflet.
struct Strict;

impl Printer for Strict {
    fn print(&self, _paper: &Paper, _desk: &DeskSettings) -> Result<Vec<u8>, String> {
        Err("nothing is printed here".to_owned())
    }

    fn shipped_text(&self, name: &str) -> Option<&'static str> {
        (name == "leaflet").then_some("Ring {phone}.")
    }

    fn check_text(&self, name: &str, text: &str) -> Result<(), String> {
        let lacks = name == "leaflet" && !text.contains("{phone}");
        if lacks { Err("the leaflet lacks {phone}".to_owned()) } else { Ok(()) }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_leaflet_that_could_not_be_printed_is_not_saved() {
    let bench = bench_on(false, Arc::new(Strict)).await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    let page = bench.get("/settings/leaflet", &token).await;
    assert!(page.text.contains("Ring {phone}.</textarea>"), "{}", page.text);
    let wrong = bench.post("/settings/leaflet", &token, "seen=0&value=Sleep+well.").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.text.contains("The leaflet lacks {phone}."), "{}", wrong.text);
    assert!(wrong.text.contains("Sleep well.</textarea>"), "{}", wrong.text);
    let kept = async || bench.store.read().await.unwrap().setting("leaflet").await.unwrap();
    assert_eq!(kept().await, None);
    for (seen, text) in [(0, "Sleep+well.+Ring+%7Bphone%7D."), (1, "")] {
        let saved = format!("seen={seen}&value={text}");
        let done = bench.post("/settings/leaflet", &token, &saved).await;
        assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    }
    assert_eq!(kept().await.unwrap().value, "");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phrase_is_offered_where_a_comment_is_written() {
    let bench = bench().await;
    let night = night(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let phrases = "seen=0&value=Good+signal+all+night.%0D%0A%0D%0AThe+sensor+was+refitted+once.";
    bench.post("/settings/phrases", &token, phrases).await;
    let page = bench.get(&format!("/nights/{}/report", night.id), &token).await.text;
    assert_eq!(page.matches("data-phrase>").count(), 2, "{page}");
    assert!(page.contains("data-phrase>Good signal all night.</button>"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_place_to_hand_in_is_offered_and_no_place_at_all_is_refused() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    let rest = "hand_in_by=09:30&ladder_days=1,3,7&most_nights=7&longest_hours=8&put_on_from=22:00&gas_limit_kpa=0.4&membrane_days=14&clock_limit_s=120&zone=UTC&idle_min=15&parts=monitor&cleaning=wiped&seen=0";
    let none = bench.post("/settings/desk", &token, &format!("return_places=&{rest}")).await;
    assert!(none.text.contains("id=\"settings-desk-return_places-fault\""), "{}", none.text);
    let places = "return_places=Porter%27s+lodge%2C+day+and+night%0D%0AWard+desk%2C+8+to+17";
    let done = bench.post("/settings/desk", &token, &format!("{places}&{rest}")).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    let desk = bench.store.read().await.unwrap().desk_settings().await.unwrap();
    assert_eq!(desk.return_places, ["Porter's lodge, day and night", "Ward desk, 8 to 17"]);
    assert_eq!(desk.hand_in_by(), jiff::civil::time(9, 30, 0, 0));
}
