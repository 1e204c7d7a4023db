//! What was acknowledged survives: the program killed at random points, a full disk, a folder that may not
//! be written, a damaged page.
//!
//! The test program starts itself again as the writer that is killed: `the_writer` with a task to do.

#![expect(clippy::unwrap_used, reason = "a test says what it expects by unwrapping it")]

mod hard;
mod writer;

use std::io::BufRead as _;
use std::io::BufReader;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::time::Duration;
use std::time::Instant;

use sqlx::Connection as _;
use store::record::db::Place;
use store::record::db::Store;
use store::record::tables::Person;
use store::record::tables::Setting;
use store::safekeeping::backup::check;
use store::safekeeping::verify::in_silence;
use store::when::wall_clock;

/// How often the writer is killed on each database.
const ROUNDS: u32 = 100;

pub(crate) const TASK: &str = "MATINS_TEST_TASK";
pub(crate) const PLACE: &str = "MATINS_TEST_PLACE";

pub(crate) fn place_text(place: &Place) -> String {
    match place {
        Place::Folder(folder) => folder.display().to_string(),
        Place::Url(url) => url.clone(),
    }
}

/// The command that does a task; `before` is a program that starts it, with its arguments.
pub(crate) fn writer(task: &str, place: &Place, before: &[&str]) -> Command {
    let this = std::env::current_exe().unwrap();
    let mut command = match before {
        [] => Command::new(&this),
        [program, arguments @ ..] => {
            let mut command = Command::new(program);
            command.args(arguments).arg(&this);
            command
        }
    };
    command.args(["--exact", "writer::the_writer", "--nocapture", "--test-threads=1"]);
    command.env(TASK, task).env(PLACE, place_text(place));
    command.stdout(Stdio::piped()).stderr(Stdio::null()).stdin(Stdio::null());
    command
}

/// A number below a bound, from a generator that makes the same numbers on every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        // The constants of Knuth's MMIX generator.
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

/// Lets the writer say so many lines that begin so and write for a moment more, kills it, and gives every line it
/// had said. What it got done does not depend on how fast the machine is.
fn killed(mut child: Child, (mut more, of): (u64, &str), after: Duration) -> Vec<String> {
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut said = Vec::new();
    for line in lines.by_ref() {
        let line = line.unwrap();
        let open = line == "open";
        said.push(line);
        if open {
            break;
        }
    }
    assert_eq!(said.last().map(String::as_str), Some("open"), "{said:?}");
    while more > 0 {
        let line = lines.next().unwrap().unwrap();
        more -= u64::from(line.starts_with(of));
        said.push(line);
    }
    std::thread::sleep(after);
    child.kill().unwrap();
    child.wait().unwrap();
    said.extend(lines.map_while(Result::ok));
    said
}

/// The acts that were acknowledged: number and the patient's number it wrote.
fn acknowledged(said: &[String]) -> Vec<(i64, String)> {
    said.iter()
        .filter_map(|line| {
            let (seq, mrn) = line.strip_prefix("ack ")?.split_once(' ')?;
            Some((seq.parse().ok()?, mrn.to_owned()))
        })
        .collect()
}

async fn intact(place: &Place, acked: &[(i64, String)]) {
    let store = Store::open(place, wall_clock()).await.unwrap();
    let found = store.verify(&[], &in_silence).await.unwrap();
    assert_eq!(found.wrong, Vec::<String>::new());
    let mut conn = store.read().await.unwrap();
    for (seq, mrn) in acked {
        let person: Person =
            conn.first("WHERE mrn = $1", &[mrn.as_str().into()]).await.unwrap().unwrap();
        assert_eq!(person.act, *seq, "{mrn}");
    }
    // Each act wrote one of each, or nothing. One moment is counted: a server may still be ending the act
    // whose writer was killed.
    let mut count = async |sql| conn.number(sql, &[]).await.unwrap();
    let people = count("SELECT COUNT(*) FROM person").await;
    assert_eq!(people, count("SELECT COUNT(*) FROM setting").await);
    assert_eq!(people, count("SELECT COUNT(*) FROM bytes").await);
    assert_eq!(people, count("SELECT COUNT(*) FROM act WHERE verb = 'person.put'").await);
    let last: Option<Setting> = conn.first("ORDER BY id DESC LIMIT 1", &[]).await.unwrap();
    if let Some(last) = last {
        conn.bytes(&last.value).await.unwrap();
    }
    drop(conn);
    store.close().await;
}

/// In every third round a backup is being made as well.
async fn kill_again_and_again(place: Place) {
    let backups = tempfile::tempdir().unwrap();
    let mut dice = Dice(20_261_125);
    let (mut acks, mut made) = (0, 0);
    let began = Instant::now();
    for round in 0..ROUNDS {
        let with_backup = round % 3 == 2;
        let mut command = writer(if with_backup { "backup" } else { "write" }, &place, &[]);
        command.current_dir(backups.path());
        let after = Duration::from_millis(dice.below(if with_backup { 150 } else { 60 }));
        let more = if with_backup { (dice.below(2), "backup ") } else { (dice.below(6), "ack ") };
        let said = killed(command.spawn().unwrap(), more, after);
        let acked = acknowledged(&said);
        acks += acked.len();
        intact(&place, &acked).await;
        for line in said.iter().filter_map(|line| line.strip_prefix("backup ")) {
            assert!(backups.path().join(line).exists(), "{line}");
        }
        for found in std::fs::read_dir(backups.path()).unwrap() {
            let path = found.unwrap().path();
            // What has its name is whole, whether its maker lived to say so or not.
            if !path.file_name().unwrap().to_string_lossy().starts_with('.') {
                assert!(
                    check(&path, None, &in_silence).unwrap().verified.is_sound(),
                    "{}",
                    path.display()
                );
                made += 1;
            }
            std::fs::remove_file(path).unwrap();
        }
    }
    assert!(acks > 100 && made > 0, "{acks} acts, {made} backups in {:?}", began.elapsed());
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_a_hundred_times_in_a_folder_nothing_acknowledged_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    kill_again_and_again(Place::Folder(folder.path().join("record"))).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_a_hundred_times_on_a_server_nothing_acknowledged_is_lost() {
    let Ok(server) = std::env::var("MATINS_POSTGRES") else { return };
    let name = format!("crash{}", std::process::id());
    let mut admin = sqlx::PgConnection::connect(&format!("{server}/postgres")).await.unwrap();
    let sql = sqlx::AssertSqlSafe(format!("CREATE DATABASE {name}"));
    sqlx::raw_sql(sql).execute(&mut admin).await.unwrap();
    kill_again_and_again(Place::Url(format!("{server}/{name}"))).await;
    let sql = sqlx::AssertSqlSafe(format!("DROP DATABASE {name} WITH (FORCE)"));
    sqlx::raw_sql(sql).execute(&mut admin).await.unwrap();
}
