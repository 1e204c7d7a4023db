//! A backup comes back whole on either database, and a damaged one is refused and leaves nothing.

use std::path::Path;
use std::sync::Arc;

use store::record::act::Author;
use store::record::db::Place;
use store::record::db::Reach;
use store::record::db::Store;
use store::record::tables::Account;
use store::record::tables::Person;
use store::safekeeping::backup::backup;
use store::safekeeping::backup::check;
use store::safekeeping::backup::restore;
use store::safekeeping::dump::Passphrase;
use store::safekeeping::verify::in_silence;
use store::when::Clock;

use crate::both::MORNING;
use crate::both::new_database;
use crate::full;

fn clock() -> Clock {
    Arc::new(|| MORNING)
}

fn passphrase(text: &str) -> Passphrase {
    Passphrase::read(text).unwrap()
}

/// Places that hold nothing yet: a folder, and a database where there is a server.
async fn empty_places(folder: &Path) -> Vec<Place> {
    let mut places = vec![Place::Folder(folder.join("restored"))];
    places.extend(new_database().await);
    places
}

fn names(folder: &Path) -> Vec<String> {
    let found = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        found.map(|one| one.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

on_both! {
    async fn a_backup_is_restored_to_both_databases(desk) {
        let someone = full::fill(&desk.store).await;
        let folder = tempfile::tempdir().unwrap();
        for secret in [None, Some(passphrase("four words of the ward"))] {
            let file = folder.path().join(if secret.is_some() { "sealed" } else { "plain" });
            let made = backup(&desk.store, &file, secret.as_ref(), &in_silence).await.unwrap();
            assert!(made.verified.is_sound(), "{:?}", made.verified.wrong);
            let text = std::fs::read(&file).unwrap();
            let seen = text.windows(11).any(|window| window == b"Counterpane");
            assert!(!seen, "a name stands in the clear");
            for place in empty_places(&folder.path().join(file.file_name().unwrap()).with_extension("out")).await {
                if let Place::Folder(folder) = &place {
                    std::fs::create_dir_all(folder.parent().unwrap()).unwrap();
                }
                let found = restore(&file, &place, secret.as_ref(), clock(), &in_silence).await.unwrap();
                assert_eq!((found.seq, &found.hash), (made.header.seq, &made.header.hash));
                let restored = Store::open(&place, clock()).await.unwrap();
                let kept: Person = restored.read().await.unwrap().get(someone.id).await.unwrap();
                assert_eq!(kept, someone);
                // Acts hold a password's fingerprint only; whoever is restored can still log in.
                let account: Account = restored.read().await.unwrap().get(1).await.unwrap();
                assert_eq!(account.password.as_deref(), Some("$argon2id$invented"));
                let again = restored.verify(&[], &in_silence).await.unwrap();
                // The restoring is an act itself.
                assert_eq!((again.wrong, again.acts, again.rows, again.files), (vec![], found.acts + 1, found.rows, found.files));
            }
        }
    }

    async fn a_backup_made_while_acts_go_on_is_of_one_moment(desk) {
        full::fill(&desk.store).await;
        let store = desk.store.clone();
        let busy = tokio::spawn(async move {
            for n in 0..200 {
                let mut act = store.act(&Author::program(), "person.put").await.unwrap();
                act.put(&mut full::person(&format!("B{n}"), "Bolster")).await.unwrap();
                act.close().await.unwrap();
            }
        });
        let folder = tempfile::tempdir().unwrap();
        for n in 0..5 {
            let made = backup(&desk.store, &folder.path().join(n.to_string()), None, &in_silence).await.unwrap();
            assert_eq!(made.verified.wrong, Vec::<String>::new());
            assert_eq!(made.verified.acts, made.header.rows["act"]);
        }
        busy.await.unwrap();
        let found = desk.store.verify(&[], &in_silence).await.unwrap();
        assert_eq!((found.wrong, found.acts), (vec![], 6 + 200 + 5));
    }

    async fn a_record_that_does_not_agree_with_its_chain_is_not_backed_up(desk) {
        full::fill(&desk.store).await;
        crate::both::straight(&desk.place, "UPDATE person SET family = 'Other'").await.unwrap();
        let folder = tempfile::tempdir().unwrap();
        let refused = backup(&desk.store, &folder.path().join("b"), None, &in_silence).await.unwrap_err().to_string();
        assert!(refused.ends_with("the record does not agree with its chain, and no backup was made: person 1 is not as act 2 wrote it"), "{refused}");
        assert_eq!(names(folder.path()), Vec::<String>::new());
    }

    async fn a_place_that_holds_something_is_refused(desk) {
        full::fill(&desk.store).await;
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("b");
        backup(&desk.store, &file, None, &in_silence).await.unwrap();
        let refused = restore(&file, &desk.place, None, clock(), &in_silence).await.unwrap_err().to_string();
        assert!(refused.contains("not empty"), "{refused}");
        let refused = backup(&desk.store, &file, None, &in_silence).await.unwrap_err().to_string();
        assert!(refused.ends_with("it stands already, and a backup is never replaced"), "{refused}");
        assert!(desk.store.verify(&[], &in_silence).await.unwrap().is_sound());
        assert_eq!(names(folder.path()), ["b"]);
    }

    async fn a_damaged_backup_is_refused_and_leaves_nothing(desk) {
        full::fill(&desk.store).await;
        let folder = tempfile::tempdir().unwrap();
        let good = folder.path().join("good");
        backup(&desk.store, &good, None, &in_silence).await.unwrap();
        let bytes = std::fs::read(&good).unwrap();
        let bad = folder.path().join("bad");
        let places = empty_places(folder.path()).await;
        for at in (0..bytes.len()).step_by(97) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << (at % 8);
            std::fs::write(&bad, flipped).unwrap();
            let checked = check(&bad, None, &in_silence);
            assert!(checked.is_err() || !checked.unwrap().verified.is_sound(), "byte {at}");
            std::fs::write(&bad, &bytes[..at]).unwrap();
            assert!(check(&bad, None, &in_silence).is_err(), "cut at {at}");
        }
        let mut flipped = bytes.clone();
        let last = flipped.len() - 3;
        flipped[last] ^= 1;
        for damaged in [flipped, bytes[..bytes.len() / 2].to_vec(), b"{}\n".to_vec(), Vec::new()] {
            std::fs::write(&bad, damaged).unwrap();
            for place in &places {
                let refused = restore(&bad, place, None, clock(), &in_silence).await.unwrap_err().to_string();
                assert!(refused.starts_with(&bad.display().to_string()), "{refused}");
            }
        }
        assert_eq!(names(folder.path()), ["bad", "good"]);
        for place in &places {
            restore(&good, place, None, clock(), &in_silence).await.unwrap();
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_passphrase_and_a_missing_one_are_told() {
    let desk = crate::both::Desk::sqlite().await;
    full::fill(&desk.store).await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("b");
    let right = passphrase("four words of the ward\n");
    backup(&desk.store, &file, Some(&right), &in_silence).await.unwrap();
    let said = |with: Option<&Passphrase>| check(&file, with, &in_silence).unwrap_err().to_string();
    let wrong = passphrase("four words of the yard");
    assert!(said(Some(&wrong)).ends_with("this is not the passphrase it was encrypted with"));
    assert!(said(None).ends_with("it is encrypted, and no passphrase was given"));
    assert!(check(&file, Some(&right), &in_silence).unwrap().verified.is_sound());
    let place = Place::Folder(folder.path().join("out"));
    restore(&file, &place, Some(&wrong), clock(), &in_silence).await.unwrap_err();
    assert_eq!(names(folder.path()), ["b"]);
    // The header is sealed with every part.
    let text = std::fs::read(&file).unwrap();
    let at = text.windows(8).position(|window| window == b"made_at\"").unwrap() + 12;
    let mut forged = text;
    forged[at] = b'1';
    std::fs::write(&file, forged).unwrap();
    assert!(said(Some(&right)).contains("damaged in its part 1"));
}

/// Looking for a record makes none.
#[tokio::test(flavor = "multi_thread")]
async fn a_place_without_a_record_is_told_and_stays_empty() {
    let folder = tempfile::tempdir().unwrap();
    for place in empty_places(folder.path()).await {
        let refused =
            Store::open_existing(&place, clock(), Reach::Owner).await.unwrap_err().to_string();
        assert!(refused.ends_with(": there is no record here"), "{refused}");
        Store::open(&place, clock()).await.unwrap().close().await;
        Store::open_existing(&place, clock(), Reach::Owner).await.unwrap();
    }
}

#[test]
fn a_passphrase_is_one_line_and_long_enough() {
    assert_eq!(
        Passphrase::read("short\n").unwrap_err(),
        "the passphrase is too short: expected at least 12 signs, found 5"
    );
    assert_eq!(format!("{:?}", passphrase("four words of the ward")), "Passphrase");
}
