//! What was destroyed is served by nobody any more, whatever is still in memory; and when the record was saved.

use axum::http::StatusCode;
use store::record::act::Author;
use store::words::Role;

use crate::ask::bench;
use crate::night::night;

/// Eight years and some days.
const LATER_S: i64 = (8 * 366 + 2) * 86_400;

#[tokio::test(flavor = "multi_thread")]
async fn r15_curves_of_somebody_destroyed_are_not_served_from_memory() {
    let bench = bench().await;
    let night = night(&bench).await;
    for role in [Role::Governance, Role::Administrator] {
        bench.account(role).await;
    }
    let token = bench.token(Role::Physiologist).await;
    let path = format!("/nights/{}", night.id);
    let looks =
        ["", "/strip", "/columns?from=0&to=9&width=9", "/parts", "/report", "/report/preview"];
    for more in looks {
        assert_eq!(
            bench.get(&format!("{path}{more}"), &token).await.status,
            StatusCode::OK,
            "{more}"
        );
    }
    bench.wait_s(LATER_S);
    bench.store.accept_clock(&Author::program(), "years went by").await.unwrap();
    // By the record itself, as a second server would: this one is told nothing.
    let governance = Author { role: Role::Governance, ..Author::program() };
    let person = night.person.unwrap();
    bench
        .store
        .destroy_person(&governance, person, "its time is over", "by the schedule")
        .await
        .unwrap();
    let token = bench.token(Role::Physiologist).await;
    for more in looks {
        let got = bench.get(&format!("{path}{more}"), &token).await;
        assert!(got.status.is_client_error(), "{more}: {}", got.status);
        assert!(got.text.contains("was destroyed when its time was over"), "{more}: {}", got.text);
        assert!(!got.text.contains("NIGHTCAP") && !got.text.contains("Nell"), "{more}");
    }
    for page in [
        "/nights",
        "/morning",
        "/",
        &format!("/people/{person}"),
        &format!("/people/{person}/compare"),
    ] {
        let got = bench.get(page, &token).await;
        assert!(!got.status.is_server_error(), "{page}: {}", got.status);
        assert!(!got.text.to_lowercase().contains("nightcap"), "{page}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn r21_about_says_when_the_record_was_last_backed_up_and_what_its_clock_is() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    assert!(bench.get("/about", &token).await.text.contains("<dt>Last backup</dt><dd>never</dd>"));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("b");
    store::safekeeping::backup::backup(
        &bench.store,
        &file,
        None,
        &store::safekeeping::verify::in_silence,
    )
    .await
    .unwrap();
    let page = bench.get("/about", &token).await.text;
    assert!(page.contains("<dt>Last backup</dt><dd>2026-11-25 08:00</dd>"), "{page}");
    assert!(!page.contains("Nothing can be changed"));
    // A clock a year ahead: the administrator gets in, and is told what is wrong and what to do.
    bench.wait_s(365 * 86_400);
    let token = bench.token(Role::Administrator).await;
    let page = bench.get("/about", &token).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(
        page.text.contains("Nothing can be changed") && page.text.contains("matins clock"),
        "{}",
        page.text
    );
    let refused = bench.post("/settings/phrases", &token, "value=one&seen=0").await;
    assert!(refused.text.contains("the last act was at 2026-11-25T08:00:00Z"), "{}", refused.text);
}
