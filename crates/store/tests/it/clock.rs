//! A clock that cannot be right writes nothing, keeps nobody from looking, and there is a recorded way on.

use serde_json::json;
use store::error::StoreError;
use store::login::session::LogIn;
use store::record::act::Author;
use store::record::clock::ACCEPTED;
use store::record::tables::Setting;
use store::safekeeping::verify::in_silence;
use store::words::Role;

use crate::both::Desk;
use crate::both::MORNING;
use crate::full::by;

const YEAR_S: i64 = 365 * 86_400;

async fn change(desk: &Desk) -> Result<Setting, StoreError> {
    desk.store.put_setting(&by(Role::Administrator), "phrases", "one").await
}

async fn refused(desk: &Desk) -> String {
    match change(desk).await {
        Err(StoreError::Refused(all)) => all[0].code.to_owned(),
        other => format!("{other:?}"),
    }
}

on_both! {
    /// One act under a clock a year ahead, and nothing could be done for a year.
    async fn r13_a_clock_far_ahead_is_refused_before_it_writes(desk) {
        change(&desk).await.unwrap();
        for (ahead_s, code) in [(14 * 86_400 + 1, "clock_ahead"), (YEAR_S, "clock_ahead"), (-121, "clock_behind"), (-YEAR_S, "clock_behind")] {
            desk.wait_s(ahead_s);
            assert_eq!(refused(&desk).await, code);
            let says = desk.store.clocks().await.unwrap().doubt.unwrap();
            assert!(says.says.contains("the clock of this machine says") && says.hint.contains("matins clock"), "{says:?}");
            desk.wait_s(-ahead_s);
            change(&desk).await.unwrap();
        }
        desk.wait_s(14 * 86_400);
        change(&desk).await.unwrap();
    }

    /// Looking is an act, and must not be kept back by a clock; nor may it carry the wrong time on.
    async fn r13_looking_and_logging_in_go_on_under_a_wrong_clock(desk) {
        let owner = Author::program();
        desk.store.make_account_with(&owner, "keys", "Kit Keys", Role::Administrator, "seven quiet lanterns").await.unwrap();
        for ahead_s in [YEAR_S, -YEAR_S] {
            desk.wait_s(ahead_s);
            desk.store.looked(&by(Role::Desk), "person 1", Some(1), json!({"page": "person"})).await.unwrap();
            let LogIn::Done { token, .. } = desk.store.log_in("keys", "seven quiet lanterns", "test", 900).await.unwrap() else { panic!("no session") };
            assert!(desk.store.session(&token, 900, true).await.unwrap().is_some());
            let last = desk.store.read().await.unwrap().entries(0, 1000).await.unwrap().into_iter().rev().find(|act| act.verb == "look").unwrap();
            assert_eq!(last.at, MORNING);
            let body: serde_json::Value = serde_json::from_str(last.body.as_deref().unwrap()).unwrap();
            assert_eq!((&body["facts"]["page"], &body["facts"]["clock_said"]), (&json!("person"), &json!(store::when::rfc3339(MORNING + ahead_s))));
            desk.wait_s(-ahead_s);
        }
        assert_eq!(desk.store.head().await.unwrap().at, MORNING);
        change(&desk).await.unwrap();
        assert_eq!(desk.store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
    }

    /// The way on: an act with its reason, and work goes on from the true time.
    async fn r13_a_clock_that_ran_ahead_is_left_behind_by_an_act(desk) {
        change(&desk).await.unwrap();
        desk.wait_s(YEAR_S);
        desk.store.accept_clock(&Author::program(), "nobody noticed the year").await.unwrap();
        for n in 0..30 {
            let _ = desk.store.log_in(&format!("nobody{n}"), "wrong", "test", 900).await.unwrap();
        }
        change(&desk).await.unwrap();
        desk.wait_s(-YEAR_S);
        assert_eq!(refused(&desk).await, "clock_behind");
        for (who, reason, code) in [
            (by(Role::Physician), "because", "not_yours_to_accept"),
            (by(Role::Administrator), " ", "reason_missing"),
        ] {
            assert!(desk.store.accept_clock(&who, reason).await.unwrap_err().is(code));
        }
        desk.store.accept_clock(&by(Role::Administrator), "set right against the hospital's clock").await.unwrap();
        let row = change(&desk).await.unwrap();
        assert_eq!(row.at, MORNING);
        let act = desk.store.read().await.unwrap().entries(row.act - 2, 1).await.unwrap().remove(0);
        assert_eq!((act.verb.as_str(), act.at, act.who.as_str()), (ACCEPTED, MORNING, "administrator"));
        assert!(act.body.unwrap().contains("set right against the hospital's clock"));
        // Nobody waits for a year after wrong passwords of that year.
        assert!(matches!(desk.store.log_in("nobody1", "wrong", "test", 900).await.unwrap(), LogIn::Wrong));
        assert!(desk.store.accept_clock(&Author::program(), "again").await.unwrap_err().is("clock_in_order"));
        assert_eq!(desk.store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
        crate::forged::backed_up_and_restored(&desk).await;
    }

    async fn how_far_ahead_is_the_desks_own_figure(desk) {
        let mut set = store::lending::setting::DeskSettings { clock_ahead_days: 60, ..Default::default() };
        let put = |set: &store::lending::setting::DeskSettings| serde_json::to_string(set).unwrap();
        desk.store.put_setting(&by(Role::Administrator), "desk", &put(&set)).await.unwrap();
        desk.wait_s(59 * 86_400);
        change(&desk).await.unwrap();
        set.clock_ahead_days = 0;
        assert!(desk.store.put_setting(&by(Role::Administrator), "desk", &put(&set)).await.is_err());
    }

    /// Checked by the command under the machine's clock, a demo's record was locked: its own time stood elsewhere.
    async fn r13_the_record_of_an_invented_department_tells_its_time_to_whatever_opens_it(desk) {
        let administrator = by(Role::Administrator);
        assert!(desk.store.live_at(&administrator, 60).await.unwrap_err().is("not_yours_to_set"));
        for ahead_s in [9 * 86_400, -YEAR_S] {
            let place = desk.another_place().await;
            let told = desk.clock.clone();
            let clock: store::when::Clock = std::sync::Arc::new(move || told.load(std::sync::atomic::Ordering::SeqCst));
            // Its past is made at its own time.
            let own = desk.clock.load(std::sync::atomic::Ordering::SeqCst) + ahead_s;
            let made = store::record::db::Store::open(&place, std::sync::Arc::new(move || own)).await.unwrap();
            made.live_at(&Author::program(), ahead_s).await.unwrap();
            made.close().await;
            for _ in 0..2 {
                let opened = store::record::db::Store::open(&place, clock.clone()).await.unwrap();
                assert_eq!(opened.now(), own);
                let clocks = opened.clocks().await.unwrap();
                assert_eq!((clocks.doubt, clocks.invented_s), (None, Some(ahead_s)));
                let found = opened.verify(&[], &in_silence).await.unwrap();
                opened.note_verified(&found).await.unwrap();
                assert_eq!(opened.head().await.unwrap().at, own);
                opened.put_setting(&administrator, "phrases", "one").await.unwrap();
                opened.close().await;
            }
        }
    }
}
