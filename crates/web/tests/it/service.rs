//! The figures for the service over HTTP: what is shown to whom, and that every file can be read.

use axum::http::StatusCode;
use store::record::act::Author;
use store::record::row::Kept;
use store::record::tables::Check;
use store::words::CheckWhen;
use store::words::Role;

use crate::ask::Bench;
use crate::ask::bench;
use crate::lent::lend;

/// 2026-11-24T22:00:00Z.
const EVENING: i64 = 1_795_557_600;

const ROLES: [Role; 5] =
    [Role::Desk, Role::Physiologist, Role::Physician, Role::Governance, Role::Administrator];

const FILES: [(&str, usize); 4] = [
    ("/service/turnaround.csv", 9),
    ("/service/failures.csv", 17),
    ("/service/gas-checks.csv", 11),
    ("/service/monitors/1/gas-checks.csv", 11),
];

/// One loan of one monitor with nine gas checks, the last of them far off.
async fn checked() -> Bench {
    let bench = bench().await;
    for role in ROLES {
        bench.account(role).await;
    }
    lend(&bench.store, 1, ("Nightcap", "Nell"), EVENING).await.unwrap();
    let mut act = bench.store.act(&Author::program(), "monitor.check").await.unwrap();
    for n in 0..9 {
        let off = if n == 8 { 0.75 } else { f64::from(n % 2) * 0.01 };
        let mut check = Check {
            id: 0,
            act: 0,
            monitor: 1,
            loan: None,
            at: EVENING - i64::from(9 - n) * 86_400,
            who: "pillow".to_owned(),
            made: CheckWhen::After,
            gas: None,
            expected_kpa: Some(5.0),
            observed_kpa: Some(5.0 + off),
            pressure_kpa: None,
            clock_ahead_s: None,
            parts: Kept(Vec::new()),
            missing: Kept(Vec::new()),
            passed: n != 8,
            note: Some("=HYPERLINK(\"x\")".to_owned()),
            voided_at: None,
            voided_by: None,
            voided_because: None,
        };
        act.put(&mut check).await.unwrap();
    }
    act.close().await.unwrap();
    bench
}

/// RFC 4180, section 2: records end with CRLF and each has the same number of fields; quoted fields may hold
/// commas, line breaks and doubled quotes.
fn csv(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut field, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut signs = text.chars().peekable();
    while let Some(sign) = signs.next() {
        match sign {
            '"' if quoted && signs.peek() == Some(&'"') => field.extend(signs.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut field)),
            '\r' if !quoted => {
                assert_eq!(signs.next(), Some('\n'), "a record ends with CRLF");
                row.push(std::mem::take(&mut field));
                rows.push(std::mem::take(&mut row));
            }
            _ => field.push(sign),
        }
    }
    assert!(row.is_empty() && field.is_empty() && !quoted, "the last record is not ended");
    rows
}

#[tokio::test(flavor = "multi_thread")]
async fn every_file_is_a_table_with_units_in_its_headings() {
    let bench = checked().await;
    let token = bench.token(Role::Physician).await;
    for (path, columns) in
        FILES.into_iter().chain([("/service/repeats.csv", 6), ("/service/use.csv", 9)])
    {
        let got = bench.get(path, &token).await;
        assert_eq!(got.status, StatusCode::OK, "{path}");
        assert!(got.header("content-type").starts_with("text/csv"), "{path}");
        assert!(got.header("content-disposition").contains("-2026-11-25.csv"), "{path}");
        let rows = csv(&got.text);
        assert!(rows.iter().all(|row| row.len() == columns), "{path}: {rows:?}");
    }
    let checks = csv(&bench.get("/service/gas-checks.csv", &token).await.text);
    assert_eq!(checks.len(), 10);
    assert_eq!(checks[0][5], "off (kPa)");
    assert_eq!(
        checks[9][..7],
        ["M-0001-X", "2026-11-23T22:00:00Z", "after", "5.000", "5.750", "0.750", "no"]
    );
    let turnaround = csv(&bench.get("/service/turnaround.csv", &token).await.text);
    // Out 20 000 s before the evening, 36 000 s ago, and not yet back.
    let back = turnaround.iter().find(|row| row[0] == "hand-out to return").unwrap();
    assert_eq!([&back[1], &back[2], &back[7], &back[8]], ["all", "0", "1", "15.556"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_says_what_stands_out_and_the_monitors_page_shows_it() {
    let bench = checked().await;
    let token = bench.token(Role::Desk).await;
    let page = bench.get("/service", &token).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    let told = "M-0001-X: 1 check lay further off than the 0.40 kPa the department allows: 23 November (+0.75 kPa).";
    assert!(page.text.contains(told), "{}", page.text);
    let one = bench.get("/service/monitors/1", &token).await;
    assert!(one.text.contains("<title id=\"plot-drift-broad-t\">Gas checks of M-0001-X</title>"));
    assert_eq!(one.text.matches("stands out</td>").count(), 1);
    assert_eq!(bench.get("/service/monitors/99", &token).await.status, StatusCode::NOT_FOUND);
    // Before the checks there was nothing to draw.
    let before = bench.get("/service/monitors/1?from=2026-10-01&to=2026-10-31", &token).await;
    assert!(before.text.contains("No gas check in these days."));
    for page in [&page, &one, &before] {
        assert!(
            !page.text.contains("Nightcap") && !page.text.contains("pillow</td>"),
            "{}",
            page.text
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn how_many_nights_are_repeated_is_for_those_who_see_results() {
    let bench = checked().await;
    for role in ROLES {
        let token = bench.token(role).await;
        let sees = matches!(role, Role::Physiologist | Role::Physician);
        let page = bench.get("/service", &token).await;
        assert_eq!(page.text.contains("Nights to be repeated"), sees, "{role}");
        let file = bench.get("/service/repeats.csv", &token).await;
        assert_eq!(file.status == StatusCode::OK, sees, "{role}");
        for (path, _) in FILES {
            assert_eq!(bench.get(path, &token).await.status, StatusCode::OK, "{role} {path}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn days_that_are_no_period_are_told_and_never_counted() {
    let bench = checked().await;
    let token = bench.token(Role::Physiologist).await;
    for (query, says) in [
        ("from=2026-11-20&to=2026-11-10", "The last day lies before the first."),
        ("from=2027-01-01&to=2027-01-02", "The first day lies in the future."),
        ("from=1990-01-01&to=2026-01-01", "The period is longer than ten years."),
        ("from=yesterday", "yesterday is no day"),
    ] {
        let page = bench.get(&format!("/service?{query}"), &token).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        assert!(
            page.text.contains(says) && page.text.contains("The last ninety days are shown."),
            "{}",
            page.text
        );
        let file = bench.get(&format!("/service/use.csv?{query}"), &token).await;
        assert_eq!(file.status, StatusCode::BAD_REQUEST, "{query}");
    }
}
