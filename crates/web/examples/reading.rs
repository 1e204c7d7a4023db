//! A department with nights to read, made of files: `cargo run -p web --example reading -- FOLDER PORT`.
//!
//! FOLDER holds nights named by a serial number, `TC-1001.csv`, each with its notes `TC-1001.notes.toml`
//! beside it, as `matins simulate` writes them. Everybody is invented.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use engine::read::Input;
use engine::read::ReadOptions;
use engine::time::zone_named;
use store::act::Author;
use store::db::Place;
use store::db::Store;
use store::error::Result;
use store::error::StoreError;
use store::morning::Incoming;
use store::record::Kept;
use store::setting::DeskSettings;
use store::tables::HandOut;
use store::tables::Loan;
use store::tables::Monitor;
use store::tables::Person;
use store::tables::Referral;
use store::tables::Study;
use store::when::local_date;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::Role;
use store::words::StudyStatus;
use store::words::Urgency;
use web::printer::Paper;
use web::printer::Printer;

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
    furnish(&store, Path::new(&folder)).await?;
    let config = web::Config {
        store,
        printer: Arc::new(PlainPrinter),
        listen: SocketAddr::from(([127, 0, 0, 1], port.parse()?)),
        tls: None,
        names: Vec::new(),
        log: Arc::new(log),
        ready: Arc::new(log),
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
    store.put_setting(&Author::program(), store::setting::DESK, &text).await?;
    let phrases = "Good recording throughout.\nCO2 settled late and is not believed before midnight.\nA repeat with the clip taped is advised.";
    store.put_setting(&Author::program(), "phrases", phrases).await?;
    for (n, (family, given)) in (1..).zip(NAMES) {
        let path = folder.join(format!("TC-100{n}.csv"));
        if let Ok(bytes) = std::fs::read(&path) {
            let notes = std::fs::read_to_string(path.with_extension("notes.toml")).ok();
            one(store, n, (family, given), bytes, notes).await?;
        }
    }
    Ok(())
}

/// One person, their loan and the night of it.
async fn one(
    store: &Store,
    n: i64,
    (family, given): (&str, &str),
    bytes: Vec<u8>,
    notes: Option<String>,
) -> Result<()> {
    let name = format!("TC-100{n}.csv");
    let input = Input { name: &name, bytes: &bytes, companions: &[] };
    let options = ReadOptions { zone: zone_named(ZONE), map: None };
    let read = engine::read::read(input, &options)
        .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
    let start = read.clock.start_instant().map_or(0, jiff::Timestamp::as_second);
    lend(store, n, (family, given), start).await?;
    let by = author("thistle", "Ansel Thistlewood", Role::Physiologist);
    let file = Incoming { name, bytes, zone: Some(ZONE.to_owned()), ..Incoming::default() };
    let received = store.receive(&by, file).await?;
    for night in received.nights {
        log(&format!("night {} {:?} {:?}", night.id, night.status, night.doubts.0));
        if let (Some(notes), Some(_)) = (&notes, night.result) {
            let set = store.read().await?.criteria_of(&night).await?;
            store.rescore(&by, night.id, notes, &set, "the diary was entered").await?;
        }
    }
    Ok(())
}

fn author(login: &str, name: &str, role: Role) -> Author {
    Author { login: login.to_owned(), name: name.to_owned(), role, station: "example".to_owned() }
}

async fn lend(store: &Store, n: i64, (family, given): (&str, &str), start: i64) -> Result<()> {
    let zone = zone_named(ZONE).unwrap_or(jiff::tz::TimeZone::UTC);
    let mut act = store.act(&Author::program(), "loan.book").await?;
    let mut person = Person {
        id: 0,
        act: 0,
        mrn: format!("LM 000 00{n}"),
        nhs_number: None,
        family: family.to_owned(),
        given: given.to_owned(),
        born_on: format!("19{}-0{n}-1{n}", 50 + n * 4),
        telephone: None,
        address: None,
        needs: None,
        voided_at: None,
        voided_because: None,
        same_as: None,
    };
    act.put(&mut person).await?;
    let mut asked = referral(n, person.id);
    act.put(&mut asked).await?;
    let mut study = Study {
        id: 0,
        act: 0,
        person: person.id,
        referral: asked.id,
        status: StudyStatus::OnLoan,
        closed_because: None,
    };
    act.put(&mut study).await?;
    let mut monitor = monitor(n);
    act.put(&mut monitor).await?;
    let mut loan = Loan {
        id: 0,
        act: 0,
        mark: format!("L-0000{n}-X"),
        study: study.id,
        person: person.id,
        monitor: monitor.id,
        first_night_on: local_date(start, &zone).to_string(),
        nights: 1,
        due_at: start + 50_000,
        status: LoanStatus::Back,
        booked_by: "pillow".to_owned(),
        booked_at: start - 900_000,
        out_at: Some(start - 20_000),
        out_by: Some("pillow".to_owned()),
        out: Kept(Some(HandOut::default())),
        back_at: Some(start + 45_000),
        back_by: Some("pillow".to_owned()),
        back: Kept(None),
        because: None,
        repeats_night: None,
    };
    act.put(&mut loan).await?;
    act.close().await.map(|_| ())
}

fn referral(n: i64, person: i64) -> Referral {
    let questions = ["", "hypoventilation"];
    Referral {
        id: 0,
        act: 0,
        person,
        asked_by: "Dr T. Quillfeather".to_owned(),
        received_on: "2026-01-02".to_owned(),
        question: questions[usize::from(n % 2 == 0)].to_owned(),
        words: Some("morning headaches; breathing support considered".to_owned()),
        support: None,
        urgency: if n == 2 { Urgency::Urgent } else { Urgency::Routine },
        criteria: "adult-air".to_owned(),
        voided_at: None,
        voided_because: None,
    }
}

fn monitor(n: i64) -> Monitor {
    Monitor {
        id: 0,
        act: 0,
        mark: format!("M-000{n}-X"),
        serial: format!("TC-100{n}"),
        kind: "ear sensor monitor".to_owned(),
        value_pence: 680_000,
        bought_on: None,
        in_use_since_on: None,
        firmware: None,
        service_due_on: Some("2027-06-01".to_owned()),
        electrical_due_on: None,
        membrane_on: None,
        gas: None,
        status: MonitorStatus::Back,
        because: None,
        loan: None,
        returned_at: None,
        cleaned_at: None,
        checked_at: None,
    }
}
