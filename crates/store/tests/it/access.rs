//! Accounts, sessions and the throttle.

use store::error::StoreError;
use store::login::session::Browser;
use store::login::session::LogIn;
use store::record::act::Author;
use store::record::tables::Account;
use store::words::Role;

use crate::both::Desk;
use crate::both::straight;

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

/// The act that last wrote an account, as a page of now shows it.
async fn as_now(desk: &Desk, account: i64) -> i64 {
    desk.store.read().await.unwrap().get::<Account>(account).await.unwrap().act
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
        let by = store::login::account::author(&account, "test");
        let wrong = desk.store.change_password(&by, &kept, "no", "eight quiet lanterns").await.unwrap_err();
        assert!(wrong.is("password_wrong"), "{wrong}");
        desk.store.change_password(&by, &kept, GOOD, "eight quiet lanterns").await.unwrap();
        assert!(desk.store.session(&one, IDLE_S, true).await.unwrap().is_some());
        assert!(desk.store.session(&other, IDLE_S, true).await.unwrap().is_none());
    }

    /// Ten wrong ones, the eleventh waits, also when right; a right one elsewhere still works (OWASP ASVS 5.0, 6.3.1).
    async fn wrong_passwords_slow_down_and_nobody_else_is_locked_out(desk) {
        pillow(&desk).await;
        for tried in 0..10 {
            desk.wait_s(if tried == 0 { 0 } else { 60 });
            assert!(is_wrong(&desk, "pillow", 1).await);
        }
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

    /// A stranger holds up strangers only: neither whoever is logged in, nor a browser that has been here before.
    async fn r011_a_stranger_keeps_nobody_from_signing_or_from_their_own_browser(desk) {
        pillow(&desk).await;
        let LogIn::Done { session, known, .. } = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap() else { panic!() };
        for tried in 0..60 {
            is_wrong(&desk, "pillow", 100 + tried % 50).await;
            desk.wait_s(13);
        }
        let strange = desk.store.log_in("pillow", GOOD, &station(77), IDLE_S).await.unwrap();
        assert!(matches!(strange, LogIn::Wait { .. }), "{strange:?}");
        for _ in 0..3 {
            desk.store.confirm_in(&session, GOOD, &station(1)).await.unwrap();
        }
        let browser = Browser { station: "192.0.2.101", known: Some(&known), session: None };
        let own = desk.store.log_in_with("pillow", GOOD, browser, IDLE_S).await.unwrap();
        assert!(matches!(own, LogIn::Done { .. }), "{own:?}");
        // A cookie nobody gave out makes no browser known.
        let made_up = Browser { known: Some("a token of nobody"), ..browser };
        let tried = desk.store.log_in_with("pillow", GOOD, made_up, IDLE_S).await.unwrap();
        assert!(matches!(tried, LogIn::Wait { .. }), "{tried:?}");
    }

    async fn a_wrong_password_in_a_known_browser_is_slowed_there_and_after_twenty_it_is_known_no_more(desk) {
        pillow(&desk).await;
        let LogIn::Done { known, .. } = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap() else { panic!() };
        let browser = Browser { station: "192.0.2.1", known: Some(&known), session: None };
        for _ in 0..20 {
            let tried = desk.store.log_in_with("pillow", "not it", browser, IDLE_S).await.unwrap();
            assert!(matches!(tried, LogIn::Wrong), "{tried:?}");
            desk.wait_s(60);
        }
        // Left is the browser in which the password was set.
        let sql = "SELECT COUNT(*) FROM device";
        assert_eq!(desk.store.read().await.unwrap().number(sql, &[]).await.unwrap(), 1);
    }

    /// Fifty at once, each with the right password: nobody is told that it was wrong too often.
    async fn r012_many_who_confirm_at_once_with_the_right_password_are_all_believed(desk) {
        pillow(&desk).await;
        let LogIn::Done { session, .. } = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap() else { panic!() };
        let mut at_once = tokio::task::JoinSet::new();
        for _ in 0..50 {
            let (store, session) = (desk.store.clone(), session.clone());
            at_once.spawn(async move { store.confirm_in(&session, GOOD, "192.0.2.1").await.is_ok() });
        }
        assert!(at_once.join_all().await.into_iter().all(|right| right));
    }

    async fn twenty_wrong_confirmations_end_the_session_they_were_typed_in_and_no_other(desk) {
        pillow(&desk).await;
        let other = token(&desk).await;
        let LogIn::Done { session, token: own, .. } = desk.store.log_in("pillow", GOOD, &station(1), IDLE_S).await.unwrap() else { panic!() };
        for _ in 0..20 {
            let wrong = desk.store.confirm_in(&session, "not it", &station(1)).await.unwrap_err();
            assert!(wrong.to_string().contains("is wrong"), "{wrong}");
            desk.wait_s(60);
            desk.store.session(&other, 100 * IDLE_S, true).await.unwrap().unwrap();
        }
        assert!(desk.store.session(&own, 100 * IDLE_S, false).await.unwrap().is_none());
        assert!(desk.store.session(&other, 100 * IDLE_S, false).await.unwrap().is_some());
    }

    async fn wrong_tries_by_the_hundred_are_a_handful_of_acts(desk) {
        pillow(&desk).await;
        for tried in 0..120_u8 {
            is_wrong(&desk, &format!("nobody{tried}"), tried).await;
        }
        let sql = "SELECT COUNT(*) FROM act WHERE verb = 'login.failed'";
        let acts = desk.store.read().await.unwrap().number(sql, &[]).await.unwrap();
        assert!((1..=9).contains(&acts), "{acts}");
    }

    async fn a_new_login_in_a_browser_ends_the_session_it_had(desk) {
        pillow(&desk).await;
        let (old, elsewhere) = (token(&desk).await, token(&desk).await);
        let browser = Browser { station: "192.0.2.1", known: None, session: Some(&old) };
        desk.store.log_in_with("pillow", GOOD, browser, IDLE_S).await.unwrap();
        assert!(desk.store.session(&old, IDLE_S, false).await.unwrap().is_none());
        let session = desk.store.session(&elsewhere, IDLE_S, false).await.unwrap().unwrap();
        assert_eq!(desk.store.log_out_elsewhere(&session, &station(1)).await.unwrap(), 1);
        let left = desk.store.read().await.unwrap().sessions_of(session.account.id).await.unwrap();
        assert_eq!(left.len(), 1);
    }

    /// The clock runs back by hours: no session holds longer for it, and a delay is over when it is over.
    async fn r013_a_clock_set_back_lengthens_no_session_and_no_delay(desk) {
        pillow(&desk).await;
        let open = token(&desk).await;
        for _ in 0..7 {
            is_wrong(&desk, "pillow", 4).await;
        }
        desk.wait_s(30);
        // The time that delays run by is asked at every request; here it is asked before the clock is set.
        desk.store.steady_now();
        desk.wait_s(-5 * 3600);
        let next = desk.store.log_in("pillow", "not it", &station(4), IDLE_S).await.unwrap();
        assert!(matches!(next, LogIn::Wrong), "{next:?}");
        desk.wait_s(IDLE_S);
        assert!(desk.store.session(&open, IDLE_S, false).await.unwrap().is_none());
    }

    /// After a restart under the right clock: what was written a year ahead holds nobody up and lets nobody in.
    async fn r014_rows_of_a_clock_a_year_ahead_count_for_nothing(desk) {
        pillow(&desk).await;
        let open = token(&desk).await;
        for sql in ["UPDATE session SET seen_at = seen_at + 31536000, began_at = began_at + 31536000", "INSERT INTO failed_login (id, failures, until_at) VALUES ('login:a1', 30, 1900000000), ('address:192.0.2.8', 30, 1900000000)"] {
            straight(&desk.place, sql).await.unwrap();
        }
        assert!(desk.store.session(&open, IDLE_S, true).await.unwrap().is_none());
        let entered = desk.store.log_in("pillow", GOOD, &station(8), IDLE_S).await.unwrap();
        assert!(matches!(entered, LogIn::Done { .. }), "{entered:?}");
    }

    /// Whoever has a link can become its account: one person alone makes none for a clinical one.
    async fn r015_one_administrator_alone_becomes_nobody_else(desk) {
        let token = first_link(&desk).await.unwrap();
        let first = desk.store.set_password_once(&token, GOOD, "test").await.unwrap();
        let by = store::login::account::author(&first, "test");
        for role in [Role::Physiologist, Role::Physician, Role::Governance, Role::Administrator] {
            let (account, token) = desk.store.make_account(&by, role.text().get(2..).unwrap(), "Some Body", role).await.unwrap();
            let waits = desk.store.set_password_once(&token, GOOD, "test").await.unwrap_err();
            assert!(waits.is("once_waits"), "{waits}");
            assert!(desk.store.second_link(&by, account.id, as_now(&desk, account.id).await).await.unwrap_err().is("not_second"), "who made it is no second");
        }
        // An account of the desk is made alone, but does not become a physician alone.
        let (clerk, link) = desk.store.make_account(&by, "clerk", "Cleo Clerk", Role::Desk).await.unwrap();
        let clerk = desk.store.set_password_once(&link, GOOD, "test").await.map(|_| clerk.id).unwrap();
        let now: Account = desk.store.read().await.unwrap().get(clerk).await.unwrap();
        let link = desk.store.change_account(&by, clerk, now.act, "Cleo Clerk", Role::Physician).await.unwrap().unwrap();
        assert!(matches!(desk.store.log_in("clerk", GOOD, &station(1), IDLE_S).await.unwrap(), LogIn::Wrong));
        assert!(desk.store.set_password_once(&link, GOOD, "test").await.unwrap_err().is("once_waits"));
        let own = store::login::account::author(&desk.store.read().await.unwrap().get::<Account>(clerk).await.unwrap(), "test");
        assert!(desk.store.second_link(&own, clerk, as_now(&desk, clerk).await).await.unwrap_err().is("not_second"));
        // Agreed to is what was shown, and not what was put in its place meanwhile.
        let shown = as_now(&desk, clerk).await;
        desk.store.renew_link(&by, clerk).await.unwrap();
        let governance = Author { login: "gov".to_owned(), role: Role::Governance, ..by.clone() };
        let late = desk.store.second_link(&governance, clerk, shown).await;
        assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    }

    async fn a_link_works_when_a_second_person_says_so_and_its_owner_can_see_who_made_it(desk) {
        pillow(&desk).await;
        let by = |login: &str, role| Author { login: login.to_owned(), name: "Some Body".to_owned(), role, station: "test".to_owned() };
        let (keys, governance) = (by("keys", Role::Administrator), by("gov", Role::Governance));
        let (quill, token) = desk.store.make_account(&keys, "quill", "Quentin Quill", Role::Physician).await.unwrap();
        assert!(desk.store.second_link(&by("pillow", Role::Desk), quill.id, as_now(&desk, quill.id).await).await.unwrap_err().is("not_second"));
        desk.store.second_link(&governance, quill.id, as_now(&desk, quill.id).await).await.unwrap();
        assert!(desk.store.second_link(&governance, quill.id, as_now(&desk, quill.id).await).await.unwrap_err().is("no_link"));
        desk.store.set_password_once(&token, GOOD, "test").await.unwrap();
        desk.wait_s(60);
        let renewed = desk.store.renew_link(&keys, quill.id).await.unwrap();
        assert!(desk.store.set_password_once(&renewed, GOOD, "test").await.unwrap_err().is("once_waits"), "the second person said so of the first link only");
        let acts = desk.store.link_acts(quill.id, store::login::account::TOLD_S).await.unwrap();
        assert_eq!((acts[0].verb.as_str(), acts[0].who.as_str()), ("account.link", "keys"));
        // On the server itself one is enough: it is the way out where there is no second person yet.
        let (_, token) = desk.store.link_on_server("quill").await.unwrap();
        desk.store.set_password_once(&token, GOOD, "test").await.unwrap();
    }
}
