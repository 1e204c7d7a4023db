//! Nights of one person beside each other: each side is judged as it was asked for, nobody else's gets in, and
//! nothing is written.

use std::sync::Arc;

use engine::recording::Quantity;
use store::reading::compare::Choice;
use store::reading::compare::MOST;
use store::reading::compare::Side;
use store::reading::edit::Change;
use store::reading::steps::Step;
use store::record::db::Store;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::words::NightStatus;
use store::words::Role;

use crate::full::by;
use crate::morning::csv;
use crate::morning::evening;
use crate::morning::lent;
use crate::morning::receive;
use crate::morning::sound;

fn of(night: i64) -> Choice {
    Choice { night, version: None, criteria: None }
}

/// Two nights of one person: a loan of two nights, the second a day later.
async fn two(store: &Store) -> (Loan, Night, Night) {
    let loan = lent(store, 1, "TC-1042").await;
    let first = receive(store, "TC-1042 a.csv", csv(evening(), 8)).await.nights.remove(0);
    let next_day = evening() + jiff::SignedDuration::from_hours(24);
    let mut second = receive(store, "TC-1042 b.csv", csv(next_day, 7)).await.nights.remove(0);
    if second.status == NightStatus::Untied {
        let why = "lent for a second night, told by telephone";
        store.settle_night(&by(Role::Physiologist), second.id, loan.id, why).await.unwrap();
        second = crate::settle::agreed(store, second.id).await;
    }
    (loan, first, second)
}

async fn exclude(store: &Store, night: &Night) -> Night {
    let held = store.read().await.unwrap().held(night).await.unwrap();
    let recording = Arc::new(held.recording().unwrap());
    let step = Step::Change(Change::Judge {
        channels: vec!["spo2".to_owned()],
        from: "01:00".to_owned(),
        until: "02:00".to_owned(),
        believe: false,
        reason: "lay on the ear".to_owned(),
    });
    store.step(&by(Role::Physiologist), night.id, night.act, step, recording).await.unwrap().night
}

fn believed_s(side: &Side) -> f64 {
    side.judgement.scores.corrected.screened.trace(Quantity::Spo2).unwrap().believed_s()
}

on_both! {
    async fn two_nights_of_a_person_are_judged_beside_each_other_and_nothing_is_written(desk) {
        let (loan, first, second) = two(&desk.store).await;
        let mut conn = desk.store.read().await.unwrap();
        let acts = conn.number("SELECT COUNT(*) FROM act", &[]).await.unwrap();
        let nights: Vec<i64> = conn.comparable(loan.person).await.unwrap().into_iter().map(|one| one.night.id).collect();
        assert_eq!(nights, [second.id, first.id], "the latest first");
        drop(conn);
        let sides = desk.store.beside(loan.person, vec![of(first.id), of(second.id)]).await.unwrap();
        let hours: Vec<f64> = sides.iter().map(|side| side.recording.duration_s / 3600.0).collect();
        assert_eq!(hours, [8.0, 7.0]);
        let kept = desk.store.read().await.unwrap().get::<store::record::tables::Outcome>(first.result.unwrap()).await.unwrap();
        assert_eq!(engine::print::json(&sides[0].judgement), kept.scores, "judged as the night itself is");
        assert_eq!((sides[0].monitor.as_deref(), sides[0].reader()), (Some("M-0001-X"), None));
        assert_eq!(desk.store.read().await.unwrap().number("SELECT COUNT(*) FROM act", &[]).await.unwrap(), acts);
        sound(&desk.store).await;
    }

    async fn a_version_and_a_set_of_criteria_make_a_side_of_their_own(desk) {
        let (loan, first, _) = two(&desk.store).await;
        let now = exclude(&desk.store, &first).await;
        let versions = desk.store.read().await.unwrap().versions(&now).await.unwrap().all;
        let came = Choice { version: Some(versions[0].id), ..of(first.id) };
        let other = Choice { criteria: Some("adult-ventilation".to_owned()), ..of(first.id) };
        let sides = desk.store.beside(loan.person, vec![of(first.id), came, other]).await.unwrap();
        // 01:00 to 02:00 at a sample each half minute, by hand: 3 600 s.
        assert!((believed_s(&sides[1]) - believed_s(&sides[0]) - 3_600.0).abs() < 1e-6);
        assert_eq!(sides.iter().map(|side| side.reader()).collect::<Vec<_>>(), [Some("Some physiologist"), None, Some("Some physiologist")]);
        assert_eq!(sides.iter().map(|side| side.holds).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!(sides[2].judgement.criteria.name, "adult-ventilation");
        assert!(Arc::ptr_eq(&sides[0].recording, &sides[1].recording), "one night is read once");
    }

    async fn what_is_not_the_persons_or_not_there_is_refused(desk) {
        let (loan, first, second) = two(&desk.store).await;
        let stranger = lent(&desk.store, 2, "TC-2042").await;
        let theirs = receive(&desk.store, "TC-2042.csv", csv(evening(), 6)).await.nights.remove(0);
        let refused = async |choices: Vec<Choice>, code: &str| {
            let error = desk.store.beside(loan.person, choices).await.unwrap_err();
            assert!(error.is(code), "{code}: {error:?}");
        };
        refused(vec![of(first.id), of(theirs.id)], "other_person").await;
        let versions = [Choice { version: Some(987), ..of(first.id) }];
        refused(versions.to_vec(), "version_unknown").await;
        let sets = [Choice { criteria: Some("nowhere".to_owned()), ..of(first.id) }];
        refused(sets.to_vec(), "criteria_unknown").await;
        refused(vec![of(first.id); MOST + 1], "too_many_sides").await;
        let untied = receive(&desk.store, "nobody.csv", csv(evening(), 5)).await.nights.remove(0);
        assert_eq!(untied.status, NightStatus::Untied);
        refused(vec![of(untied.id)], "night_untied").await;
        desk.store.set_night_aside(&by(Role::Physiologist), second.id, "a test of the battery").await.unwrap();
        refused(vec![of(first.id), of(second.id)], "night_set_aside").await;
        let mut conn = desk.store.read().await.unwrap();
        assert_eq!(conn.comparable(loan.person).await.unwrap().len(), 1);
        assert_eq!(conn.comparable(stranger.person).await.unwrap().len(), 1);
    }
}
