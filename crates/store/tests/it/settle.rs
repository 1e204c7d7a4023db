//! Whose night it is when not all agrees: nothing ties itself against a doubt, and no single person does.

use jiff::SignedDuration;
use jiff::ToSpan as _;
use store::intake::receive::Incoming;
use store::reading::content::Wording;
use store::reading::signing::Paper;
use store::record::act::Author;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Person;
use store::record::tables::Report;
use store::record::tables::Tie;
use store::words::NightStatus;
use store::words::Role;
use store::words::TieStatus;

use crate::full;
use crate::full::by;
use crate::morning::csv;
use crate::morning::evening;
use crate::morning::lent;
use crate::morning::lent_as;
use crate::morning::receive;
use crate::morning::sound;

const DAY_S: i64 = 86_400;

/// A second person who may settle nights.
pub(crate) fn other() -> Author {
    Author { login: "other".to_owned(), name: "Another One".to_owned(), ..by(Role::Physiologist) }
}

/// The second person agrees to what is proposed for a night.
pub(crate) async fn agreed(store: &Store, night: i64) -> Night {
    let tie = store.read().await.unwrap().proposal(night).await.unwrap().unwrap();
    store.confirm_tie(&other(), tie.id, "compared with the diary").await.unwrap()
}

async fn now(store: &Store, night: &Night) -> Night {
    store.read().await.unwrap().get(night.id).await.unwrap()
}

fn days_back(days: i64) -> impl FnOnce(&mut Loan) {
    move |loan| {
        let first: jiff::civil::Date = loan.first_night_on.parse().unwrap();
        loan.first_night_on = (first - days.days()).to_string();
        loan.out_at = loan.out_at.map(|at| at - days * DAY_S);
        loan.back_at = loan.back_at.map(|at| at - days * DAY_S);
    }
}

fn with_head(head: &str, bytes: &[u8]) -> Vec<u8> {
    [head.as_bytes(), bytes].concat()
}

/// Signs the night technically as it stands.
async fn signed(store: &Store, night: &Night) -> Report {
    signed_with(store, night, "").await
}

/// The same with what changed since the version before.
pub(crate) async fn signed_with(store: &Store, night: &Night, changed: &str) -> Report {
    let words = Wording::Comment("slept badly, her words".to_owned());
    let reader = by(Role::Physiologist);
    let mut conn = store.read().await.unwrap();
    let content = conn.to_sign(night, &reader, store.now(), &words, changed).await.unwrap();
    drop(conn);
    let shown = content.shown(&words);
    let paper = Paper { content: &content, shown: &shown, changed, pdf: b"%PDF" };
    store.sign_report(&reader, night.id, night.act, &paper).await.unwrap()
}

on_both! {
    /// The clock has the right time of day and stands one day behind, the desk noted nought, and the loan before
    /// was closed without a night.
    async fn r018_a_clock_a_day_behind_gives_nobody_the_night_of_the_loan_before(desk) {
        let child = lent_as(&desk.store, 1, "TC-1042", days_back(1)).await;
        let adult = lent(&desk.store, 2, "TC-1042").await;
        let found = receive(&desk.store, "TC-1042.csv", csv(evening() - 1.day(), 8)).await;
        let night = &found.nights[0];
        assert_eq!((night.status, night.loan), (NightStatus::Untied, None));
        assert!(night.doubts.0[0].contains("lent again since, as loan L-00002-X"), "{:?}", night.doubts.0);
        // By hand the page shows both, and neither is tied by one person.
        let all = desk.store.candidates(night, "").await.unwrap();
        assert_eq!(all.loans.len(), 2);
        assert!(all.loans.iter().all(|one| !one.weighed.against.is_empty()));
        for loan in [child.id, adult.id] {
            let alone = desk.store.settle_night(&by(Role::Physiologist), night.id, loan, "by the label").await.unwrap();
            assert_eq!((alone.status, alone.loan), (NightStatus::Untied, None));
            let tie = desk.store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
            desk.store.decline_tie(&by(Role::Physiologist), tie.id, "not sure").await.unwrap();
        }
        sound(&desk.store).await;
    }

    /// Only what could own the night is listed: by time, or by the monitor the file names. Another loan is found by
    /// a number of it, and shown with what speaks against it.
    async fn only_loans_that_could_own_a_night_are_listed_and_others_are_found_by_a_number(desk) {
        let own = lent(&desk.store, 1, "TC-1042").await;
        let same_time = lent(&desk.store, 2, "TC-2042").await;
        let before = lent_as(&desk.store, 3, "TC-3042", days_back(5)).await;
        let earlier = lent_as(&desk.store, 4, "TC-4042", days_back(9)).await;
        let file = Incoming { name: "export.csv".to_owned(), bytes: csv(evening(), 8), ..Incoming::default() };
        let night = desk.store.receive(&by(Role::Desk), file).await.unwrap().nights.remove(0);
        let of = async |find: &str| {
            let all = desk.store.candidates(&night, find).await.unwrap();
            let mut ids: Vec<i64> = all.loans.iter().map(|one| one.loan.id).collect();
            ids.sort_unstable();
            (ids, all.sought)
        };
        assert_eq!(of("").await, (vec![own.id, same_time.id], vec![]));
        for number in [before.mark.as_str(), "TC-3042"] {
            let (ids, sought) = of(number).await;
            assert_eq!((ids, sought), (vec![own.id, same_time.id, before.id], vec![before.id]), "{number}");
        }
        let person: store::record::tables::Person = desk.store.read().await.unwrap().get(earlier.person).await.unwrap();
        assert_eq!(of(&person.mrn).await.1, [earlier.id]);
        assert_eq!(of("L-99999-X").await.1, Vec::<i64>::new());
        let all = desk.store.candidates(&night, &before.mark).await.unwrap();
        let found = all.loans.iter().find(|one| one.loan.id == before.id).unwrap();
        assert!(found.weighed.against.iter().any(|says| says.contains("does not lie within")), "{:?}", found.weighed);
        // A file that names a monitor lists that monitor's loans too.
        let named = receive(&desk.store, "TC-3042 again.csv", csv(evening() - 1.day(), 8)).await.nights.remove(0);
        let all = desk.store.candidates(&named, "").await.unwrap();
        assert_eq!(all.loans.iter().map(|one| one.loan.id).collect::<Vec<_>>(), [before.id]);
    }

    async fn r034_a_file_without_a_serial_ties_to_nobody_and_stops_nobodys_true_file(desk) {
        let lantern = lent(&desk.store, 1, "TC-1042").await;
        let bolster = lent(&desk.store, 2, "TC-2042").await;
        let file = Incoming { name: "export.csv".to_owned(), bytes: csv(evening(), 8), taken_off: Some(bolster.monitor), ..Incoming::default() };
        let strange = desk.store.receive(&by(Role::Desk), file).await.unwrap();
        assert_eq!(strange.nights[0].status, NightStatus::Untied);
        let own = receive(&desk.store, "TC-2042.csv", csv(evening() + SignedDuration::from_secs(60), 8)).await;
        assert_eq!((own.nights[0].loan, own.nights[0].doubts.0.len()), (Some(bolster.id), 0));
        let other = receive(&desk.store, "TC-1042.csv", csv(evening() + SignedDuration::from_secs(90), 8)).await;
        assert_eq!(other.nights[0].loan, Some(lantern.id));
    }

    async fn s001_a_tie_against_serial_and_time_is_made_by_two_people_and_stands_on_the_report(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let wrong = lent_as(&desk.store, 2, "TC-2042", |loan| {
            loan.out_at = Some(crate::both::MORNING - 60);
            "2026-11-25".clone_into(&mut loan.first_night_on);
        }).await;
        let night = receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        let store = &desk.store;
        let first = by(Role::Physiologist);
        let program = Author::program();
        let known = store.make_account_with(&program, &first.login, &first.name, first.role, "seven quiet lanterns");
        known.await.unwrap();
        let night = store.untie_night(&first, night.id, "bags were mixed up").await.unwrap();
        let proposed = store.settle_night(&first, night.id, wrong.id, "the bag said so").await.unwrap();
        assert_eq!((proposed.status, proposed.person), (NightStatus::Untied, None));
        let tie = store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
        assert_eq!(tie.against.0.len(), 2, "{:?}", tie.against.0);
        assert!(store.settle_night(&other(), night.id, wrong.id, "again").await.unwrap_err().is("tie_proposed"));
        assert!(store.confirm_tie(&first, tie.id, "me again").await.unwrap_err().is("same_person"));
        let twin = Author { login: "twin".to_owned(), ..first.clone() };
        assert!(store.confirm_tie(&twin, tie.id, "me by another account").await.unwrap_err().is("same_person"));
        for role in [Role::Desk, Role::Physician, Role::Governance] {
            assert!(store.confirm_tie(&by(role), tie.id, "yes").await.unwrap_err().is("not_yours_to_settle"), "{role}");
        }
        assert!(store.confirm_tie(&other(), tie.id, " ").await.unwrap_err().is("reason_missing"));
        let tied = store.confirm_tie(&other(), tie.id, "she wore it in the day").await.unwrap();
        assert_eq!((tied.loan, tied.settled_by.as_deref()), (Some(wrong.id), Some("physiologist")));
        assert!(store.confirm_tie(&other(), tie.id, "once more").await.unwrap_err().is("not_proposed"));
        let mut conn = store.read().await.unwrap();
        let content = conn.draft(&tied, &Wording::Comment(String::new())).await.unwrap();
        drop(conn);
        let said = content.reservations.join(" ");
        for word in ["tied by hand by", "the bag said so", "she wore it in the day", "names monitor M-0001-X", "does not lie within loan"] {
            assert!(said.contains(word), "{word} is not in {said}");
        }
        assert!(content.study[0].1.contains("M-0001-X by the file; the loan had M-0002-X"), "{}", content.study[0].1);
        assert_eq!(content.heading().reservations, content.reservations);
        sound(store).await;
    }

    async fn a_second_person_does_not_agree_to_more_than_was_proposed(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let loan = lent(&desk.store, 2, "TC-2042").await;
        let store = &desk.store;
        let night = receive(store, "TC-1042.csv", with_head("# Name: Somebody Else\n", &csv(evening(), 8))).await.nights.remove(0);
        store.settle_night(&by(Role::Physiologist), night.id, loan.id, "the bag said so").await.unwrap();
        receive(store, "TC-2042.csv", csv(evening(), 7)).await;
        let tie = store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
        let refused = store.confirm_tie(&other(), tie.id, "yes").await.unwrap_err();
        assert!(refused.is("more_against"), "{refused}");
        store.decline_tie(&other(), tie.id, "there is her own by now").await.unwrap();
        assert_eq!(now(store, &night).await.status, NightStatus::Untied);
        let tie: Tie = store.read().await.unwrap().get(tie.id).await.unwrap();
        assert_eq!((tie.status, tie.second_by.as_deref()), (TieStatus::Declined, Some("other")));
    }

    async fn r029_a_withdrawn_report_stays_with_its_patient_when_the_night_is_settled_anew(desk) {
        let first = lent(&desk.store, 1, "TC-1042").await;
        let second = lent(&desk.store, 2, "TC-2042").await;
        let store = &desk.store;
        let who = by(Role::Physiologist);
        let night = receive(store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        signed(store, &night).await;
        for refused in [store.untie_night(&who, night.id, "hers").await, store.set_night_aside(&who, night.id, "nobody's").await] {
            assert!(refused.unwrap_err().is("night_signed"));
        }
        let open = store.reopen_night(&who, night.id, now(store, &night).await.act, "a word").await.unwrap();
        assert!(store.untie_night(&who, night.id, "a report stands").await.unwrap_err().is("night_signed"));
        store.withdraw_report(&who, night.id, open.act, "the wrong patient").await.unwrap();
        let free = store.untie_night(&who, night.id, "the bags were mixed up").await.unwrap();
        assert_ne!(free.id, night.id);
        assert_eq!((free.person, free.notes.as_str(), free.result), (None, "", None));
        store.settle_night(&who, free.id, second.id, "the bag of the other").await.unwrap();
        let tied = agreed(store, free.id).await;
        assert_eq!(tied.person, Some(second.person));
        let mut conn = store.read().await.unwrap();
        assert_eq!(conn.reports(tied.id).await.unwrap(), Vec::<Report>::new());
        assert_eq!(conn.versions(&tied).await.unwrap().all.len(), 0);
        let old: Night = conn.get(night.id).await.unwrap();
        assert_eq!((old.person, old.replaced_by, old.status), (Some(first.person), Some(free.id), NightStatus::SetAside));
        assert_eq!(conn.reports(old.id).await.unwrap().len(), 2);
        drop(conn);
        assert!(store.settle_night(&who, night.id, second.id, "the old one").await.unwrap_err().is("night_replaced"));
        let tied = now(store, &tied).await;
        assert!(signed(store, &tied).await.content.contains("FAMILY2"));
        sound(store).await;
    }

    async fn a_better_file_takes_the_place_of_an_unsigned_night_and_both_stay(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let store = &desk.store;
        let who = by(Role::Physiologist);
        let old = receive(store, "TC-1042.csv", csv(evening(), 7)).await.nights.remove(0);
        let new = receive(store, "TC-1042 again.csv", csv(evening(), 8)).await.nights.remove(0);
        assert!(new.doubts.0[0].contains("a night of the same time already"));
        assert!(store.replace_night(&by(Role::Desk), new.id, old.id, "CO2 was missing").await.unwrap_err().is("not_yours_to_settle"));
        assert!(store.replace_night(&who, new.id, old.id, "").await.unwrap_err().is("reason_missing"));
        assert!(store.replace_night(&who, new.id, new.id, "itself").await.unwrap_err().is("night_untied"));
        signed(store, &old).await;
        assert!(store.replace_night(&who, new.id, old.id, "CO2 was missing").await.unwrap_err().is("night_signed"));
        let act = now(store, &old).await.act;
        store.withdraw_report(&who, old.id, act, "CO2 was missing").await.unwrap();
        let tied = store.replace_night(&who, new.id, old.id, "CO2 was missing").await.unwrap();
        assert_eq!((tied.loan, tied.status), (Some(loan.id), NightStatus::Waiting));
        let old = now(store, &old).await;
        assert_eq!((old.status, old.replaced_by, old.settled_because.as_deref()), (NightStatus::SetAside, Some(new.id), Some("CO2 was missing")));
        let mut conn = store.read().await.unwrap();
        for night in [old.original, tied.original] {
            let original: store::record::tables::Original = conn.get(night).await.unwrap();
            assert!(!conn.bytes(&original.sha256).await.unwrap().is_empty());
        }
        assert_eq!(conn.reports(tied.id).await.unwrap(), Vec::<Report>::new());
        drop(conn);
        sound(store).await;
    }

    /// Whoever took a night away from somebody does not give it back alone, nor does anybody else.
    async fn r131_a_night_untied_as_not_hers_is_tied_to_her_again_by_two(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let store = &desk.store;
        let night = receive(store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        let night = store.untie_night(&by(Role::Physiologist), night.id, "not hers").await.unwrap();
        // Nor does another export of it tie itself to her.
        let again = receive(store, "TC-1042 again.csv", with_head("# again\n", &csv(evening(), 8))).await;
        assert_eq!(again.nights[0].status, NightStatus::Untied);
        assert_eq!(again.nights[0].doubts.0, ["a night of the same time was untied from this patient before"]);
        for who in [by(Role::Physiologist), other()] {
            let alone = store.settle_night(&who, night.id, loan.id, "hers after all").await.unwrap();
            assert_eq!((alone.status, alone.person), (NightStatus::Untied, None));
            let tie = store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
            assert!(tie.against.0[0].contains("taken away from this patient before"), "{:?}", tie.against.0);
            if who != other() {
                store.decline_tie(&who, tie.id, "not sure").await.unwrap();
            }
        }
        let all = store.candidates(&night, "").await.unwrap();
        assert_eq!(all.loans[0].weighed.against.len(), 1);
        let tie = store.read().await.unwrap().proposal(night.id).await.unwrap().unwrap();
        let tied = store.confirm_tie(&by(Role::Physiologist), tie.id, "the diary says so").await.unwrap();
        assert_eq!(tied.person, Some(loan.person));
        sound(store).await;
    }

    /// Two nights of one loan and time both say so until one of them is gone.
    async fn nights_of_one_loan_and_time_name_each_other(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let store = &desk.store;
        let old = receive(store, "TC-1042.csv", csv(evening(), 7)).await.nights.remove(0);
        let new = receive(store, "TC-1042 again.csv", csv(evening(), 8)).await.nights.remove(0);
        let said = async |night: i64| {
            let mut conn = store.read().await.unwrap();
            let night: Night = conn.get(night).await.unwrap();
            conn.reservations(&night).await.unwrap().join(" ")
        };
        assert!(!said(old.id).await.contains("the same time"));
        store.settle_night(&by(Role::Physiologist), new.id, loan.id, "hers too").await.unwrap();
        agreed(store, new.id).await;
        for (one, two) in [(old.id, new.id), (new.id, old.id)] {
            let says = format!("night {two} of the same loan lies at the same time");
            assert!(said(one).await.contains(&says), "{}", said(one).await);
        }
        store.set_night_aside(&by(Role::Physiologist), old.id, "it has no CO2").await.unwrap();
        assert!(!said(new.id).await.contains("of the same loan lies at the same time"));
    }

    /// A row with nights is not voided from under them; where it was voided before, nothing is signed until the void
    /// is taken back, and a file of its loan can be tied then.
    async fn r131_a_voided_patient_has_a_way_back_and_no_night_is_signed(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let right = lent(&desk.store, 2, "TC-2042").await;
        let store = &desk.store;
        let clerk = by(Role::Desk);
        let night = receive(store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        let refused = store.void_person(&clerk, loan.person, Some(right.person), "the same").await;
        assert!(refused.unwrap_err().is("night_tied"));
        assert!(store.restore_person(&clerk, loan.person, "stands").await.unwrap_err().is("person_not_voided"));
        // As a record holds it that was written before this was refused.
        let mut act = store.act(&clerk, "person.void").await.unwrap();
        let mut person: Person = act.get(loan.person).await.unwrap();
        (person.voided_at, person.voided_because, person.same_as) = (Some(act.at()), Some("the same".to_owned()), Some(right.person));
        act.put(&mut person).await.unwrap();
        act.close().await.unwrap();
        assert!(store.void_person(&clerk, loan.person, None, "twice").await.unwrap_err().is("person_voided"));
        let told = store.read().await.unwrap().reservations(&night).await.unwrap().join(" ");
        assert!(told.contains("the row of this patient was voided"), "{told}");
        let pointing = store.read().await.unwrap().pointing_to(right.person).await.unwrap();
        assert_eq!(pointing.iter().map(|one| one.id).collect::<Vec<_>>(), [loan.person]);
        let words = Wording::Comment(String::new());
        let reader = by(Role::Physiologist);
        let content = store.read().await.unwrap().to_sign(&night, &reader, store.now(), &words, "").await.unwrap();
        let shown = content.shown(&words);
        let paper = Paper { content: &content, shown: &shown, changed: "", pdf: b"%PDF" };
        assert!(store.sign_report(&reader, night.id, night.act, &paper).await.unwrap_err().is("person_voided"));
        let late = receive(store, "TC-1042.csv", csv(evening() + 9.hours(), 3)).await.nights.remove(0);
        assert!(store.settle_night(&reader, late.id, loan.id, "hers").await.unwrap_err().is("person_voided"));
        assert!(store.restore_person(&clerk, loan.person, " ").await.unwrap_err().is("reason_missing"));
        let back = store.restore_person(&clerk, loan.person, "two people after all").await.unwrap();
        assert_eq!((back.voided_at, back.voided_because, back.same_as), (None, None, None));
        let settled = store.settle_night(&reader, late.id, loan.id, "hers").await.unwrap();
        let proposed = store.read().await.unwrap().proposal(late.id).await.unwrap();
        assert!(settled.loan == Some(loan.id) || proposed.is_some_and(|tie| tie.loan == loan.id));
        sound(store).await;
    }

    /// Its night may still come in: it would be another person's.
    async fn a_row_that_was_lent_under_is_no_other_persons(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let right = lent(&desk.store, 2, "TC-2042").await;
        let (store, clerk) = (&desk.store, by(Role::Desk));
        let void = async |same_as| store.void_person(&clerk, loan.person, same_as, "a double").await;
        assert!(void(Some(right.person)).await.unwrap_err().is("rows_differ"));
        assert!(void(None).await.unwrap().voided_at.is_some());
    }

    /// With the replacing night gone, no night of that time could be read at all.
    async fn r036_a_night_that_was_replaced_is_settled_again_when_what_replaced_it_is_let_go(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let store = &desk.store;
        let who = by(Role::Physiologist);
        let old = receive(store, "TC-1042.csv", csv(evening(), 7)).await.nights.remove(0);
        let new = receive(store, "TC-1042 again.csv", csv(evening(), 8)).await.nights.remove(0);
        for round in 0..2 {
            store.replace_night(&who, new.id, old.id, "CO2 was missing").await.unwrap();
            if round > 0 {
                // It was taken away from this patient before.
                agreed(store, new.id).await;
            }
            assert!(store.settle_night(&who, old.id, loan.id, "after all").await.unwrap_err().is("night_replaced"));
            let gone = match round {
                0 => store.untie_night(&who, new.id, "it was exported wrong").await,
                _ => store.set_night_aside(&who, new.id, "it was exported wrong").await,
            };
            assert_eq!(gone.unwrap().loan, None);
            let free = now(store, &old).await;
            assert_eq!((free.status, free.replaced_by, free.loan, free.person, free.result), (NightStatus::Untied, None, None, None, None));
            let doubt = free.doubts.0.last().unwrap();
            assert!(doubt.starts_with(&format!("night {} stood in its place until it was", new.id)) && doubt.ends_with("it was exported wrong"), "{doubt}");
            let waiting = store.read().await.unwrap().nights_waiting().await.unwrap();
            assert!(waiting.iter().any(|line| line.night.id == old.id));
            let tied = store.settle_night(&who, old.id, loan.id, "it is the better one").await.unwrap();
            assert_eq!((tied.status, tied.person, tied.result.is_some()), (NightStatus::Waiting, Some(loan.person), true));
        }
        sound(store).await;
    }

    /// Its withdrawn report stays with its patient; another row waits to be settled.
    async fn r036_a_replaced_night_with_a_withdrawn_report_is_free_as_another_row(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let store = &desk.store;
        let who = by(Role::Physiologist);
        let old = receive(store, "TC-1042.csv", csv(evening(), 7)).await.nights.remove(0);
        let new = receive(store, "TC-1042 again.csv", csv(evening(), 8)).await.nights.remove(0);
        signed(store, &old).await;
        store.withdraw_report(&who, old.id, now(store, &old).await.act, "CO2 was missing").await.unwrap();
        store.replace_night(&who, new.id, old.id, "CO2 was missing").await.unwrap();
        store.untie_night(&who, new.id, "it was exported wrong").await.unwrap();
        let was = now(store, &old).await;
        assert_eq!((was.status, was.person), (NightStatus::SetAside, Some(loan.person)));
        let free: Night = store.read().await.unwrap().get(was.replaced_by.unwrap()).await.unwrap();
        assert_eq!((free.status, free.original, free.person), (NightStatus::Untied, old.original, None));
        assert_ne!(free.id, new.id);
        let tied = store.settle_night(&who, free.id, loan.id, "it is the better one").await.unwrap();
        assert_eq!(tied.loan, Some(loan.id));
        // Let go once more, what keeps the report stays where it is.
        store.untie_night(&who, free.id, "to see").await.unwrap();
        assert_eq!(now(store, &old).await, was);
        sound(store).await;
    }

    /// The law: a night ties itself to a loan only where serial number, time and every identifier agree and the
    /// loan is the monitor's last; and one person alone never ties it against what contradicts.
    async fn whatever_comes_in_nothing_ties_itself_or_by_one_hand_against_a_doubt(desk) {
        let store = &desk.store;
        let mut loans = Vec::new();
        for (n, serial, days) in [(1, "TC-1042", 3), (2, "TC-1042", 1), (3, "TC-1042", 0), (4, "TC-2042", 2), (5, "TC-2042", 0)] {
            let noted = [0, 0, 3_600, -60, 86_400][usize::try_from(n - 1).unwrap()];
            loans.push(lent_as(store, n, serial, |loan| {
                days_back(days)(loan);
                loan.out = Kept(Some(HandOut { clock_ahead_s: Some(noted), ..HandOut::default() }));
            }).await);
        }
        let (mut seed, mut tied_some) = (7_u64, 0);
        let mut pick = move |of: usize| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            usize::try_from(seed >> 33).unwrap() % of
        };
        for round in 0..120_i64 {
            let whose = pick(5);
            let error_s = [0, 0, 0, 3_600, -3_600, DAY_S, -DAY_S, 2 * DAY_S, -3 * DAY_S, -365 * DAY_S, 500][pick(11)];
            let start = evening() - [3, 1, 0, 2, 0][whose].days() + SignedDuration::from_secs(error_s + round);
            let person: Person = store.read().await.unwrap().get(loans[whose].person).await.unwrap();
            let wrong_person = full::person("H99", "Elsewhere");
            let told = pick(4);
            let of = if told == 1 { &wrong_person } else { &person };
            let head = [String::new(), format!("# Patient: {}, {}\n# MRN: {}\n", of.family, of.given, of.mrn)];
            let head = &head[usize::from(told == 1 || told == 2)];
            let name = ["export", "TC-1042", "TC-2042"][[1, 1, 1, 2, 2][whose] * usize::from(pick(4) > 0)];
            let file = Incoming { name: format!("{name}-{round}.csv"), bytes: with_head(head, &csv(start, 2)), taken_off: Some(loans[pick(5)].monitor).filter(|_| told == 3), ..Incoming::default() };
            let night = store.receive(&by(Role::Desk), file).await.unwrap().nights.remove(0);
            if let Some(loan) = night.loan {
                tied_some += 1;
                let last = [2, 2, 2, 4, 4][whose];
                assert_eq!(loan, loans[last].id, "round {round}: not the last loan");
                assert!(name != "export" && told != 1, "round {round}: tied without or against an identifier");
                let own = jiff::tz::TimeZone::UTC.to_timestamp(start).unwrap().as_second();
                let (out, back) = (loans[last].out_at.unwrap(), loans[last].back_at.unwrap());
                assert!(out - 1_800 <= own && own + 7_200 <= back + 1_800, "round {round}: outside its loan");
                store.set_night_aside(&by(Role::Physiologist), night.id, "makes room").await.unwrap();
                continue;
            }
            let all = store.candidates(&night, "").await.unwrap();
            let Some(one) = all.loans.get(pick(all.loans.len().max(1))) else { continue };
            let alone = store.settle_night(&by(Role::Physiologist), night.id, one.loan.id, "by guess").await.unwrap();
            assert_eq!(alone.loan.is_some(), one.weighed.against.is_empty(), "round {round}: {:?}", one.weighed);
            if alone.loan.is_some() {
                assert!(told != 1, "round {round}: another's name, and one person tied it");
                store.set_night_aside(&by(Role::Physiologist), night.id, "makes room").await.unwrap();
            }
        }
        assert!(tied_some > 0, "{tied_some}");
        sound(store).await;
    }
}
