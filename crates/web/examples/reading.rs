//! A department with nights to read, made of files: `cargo run -p web --example reading -- FOLDER PORT`.
//!
//! FOLDER holds nights named by a serial number, `TC-1001.csv` or `TC-1001.edf`, each with its notes `TC-1001.notes.toml`
//! beside it, as `matins simulate` writes them. Everybody is invented.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use engine::read::Input;
use engine::read::ReadOptions;
use engine::time::zone_named;
use store::error::Result;
use store::error::StoreError;
use store::intake::receive::Incoming;
use store::lending::setting::DeskSettings;
use store::record::act::Author;
use store::record::db::Place;
use store::record::db::Store;
use store::record::tables::Night;
use store::words::Role;
use web::printer::Paper;
use web::printer::Printer;

use lent::lend;

#[path = "../tests/it/lent.rs"]
mod lent;

/// Everybody's password. It guards nothing but invented people.
const PASSWORD: &str = "lullaby-lane-42";
const ZONE: &str = "Europe/London";

const NAMES: [(&str, &str); 6] = [
    ("Nightcap", "Nell"),
    ("Bolster", "Bram"),
    ("Featherbed", "Oriel"),
    ("Eiderdown", "Ottoline"),
    ("Counterpane", "Cosmo"),
    ("Quiltby", "Quentin"),
];

/// Puts the page itself where the paper would be, since this crate has no typesetter.
struct PlainPrinter;

impl Printer for PlainPrinter {
    fn print(&self, paper: &Paper, _desk: &DeskSettings) -> std::result::Result<Vec<u8>, String> {
        match paper {
            Paper::Report(of) => Ok(engine::print::html(&of.report, &of.heading).into_bytes()),
            _ => Err("only reports are printed here".to_owned()),
        }
    }
}

#[tokio::main]
async fn main() -> std::result::Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let (Some(folder), Some(port)) = (args.next(), args.next()) else {
        return Err("expected a folder of nights and a port".into());
    };
    let record = tempfile::tempdir()?;
    let place = Place::Folder(record.path().join("record"));
    let store = Store::open(&place, store::when::wall_clock()).await?;
    Box::pin(furnish(&store, Path::new(&folder))).await?;
    let config = web::Config {
        store,
        printer: Arc::new(PlainPrinter),
        listen: SocketAddr::from(([127, 0, 0, 1], port.parse()?)),
        tls: None,
        names: Vec::new(),
        log: Arc::new(log),
        ready: Arc::new(|at| log(&format!("the workbench is at {at}, Ctrl-C ends it"))),
    };
    web::serve(config, std::future::pending()).await?;
    Ok(())
}

#[expect(clippy::print_stderr, reason = "an example tells its operator what happens")]
fn log(line: &str) {
    eprintln!("{line}");
}

async fn furnish(store: &Store, folder: &Path) -> Result<()> {
    let accounts = [
        ("thistle", "Ansel Thistlewood", Role::Physiologist),
        ("second", "Sela Secondby", Role::Physiologist),
        ("quill", "Dr Tamsin Quillfeather", Role::Physician),
        ("pillow", "Petra Pillow", Role::Desk),
    ];
    for (login, name, role) in accounts {
        store.make_account_with(&Author::program(), login, name, role, PASSWORD).await?;
    }
    let desk = DeskSettings {
        hospital: "Larkmoor General Hospital (invented)".to_owned(),
        department: "Sleep and Breathing Physiology".to_owned(),
        zone: ZONE.to_owned(),
        ..DeskSettings::default()
    };
    let text = serde_json::to_string(&desk).unwrap_or_default();
    store.put_setting(&Author::program(), store::lending::setting::DESK, &text).await?;
    let phrases = "Good recording throughout.\nCO2 settled late and is not believed before midnight.\nA repeat with the clip taped is advised.";
    store.put_setting(&Author::program(), "phrases", phrases).await?;
    for (n, (family, given)) in (1..).zip(NAMES) {
        for name in [format!("TC-100{n}.csv"), format!("TC-100{n}.edf")] {
            let path = folder.join(&name);
            if let Ok(bytes) = std::fs::read(&path) {
                let notes = std::fs::read_to_string(path.with_extension("notes.toml")).ok();
                Box::pin(one(store, (n, name), (family, given), bytes, notes)).await?;
            }
        }
    }
    Ok(())
}

/// One person, their loan and the night of it.
async fn one(
    store: &Store,
    (n, name): (i64, String),
    (family, given): (&str, &str),
    bytes: Vec<u8>,
    notes: Option<String>,
) -> Result<()> {
    let input = Input { name: &name, bytes: &bytes, companions: &[] };
    let options = ReadOptions { zone: zone_named(ZONE), map: None };
    let read = engine::read::read(input, &options)
        .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
    let start = read.clock.start_instant().map_or(0, jiff::Timestamp::as_second);
    lend(store, n, (family, given), start).await?;
    let by = author("thistle", "Ansel Thistlewood", Role::Physiologist);
    let file = Incoming { name, bytes, zone: Some(ZONE.to_owned()), ..Incoming::default() };
    let received = store.receive(&by, file).await?;
    for mut night in received.nights {
        // A recording that runs over noon is kept in one piece here, to look at a long one.
        if night.from_s == 0 && read.duration_s > 86_400.0 {
            night = Box::pin(whole(store, &by, night, read.duration_s)).await?;
        }
        log(&format!("night {} {:?} {:?}", night.id, night.status, night.doubts.0));
        if let (Some(notes), Some(_)) = (&notes, night.result) {
            let set = store.read().await?.criteria_of(&night).await?;
            store.rescore(&by, night.id, notes, &set, "the diary was entered").await?;
        }
    }
    Ok(())
}

async fn whole(store: &Store, by: &Author, night: Night, duration_s: f64) -> Result<Night> {
    let to_s = night.to_s.max(jiff::SignedDuration::from_secs_f64(duration_s).as_secs());
    if to_s == night.to_s {
        return Ok(night);
    }
    let mut act = store.act(by, "night.whole").await?;
    let mut night: Night = act.get_as_seen(night.id, night.act).await?;
    night.to_s = to_s;
    act.put(&mut night).await?;
    act.close().await?;
    if night.loan.is_none() {
        let loan = store.read().await?.last_loan().await?;
        let loan = loan.map_or(0, |loan| loan.id);
        let why = "the only one there is";
        store.settle_night(by, night.id, loan, why).await?;
        if let Some(tie) = store.read().await?.proposal(night.id).await? {
            let other = author("bracken", "Brid Bracken", Role::Physiologist);
            store.confirm_tie(&other, tie.id, why).await?;
        }
    } else {
        store.score_night(by, night.id).await?;
    }
    store.read().await?.get(night.id).await
}

fn author(login: &str, name: &str, role: Role) -> Author {
    Author { login: login.to_owned(), name: name.to_owned(), role, station: "example".to_owned() }
}
