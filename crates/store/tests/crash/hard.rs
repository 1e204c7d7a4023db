//! Hard places: a disk that is full, a folder that may not be written, a page that is damaged.

use std::path::Path;
use std::process::Command;
use std::process::Stdio;

use store::record::db::Place;
use store::record::db::Store;
use store::safekeeping::verify::in_silence;
use store::when::wall_clock;

use crate::writer;
use crate::writer::write_one;

/// Whether this machine lets a program have mounts of its own.
fn can_mount(script: &str, folder: &Path) -> bool {
    let mut command = Command::new("unshare");
    command.args(["-rm", "sh", "-c", &format!("{script} && true"), "sh"]).arg(folder);
    command
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

fn said(command: &mut Command) -> Vec<String> {
    let output = command.output().unwrap();
    String::from_utf8_lossy(&output.stdout).lines().map(str::to_owned).collect()
}

fn line<'a>(said: &'a [String], start: &str) -> &'a str {
    let found = said.iter().find_map(|line| line.strip_prefix(start));
    found.unwrap_or_else(|| unreachable!("no line `{start}` in {said:?}"))
}

/// A disk of 3 MiB; where no disk can be made, files of at most 1 MiB, which the system refuses in other words.
#[test]
fn a_full_disk_is_told_and_the_record_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let small_disk = "mount -t tmpfs -o size=3m tmpfs \"$1\"";
    let place = Place::Folder(folder.path().join("record"));
    let path = folder.path().to_str().unwrap();
    let disk = can_mount(small_disk, folder.path());
    let script = format!("{small_disk} && shift && exec \"$@\"");
    let said = if disk {
        said(&mut writer("fill", &place, &["unshare", "-rm", "sh", "-c", &script, "sh", path]))
    } else {
        let script = "trap '' XFSZ; ulimit -f 2048; shift; exec \"$@\"";
        said(&mut writer("fill", &place, &["sh", "-c", script, "sh", path]))
    };
    let words = if disk {
        "there is no room left on the disk; nothing was written"
    } else {
        "the disk reports an error"
    };
    let acked = said.iter().filter(|line| line.starts_with("ack ")).count();
    assert!(acked > 10, "{said:?}");
    assert!(line(&said, "refused ").ends_with(words), "{said:?}");
    assert!(line(&said, "again ").ends_with(words), "{said:?}");
    // A transaction outlived the full disk in its connection, and acts failed as a
    // fault of the program, also after room was made.
    let crowd = line(&said, "crowd ");
    assert!(!crowd.contains("transaction"), "{crowd}");
    if disk {
        assert_eq!(line(&said, "room "), "{}");
    }
    let written: usize = line(&said, "acts ").split(' ').next().unwrap().parse().unwrap();
    assert!(written >= acked && line(&said, "acts ").ends_with(" wrong []"), "{said:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_that_may_not_be_written_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("record");
    let place = Place::Folder(record.clone());
    let store = Store::open(&place, wall_clock()).await.unwrap();
    write_one(&store).await.unwrap();
    store.close().await;

    let read_only = "mount --bind \"$1\" \"$1\" && mount -o remount,ro,bind \"$1\"";
    let path = folder.path().to_str().unwrap();
    let said = if can_mount(read_only, folder.path()) {
        let script = format!("{read_only} && shift && exec \"$@\"");
        said(&mut writer("open", &place, &["unshare", "-rm", "sh", "-c", &script, "sh", path]))
    } else {
        let script = "chmod -R a-w,a+rX \"$1\"; shift; if [ $(id -u) = 0 ]; then exec setpriv --reuid=65534 --clear-groups \"$@\"; else exec \"$@\"; fi";
        let said = said(&mut writer("open", &place, &["sh", "-c", script, "sh", path]));
        let _ = Command::new("chmod").args(["-R", "u+w", path]).status();
        said
    };
    let refused = line(&said, "refused ");
    assert!(refused.contains("it cannot be"), "{refused}");
    assert!(
        refused.ends_with("written by the account that runs matins")
            || refused.ends_with("the right to write the folder and all its files"),
        "{refused}"
    );

    let store = Store::open(&place, wall_clock()).await.unwrap();
    let found = store.verify(&[], &in_silence).await.unwrap();
    assert_eq!((found.acts, found.wrong), (1, vec![]));
}

/// Every page of the file in turn, overwritten with letters.
#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_page_is_told_whichever_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let good = folder.path().join("good");
    let store = Store::open(&Place::Folder(good.clone()), wall_clock()).await.unwrap();
    for _ in 0..20 {
        write_one(&store).await.unwrap();
    }
    store.close().await;
    let file = std::fs::read(good.join("matins.db")).unwrap();
    assert_eq!(file.len() % 4096, 0);
    let mut in_words = 0;
    for page in 0..file.len() / 4096 {
        let bad = folder.path().join(format!("bad{page}"));
        std::fs::create_dir(&bad).unwrap();
        let mut damaged = file.clone();
        damaged[page * 4096..(page + 1) * 4096].fill(b'z');
        let rights = std::os::unix::fs::PermissionsExt::from_mode(0o700);
        std::fs::set_permissions(&bad, rights).unwrap();
        std::fs::write(bad.join("matins.db"), damaged).unwrap();
        let told = match Store::open(&Place::Folder(bad.clone()), wall_clock()).await {
            Err(error) => format!("{error}; {}", error.hint()),
            Ok(store) => match store.verify(&[], &in_silence).await {
                Err(error) => format!("{error}; {}", error.hint()),
                Ok(found) => found
                    .wrong
                    .first()
                    .unwrap_or_else(|| unreachable!("page {page} was not missed"))
                    .clone(),
            },
        };
        in_words += usize::from(told.contains("damaged"));
        assert!(told.contains("damaged"), "page {page}: {told}");
        std::fs::remove_dir_all(bad).unwrap();
    }
    assert!(in_words > 50, "{in_words}");
}
