//! `verify`, `backup` and `restore` on a small record.

use std::sync::Arc;

use store::act::Author;
use store::db::{Place, Store};

use crate::desk::Desk;

fn wait<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Runtime::new().unwrap().block_on(work)
}

/// A record of two acts in the folder `record`, its clock standing still.
fn desk() -> Desk {
    let desk = Desk::new();
    let place = Place::Folder(desk.path("record"));
    wait(async {
        let store = Store::open(&place, Arc::new(|| 1_795_593_600)).await.unwrap();
        for value in ["one", "two"] {
            store.put_setting(&Author::program(), "text", value).await.unwrap();
        }
        store.close().await;
    });
    desk
}

#[test]
fn a_sound_record_says_so_and_gives_its_head() {
    let desk = desk();
    let heads = desk.text("record/heads.txt");
    let head = heads.split_whitespace().nth(1).unwrap();
    let sound = format!("sound: 2 acts, 2 rows and 0 files agree with the chain\nhead: 2 {head}\n");
    desk.run(&["verify", "--data", "record"]).is(0, &sound, "");
    let desk = desk.with("printed.txt", &heads);
    let again = desk.run(&["verify", "--data", "record", "--heads", "printed.txt"]);
    // The checking before is an act itself.
    assert!(again.stdout.starts_with("sound: 3 acts, 2 rows and 0 files"), "{again:?}");
    assert_eq!((again.code, again.stderr.as_str()), (0, ""));
}

#[test]
fn a_head_that_the_record_does_not_hold_is_told() {
    let desk = desk().with("printed.txt", format!("9 {}\n", "ab".repeat(32)));
    desk.run(&["verify", "--data", "record", "--heads", "printed.txt"]).fails(
        5,
        "  acts were cut off at the end: the chain ends with act 2, but act 9 of 1970-01-01T00:00:00Z was exported\n\
         matins: the record does not agree with its chain in 1 place\n  \
         hint: keep it as it is, restore the last good backup beside it, and tell whoever answers for the record\n",
    );
    let desk = desk.with("empty.txt", "nothing\n");
    desk.run(&["verify", "--data", "record", "--heads", "empty.txt"]).fails(
        3,
        "matins: empty.txt: no line of it is the head of a record\n  \
         hint: expected lines of a number and a hash, as `matins verify` prints them\n",
    );
}

#[test]
fn a_folder_without_a_record_stays_without_one() {
    let desk = Desk::new();
    let words = "matins: gone: there is no record here\n  hint: name the folder or database the workbench was started with\n";
    desk.run(&["verify", "--data", "gone"]).fails(5, words);
    desk.run(&["verify", "--backup", "gone"])
        .fails(5, "matins: gone: there is no such file\n  hint: name a file that is there\n");
    desk.run(&["backup", "--data", "gone", "-o", "b"]).fails(5, words);
    assert_eq!(desk.names(), Vec::<String>::new());
}

#[test]
fn a_backup_is_made_checked_and_restored() {
    let desk = desk().with("secret.txt", "four words of the ward\n").with("short.txt", "ward\n");
    desk.run(&["backup", "--data", "record", "-o", "plain"]).is(
        0,
        "",
        "matins: plain: 2 acts, 2 rows and 0 files, read back and sound\n\
         matins: it is not encrypted; --passphrase-file encrypts it\n",
    );
    let sealed = ["backup", "--data", "record", "-o", "sealed", "--passphrase-file", "secret.txt"];
    // The first backup is an act itself.
    desk.run(&sealed).is(
        0,
        "",
        "matins: sealed: 3 acts, 2 rows and 0 files, read back and sound\n",
    );
    desk.run(&sealed).fails(
        5,
        "matins: sealed: it stands already, and a backup is never replaced\n  hint: name another file\n",
    );
    let checked = desk.run(&["verify", "--backup", "plain"]);
    assert!(checked.stdout.starts_with("sound: 2 acts, 2 rows and 0 files"), "{checked:?}");
    desk.run(&["restore", "sealed", "--data", "back"]).fails(
        5,
        "matins: sealed: it is encrypted, and no passphrase was given\n  \
         hint: nothing was changed; use another backup if this one is damaged\n",
    );
    desk.run(&["restore", "sealed", "--data", "back", "--passphrase-file", "short.txt"]).fails(
        4,
        "matins: short.txt: the passphrase is too short: expected at least 12 signs, found 4\n",
    );
    let names = desk.names();
    let ran = desk.run_with(
        &["restore", "sealed", "--data", "back", "--passphrase-file", "-"],
        b"four words of the ward\n",
    );
    ran.is(0, "", "matins: sealed: 3 acts, 2 rows and 0 files, restored and sound\n");
    assert_eq!(desk.names().len(), names.len() + 1);
    let checked = desk.run(&["verify", "--data", "back"]);
    // The restoring is an act too.
    assert!(checked.stdout.starts_with("sound: 4 acts, 2 rows and 0 files"), "{checked:?}");
    desk.run(&["restore", "plain", "--data", "back"]).fails(
        5,
        "matins: back: the folder is not empty\n  hint: name a folder that is empty or not there yet\n",
    );
}

#[test]
fn a_report_that_nobody_signed_is_not_made_again() {
    let desk = desk();
    desk.run(&["report", "--data", "record", "--night", "7"])
        .fails(5, "matins: there is no night 7 in the record\n");
    let unnamed = desk.run(&["report", "--data", "record"]);
    assert!(unnamed.code == 2 && unnamed.stderr.contains("  --night <NUMBER>\n"), "{unnamed:?}");
    let both = desk.run(&["report", "night.csv", "--data", "record", "--night", "7"]);
    assert_eq!(both.code, 2, "{both:?}");
    let folder = desk.run(&["report", "--data", "nothing", "--night", "7"]);
    assert_eq!(folder.code, 5, "{folder:?}");
}
