//! A second, blind reading: drawn so that it can be drawn again, kept from the first, laid beside it at the end.

use std::sync::Arc;

use engine::recording::Recording;
use store::error::StoreError;
use store::reading::edit::Change;
use store::reading::edit::head_key;
use store::reading::second::DrawForm;
use store::reading::steps::Step;
use store::record::act::Author;
use store::record::db::Store;
use store::record::tables::Night;
use store::record::tables::SecondReading;
use store::words::Role;

use crate::full::by;
use crate::morning::csv;
use crate::morning::evening;
use crate::morning::lent;
use crate::morning::receive;
use crate::morning::sound;

fn second_reader() -> Author {
    let (login, name) = ("candle".to_owned(), "Cora Candle".to_owned());
    Author { login, name, ..by(Role::Physiologist) }
}

fn exclude(from: &str, until: &str) -> Step {
    Step::Change(Change::Judge {
        channels: vec!["spo2".to_owned()],
        from: from.to_owned(),
        until: until.to_owned(),
        believe: false,
        reason: "lay on the ear".to_owned(),
    })
}

/// A night of which the first reader excluded 01:00 to 02:00.
async fn read_once(store: &Store) -> (Night, Arc<Recording>) {
    lent(store, 1, "TC-1042").await;
    let night = receive(store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
    let held = store.read().await.unwrap().held(&night).await.unwrap();
    let recording = Arc::new(held.recording().unwrap());
    let step = exclude("01:00", "02:00");
    let done =
        store.step(&by(Role::Physiologist), night.id, night.act, step, recording.clone()).await;
    (done.unwrap().night, recording)
}

async fn draw(store: &Store, seed: &str) -> Result<Vec<SecondReading>, StoreError> {
    let form = DrawForm {
        asked: 5,
        from: "2026-11-24".to_owned(),
        to: "2026-11-24".to_owned(),
        seed: seed.to_owned(),
    };
    store.draw_second(&by(Role::Physiologist), form, &jiff::tz::TimeZone::UTC).await
}

async fn night_of(store: &Store, id: i64) -> Night {
    store.read().await.unwrap().get(id).await.unwrap()
}

on_both! {
    async fn a_second_reading_starts_as_the_night_came_and_never_touches_it(desk) {
        let (night, recording) = read_once(&desk.store).await;
        let drawn = draw(&desk.store, "lullaby").await.unwrap().remove(0);
        assert_eq!(drawn.draw.0.as_ref().unwrap().taken(), [night.id], "it can be drawn again");
        let reader = second_reader();
        let begun = desk.store.begin_second(&reader, drawn.id).await.unwrap();
        assert!(!begun.text().contains("exclude"), "{}", begun.text());
        assert_eq!(begun.text(), desk.store.read().await.unwrap().versions(&night).await.unwrap().all[0].text);
        assert_eq!((begun.seen_before, head_key(begun.text(), "question")), (0, head_key(&night.notes, "question")));
        let step = async |seen: i64, step: Step| desk.store.step_second(&reader, begun.id, seen, step, recording.clone()).await;
        let one = step(begun.act, exclude("01:30", "02:30")).await.unwrap().reading;
        let back = step(one.act, Step::Undo).await.unwrap().reading;
        assert_eq!((back.text(), back.undo(), back.redo()), (begun.text(), None, one.undo()));
        assert_eq!(back.scores, begun.scores);
        let again = step(back.act, Step::Redo).await.unwrap().reading;
        assert_eq!((again.text(), &again.scores), (one.text(), &one.scores));
        assert!(step(again.act, Step::Redo).await.unwrap_err().is("nothing_to_redo"));
        assert!(step(again.act, Step::Change(Change::Question { id: "hypoventilation".to_owned() })).await.unwrap_err().is("second_fixed"));
        assert!(matches!(step(begun.act, Step::Undo).await, Err(StoreError::Changed { .. })));
        let done = desk.store.finish_second(&reader, begun.id, again.act).await.unwrap();
        let pair = done.pair.0.clone().unwrap();
        assert_eq!(pair.unlike, None);
        // The first excluded 01:00 to 02:00, the second 01:30 to 02:30, by hand: half an hour both, half an hour each alone.
        let spo2 = pair.seconds.iter().find(|(channel, _)| channel == "spo2").unwrap().1;
        assert_eq!(spo2[1..], [1_800.0, 1_800.0, 1_800.0]);
        assert!(step(done.act, Step::Undo).await.unwrap_err().is("second_over"));
        assert!(desk.store.withdraw_second(&reader, done.id, done.act, "second thoughts").await.unwrap_err().is("second_over"));
        assert_eq!(night_of(&desk.store, night.id).await, night, "the night is as it was");
        assert_eq!(desk.store.read().await.unwrap().agreement().await.unwrap().pairs, [pair]);
        sound(&desk.store).await;
    }

    async fn who_reads_blind_is_refused_the_first_reading_until_it_is_over(desk) {
        let (night, recording) = read_once(&desk.store).await;
        let first = by(Role::Physiologist);
        let drawn = desk.store.pick_second(&first, night.id).await.unwrap();
        assert!(desk.store.pick_second(&first, night.id).await.unwrap_err().is("second_there"));
        assert!(draw(&desk.store, "x").await.unwrap_err().is("draw_wrong"), "no other night is there");
        assert!(desk.store.begin_second(&first, drawn.id).await.unwrap_err().is("first_reader"));
        // Under another name they are the first reader still.
        let renamed = Author { name: "Renamed Meanwhile".to_owned(), ..first.clone() };
        assert!(desk.store.begin_second(&renamed, drawn.id).await.unwrap_err().is("first_reader"));
        assert!(desk.store.begin_second(&by(Role::Physician), drawn.id).await.unwrap_err().is("not_yours_to_read"));
        let reader = second_reader();
        desk.store.looked(&reader, format!("night {}", night.id), night.person, serde_json::json!(null)).await.unwrap();
        let begun = desk.store.begin_second(&reader, drawn.id).await.unwrap();
        assert_eq!(begun.seen_before, 1, "it is told that the night was open before");
        assert!(desk.store.begin_second(&second_reader(), drawn.id).await.unwrap_err().is("second_taken"));
        let blind = desk.store.step(&reader, night.id, night.act, Step::Undo, recording.clone()).await;
        assert!(blind.unwrap_err().is("read_blind"));
        let mut conn = desk.store.read().await.unwrap();
        assert!(conn.not_blind(&reader.login, night.id).await.unwrap_err().is("read_blind"));
        assert!(conn.not_blind(&first.login, night.id).await.is_ok());
        assert!(conn.second_waiting(&first).await.unwrap().is_empty());
        drop(conn);
        let theirs = desk.store.step_second(&first, begun.id, begun.act, exclude("03:00", "04:00"), recording).await;
        assert!(theirs.unwrap_err().is("not_yours_to_read"));
        assert!(desk.store.withdraw_second(&reader, begun.id, begun.act, " ").await.unwrap_err().is("reason_missing"));
        desk.store.withdraw_second(&reader, begun.id, begun.act, "I knew the patient").await.unwrap();
        assert!(desk.store.read().await.unwrap().not_blind(&reader.login, night.id).await.is_ok());
        assert_eq!(draw(&desk.store, "x").await.unwrap().len(), 1, "it can be drawn again");
        sound(&desk.store).await;
    }

    async fn a_night_nobody_read_is_not_chosen_and_one_asked_something_else_is_not_counted(desk) {
        lent(&desk.store, 7, "TC-7042").await;
        let unread = receive(&desk.store, "TC-7042.csv", csv(evening(), 7)).await.nights.remove(0);
        assert!(desk.store.pick_second(&by(Role::Physiologist), unread.id).await.unwrap_err().is("no_first_reading"));
        let (night, recording) = read_once(&desk.store).await;
        let drawn = draw(&desk.store, "lullaby").await.unwrap().remove(0);
        let begun = desk.store.begin_second(&second_reader(), drawn.id).await.unwrap();
        let other = Step::Change(Change::Criteria { name: "adult-ventilation".to_owned() });
        desk.store.step(&by(Role::Physiologist), night.id, night.act, other, recording).await.unwrap();
        let done = desk.store.finish_second(&second_reader(), begun.id, begun.act).await.unwrap();
        assert!(done.pair.0.unwrap().unlike.unwrap().contains("other criteria"));
        let agreement = desk.store.read().await.unwrap().agreement().await.unwrap();
        assert_eq!((agreement.pairs.len(), agreement.unlike), (0, 1));
    }
}
