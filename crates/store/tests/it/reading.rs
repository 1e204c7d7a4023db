//! A night judged by hand: nothing anybody did is lost, and nobody overwrites another unseen.

use std::sync::Arc;

use engine::recording::Recording;
use store::error::StoreError;
use store::lending::diary::DiaryForm;
use store::reading::content::Wording;
use store::reading::edit::Change;
use store::reading::late::Late;
use store::reading::remake::Remade;
use store::reading::repeat::Again;
use store::reading::signing::Paper;
use store::reading::standing::Turn;
use store::reading::steps::Step;
use store::reading::steps::Stepped;
use store::record::db::Store;
use store::record::tables::DiaryEntry;
use store::record::tables::Night;
use store::record::tables::Report;
use store::record::tables::Study;
use store::words::NightStatus;
use store::words::Role;
use store::words::StudyStatus;

use crate::full::by;
use crate::morning::csv;
use crate::morning::evening;
use crate::morning::lent;
use crate::morning::receive;
use crate::morning::sound;

struct Read {
    night: Night,
    recording: Arc<Recording>,
}

async fn night(store: &Store) -> Read {
    lent(store, 1, "TC-1042").await;
    let night = receive(store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
    let held = store.read().await.unwrap().held(&night).await.unwrap();
    Read { night, recording: Arc::new(held.recording().unwrap()) }
}

impl Read {
    async fn step(&mut self, store: &Store, step: Step) -> Result<Stepped, StoreError> {
        let (reader, recording) = (by(Role::Physiologist), self.recording.clone());
        let done = store.step(&reader, self.night.id, self.night.act, step, recording).await?;
        self.night = done.night.clone();
        Ok(done)
    }
}

fn exclude(reason: &str) -> Step {
    Step::Change(Change::Judge {
        channels: vec!["spo2".to_owned()],
        from: "01:00".to_owned(),
        until: "02:00:30".to_owned(),
        believe: false,
        reason: reason.to_owned(),
    })
}

fn mark(kind: &str, at: &str, until: Option<&str>) -> Step {
    let (kind, at, until) = (kind.to_owned(), at.to_owned(), until.map(str::to_owned));
    Step::Change(Change::Mark { kind, at, until, text: String::new() })
}

/// The desk enters the first answers of a night's diary: the entry, and what was said of the nights before it.
async fn diary(store: &Store, read: &Read, first: [&str; 3]) -> (DiaryEntry, String) {
    let answers = first.iter().map(|answer| (*answer).to_owned()).collect();
    let form = DiaryForm { night_on: "2026-11-24".to_owned(), answers };
    let entry = store.enter_diary(&by(Role::Desk), read.night.loan.unwrap(), &form).await.unwrap();
    let told = store.read().await.unwrap().diary_says(&entry).await.unwrap();
    (entry, told.join(" "))
}

/// The desk enters a diary by its questions; what is not named is blank.
async fn whole_diary(store: &Store, read: &Read, told: &[(&str, &str)]) -> DiaryEntry {
    let answer = |key: &str| told.iter().find(|(known, _)| *known == key).map_or("", |one| one.1);
    let answers = engine::notes::diary::QUESTIONS.iter().map(|one| answer(one.key).to_owned());
    let form = DiaryForm { night_on: "2026-11-24".to_owned(), answers: answers.collect() };
    store.enter_diary(&by(Role::Desk), read.night.loan.unwrap(), &form).await.unwrap()
}

async fn late(store: &Store, night: &Night) -> Option<Late> {
    store.read().await.unwrap().late_diary(night).await.unwrap()
}

async fn learnt(store: &Store) -> String {
    let all = store.read().await.unwrap().learnt().await.unwrap();
    all.into_iter().flat_map(|one| one.says).collect()
}

async fn reserved(store: &Store, night: &Night) -> String {
    store.read().await.unwrap().reservations(night).await.unwrap().join(" ")
}

fn believed_s(done: &Stepped) -> f64 {
    let spo2 = engine::recording::Quantity::Spo2;
    done.judgement.scores.corrected.screened.trace(spo2).unwrap().believed_s()
}

on_both! {
    async fn a_stretch_excluded_is_out_until_it_is_undone_and_out_again_when_redone(desk) {
        let mut read = night(&desk.store).await;
        let came = read.night.clone();
        let out = read.step(&desk.store, exclude("lay on the ear")).await.unwrap();
        assert_eq!(out.night.status, NightStatus::Reading);
        assert!(out.night.notes.contains("author = \"Some physiologist\""), "{}", out.night.notes);
        let back = read.step(&desk.store, Step::Undo).await.unwrap();
        // 01:00:00 to 02:00:30 at a sample each half minute, by hand: 3 630 s.
        assert!((believed_s(&back) - believed_s(&out) - 3_630.0).abs() < 1e-6);
        assert_eq!(back.night.notes, came.notes);
        let again = read.step(&desk.store, Step::Redo).await.unwrap();
        assert_eq!((again.night.notes.clone(), again.outcome.scores.clone()), (out.night.notes, out.outcome.scores));
        assert!(read.step(&desk.store, Step::Redo).await.unwrap_err().is("nothing_to_redo"));
        let mut conn = desk.store.read().await.unwrap();
        let what: Vec<String> = conn.versions(&again.night).await.unwrap().all.into_iter().map(|one| one.what).collect();
        drop(conn);
        let said = "excluded SpO2 from 01:00 to 02:00:30";
        assert_eq!(what, ["the night as it came".to_owned(), said.to_owned(), format!("undid: {said}"), format!("did again: {said}")]);
        sound(&desk.store).await;
    }

    async fn who_did_not_see_the_other_reader_is_refused_and_loses_nothing(desk) {
        let mut one = night(&desk.store).await;
        let mut two = Read { night: one.night.clone(), recording: one.recording.clone() };
        one.step(&desk.store, exclude("the first reader")).await.unwrap();
        let late = two.step(&desk.store, exclude("the second reader")).await;
        assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
        two.night = desk.store.read().await.unwrap().get(one.night.id).await.unwrap();
        let both = two.step(&desk.store, exclude("the second reader")).await.unwrap();
        assert!(both.night.notes.contains("the first reader") && both.night.notes.contains("the second reader"));
    }

    /// It was entered, kept, and reached nobody.
    async fn r035_a_diary_that_comes_after_its_night_was_judged_is_told_until_it_is_taken_up(desk) {
        let mut read = night(&desk.store).await;
        let store = &desk.store;
        read.step(store, exclude("lay on the ear")).await.unwrap();
        desk.wait_s(3_600);
        let (entry, told) = diary(store, &read, ["22:40", "", "02:10-02:25"]).await;
        assert_eq!(store.read().await.unwrap().get::<Night>(read.night.id).await.unwrap(), read.night);
        assert!(told.contains("its reader is told"), "{told}");
        assert_eq!(reserved(store, &read.night).await, "a diary for this night was entered at 2026-11-25 09:00, after it was judged, and is not taken up: lights out 22:40; out of bed 02:10-02:25");
        read.step(store, mark("lights_out", "22:40", None)).await.unwrap();
        let said = reserved(store, &read.night).await;
        assert!(said.ends_with("is not taken up: out of bed 02:10-02:25"), "{said}");
        read.step(store, mark("up", "02:10", Some("02:25"))).await.unwrap();
        assert_eq!(reserved(store, &read.night).await, "");
        // Signed, the night stays as it is, and what came since is told beside it.
        sign(store, &read, "").await.unwrap();
        let signed: Night = store.read().await.unwrap().get(read.night.id).await.unwrap();
        let (second, told) = diary(store, &read, ["22:40", "05:30", "02:10-02:25"]).await;
        assert_eq!(second.replaces, Some(entry.id));
        assert!(told.contains("is signed and was left as it is"), "{told}");
        let said = reserved(store, &signed).await;
        assert!(said.ends_with("is not taken up: lights on 05:30"), "{said}");
        sound(store).await;
    }

    /// The answers reach the rules, what was done by hand stays, and a correction is taken up like the diary itself.
    async fn a_diary_that_comes_late_is_taken_up_as_a_step_and_so_is_its_correction(desk) {
        let mut read = night(&desk.store).await;
        let store = &desk.store;
        read.step(store, exclude("lay on the ear")).await.unwrap();
        read.step(store, mark("lights_out", "23:10", None)).await.unwrap();
        let told = [("lights_out", "22:40"), ("up", "02:10-02:25"), ("oxygen", "23:30-04:00 2 L/min"), ("representative", "no"), ("breathing", "oxygen"), ("skin", "a blister")];
        whole_diary(store, &read, &told).await;
        let waits = late(store, &read.night).await.unwrap();
        assert_eq!(waits.apart, ["lights out 22:40; by hand it is 23:10, which stays"]);
        let before = reserved(store, &read.night).await;
        assert!(before.contains("is not taken up: lights out 22:40; out of bed 02:10-02:25; oxygen 23:30-04:00 2 L/min; a night like most: no; breathing oxygen; skin: a blister"), "{before}");
        let done = read.step(store, Step::Change(waits.take("2026-11-25 09:00".to_owned()))).await.unwrap();
        assert!(done.version.what.starts_with("took up the diary entered at 2026-11-25 09:00: out of bed"), "{}", done.version.what);
        assert!(done.version.what.ends_with("It differs from what was done by hand: lights out 22:40; by hand it is 23:10, which stays"), "{}", done.version.what);
        let notes = &done.judgement.scores.corrected.screened.notes;
        assert_eq!((notes.representative, notes.breathing.as_deref()), (Some(false), Some("oxygen")));
        assert!(notes.told.iter().any(|one| one.says == "a blister") && notes.edits.len() == 1);
        let kinds: Vec<&str> = notes.marks.iter().map(|mark| mark.kind.id()).collect();
        assert!(kinds.contains(&"oxygen") && kinds.contains(&"up"), "{kinds:?}");
        let report = engine::report::report(&done.judgement, &done.criteria);
        assert_eq!(report.night.breathing.as_deref(), Some("oxygen"));
        assert!(done.night.notes.contains("lights_out = \"23:10\""), "{}", done.night.notes);
        assert_eq!((reserved(store, &read.night).await, late(store, &read.night).await), (String::new(), None));
        read.step(store, Step::Undo).await.unwrap();
        assert_eq!(reserved(store, &read.night).await, before);
        read.step(store, Step::Redo).await.unwrap();
        assert_eq!(reserved(store, &read.night).await, "");
        // Corrected: only what the correction changed waits, and an answer that is gone goes.
        let told = [("lights_out", "22:40"), ("oxygen", "23:30-05:00 2 L/min"), ("representative", "yes"), ("breathing", "oxygen"), ("skin", "a blister")];
        whole_diary(store, &read, &told).await;
        let waits = late(store, &read.night).await.unwrap();
        assert_eq!(waits.says(), "out of bed is told no more; oxygen 23:30-05:00 2 L/min; a night like most: yes");
        let done = read.step(store, Step::Change(waits.take("2026-11-25 09:00".to_owned()))).await.unwrap();
        let notes = &done.judgement.scores.corrected.screened.notes;
        assert_eq!(notes.representative, Some(true));
        assert!(!done.night.notes.contains("\"up\"") && done.night.notes.matches("\"oxygen\"").count() == 2, "{}", done.night.notes);
        assert_eq!(reserved(store, &read.night).await, "");
        sound(store).await;
    }

    async fn a_diary_is_left_out_with_a_reason_that_stays_with_the_night(desk) {
        let mut read = night(&desk.store).await;
        let store = &desk.store;
        read.step(store, exclude("lay on the ear")).await.unwrap();
        whole_diary(store, &read, &[("skin", "a blister")]).await;
        let waits = late(store, &read.night).await.unwrap();
        let unsaid = Step::Change(waits.leave("then".to_owned(), " ".to_owned()));
        assert!(read.step(store, unsaid).await.unwrap_err().is("reason_missing"));
        let left = Step::Change(waits.leave("then".to_owned(), "of another night".to_owned()));
        let done = read.step(store, left).await.unwrap();
        assert_eq!(done.version.because.as_deref(), Some("of another night"));
        assert_eq!(late(store, &read.night).await, None);
        let said = reserved(store, &read.night).await;
        assert!(said.ends_with("was left out (of another night): skin: a blister"), "{said}");
        let report = sign(store, &read, "").await.unwrap();
        assert!(report.content.contains("of another night"), "{}", report.content);
        assert_eq!(learnt(store).await, "");
        // Its correction is another entry, and waits for its own word.
        whole_diary(store, &read, &[("skin", "two blisters")]).await;
        let said = learnt(store).await;
        assert!(said.ends_with("is not taken up: skin: two blisters"), "{said}");
        sound(store).await;
    }

    /// What a paper tells and is so no more is told like what it does not tell.
    async fn a_diary_that_a_paper_tells_and_that_was_corrected_away_is_told(desk) {
        let mut read = night(&desk.store).await;
        let store = &desk.store;
        read.step(store, exclude("lay on the ear")).await.unwrap();
        whole_diary(store, &read, &[("skin", "a blister")]).await;
        let report = sign(store, &read, "").await.unwrap();
        assert!(report.content.contains("a blister"), "{}", report.content);
        assert_eq!(learnt(store).await, "");
        whole_diary(store, &read, &[]).await;
        let said = learnt(store).await;
        assert!(said.contains("was corrected since") && said.ends_with("it told: skin: a blister"), "{said}");
        sound(store).await;
    }

    /// It was refused, kept all the same, and then told as one that came late.
    async fn a_diary_that_is_refused_is_not_kept_and_the_next_is_taken_up(desk) {
        let read = night(&desk.store).await;
        let (loan, who) = (read.night.loan.unwrap(), by(Role::Desk));
        let form = |first: [&str; 3]| DiaryForm { night_on: "2026-11-24".to_owned(), answers: first.map(str::to_owned).to_vec() };
        for (first, code) in [(["22:40", "22:30", ""], "lights_on"), (["22:40", "05:30", "02:25-02:10"], "notes_wrong")] {
            let wrong = desk.store.enter_diary(&who, loan, &form(first)).await.unwrap_err();
            assert!(wrong.is(code), "{wrong}");
        }
        let mut conn = desk.store.read().await.unwrap();
        assert!(conn.diary(loan).await.unwrap().is_empty());
        assert_eq!(conn.get::<Night>(read.night.id).await.unwrap(), read.night);
        drop(conn);
        desk.store.enter_diary(&who, loan, &form(["22:40", "05:30", "none"])).await.unwrap();
        let now: Night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        assert!(now.notes.contains("lights_on = \"05:30\"") && now.notes.contains("says = \"none\""), "{}", now.notes);
        assert_eq!(reserved(&desk.store, &now).await, "");
        sound(&desk.store).await;
    }

    /// What its reader changed in a diary that was there before is the reader's own word.
    async fn a_diary_that_was_there_before_its_reader_is_not_told_again(desk) {
        let mut read = night(&desk.store).await;
        let store = &desk.store;
        let (_, told) = diary(store, &read, ["22:40", "", ""]).await;
        read.night = store.read().await.unwrap().get(read.night.id).await.unwrap();
        assert!(told.is_empty() && read.night.notes.contains("lights_out = \"22:40\""), "{}", read.night.notes);
        assert_eq!(reserved(store, &read.night).await, "");
        read.step(store, mark("lights_out", "23:10", None)).await.unwrap();
        assert_eq!(reserved(store, &read.night).await, "");
    }

    async fn a_change_that_cannot_be_placed_writes_nothing(desk) {
        let mut read = night(&desk.store).await;
        let before = read.night.clone();
        for wrong in [exclude(" "), Step::Undo, Step::Change(Change::Remove { entry: 0 }), Step::Change(Change::BloodGas { at: "07:00".to_owned(), pco2: 45.0, mmhg: false, beside: store::reading::edit::Beside::Ask })] {
            assert!(matches!(read.step(&desk.store, wrong).await, Err(StoreError::Refused(_))));
        }
        let clerk = desk.store.step(&by(Role::Desk), before.id, before.act, Step::Undo, read.recording.clone()).await;
        assert!(clerk.unwrap_err().is("not_yours_to_read"));
        assert_eq!(desk.store.read().await.unwrap().get::<Night>(before.id).await.unwrap(), before);
    }

    async fn a_report_is_signed_interpreted_amended_and_withdrawn_each_as_a_version(desk) {
        let mut read = night(&desk.store).await;
        let first = sign(&desk.store, &read, "").await.unwrap();
        assert_eq!((first.version, first.signed_by.as_deref(), first.because.as_deref()), (1, Some("physiologist"), None));
        assert!(read.step(&desk.store, exclude("too late")).await.is_err());
        read.night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        assert!(read.step(&desk.store, exclude("signed")).await.unwrap_err().is("night_signed"));
        let second = interpret(&desk.store, &read, Role::Physician).await.unwrap();
        assert_eq!((second.version, second.replaces, second.signed_by.as_deref()), (2, Some(first.id), Some("physiologist")));
        let study: Study = desk.store.read().await.unwrap().get(read.night.study.unwrap()).await.unwrap();
        assert_eq!(study.status, StudyStatus::Reported);
        read.night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        read.night = desk.store.reopen_night(&by(Role::Physician), read.night.id, read.night.act, "the diary came late").await.unwrap();
        read.step(&desk.store, exclude("the diary says so")).await.unwrap();
        assert_eq!(desk.store.read().await.unwrap().words_so_far(&read.night).await.unwrap(), ("Good night.".to_owned(), Some((2, "As expected.".to_owned()))));
        assert!(sign(&desk.store, &read, " ").await.unwrap_err().is("change_not_said"));
        let third = sign(&desk.store, &read, "an hour of SpO2 is left out").await.unwrap();
        assert_eq!((third.version, third.replaces, third.interpreted_by.as_deref()), (3, Some(second.id), None));
        read.night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        let gone = desk.store.withdraw_report(&by(Role::Physician), read.night.id, read.night.act, "the wrong patient").await.unwrap();
        assert_eq!((gone.version, gone.pdf_sha256, gone.withdrawn_at.is_some()), (4, None, true));
        let mut conn = desk.store.read().await.unwrap();
        assert_eq!(conn.bytes(first.pdf_sha256.as_deref().unwrap()).await.unwrap(), b"%PDF 1");
        for (version, word, says) in [(&first, "WITHDRAWN", "Replaced by version 2"), (&third, "WITHDRAWN", "Version 3 was withdrawn on")] {
            let stamp = conn.stamp(version).await.unwrap().unwrap();
            assert_eq!(stamp.word, word);
            assert!(stamp.says.contains(says) && stamp.says.contains("the wrong patient") && stamp.says.contains("physician"), "{}", stamp.says);
            assert!(stamp.says.contains("No version stands in its place."), "{}", stamp.says);
        }
        drop(conn);
        sound(&desk.store).await;
    }

    async fn a_signed_report_is_made_again_whatever_was_adopted_and_judged_since(desk) {
        let mut read = night(&desk.store).await;
        sign(&desk.store, &read, "").await.unwrap();
        let then = remade(&desk.store, &read, 1).await;
        assert!(then.is_signed(b"%PDF 1") && !then.is_signed(b"%PDF 2"));
        assert_eq!(then.heading.comment, ["Good night."]);
        adopt(&desk.store).await;
        read.night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        read.night = desk.store.reopen_night(&by(Role::Physician), read.night.id, read.night.act, "the diary came late").await.unwrap();
        let kept = read.step(&desk.store, exclude("the diary says so")).await.unwrap();
        assert_eq!(kept.criteria.version, then.report.provenance.criteria_version, "a minute brings no other thresholds");
        let chosen = Step::Change(Change::Criteria { name: "adult-air".to_owned() });
        let taken = read.step(&desk.store, chosen).await.unwrap();
        assert_eq!(taken.criteria.version, "ours 2");
        let undone = read.step(&desk.store, Step::Undo).await.unwrap();
        assert_eq!(undone.criteria, kept.criteria);
        sign(&desk.store, &read, "an hour of SpO2 is left out").await.unwrap();
        let again = remade(&desk.store, &read, 1).await;
        assert_eq!((again.report, again.heading), (then.report.clone(), then.heading));
        assert_ne!(remade(&desk.store, &read, 2).await.report, then.report);
        let none = desk.store.read().await.unwrap().remade(read.night.id, Some(3)).await;
        assert!(none.unwrap_err().is("no_report"));
        sound(&desk.store).await;
    }

    async fn a_night_is_repeated_in_one_act_and_waits_again_when_that_loan_is_cancelled(desk) {
        let read = night(&desk.store).await;
        crate::made::ready(&desk.store, "TC-1043").await;
        let (clerk, day) = (by(Role::Physiologist), crate::made::day("2026-12-01"));
        let again = |reason: &str| Again { first_night_on: day, nights: 1, monitor: None, reason: reason.to_owned() };
        let (id, seen) = (read.night.id, read.night.act);
        assert!(desk.store.repeat_night(&clerk, id, seen, again(" ")).await.unwrap_err().is("reason_missing"));
        let loan = desk.store.repeat_night(&clerk, id, seen, again("the sensor came off at one")).await.unwrap();
        assert_eq!((loan.repeats_night, loan.repeats_because.as_deref()), (Some(id), Some("the sensor came off at one")));
        let mut conn = desk.store.read().await.unwrap();
        assert!(conn.nights_waiting().await.unwrap().is_empty());
        assert_eq!(conn.repeated().await.unwrap()[0].loan, loan);
        let now: Night = conn.get(id).await.unwrap();
        drop(conn);
        assert!(desk.store.repeat_night(&clerk, id, seen, again("once more")).await.is_err(), "seen before the booking");
        assert!(desk.store.repeat_night(&clerk, id, now.act, again("once more")).await.unwrap_err().is("repeated"));
        desk.store.cancel(&clerk, loan.id, "away that week").await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        assert_eq!(conn.nights_waiting().await.unwrap().len(), 1);
        assert!(conn.repeated().await.unwrap().is_empty());
        let study: Study = conn.get(loan.study).await.unwrap();
        assert_eq!(study.status, StudyStatus::ToRead);
        drop(conn);
        sound(&desk.store).await;
    }

    async fn nobody_signs_outside_their_role(desk) {
        let mut read = night(&desk.store).await;
        assert!(interpret(&desk.store, &read, Role::Physician).await.unwrap_err().is("no_report"));
        sign(&desk.store, &read, "").await.unwrap();
        read.night = desk.store.read().await.unwrap().get(read.night.id).await.unwrap();
        assert!(interpret(&desk.store, &read, Role::Physiologist).await.unwrap_err().is("not_yours_to_sign"));
        let clerk = desk.store.withdraw_report(&by(Role::Desk), read.night.id, read.night.act, "x").await;
        assert!(clerk.unwrap_err().is("not_yours_to_sign"));
    }
}

on_both! {
    /// Whoever acted upon a paper must see wherever its night stands that the paper does not.
    async fn r005_what_became_of_a_report_is_told_beside_its_night(desk) {
        let (store, reader) = (&desk.store, by(Role::Physiologist));
        let mut read = night(store).await;
        let became = async || {
            let mut conn = store.read().await.unwrap();
            let night: Night = conn.get(1).await.unwrap();
            let beside = conn.beside(std::slice::from_ref(&night)).await.unwrap();
            let became = beside.became(&night).map(|one| (one.what, one.says, one.because));
            (night, became)
        };
        assert_eq!(became().await.1, None);
        sign(store, &read, "").await.unwrap();
        read.night = became().await.0;
        interpret(store, &read, Role::Physician).await.unwrap();
        assert_eq!(became().await.1, None, "an interpretation takes nothing back");
        read.night = became().await.0;
        store.reopen_night(&reader, read.night.id, read.night.act, "the wrong question").await.unwrap();
        let (night, open) = became().await;
        assert_eq!(open.map(|one| one.0), Some(Turn::OpenAgain));
        read.night = night;
        desk.wait_s(60);
        sign(store, &read, "the question").await.unwrap();
        let (night, replaced) = became().await;
        let (what, says, _) = replaced.unwrap();
        assert!(what == Turn::Replaced && says.starts_with("version 3 of the report stands; it replaced version 2"), "{says}");
        store.withdraw_report(&reader, night.id, night.act, "another patient's night").await.unwrap();
        let (night, withdrawn) = became().await;
        let (what, says, because) = withdrawn.unwrap();
        assert!(what == Turn::Withdrawn && says.starts_with("version 3 of the report was withdrawn on "), "{says}");
        assert!(says.contains(" by physiologist") && because == "another patient's night", "{says}");
        read.night = night;
        desk.wait_s(60);
        assert_eq!(store.read().await.unwrap().words_so_far(&read.night).await.unwrap(), ("Good night.".to_owned(), None), "nobody begins from words that were withdrawn");
        let report = sign(store, &read, "read again").await.unwrap();
        let (what, says, _) = became().await.1.unwrap();
        assert!(what == Turn::SignedAnew && says.contains("version 5 of the report stands; version 3 was withdrawn"), "{says}");
        // The new paper says on its first page which version it replaces and why.
        let content: store::reading::content::Content = serde_json::from_str(&report.content).unwrap();
        assert_eq!(content.replaces, "in place of version 3, which was withdrawn: read again");
        assert!(content.withdrawn.len() == 1 && content.withdrawn[0].0 == "version 3", "{:?}", content.withdrawn);
        let first = content.heading().reservations[0].clone();
        assert!(first.starts_with("version 3 of this report was withdrawn on ") && first.ends_with(": another patient's night; this one takes its place"), "{first}");
    }

    /// A list of many nights asks the database as often as a list of one.
    async fn what_stands_beside_nights_is_read_for_all_of_them_at_once(desk) {
        let store = &desk.store;
        let asked = async || {
            let mut conn = store.read().await.unwrap();
            let work = async {
                let lines = conn.nights_waiting().await.unwrap();
                let nights: Vec<Night> = lines.into_iter().map(|line| line.night).collect();
                conn.asked_of(&nights.iter().collect::<Vec<_>>()).await.unwrap();
                let beside = conn.beside(&nights).await.unwrap();
                for night in &nights {
                    drop(beside.reservations(night));
                }
                nights.len()
            };
            store::record::db::counted(work).await
        };
        night(store).await;
        let (one, few) = asked().await;
        for n in 2..6 {
            lent(store, n, &format!("TC-{n}042")).await;
            receive(store, &format!("TC-{n}042.csv"), [csv(evening(), 8), format!("# {n}\n").into_bytes()].concat()).await;
        }
        let (all, many) = asked().await;
        assert!(one == 1 && all == 5 && few == many && many < 26, "{one}: {few}, {all}: {many}");
    }
}

async fn sign(store: &Store, read: &Read, changed: &str) -> Result<Report, StoreError> {
    let reader = by(Role::Physiologist);
    let words = Wording::Comment("Good night.".to_owned());
    let mut conn = store.read().await?;
    let content = conn.to_sign(&read.night, &reader, store.now(), &words, changed).await?;
    drop(conn);
    assert_eq!(content.heading().comment, ["Good night."]);
    let shown = content.shown(&words);
    let paper = Paper { content: &content, shown: &shown, changed, pdf: b"%PDF 1" };
    store.sign_report(&reader, read.night.id, read.night.act, &paper).await
}

async fn interpret(store: &Store, read: &Read, role: Role) -> Result<Report, StoreError> {
    let words = Wording::Interpretation("As expected.".to_owned());
    let mut conn = store.read().await?;
    let content = conn.to_sign(&read.night, &by(role), store.now(), &words, "").await?;
    drop(conn);
    let shown = content.shown(&words);
    let paper = Paper { content: &content, shown: &shown, changed: "", pdf: b"%PDF 2" };
    store.interpret_report(&by(role), read.night.id, read.night.act, &paper).await
}

async fn remade(store: &Store, read: &Read, version: i64) -> Remade {
    store.read().await.unwrap().remade(read.night.id, Some(version)).await.unwrap()
}

/// The department takes up a text of its own under the name of a shipped set.
async fn adopt(store: &Store) {
    let shipped = engine::criteria::shipped_text("adult-air").unwrap();
    let (head, rest) = shipped.split_once("version = ").unwrap();
    let (_, rest) = rest.split_once('\n').unwrap();
    let ours = format!("{head}version = \"ours 2\"\n{rest}");
    store.put_setting(&by(Role::Physiologist), "criteria:adult-air", &ours).await.unwrap();
}
