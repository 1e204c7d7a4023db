//! The writer: acts one after another, each said aloud once it is acknowledged.

use std::io::Write as _;
use std::path::Path;

use store::error::StoreError;
use store::record::act::Author;
use store::record::db::Place;
use store::record::db::Store;
use store::record::tables::Person;
use store::record::tables::Setting;
use store::safekeeping::backup::backup;
use store::safekeeping::verify::in_silence;
use store::when::wall_clock;

/// Says a line past the test harness, which would keep it until the end; it has begun a line of its own.
fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    writeln!(out, "\n{line}").unwrap();
    out.flush().unwrap();
}

/// One act that writes a row of two kinds and some bytes.
pub(crate) async fn write_one(store: &Store) -> Result<(i64, String), StoreError> {
    let mut act = store.act(&Author::program(), "person.put").await?;
    let noise: Vec<u8> = (0..2_000).map(|_| rand::random()).collect();
    let mrn = format!("K{:016x}", rand::random::<u64>());
    let mut person = Person {
        id: 0,
        act: 0,
        mrn: mrn.clone(),
        nhs_number: None,
        family: "Bolster".to_owned(),
        given: "Quilla".to_owned(),
        born_on: "1961-04-05".to_owned(),
        telephone: None,
        address: None,
        needs: None,
        voided_at: None,
        voided_because: None,
        same_as: None,
    };
    act.put(&mut person).await?;
    let value = act.keep_bytes(&noise).await?;
    let (name, who, at) = ("text".to_owned(), "program".to_owned(), act.at());
    act.put(&mut Setting { id: 0, act: 0, name, value, at, who }).await?;
    Ok((act.close().await?, mrn))
}

async fn write_until_stopped(store: &Store) -> Result<(), StoreError> {
    for _ in 0..100_000 {
        let (seq, mrn) = write_one(store).await?;
        say(&format!("ack {seq} {mrn}"));
    }
    Ok(())
}

async fn back_up(store: Store) {
    for _ in 0..10_000 {
        let name = format!("b{:08x}", rand::random::<u32>());
        backup(&store, Path::new(&name), None, &in_silence).await.unwrap();
        say(&format!("backup {name}"));
    }
}

async fn look(store: &Store) -> Result<(), StoreError> {
    store.looked(&Author::program(), "disk", None, serde_json::Value::Null).await
}

/// Writes until the disk is full, then says what the program said and whether the record is whole.
async fn fill_the_disk(place: &Place) {
    let store = Store::open(place, wall_clock()).await.unwrap();
    let Place::Folder(folder) = place else { unreachable!() };
    let ballast = folder.with_file_name("ballast");
    std::fs::write(&ballast, vec![7; 300_000]).unwrap();
    say("open");
    let refused = write_until_stopped(&store).await.unwrap_err();
    say(&format!("refused {refused}"));
    let again =
        write_one(&store).await.map_or_else(|error| error.to_string(), |_| "done".to_owned());
    say(&format!("again {again}"));
    // Many at once, of every size: whatever one leaves behind in its connection, the next must not find.
    let mut crowd = tokio::task::JoinSet::new();
    for _ in 0..8 {
        let store = store.clone();
        crowd.spawn(async move {
            let (mut said, mut done) = (std::collections::BTreeSet::new(), 0);
            for n in 0..60 {
                let tried = if n % 3 == 0 {
                    write_one(&store).await.map(|_| ())
                } else {
                    store.act(&Author::program(), "look").await.map(drop)
                };
                let looked = look(&store).await;
                for done_or_not in [tried, looked] {
                    match done_or_not {
                        Ok(()) => done += 1,
                        Err(error) => drop(said.insert(error.to_string())),
                    }
                }
            }
            (said, done)
        });
    }
    let all = crowd.join_all().await;
    let words: std::collections::BTreeSet<&String> =
        all.iter().flat_map(|(said, _)| said).collect();
    say(&format!("crowd {words:?}"));
    std::fs::remove_file(&ballast).unwrap();
    let mut room = std::collections::BTreeSet::new();
    for _ in 0..5 {
        room.extend(look(&store).await.err().map(|error| error.to_string()));
    }
    say(&format!("room {room:?}"));
    let found = store.verify(&[], &in_silence).await.unwrap();
    let sql = "SELECT COUNT(*) FROM act WHERE verb = 'person.put'";
    let written = store.read().await.unwrap().number(sql, &[]).await.unwrap();
    say(&format!("acts {written} wrong {:?}", found.wrong));
}

/// Run by itself it writes ten acts; with a task it is the program that the other tests start and kill.
#[tokio::test(flavor = "multi_thread")]
async fn the_writer() {
    let (Ok(task), Ok(place)) = (std::env::var(super::TASK), std::env::var(super::PLACE)) else {
        let folder = tempfile::tempdir().unwrap();
        let place = Place::Folder(folder.path().join("record"));
        let store = Store::open(&place, wall_clock()).await.unwrap();
        for seq in 1..=10 {
            assert_eq!(write_one(&store).await.unwrap().0, seq);
        }
        assert_eq!(store.verify(&[], &in_silence).await.unwrap().acts, 10);
        return;
    };
    let place = Place::read(&place);
    match task.as_str() {
        "write" | "backup" => {
            let store = Store::open(&place, wall_clock()).await.unwrap();
            say("open");
            if task == "backup" {
                tokio::spawn(back_up(store.clone()));
            }
            write_until_stopped(&store).await.unwrap();
        }
        "fill" => fill_the_disk(&place).await,
        _ => match Store::open(&place, wall_clock()).await {
            Err(error) => say(&format!("refused {error}; {}", error.hint())),
            Ok(store) => match write_one(&store).await {
                Err(error) => say(&format!("refused {error}; {}", error.hint())),
                Ok(_) => say("written"),
            },
        },
    }
}
