//! Lending, as the desk does it.

use store::lending::machine::Move;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::LoanNight;
use store::record::tables::Monitor;
use store::record::tables::Movement;
use store::record::tables::TakeBack;
use store::words::Condition;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::StudyStatus;

use crate::made::clean_and_check;
use crate::made::day;
use crate::made::desk_clerk;
use crate::made::full_hand_out;
use crate::made::good_check;
use crate::made::good_return;
use crate::made::loan;
use crate::made::ready;
use crate::made::study;

/// The codes a refusal carries, in order.
fn codes(error: &store::error::StoreError) -> Vec<&'static str> {
    match error {
        store::error::StoreError::Refused(all) => all.iter().map(|one| one.code).collect(),
        other => panic!("not refused: {other}"),
    }
}

on_both! {
    async fn a_monitor_goes_out_comes_back_and_is_ready_again(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        let monitor = ready(store, "S1").await;
        let study = study(store, 1).await;
        let loan = store.book(&by, loan(&study, "2026-11-25", 1)).await.unwrap();
        assert_eq!((loan.monitor, loan.status, loan.due_at), (monitor.id, LoanStatus::Booked, 1_795_687_200));
        let out = store.hand_out(&by, loan.id, full_hand_out()).await.unwrap();
        assert_eq!((out.status, out.out_by.as_deref()), (LoanStatus::Out, Some("pillow")));
        desk.wait_s(24 * 3600);
        store.take_back(&by, loan.id, good_return()).await.unwrap();
        let refused = store.to_cleaning(&by, monitor.id, "").await.unwrap_err();
        assert_eq!(codes(&refused), ["night_not_in"]);
        store.to_cleaning(&by, monitor.id, "the patient could not sleep").await.unwrap();
        assert_eq!(clean_and_check(store, monitor.id).await.status, MonitorStatus::Ready);
        let mut conn = store.read().await.unwrap();
        let moves: Vec<Movement> = conn.find("WHERE loan = $1 ORDER BY id", &[loan.id.into()]).await.unwrap();
        let way: Vec<_> = moves.iter().map(|one| one.after.text()).collect();
        assert_eq!(way, ["booked", "out", "back", "to_clean", "to_check", "ready"]);
        assert!(moves.iter().all(|one| one.who == "pillow"));
        let study: store::record::tables::Study = conn.get(study.id).await.unwrap();
        assert_eq!(study.status, StudyStatus::Waiting);
    }

    async fn nothing_goes_out_with_something_missing_and_all_of_it_is_told(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        ready(store, "S1").await;
        let loan = store.book(&by, loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        let empty = HandOut { identified_by: vec!["name".to_owned(), "name".to_owned(), "shoe size".to_owned()], ..HandOut::default() };
        let refused = store.hand_out(&by, loan.id, empty).await.unwrap_err();
        assert_eq!(codes(&refused), ["identity_unsure", "warning_not_told", "hours_missing", "nobody_takes_it_off", "fitting_not_shown", "agreement_missing", "parts_missing"]);
        let mut conn = store.read().await.unwrap();
        assert_eq!(conn.get::<Loan>(loan.id).await.unwrap(), loan);
    }

    async fn a_monitor_overdue_expired_or_held_does_not_go_out(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        let monitor = ready(store, "S1").await;
        let loan = store.book(&by, loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        let refused = async |code: &'static str| {
            let error = store.hand_out(&by, loan.id, full_hand_out()).await.unwrap_err();
            assert_eq!(codes(&error), [code]);
        };
        store.serviced(&by, monitor.id, "2026-11-25", "").await.unwrap();
        refused("service_overdue").await;
        store.serviced(&by, monitor.id, "2027-11-25", "2026-11-25").await.unwrap();
        refused("electrical_overdue").await;
        store.serviced(&by, monitor.id, "", "2027-11-25").await.unwrap();
        store.change_membrane(&by, monitor.id, None).await.unwrap();
        refused("not_checked").await;
        store.check(&by, monitor.id, good_check()).await.unwrap();
        store.close_consumable(&by, monitor.gas.unwrap()).await.unwrap();
        refused("gas_expired").await;
        let lot = store::lending::monitor::ConsumableForm { kind: store::words::ConsumableKind::Gas, lot: "G2".to_owned(), expires_on: String::new(), received: 1, co2_percent: Some(5.0) };
        let lot = store.add_consumable(&by, lot).await.unwrap();
        store.connect_gas(&by, monitor.id, lot.id).await.unwrap();
        store.move_monitor(&by, monitor.id, Move::Hold, "safety notice").await.unwrap();
        refused("not_ready").await;
        store.move_monitor(&by, monitor.id, Move::Release, "notice lifted").await.unwrap();
        let error = store.hand_out(&by, loan.id, full_hand_out()).await.unwrap_err();
        assert_eq!(codes(&error), ["not_ready"]);
        clean_and_check(store, monitor.id).await;
        store.hand_out(&by, loan.id, full_hand_out()).await.unwrap();
    }

    async fn an_old_membrane_keeps_a_monitor_in(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        ready(store, "S1").await;
        desk.wait_s(14 * 86_400);
        // Changed on 25 November, it may be used for 14 days: until 9 December. The loan ends on the 10th.
        let loan = store.book(&by, loan(&study(store, 1).await, "2026-12-09", 1)).await.unwrap();
        let error = store.hand_out(&by, loan.id, full_hand_out()).await.unwrap_err();
        assert_eq!(codes(&error), ["membrane_expired"]);
        assert!(error.to_string().contains("may be used until 2026-12-09"), "{error}");
    }

    async fn a_monitor_is_promised_once_a_night(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        let monitor = ready(store, "S1").await;
        let first = store.book(&by, loan(&study(store, 1).await, "2026-11-27", 2)).await.unwrap();
        let (second, third) = (study(store, 2).await, study(store, 3).await);
        let error = store.book(&by, loan(&second, "2026-11-28", 1)).await.unwrap_err();
        assert_eq!(codes(&error), ["none_free"]);
        let wanted = store::lending::loan::LoanForm { monitor: Some(monitor.id), ..loan(&second, "2026-11-26", 2) };
        let error = store.book(&by, wanted).await.unwrap_err();
        assert_eq!(error.to_string(), format!("{} is promised for the night of 2026-11-27 to loan {}", monitor.mark, first.mark));
        // The morning it comes back is free again, and so is what a cancelled loan held.
        store.book(&by, loan(&second, "2026-11-29", 1)).await.unwrap();
        store.cancel(&by, first.id, "patient unwell").await.unwrap();
        store.book(&by, loan(&third, "2026-11-27", 2)).await.unwrap();
    }

    async fn a_monitor_fetched_early_is_away_in_the_nights_before(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        ready(store, "S1").await;
        let late = store.book(&by, loan(&study(store, 1).await, "2026-11-27", 1)).await.unwrap();
        let soon = store.book(&by, loan(&study(store, 2).await, "2026-11-26", 1)).await.unwrap();
        let error = store.hand_out(&by, late.id, full_hand_out()).await.unwrap_err();
        assert_eq!(codes(&error), ["promised"]);
        store.cancel(&by, soon.id, "patient unwell").await.unwrap();
        store.hand_out(&by, late.id, full_hand_out()).await.unwrap();
        let error = store.book(&by, loan(&study(store, 3).await, "2026-11-26", 1)).await.unwrap_err();
        assert_eq!(codes(&error), ["none_free"]);
    }

    async fn a_monitor_back_damaged_is_held_after_its_cleaning(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        let monitor = ready(store, "S1").await;
        let loan = store.book(&by, loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        store.hand_out(&by, loan.id, full_hand_out()).await.unwrap();
        store.take_back(&by, loan.id, TakeBack { condition: Condition::Damaged, ..good_return() }).await.unwrap();
        store.to_cleaning(&by, monitor.id, "cable torn, nothing recorded").await.unwrap();
        let refused = store.clean(&by, monitor.id, "wiped", false).await.unwrap_err();
        assert_eq!(codes(&refused), ["not_wiped"]);
        let held = store.clean(&by, monitor.id, "wiped", true).await.unwrap();
        assert_eq!((held.status, held.because.as_deref()), (MonitorStatus::Held, Some("came back damaged or suspect")));
    }

    async fn a_lost_monitor_is_lost_until_somebody_brings_it(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        let monitor = ready(store, "S1").await;
        let loan = store.book(&by, loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        store.hand_out(&by, loan.id, full_hand_out()).await.unwrap();
        desk.wait_s(8 * 86_400);
        let morning = store.read().await.unwrap().morning(store.now()).await.unwrap();
        assert_eq!((morning.missing[0].rung, morning.at_risk_pence), (Some(store::lending::desk::Rung::TellManager), 650_000));
        store.chase(&by, loan.id, store::words::Contact::Telephone, "moved house, brings it tomorrow").await.unwrap();
        store.give_up(&by, loan.id, "no answer for a week").await.unwrap();
        assert_eq!(store.read().await.unwrap().get::<Monitor>(monitor.id).await.unwrap().status, MonitorStatus::Lost);
        store.take_back(&by, loan.id, good_return()).await.unwrap();
        assert_eq!(store.read().await.unwrap().get::<Monitor>(monitor.id).await.unwrap().status, MonitorStatus::Back);
    }

    /// ASVS 5.0 2.3.4: a limited resource cannot be booked twice.
    async fn forty_desks_at_once_never_promise_or_lend_a_monitor_twice(desk) {
        let store = &desk.store;
        for serial in ["S1", "S2", "S3"] {
            ready(store, serial).await;
        }
        let mut studies = Vec::new();
        for n in 0..40 {
            studies.push(study(store, n).await);
        }
        let mut desks = tokio::task::JoinSet::new();
        for study in studies {
            let store = store.clone();
            desks.spawn(async move {
                let loan = store.book(&desk_clerk(), loan(&study, "2026-11-25", 1)).await?;
                store.hand_out(&desk_clerk(), loan.id, full_hand_out()).await
            });
        }
        let done = desks.join_all().await;
        assert_eq!(done.iter().filter(|one| one.is_ok()).count(), 3);
        assert!(done.iter().filter_map(|one| one.as_ref().err()).all(|error| codes(error) == ["none_free"]));
        let held: Vec<LoanNight> = store.read().await.unwrap().find("WHERE NOT freed ORDER BY monitor", &[]).await.unwrap();
        assert_eq!(held.iter().map(|night| night.monitor).collect::<Vec<_>>(), [1, 2, 3]);
    }

    async fn the_database_itself_refuses_a_second_promise(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        ready(store, "S1").await;
        store.book(&by, loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        let sql = "INSERT INTO loan_night (id, act, loan, monitor, night_on, freed) VALUES (99, 1, 1, 1, '2026-11-25', FALSE)";
        assert!(crate::both::straight(&desk.place, sql).await.is_err());
    }

    async fn the_calendar_counts_what_is_free(desk) {
        let (store, by) = (&desk.store, desk_clerk());
        ready(store, "S1").await;
        ready(store, "S2").await;
        store.book(&by, loan(&study(store, 1).await, "2026-11-26", 2)).await.unwrap();
        let calendar = store.read().await.unwrap().calendar(day("2026-11-25"), 4, store.now()).await.unwrap();
        let counts: Vec<_> = calendar.nights.iter().map(|night| (night.taken, night.free)).collect();
        assert_eq!(counts, [(0, 2), (1, 1), (1, 1), (0, 2)]);
    }

    async fn a_scan_finds_the_thing_or_says_it_was_misread(desk) {
        use store::lending::desk::Scanned;
        let store = &desk.store;
        let monitor = ready(store, "S1").await;
        let loan = store.book(&desk_clerk(), loan(&study(store, 1).await, "2026-11-25", 1)).await.unwrap();
        let mut conn = store.read().await.unwrap();
        assert_eq!(conn.scanned(&format!(" {}\n", monitor.mark.to_lowercase())).await.unwrap(), Scanned::Monitor(monitor.id));
        assert_eq!(conn.scanned("S1").await.unwrap(), Scanned::Monitor(monitor.id));
        assert_eq!(conn.scanned(&loan.mark).await.unwrap(), Scanned::Loan(loan.id));
        assert_eq!(conn.scanned("LK000001").await.unwrap(), Scanned::Person(1));
        assert_eq!(conn.scanned("M-0001-Q").await.unwrap(), Scanned::Misread);
        assert_eq!(conn.scanned("nothing of ours").await.unwrap(), Scanned::Nothing);
    }
}
