//! Folder and files of a record are their owner's alone, whatever the umask; a wider folder is refused.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::sync::Arc;

use store::record::act::Author;
use store::record::db::Place;
use store::record::db::Reach;
use store::record::db::Store;
use store::safekeeping::backup::backup;
use store::safekeeping::backup::restore;
use store::safekeeping::verify::in_silence;
use store::when::Clock;

use crate::both::Desk;
use crate::both::MORNING;
use crate::full;

fn clock() -> Clock {
    Arc::new(|| MORNING)
}

fn mode(path: &Path) -> u32 {
    fs::metadata(path).unwrap().permissions().mode() & 0o777
}

fn set(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

/// Every file of a folder with its mode.
fn files(folder: &Path) -> Vec<(String, u32)> {
    let found = fs::read_dir(folder).unwrap().map(|one| one.unwrap());
    let mut files: Vec<_> = found
        .map(|one| (one.file_name().to_string_lossy().into_owned(), mode(&one.path())))
        .collect();
    files.sort();
    files
}

const FILES: [&str; 4] = ["heads.txt", "matins.db", "matins.db-shm", "matins.db-wal"];

/// The umask of the test is as it is (mostly 022, under which folders were 0755 and files 0644).
#[tokio::test(flavor = "multi_thread")]
async fn r16_a_record_and_what_is_made_of_it_is_its_owners_alone() {
    let desk = Desk::sqlite().await;
    full::fill(&desk.store).await;
    desk.store.export_head().await.unwrap();
    let folder = desk.store.folder().unwrap();
    assert_eq!(mode(folder), 0o700);
    assert_eq!(files(folder), FILES.map(|name| (name.to_owned(), 0o600)));
    let out = tempfile::tempdir().unwrap();
    let (file, back) = (out.path().join("b"), out.path().join("back"));
    backup(&desk.store, &file, None, &in_silence).await.unwrap();
    assert_eq!(mode(&file), 0o600);
    restore(&file, &Place::Folder(back.clone()), None, clock(), &in_silence).await.unwrap();
    assert_eq!(mode(&back), 0o700);
    assert!(files(&back).iter().all(|(_, mode)| *mode == 0o600), "{:?}", files(&back));
    // An empty folder that was there is closed when a record is made in it.
    let empty = out.path().join("empty");
    fs::create_dir(&empty).unwrap();
    set(&empty, 0o755);
    Store::open(&Place::Folder(empty.clone()), clock()).await.unwrap().close().await;
    assert_eq!(mode(&empty), 0o700);
}

#[tokio::test(flavor = "multi_thread")]
async fn r16_a_folder_others_may_look_into_is_refused_unless_told() {
    let desk = Desk::sqlite().await;
    desk.store.act(&Author::program(), "look").await.unwrap().close().await.unwrap();
    desk.store.close().await;
    let Place::Folder(folder) = &desk.place else { unreachable!() };
    for rights in [0o755, 0o750, 0o701] {
        set(folder, rights);
        let refused = Store::open(&desk.place, clock()).await.unwrap_err();
        let says =
            format!("others of this machine may look into the folder (its rights are {rights:o})");
        assert!(refused.to_string().ends_with(&says), "{refused}");
        assert!(
            refused.hint().contains("chmod -R go= ") && refused.hint().contains("--shared-folder")
        );
        Store::open_within(&desk.place, clock(), Reach::Shared).await.unwrap().close().await;
    }
    // Files that an earlier release left wider are closed with the folder.
    set(folder, 0o700);
    set(&folder.join("matins.db"), 0o644);
    set(&folder.join("heads.txt"), 0o644);
    let store = Store::open(&desk.place, clock()).await.unwrap();
    assert_eq!(files(folder), FILES.map(|name| (name.to_owned(), 0o600)));
    store.close().await;
}
