//! A check of the monitor speaks for the nights it can speak for, and rewrites none behind its reader's back.

use store::intake::check::Speaks;
use store::intake::receive::Incoming;
use store::lending::machine::Move;
use store::lending::monitor::CheckForm;
use store::record::db::Store;
use store::record::tables::Check;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Night;
use store::record::tables::Outcome;
use store::words::MonitorStatus;
use store::words::Role;

use crate::both::Desk;
use crate::full::by;
use crate::made;
use crate::made::desk_clerk;
use crate::made::good_check;
use crate::morning::csv;
use crate::morning::sound;
use crate::settle::signed_with;

/// A night off a monitor that stands to be checked after its loan, scored without any check after it.
async fn off_the_monitor(desk: &Desk) -> (Loan, Night) {
    let (store, clerk) = (&desk.store, desk_clerk());
    let study = made::study(store, 1).await;
    let monitor = made::ready(store, "TC-1042").await;
    desk.wait_s(3_600);
    let loan = store.book(&clerk, made::loan(&study, "2026-11-25", 1)).await.unwrap();
    let out = HandOut { clock_ahead_s: Some(0), ..made::full_hand_out() };
    store.set_aside(&clerk, loan.id).await.unwrap();
    store.hand_out(&clerk, loan.id, out).await.unwrap();
    desk.wait_s(86_400);
    store.take_back(&clerk, loan.id, made::good_return()).await.unwrap();
    let file = Incoming {
        name: "TC-1042.csv".to_owned(),
        bytes: csv("2026-11-25T22:00".parse().unwrap(), 8),
        ..Incoming::default()
    };
    let night = store.receive(&clerk, file).await.unwrap().nights.remove(0);
    assert!(night.result.is_some(), "{:?}", night.doubts.0);
    store.to_cleaning(&clerk, monitor.id, "").await.unwrap();
    store.clean(&clerk, monitor.id, "wiped", true).await.unwrap();
    desk.wait_s(600);
    (loan, night)
}

fn check(expected: f64, observed: f64, passed: bool) -> CheckForm {
    let note = if passed { "" } else { "it is off" };
    CheckForm {
        expected_kpa: Some(expected),
        observed_kpa: Some(observed),
        passed,
        note: note.to_owned(),
        ..good_check()
    }
}

async fn now(store: &Store, night: &Night) -> Night {
    store.read().await.unwrap().get(night.id).await.unwrap()
}

async fn spoken(store: &Store, night: &Night) -> Vec<(Speaks, bool)> {
    let all = store.read().await.unwrap().checks_of(night).await.unwrap();
    all.iter().map(|one| (one.speaks, one.taken)).collect()
}

/// How many anchors the CO2 of a result stands on.
fn anchors(outcome: &Outcome) -> usize {
    let scores: serde_json::Value = serde_json::from_str(&outcome.scores).unwrap();
    scores["correction"]["anchors"].as_array().map_or(0, Vec::len)
}

async fn reserved(store: &Store, night: &Night) -> String {
    store.read().await.unwrap().reservations(night).await.unwrap().join(" ")
}

on_both! {
    async fn r009_a_failed_check_a_membrane_and_a_passed_one_rewrite_no_earlier_night(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        store.check_and_tell(&clerk, loan.monitor, check(3.87, 5.07, false)).await.unwrap();
        assert_eq!(now(store, &night).await, night);
        assert_eq!(spoken(store, &night).await, [(Speaks::Failed, false)]);
        let said = reserved(store, &night).await;
        assert!(said.contains("did not pass") && said.contains("1.20 kPa"), "{said}");
        desk.wait_s(60);
        store.change_membrane(&clerk, loan.monitor, None).await.unwrap();
        store.move_monitor(&clerk, loan.monitor, Move::Release, "new membrane").await.unwrap();
        store.clean(&clerk, loan.monitor, "wiped", true).await.unwrap();
        desk.wait_s(60);
        store.check_and_tell(&clerk, loan.monitor, check(5.07, 5.07, true)).await.unwrap();
        assert_eq!(spoken(store, &night).await, [(Speaks::Failed, false), (Speaks::Serviced, false)]);
        assert_eq!(now(store, &night).await, night);
        // Nor when the desk's record makes its notes anew.
        store.score_waiting(&clerk, loan.id).await.unwrap();
        assert!(!now(store, &night).await.notes.contains("gas_check"));
        sound(store).await;
    }

    async fn a_check_that_comes_after_a_night_was_scored_waits_for_its_reader(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        let (_, told) = store.check_and_tell(&clerk, loan.monitor, check(5.0, 5.3, true)).await.unwrap();
        assert!(told[0].contains("was scored before it"), "{told:?}");
        store.score_waiting(&clerk, loan.id).await.unwrap();
        let after = now(store, &night).await;
        assert_eq!(after.notes, night.notes);
        assert_eq!(spoken(store, &after).await, [(Speaks::Anchor, false)]);
        assert!(reserved(store, &after).await.contains("is not taken up"));
        let all = store.read().await.unwrap().checks_of(&after).await.unwrap();
        let entry = store::intake::check::entry_of(&all[0].check).unwrap();
        let when = "2026-11-26 09:10".to_owned();
        let step = store::reading::steps::Step::Change(store::reading::edit::Change::TakeCheck { entry, when });
        let held = store.read().await.unwrap().held(&after).await.unwrap();
        let recording = std::sync::Arc::new(held.recording().unwrap());
        let done = store.step(&by(Role::Physiologist), after.id, after.act, step, recording).await.unwrap();
        assert!(done.night.notes.contains("[[gas_check]]"), "{}", done.night.notes);
        assert_eq!(done.version.what, "took up the gas check of 2026-11-26 09:10");
        assert_eq!(anchors(&done.outcome), 1);
        assert_eq!(spoken(store, &done.night).await, [(Speaks::Anchor, true)]);
        assert_eq!(reserved(store, &done.night).await, "");
        sound(store).await;
    }

    async fn r011_a_check_in_mmhg_is_refused_and_one_of_old_leaves_the_night_scored_and_is_told(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        let refused = store.check_and_tell(&clerk, loan.monitor, check(38.0, 37.8, true)).await.unwrap_err();
        assert!(refused.is("gas_implausible") && refused.hint().contains("mmHg are 5.07 kPa"), "{}", refused.hint());
        // As a release before this one let it in.
        store.check(&clerk, loan.monitor, check(5.0, 5.1, true)).await.unwrap();
        let mut act = store.act(&clerk, "monitor.check").await.unwrap();
        let last = act.conn().first::<Check>("ORDER BY id DESC LIMIT 1", &[]).await.unwrap();
        let mut last = last.unwrap();
        (last.expected_kpa, last.observed_kpa) = (Some(38.0), Some(37.8));
        act.put(&mut last).await.unwrap();
        act.close().await.unwrap();
        assert_eq!(spoken(store, &night).await, [(Speaks::Nothing, false)]);
        assert!(reserved(store, &night).await.contains("cannot be as it was typed"));
        assert!(store.why_unscored(&night).await.unwrap().is_none());
    }

    async fn a_check_that_is_voided_leaves_the_night_and_the_monitor_waits_for_another(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        store.check(&clerk, loan.monitor, check(5.0, 5.3, true)).await.unwrap();
        // Untied and settled again the night is scored with it.
        let who = by(Role::Physiologist);
        store.untie_night(&who, night.id, "to see").await.unwrap();
        store.settle_night(&who, night.id, loan.id, "it was hers").await.unwrap();
        let night = crate::settle::agreed(store, night.id).await;
        assert!(night.notes.contains("gas_check") && night.result.is_some(), "{:?}", night.doubts.0);
        let checks: Vec<Check> = store.read().await.unwrap().find("ORDER BY id DESC", &[]).await.unwrap();
        assert!(store.void_check(&clerk, checks[0].id, " ").await.unwrap_err().is("reason_missing"));
        store.void_check(&clerk, checks[0].id, "the other monitor's figures").await.unwrap();
        assert!(store.void_check(&clerk, checks[0].id, "twice").await.unwrap_err().is("check_voided"));
        let after = now(store, &night).await;
        assert!(!after.notes.contains("gas_check"), "{}", after.notes);
        let scores: Outcome = store.read().await.unwrap().get(after.result.unwrap()).await.unwrap();
        assert_eq!(anchors(&scores), 0);
        let monitor: Monitor = store.read().await.unwrap().get(loan.monitor).await.unwrap();
        assert_eq!((monitor.status, monitor.checked_at, monitor.loan), (MonitorStatus::ToCheck, None, Some(loan.id)));
        store.check(&clerk, loan.monitor, check(5.0, 5.1, true)).await.unwrap();
        assert_eq!(spoken(store, &after).await, [(Speaks::Voided, false), (Speaks::Anchor, false)]);
        sound(store).await;
    }

    /// The report is signed, then the monitor is found to be off: nobody may act upon the paper unwarned.
    async fn r009_a_check_that_fails_after_the_report_was_signed_waits_for_its_reader(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk, reader) = (&desk.store, desk_clerk(), by(Role::Physiologist));
        signed_with(store, &night, "").await;
        assert!(store.read().await.unwrap().learnt().await.unwrap().is_empty());
        desk.wait_s(60);
        let (_, told) = store.check_and_tell(&clerk, loan.monitor, check(3.87, 5.07, false)).await.unwrap();
        assert!(told[0].contains("does not tell of this check"), "{told:?}");
        let learnt = store.read().await.unwrap().learnt().await.unwrap();
        assert_eq!(learnt.iter().map(|one| one.night.id).collect::<Vec<_>>(), [night.id]);
        assert!(learnt[0].says.len() == 1 && learnt[0].says[0].contains("did not pass"), "{learnt:?}");
        // Opened again it waits to be read like every other; signed anew, the paper tells it.
        let open = now(store, &night).await;
        store.reopen_night(&reader, night.id, open.act, "the check failed").await.unwrap();
        assert!(store.read().await.unwrap().learnt().await.unwrap().is_empty());
        let report = signed_with(store, &now(store, &night).await, "the failed check is told").await;
        assert!(report.content.contains("did not pass"), "{}", report.content);
        assert!(store.read().await.unwrap().learnt().await.unwrap().is_empty());
        let checks: Vec<Check> = store.read().await.unwrap().find("ORDER BY id DESC LIMIT 1", &[]).await.unwrap();
        let says = store.read().await.unwrap().check_says(&checks[0]).await.unwrap();
        assert!(says[0].contains("signed after this check"), "{says:?}");
        sound(store).await;
    }

    /// The paper says that the check did not pass, and whoever reads it must learn that it was no check at all.
    async fn a_failed_check_that_is_voided_after_its_paper_was_signed_is_told_until_it_is_signed_anew(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk, reader) = (&desk.store, desk_clerk(), by(Role::Physiologist));
        store.check_and_tell(&clerk, loan.monitor, check(3.87, 5.07, false)).await.unwrap();
        desk.wait_s(60);
        let report = signed_with(store, &night, "").await;
        assert!(report.content.contains("did not pass"), "{}", report.content);
        desk.wait_s(60);
        let last = async || store.read().await.unwrap().first::<Check>("ORDER BY id DESC LIMIT 1", &[]).await.unwrap().unwrap();
        let voided = store.void_check(&clerk, last().await.id, "the other monitor's figures").await.unwrap();
        let learnt = async || -> Vec<String> {
            store.read().await.unwrap().learnt().await.unwrap().into_iter().flat_map(|one| one.says).collect()
        };
        let says = learnt().await;
        assert!(says.len() == 1 && says[0].ends_with("of which the signed report says that it did not pass, was voided since: the other monitor's figures"), "{says:?}");
        let told = store.read().await.unwrap().check_says(&voided).await.unwrap();
        assert!(told[0].contains("its report tells of this check as it was"), "{told:?}");
        let open = now(store, &night).await;
        store.reopen_night(&reader, night.id, open.act, "the check was another's").await.unwrap();
        let report = signed_with(store, &now(store, &night).await, "the check is voided").await;
        assert!(!report.content.contains("did not pass"), "{}", report.content);
        assert_eq!(learnt().await, Vec::<String>::new());
        sound(store).await;
    }

    /// What failed after signing and was voided since stands on no paper, and there is nothing to unlearn.
    async fn a_check_that_failed_and_was_voided_after_signing_leaves_nothing_to_tell(desk) {
        let (loan, night) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        signed_with(store, &night, "").await;
        desk.wait_s(60);
        store.check_and_tell(&clerk, loan.monitor, check(3.87, 5.07, false)).await.unwrap();
        assert_eq!(store.read().await.unwrap().learnt().await.unwrap().len(), 1);
        let last = store.read().await.unwrap().first::<Check>("ORDER BY id DESC LIMIT 1", &[]).await.unwrap();
        store.void_check(&clerk, last.unwrap().id, "typed wrong").await.unwrap();
        assert!(store.read().await.unwrap().learnt().await.unwrap().is_empty());
        sound(store).await;
    }

    async fn a_wound_told_in_a_diary_stands_in_the_morning(desk) {
        let (loan, _) = off_the_monitor(&desk).await;
        let (store, clerk) = (&desk.store, desk_clerk());
        let told = async |skin: &str| {
            let mut answers = vec![String::new(); 11];
            skin.clone_into(&mut answers[10]);
            let form = store::lending::diary::DiaryForm { night_on: "2026-11-25".to_owned(), answers };
            store.enter_diary(&clerk, loan.id, &form).await.unwrap();
            let told = store.read().await.unwrap().skin_of(loan.id).await.unwrap();
            assert_eq!(told, [("2026-11-25".to_owned(), skin.to_owned())]);
            let morning = store.read().await.unwrap().morning(store.now()).await.unwrap();
            morning.skin.into_iter().map(|line| (line.loan.id, line.skin)).collect::<Vec<_>>()
        };
        assert_eq!(told("a little red").await, []);
        let words = "a blister behind the ear".to_owned();
        assert_eq!(told(&words).await, [(loan.id, Some(words))]);
        // Corrected, it was none.
        assert_eq!(told("fine").await, []);
        told("it bled").await;
        desk.wait_s(15 * 86_400);
        let later = store.read().await.unwrap().morning(store.now()).await.unwrap();
        assert!(later.skin.is_empty());
    }
}
