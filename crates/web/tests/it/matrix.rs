//! Every route, every role: what is in the router, what is in the table, and what happens when it is asked.

use std::fmt::Write as _;

use axum::http::StatusCode;
use store::words::Role;
use web::access::ROUTES;
use web::access::Right;
use web::access::may;
use web::access::right_of;
use web::pages::routes;

use crate::ask::bench;

const ROLES: [Role; 5] =
    [Role::Desk, Role::Physiologist, Role::Physician, Role::Governance, Role::Administrator];

#[test]
fn every_route_stands_in_the_table_and_nothing_else_does() {
    let router = routes();
    let unlisted: Vec<_> =
        router.list().iter().filter(|(method, path)| right_of(method, path).is_none()).collect();
    assert!(unlisted.is_empty(), "not in the table of access: {unlisted:?}");
    let gone: Vec<_> =
        ROUTES.iter().filter(|route| !router.list().contains(&(route.0, route.1))).collect();
    assert!(gone.is_empty(), "in the table, not in the router: {gone:?}");
    let mut twice: Vec<_> = ROUTES.iter().map(|route| (route.0, route.1)).collect();
    twice.sort_unstable();
    assert!(twice.windows(2).all(|pair| pair[0] != pair[1]), "a route stands in the table twice");
}

/// Asks every route as nobody and as every role. A right's absence is 403, a session's is the login.
#[tokio::test(flavor = "multi_thread")]
async fn every_role_is_let_in_where_the_table_says_and_nowhere_else() {
    let bench = bench().await;
    for role in ROLES {
        bench.account(role).await;
    }
    for role in std::iter::once(None).chain(ROLES.map(Some)) {
        let mut token = "0".repeat(64);
        for (method, path, right) in ROUTES {
            if let Some(role) = role
                && bench.store.session(&token, 900, false).await.unwrap().is_none()
            {
                token = bench.token(role).await;
            }
            let address = path
                .replace("{id}", "987654")
                .replace("{token}", "none")
                .replace("{hash}", "none")
                .replace("{name}", "none");
            let got = match *method {
                "GET" => bench.get(&address, &token).await,
                _ => bench.post(&address, &token, "").await,
            };
            let seen = format!("{method} {path} as {role:?}: {}", got.status);
            assert!(
                got.status != StatusCode::INTERNAL_SERVER_ERROR
                    && got.status != StatusCode::METHOD_NOT_ALLOWED,
                "{seen}"
            );
            let to_login = got.header("location").starts_with("/login?then=")
                || got.status == StatusCode::UNAUTHORIZED;
            let forbidden =
                got.status == StatusCode::FORBIDDEN && got.text.contains("Not for your role");
            match role {
                _ if *right == Right::Open => assert!(!to_login && !forbidden, "{seen}"),
                None => assert!(to_login && !forbidden, "{seen}"),
                Some(role) if may(role, *right) => assert!(!to_login && !forbidden, "{seen}"),
                Some(_) => assert!(forbidden, "{seen}"),
            }
        }
    }
}

/// What the roles must never reach, written down apart from the table.
#[test]
fn results_diary_and_audit_are_kept_from_those_who_have_no_use_for_them() {
    for (role, right) in [
        (Role::Desk, Right::SeeResults),
        (Role::Administrator, Right::SeeResults),
        (Role::Administrator, Right::Diary),
        (Role::Administrator, Right::SeePeople),
        (Role::Governance, Right::SeeResults),
        (Role::Governance, Right::Diary),
        (Role::Desk, Right::Audit),
        (Role::Physiologist, Right::Audit),
        (Role::Physician, Right::Audit),
        (Role::Administrator, Right::Audit),
        (Role::Physiologist, Right::Interpret),
        (Role::Physician, Right::Read),
        (Role::Governance, Right::Accounts),
    ] {
        assert!(!may(role, right), "{role} {right:?}");
    }
    for right in [Right::Open, Right::Enter] {
        assert!(ROLES.iter().all(|role| may(*role, right)));
    }
}

/// `docs/access.md` prints the table; governance reads it there.
#[test]
fn the_manual_prints_the_table_as_it_is() {
    let mut table = "| route | desk | physiologist | physician | governance | administrator |\n|---|---|---|---|---|---|\n".to_owned();
    for (method, path, right) in ROUTES {
        let cell = |role: Role| match right {
            Right::Open => "open",
            _ if may(role, *right) => "yes",
            _ => "",
        };
        let cells = ROLES.map(cell).join(" | ");
        writeln!(table, "| `{method} {path}` | {cells} |").unwrap();
    }
    let manual = include_str!("../../../../docs/access.md");
    let (_, rest) = manual.split_once("<!-- table -->\n\n").unwrap();
    let (printed, _) = rest.split_once("\n<!-- end -->").unwrap();
    assert!(printed == table, "docs/access.md should hold:\n{table}");
}
