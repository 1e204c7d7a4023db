//! Accounts, sessions and the throttle.

use store::act::Author;
use store::error::StoreError;
use store::session::LogIn;
use store::tables::Account;
use store::words::Role;

use crate::both::Desk;

const GOOD: &str = "seven quiet lanterns";
const IDLE_S: i64 = 900;

fn station(last: u8) -> String {
    format!("192.0.2.{last}")
}

async fn pillow(desk: &Desk) -> Account {
    let by = Author::program();
    let store = &desk.store;
    store.make_account_with(&by, "Pillow", "Petra Pillow", Role::Desk, GOOD).await.unwrap()
}

async fn first_link(desk: &Desk) -> Option<String> {
    desk.store.first_administrator().await.unwrap()
}

async fn token(desk: &Desk) -> String {
    match desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap() {
        LogIn::Done { token, .. } => token,
        other => panic!("{other:?}"),
    }
}

async fn is_wrong(desk: &Desk, login: &str, last: u8) -> bool {
    let tried = desk.store.log_in(login, "not the password", &station(last), IDLE_S).await;
    matches!(tried.unwrap(), LogIn::Wrong)
}

on_both! {
    async fn the_first_start_makes_an_administrator_with_a_link_that_works_once(desk) {
        let token = first_link(&desk).await.unwrap();
        let account = desk.store.set_password_once(&token, GOOD, "test").await.unwrap();
        assert_eq!((account.role, account.login.as_str()), (Role::Administrator, "administrator"));
        let again = desk.store.set_password_once(&token, GOOD, "test").await.unwrap_err();
        assert!(again.is("once_over"), "{again}");
        assert_eq!(first_link(&desk).await, None);
    }

    async fn a_link_ends_after_two_days(desk) {
        let token = first_link(&desk).await.unwrap();
        desk.wait_s(2 * 24 * 3600);
        assert!(desk.store.once(&token).await.unwrap().is_none());
        assert!(first_link(&desk).await.is_some_and(|renewed| renewed != token));
    }

    async fn a_session_ends_when_nobody_touches_it_and_after_twelve_hours_anyway(desk) {
        pillow(&desk).await;
        let idle = token(&desk).await;
        desk.wait_s(IDLE_S - 1);
        assert!(desk.store.session(&idle, IDLE_S, false).await.unwrap().is_some());
        desk.wait_s(1);
        assert!(desk.store.session(&idle, IDLE_S, true).await.unwrap().is_none());
        let busy = token(&desk).await;
        for _ in 0..48 {
            desk.wait_s(IDLE_S - 1);
            assert!(desk.store.session(&busy, IDLE_S, true).await.unwrap().is_some());
        }
        desk.wait_s(IDLE_S - 1);
        assert!(desk.store.session(&busy, IDLE_S, true).await.unwrap().is_none());
    }

    async fn closing_an_account_ends_its_sessions_and_its_logins(desk) {
        let account = pillow(&desk).await;
        let token = token(&desk).await;
        desk.store.close_account(&Author::program(), account.id, "left the department").await.unwrap();
        assert!(desk.store.session(&token, IDLE_S, true).await.unwrap().is_none());
        let tried = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap();
        assert!(matches!(tried, LogIn::Wrong));
    }

    async fn a_new_password_ends_every_other_session(desk) {
        let account = pillow(&desk).await;
        let (one, other) = (token(&desk).await, token(&desk).await);
        let kept = desk.store.session(&one, IDLE_S, true).await.unwrap().unwrap();
        let by = store::account::author(&account, "test");
        let wrong = desk.store.change_password(&by, account.id, "no", "eight quiet lanterns", None).await.unwrap_err();
        assert!(wrong.is("password_wrong"), "{wrong}");
        desk.store.change_password(&by, account.id, GOOD, "eight quiet lanterns", Some(&kept.token_sha256)).await.unwrap();
        assert!(desk.store.session(&one, IDLE_S, true).await.unwrap().is_some());
        assert!(desk.store.session(&other, IDLE_S, true).await.unwrap().is_none());
    }

    /// Ten wrong ones, the eleventh waits, also when right; a right one elsewhere still works (OWASP ASVS 5.0, 6.3.1).
    async fn wrong_passwords_slow_down_and_nobody_else_is_locked_out(desk) {
        pillow(&desk).await;
        for _ in 0..10 {
            assert!(is_wrong(&desk, "pillow", 1).await);
            desk.wait_s(60);
        }
        desk.wait_s(-60);
        let eleventh = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap();
        assert!(matches!(eleventh, LogIn::Wait { wait_s: 1..=64 }), "{eleventh:?}");
        let elsewhere = desk.store.log_in("pillow", GOOD, &station(2), IDLE_S).await.unwrap();
        assert!(matches!(elsewhere, LogIn::Done { .. }), "{elsewhere:?}");
    }

    async fn many_logins_from_one_address_are_slowed_down(desk) {
        for number in 0..22 {
            is_wrong(&desk, &format!("nobody{number}"), 9).await;
        }
        let next = desk.store.log_in("nobody99", "x", &station(9), IDLE_S).await.unwrap();
        assert!(matches!(next, LogIn::Wait { .. }), "{next:?}");
    }

    async fn attempts_at_once_are_each_counted(desk) {
        pillow(&desk).await;
        let mut tried = tokio::task::JoinSet::new();
        for _ in 0..12 {
            let store = desk.store.clone();
            tried.spawn(async move { store.log_in("pillow", "not it", &station(3), IDLE_S).await.unwrap() });
        }
        let looked_at = tried.join_all().await.iter().filter(|one| matches!(one, LogIn::Wrong)).count();
        assert_eq!(looked_at, 6, "five are free, the sixth starts the delay");
    }

    async fn no_secret_stands_in_an_act(desk) {
        let account = pillow(&desk).await;
        let token = token(&desk).await;
        is_wrong(&desk, "secret-in-the-wrong-box", 4).await;
        let hash = account.password.unwrap();
        for secret in [GOOD, token.as_str(), hash.as_str(), "secret-in-the-wrong-box"] {
            let count = desk.store.read().await.unwrap().number("SELECT COUNT(*) FROM act WHERE body LIKE '%' || $1 || '%' OR object LIKE '%' || $1 || '%'", &[secret.into()]).await.unwrap();
            assert_eq!(count, 0, "{secret}");
        }
    }

    async fn the_last_administrator_stays(desk) {
        let token = first_link(&desk).await.unwrap();
        let first = desk.store.set_password_once(&token, GOOD, "test").await.unwrap();
        let by = Author::program();
        let closed = desk.store.close_account(&by, first.id, "retired").await.unwrap_err();
        assert!(closed.is("last_administrator"), "{closed}");
        let changed = desk.store.change_account(&by, first.id, first.act, "Ada Eiderdown", Role::Desk).await.unwrap_err();
        assert!(changed.is("last_administrator"), "{changed}");
    }

    async fn a_login_is_given_once_and_the_programs_never(desk) {
        pillow(&desk).await;
        for (login, role, code) in [("pillow", Role::Desk, "login_taken"), ("matins", Role::Desk, "login"), ("two words", Role::Desk, "login"), ("other", Role::Program, "role")] {
            let refused: StoreError = desk.store.make_account(&Author::program(), login, "Some Body", role).await.unwrap_err();
            assert!(refused.is(code), "{login}: {refused}");
        }
    }
}
