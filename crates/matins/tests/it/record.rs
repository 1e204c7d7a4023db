//! `verify`, `backup` and `restore` on a small record.

use std::sync::Arc;

use store::record::act::Author;
use store::record::db::{Place, Store};

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

/// A server that had run a year ahead: the command says so, and is the recorded way on.
#[test]
fn r13_the_command_goes_on_from_a_clock_that_ran_ahead() {
    let desk = Desk::new();
    let place = Place::Folder(desk.path("record"));
    wait(async {
        let wall = store::when::wall_clock();
        let ahead = Store::open(&place, Arc::new(move || wall() + 365 * 86_400)).await.unwrap();
        ahead.put_setting(&Author::program(), "text", "one").await.unwrap();
        ahead.close().await;
    });
    let told = desk.run(&["clock", "--data", "record"]);
    assert!(told.code == 5 && told.stdout.starts_with("clock: 2"), "{told:?}");
    assert!(
        told.stderr.starts_with("matins: nothing can be changed: the clock of this machine says ")
            && told.stderr.contains("matins clock --data DIR --reason WHY"),
        "{told:?}"
    );
    // Checking and backing up are not kept back by a clock.
    assert_eq!(desk.run(&["verify", "--data", "record"]).code, 0);
    assert_eq!(desk.run(&["backup", "--data", "record", "-o", "b"]).code, 0);
    let unsaid = desk.run(&["clock", "--data", "record", "--reason", " "]);
    assert_eq!(unsaid.code, 5, "{unsaid:?}");
    let accept = ["clock", "--data", "record", "--reason", "the server had run a year ahead"];
    let done = desk.run(&accept);
    assert_eq!(
        (done.code, done.stderr.as_str()),
        (0, "matins: the clock is accepted: acts go on from it; everybody has to log in again\n")
    );
    assert_eq!(desk.run(&["clock", "--data", "record"]).code, 0);
    let again = desk.run(&accept);
    assert!(again.code == 5 && again.stderr.contains("nothing needs accepting"), "{again:?}");
    let sound = desk.run(&["verify", "--data", "record"]);
    assert!(sound.stdout.starts_with("sound: 4 acts, 1 rows and 0 files"), "{sound:?}");
}

#[cfg(unix)]
#[test]
fn r16_a_record_others_may_look_into_is_refused_by_every_verb() {
    use std::os::unix::fs::PermissionsExt as _;
    let desk = desk();
    let rights = |mode| {
        std::fs::set_permissions(desk.path("record"), std::fs::Permissions::from_mode(mode))
            .unwrap();
    };
    rights(0o755);
    let words = "matins: record: others of this machine may look into the folder (its rights are 755)\n  \
         hint: `chmod -R go= record` closes it to all but its owner; --shared-folder leaves it open\n";
    desk.run(&["verify", "--data", "record"]).fails(5, words);
    desk.run(&["backup", "--data", "record", "-o", "b"]).fails(5, words);
    desk.run(&["clock", "--data", "record"]).fails(5, words);
    desk.run(&["report", "--data", "record", "--night", "1"]).fails(5, words);
    let started = desk.run(&["serve", "--data", "record"]);
    assert!(started.code == 5 && started.stderr == words, "{started:?}");
    assert_eq!(desk.run(&["verify", "--data", "record", "--shared-folder"]).code, 0);
    rights(0o700);
    assert_eq!(desk.run(&["verify", "--data", "record"]).code, 0);
}

/// What the command writes may name a patient, whatever the umask says.
#[cfg(unix)]
#[test]
fn r16_what_the_command_writes_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let desk = Desk::new();
    assert_eq!(desk.run(&["simulate", "--hours", "1", "-o", "night.csv"]).code, 0);
    assert_eq!(desk.run(&["report", "night.csv", "-o", "night.html"]).code, 0);
    for name in desk.names() {
        let mode = std::fs::metadata(desk.path(&name)).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode, 0o600, "{name}");
    }
}
