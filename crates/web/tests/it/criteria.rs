//! A department's own criteria over HTTP: a threshold changed in its field, tried on past nights, adopted, and named
//! by the next scoring.

use std::time::Duration;

use axum::http::StatusCode;
use engine::criteria::SECTIONS;
use engine::criteria::shipped;
use store::record::tables::Night;
use store::record::tables::Outcome;
use store::words::Role;
use web::typed::encode;

use crate::ask::Bench;
use crate::ask::Got;
use crate::ask::bench;
use crate::night::night;

const DRAFT: &str = "/criteria/adult-air/draft";
const RERUN: &str = "/criteria/adult-air/rerun";

/// The value of the first field of this name.
fn value<'a>(page: &'a str, name: &str) -> &'a str {
    let (_, rest) = page.split_once(&format!("name=\"{name}\" value=\"")).unwrap();
    rest.split('"').next().unwrap()
}

async fn get(bench: &Bench, path: &str, token: &str) -> String {
    let got = bench.get(path, token).await;
    assert_eq!(got.status, StatusCode::OK, "{path}: {}", got.text);
    got.text
}

/// The editor's form as a browser sends it, with some fields typed otherwise.
async fn save(bench: &Bench, token: &str, changes: &[(&str, &str)]) -> Got {
    let page = get(bench, DRAFT, token).await;
    let mut fields = vec![
        ("act".to_owned(), "save".to_owned()),
        ("seen".to_owned(), value(&page, "seen").to_owned()),
    ];
    let set = shipped("adult-air").unwrap();
    let values = set.values();
    for name in values.iter().map(|value| format!("{}.{}", value.section, value.key)) {
        for name in [format!("v-{name}"), format!("s-{name}")] {
            let held = value(&page, &name).to_owned();
            fields.push((name, held));
        }
    }
    for name in ["title", "version"] {
        fields.push((name.to_owned(), value(&page, name).to_owned()));
    }
    fields.extend(set.rules.iter().map(|rule| ("rule".to_owned(), rule.id.clone())));
    for question in &set.questions {
        let needs = question.needs.iter();
        fields.extend(needs.map(|id| (format!("need-{}", question.id), id.clone())));
    }
    for (name, text) in changes {
        let field = fields.iter_mut().find(|(known, _)| known == name).unwrap();
        (*text).clone_into(&mut field.1);
    }
    let body: Vec<String> =
        fields.iter().map(|(name, text)| format!("{}={}", encode(name), encode(text))).collect();
    bench.post(DRAFT, token, &body.join("&")).await
}

async fn begin(bench: &Bench) -> (Night, String) {
    let night = night(bench).await;
    let token = bench.token(Role::Physiologist).await;
    let begun = bench.post(DRAFT, &token, "act=begin").await;
    assert_eq!(begun.header("location"), DRAFT, "{}", begun.text);
    (night, token)
}

/// The page of a run when it has ended.
async fn ended(bench: &Bench, token: &str) -> String {
    for _ in 0..600 {
        let page = get(bench, RERUN, token).await;
        if !page.contains("data-running") {
            return page;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the run does not end");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_threshold_is_changed_tried_adopted_and_named_by_the_next_scoring() {
    let bench = bench().await;
    let (night, token) = begin(&bench).await;
    let saved = save(&bench, &token, &[("v-judge.spo2_least_h", "9")]).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.text);
    let page = get(&bench, DRAFT, &token).await;
    assert!(page.contains("Version 2026.1-1 would bring 1 difference from adult-air 2026.1"));
    assert!(page.contains("judge.spo2_least_h") && page.contains("department setting"));
    assert!(page.contains("Why past nights were not run"));
    let begun = bench.post(RERUN, &token, "days=365&most=10&which=own").await;
    assert_eq!(begun.header("location"), RERUN, "{}", begun.text);
    let found = ended(&bench, &token).await;
    assert!(found.contains("Of 1 night 1 verdict changes:"), "{found}");
    assert!(found.contains(&format!("href=\"/nights/{}\"", night.id)), "{found}");
    assert!(found.contains("NIGHTCAP, Nell") && found.contains("to repeat"), "{found}");
    let page = get(&bench, DRAFT, &token).await;
    assert!(!page.contains("Why past nights were not run"), "{page}");
    let seen = value(&page, "seen").to_owned();
    let adopt = format!("seen={seen}&reason=short+nights+misled+us");
    let adopted = bench.post("/criteria/adult-air/adopt", &token, &adopt).await;
    assert_eq!(adopted.header("location"), "/criteria/adult-air", "{}", adopted.text);
    let page = get(&bench, "/criteria/adult-air", &token).await;
    assert!(page.contains("own version 2026.1-1 holds. It has 1 difference"), "{page}");
    assert!(page.contains("short nights misled us") && page.contains("1 verdict changes"));
    // The night keeps what it was scored with until somebody scores it.
    let parts = get(&bench, &format!("/nights/{}/parts", night.id), &token).await;
    assert!(parts.contains("Version 2026.1-1 of this set was adopted since"), "{parts}");
    let again = format!("seen={}&criteria=adult-air", night.act);
    bench.post(&format!("/nights/{}/criteria", night.id), &token, &again).await;
    let mut conn = bench.store.read().await.unwrap();
    let now: Night = conn.get(night.id).await.unwrap();
    let outcome: Outcome = conn.get(now.result.unwrap()).await.unwrap();
    drop(conn);
    assert_eq!(
        (outcome.criteria_version.as_str(), outcome.verdict.as_str()),
        ("2026.1-1", "repeat")
    );
    let report = get(&bench, &format!("/nights/{}/report/preview", night.id), &token).await;
    assert!(report.contains("2026.1-1"), "the report names the version");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_saved_stays_in_its_field_and_an_old_page_overwrites_nothing() {
    let bench = bench().await;
    let (_, token) = begin(&bench).await;
    let wrong = save(&bench, &token, &[("v-judge.spo2_least_h", "many"), ("title", "Ours")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.text.contains("value=\"many\"") && wrong.text.contains("value=\"Ours\""));
    assert!(wrong.text.contains("A number from 0 to 48 h."), "{}", wrong.text);
    let page = get(&bench, DRAFT, &token).await;
    let old = value(&page, "seen").to_owned();
    assert_eq!(save(&bench, &token, &[("title", "Ours")]).await.status, StatusCode::SEE_OTHER);
    let late = bench.post(DRAFT, &token, &format!("act=text&seen={old}&text=x")).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.text.contains("changed by somebody else meanwhile"), "{}", late.text);
    // A text that is no set is kept as a draft and can be mended, but not adopted.
    let seen = value(&get(&bench, DRAFT, &token).await, "seen").to_owned();
    bench.post(DRAFT, &token, &format!("act=text&seen={seen}&text=no+set")).await;
    let page = get(&bench, DRAFT, &token).await;
    assert!(
        page.contains("The text cannot be read as a set yet.")
            && page.contains("no set</textarea>")
    );
    let seen = value(&page, "seen").to_owned();
    let adopt = format!("seen={seen}&reason=x&unrun=y");
    let refused = bench.post("/criteria/adult-air/adopt", &token, &adopt).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    let dropped = bench.post(DRAFT, &token, &format!("act=drop&seen={seen}")).await;
    assert_eq!(dropped.header("location"), "/criteria/adult-air");
    assert_eq!(bench.get(DRAFT, &token).await.header("location"), "/criteria/adult-air");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_under_a_new_name_is_offered_on_referrals_and_on_a_night() {
    let bench = bench().await;
    let night = night(&bench).await;
    let token = bench.token(Role::Physiologist).await;
    let wrong = bench.post("/criteria", &token, "name=Quiet+Ward&base=adult-air").await;
    assert!(wrong.text.contains("This is no name for a set."), "{}", wrong.text);
    let begun = bench.post("/criteria", &token, "name=quiet-ward&base=adult-air").await;
    assert_eq!(begun.header("location"), "/criteria/quiet-ward/draft", "{}", begun.text);
    let page = get(&bench, "/criteria/quiet-ward/draft", &token).await;
    let seen = value(&page, "seen").to_owned();
    let refused =
        bench.post("/criteria/quiet-ward/adopt", &token, &format!("seen={seen}&reason=x")).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    let adopt = format!("seen={seen}&reason=our+ward&unrun=nobody+was+read+by+it");
    let adopted = bench.post("/criteria/quiet-ward/adopt", &token, &adopt).await;
    assert_eq!(adopted.header("location"), "/criteria/quiet-ward", "{}", adopted.text);
    assert!(get(&bench, "/criteria", &token).await.contains("/criteria/quiet-ward\""));
    let refer = format!("/people/{}/refer", night.person.unwrap());
    assert!(get(&bench, &refer, &token).await.contains("value=\"quiet-ward/oxygenation\""));
    let parts = get(&bench, &format!("/nights/{}/parts", night.id), &token).await;
    assert!(parts.contains("<option>quiet-ward</option>"), "{parts}");
    // Both who may change criteria see every value with its source; nobody else sees the page.
    let reader = bench.token(Role::Physician).await;
    let page = get(&bench, "/criteria/adult-air", &reader).await;
    for (_, title) in SECTIONS {
        assert!(page.to_lowercase().contains(&title.to_lowercase()), "{title}");
    }
    assert!(page.contains("kobayashi-1994") && page.contains("4.4 mmHg/min"), "{page}");
}
