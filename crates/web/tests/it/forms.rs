//! Pages with forms, as a person without script uses them.

use axum::http::StatusCode;
use store::words::Role;

use crate::ask::bench;

#[tokio::test(flavor = "multi_thread")]
async fn two_administrators_do_not_overwrite_each_other() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Administrator).await;
    let seen =
        bench.store.accounts().await.unwrap().iter().find(|one| one.login == "desk").unwrap().act;
    let fields = |name: &str| format!("name={name}&role=desk&seen={seen}");
    assert_eq!(
        bench.post("/accounts/2", &token, &fields("Anna+Down")).await.status,
        StatusCode::SEE_OTHER
    );
    let late = bench.post("/accounts/2", &token, &fields("Berta+Down")).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.text.contains("Changed meanwhile"), "{}", late.text);
    assert!(bench.store.accounts().await.unwrap().iter().any(|one| one.name == "Anna Down"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_setting_saved_by_somebody_else_meanwhile_is_not_overwritten() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    assert_eq!(
        bench.post("/settings/phrases", &token, "value=one&seen=0").await.status,
        StatusCode::SEE_OTHER
    );
    let late = bench.post("/settings/phrases", &token, "value=two&seen=0").await;
    assert!(
        late.text.contains("Somebody else saved a version meanwhile") && late.text.contains("two"),
        "{}",
        late.text
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_figure_of_the_desk_is_told_at_its_field() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    let rest = "hand_in_by=10:00&ladder_days=1,3,7&most_nights=7&longest_hours=8&put_on_from=22:00&gas_limit_kpa=0.4&membrane_days=14&clock_limit_s=120&return_places=desk&parts=monitor&cleaning=wiped&seen=0";
    let wrong =
        bench.post("/settings/desk", &token, &format!("zone=Mars&idle_min=15&{rest}")).await;
    assert!(
        wrong.text.contains("id=\"settings-desk-zone-fault\"")
            && wrong.text.contains("There is no time zone Mars"),
        "{}",
        wrong.text
    );
    let short = bench.post("/settings/desk", &token, &format!("zone=UTC&idle_min=0&{rest}")).await;
    assert!(short.text.contains("id=\"settings-desk-idle_min-fault\""), "{}", short.text);
    let done = bench.post("/settings/desk", &token, &format!("zone=UTC&idle_min=20&{rest}")).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER);
    assert_eq!(bench.store.read().await.unwrap().desk_settings().await.unwrap().idle_min, 20);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_done_is_said_once_on_the_next_page() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    bench.post("/settings/phrases", &token, "value=one&seen=0").await;
    assert!(bench.get("/settings", &token).await.text.contains("Saved. It holds from now on."));
    assert!(!bench.get("/settings", &token).await.text.contains("Saved. It holds from now on."));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_audit_as_a_file_has_a_line_an_act_and_is_itself_an_act() {
    let bench = bench().await;
    bench.account(Role::Governance).await;
    let token = bench.token(Role::Governance).await;
    // It is written down before it leaves, so the next one tells it.
    bench.get("/audit/acts.csv?who=governance", &token).await;
    let file = bench.get("/audit/acts.csv?who=governance", &token).await;
    assert_eq!(file.header("content-disposition"), "attachment; filename=\"acts.csv\"");
    let lines: Vec<_> = file.text.lines().collect();
    assert!(lines[0].starts_with("seq,at,who,role"));
    assert!(lines[1].contains(",governance,governance,unknown,look,audit,"), "{}", lines[1]);
    assert!(
        lines[1..].iter().all(|line| line.split(',').nth(2) == Some("governance")),
        "{lines:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn assets_may_be_kept_for_a_year_and_pages_not_at_all() {
    let bench = bench().await;
    let page = bench.get("/login", "").await;
    let style = page.text.split('"').find(|part| part.ends_with("/base.css")).unwrap();
    let got = bench.get(style, "").await;
    assert_eq!(
        (got.status, got.header("cache-control")),
        (StatusCode::OK, "public, max-age=31536000, immutable")
    );
    let old = bench.get("/assets/0000000000000000/base.css", "").await;
    assert_eq!((old.status, old.header("cache-control")), (StatusCode::OK, "no-store"));
    assert_eq!(
        bench.get("/assets/0000000000000000/..%2f..%2fetc", "").await.status,
        StatusCode::NOT_FOUND
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_larger_than_a_megabyte_is_refused() {
    let bench = bench().await;
    let got =
        bench.post("/login", &"d".repeat(64), &format!("login={}", "x".repeat(1 << 20))).await;
    assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE);
}

#[tokio::test(flavor = "multi_thread")]
async fn health_tells_nothing_of_what_is_in_the_record() {
    let got = bench().await.get("/health", "").await;
    assert_eq!(got.text, "{\"well\":true}");
}
