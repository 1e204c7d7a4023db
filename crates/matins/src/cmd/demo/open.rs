//! The invented department opened in the browser, on this machine only.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use ::demo::{Past, desk_settings};
use engine::print::Heading;
use engine::report::Report;
use jiff::civil::Date;
use store::error::{Result, StoreError};
use store::record::act::Author;
use store::record::db::{Place, Reach, Store};
use store::when;
use store::words::Role;
use tokio::runtime::Runtime;
use web::printer::Paper;

use crate::args::DemoArgs;
use crate::cmd::serve;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};
use crate::printer::printer;

/// Everybody's password. It is printed, and guards nothing but invented people.
const PASSWORD: &str = "lullaby-lane-42";

/// Who may log in, with what they do.
const ACCOUNTS: [(&str, &str, Role); 6] = [
    ("pillow", "Petra Pillow", Role::Desk),
    ("thistle", "Ansel Thistlewood", Role::Physiologist),
    ("bracken", "Bryony Bracken", Role::Physiologist),
    ("quill", "Dr Tamsin Quillfeather", Role::Physician),
    ("ledger", "Lorne Ledger", Role::Governance),
    ("keys", "Kit Keys", Role::Administrator),
];

/// Folder of the files that are still on their monitors.
const MONITORS: &str = "on-the-monitors";
/// Folder of the record.
const RECORD: &str = "record";

/// Files by name.
type Files = Vec<(String, Vec<u8>)>;

/// Whether the folder holds a record already.
pub(super) fn holds_record(folder: &Path) -> bool {
    folder.join(RECORD).is_dir()
}

/// Makes the record in the folder, or goes on with the one there, and serves it until it is told to end.
pub(super) fn run(folder: &Path, args: &DemoArgs, voice: Voice) -> Result<Exit, Trouble> {
    let runtime = serve::runtime()?;
    let place = Place::Folder(folder.join(RECORD));
    let monitors = folder.join(MONITORS);
    if holds_record(folder) {
        if args.day.is_some() {
            let says = "`--day` is for a new demo; this one goes on from its last act";
            return Err(Trouble::usage(says).about(folder.display().to_string()));
        }
        runtime.block_on(go_on(&place)).map_err(serve::record)?;
    } else {
        make(&runtime, (&place, &monitors), day(args)?, voice)?;
    }
    // The record tells its own time: it goes on from where its past ended, whatever the hour is here.
    let store = runtime.block_on(Store::open(&place, when::wall_clock())).map_err(serve::record)?;
    let browse = !args.no_open;
    let ready = move |address: &str| welcome(voice, address, &monitors, browse);
    runtime.block_on(serve::run_on(store, args.listen, Arc::new(ready), voice))?;
    Ok(Exit::Done)
}

fn make(
    runtime: &Runtime,
    (place, monitors): (&Place, &Path),
    today: Date,
    voice: Voice,
) -> Result<(), Trouble> {
    voice.tell("making some months of an invented department");
    let clock = Arc::new(AtomicI64::new(0));
    let files = runtime.block_on(furnish(place, &clock, today)).map_err(serve::record)?;
    std::fs::create_dir_all(monitors).map_err(|error| super::not_made(monitors, &error))?;
    for (name, bytes) in files {
        files::write(&monitors.join(name), &bytes)?;
    }
    Ok(())
}

/// Sets the time of a demo that was made before to its last act: whoever comes back finds it as it was left.
async fn go_on(place: &Place) -> Result<()> {
    let wall = when::wall_clock();
    let store = Store::open_existing(place, wall.clone(), Reach::Owner).await?;
    let clocks = store.clocks().await;
    store.close().await;
    let clocks = clocks?;
    let Some(ahead_s) = clocks.invented_s else {
        let says = "the record in this folder is not of an invented department";
        return Err(StoreError::refused("no_demo", says, "open it with `matins serve`"));
    };
    // Opened as if the machine's clock stood where the demo was left: no act is dated after a gap.
    let (left, began) = (clocks.last_at - ahead_s, wall());
    let store = Store::open(place, Arc::new(move || left + when::wall_clock()() - began)).await?;
    store.live_at(&Author::program(), clocks.last_at - began).await?;
    store.close().await;
    Ok(())
}

/// The day the demo plays on.
fn day(args: &DemoArgs) -> Result<Date, Trouble> {
    match &args.day {
        None => Ok(when::local_date(when::wall_clock()(), &desk_settings().zone())),
        Some(text) => when::date(text).ok_or_else(|| {
            Trouble::usage(format!("expected a day such as 2026-11-25, found `{text}`"))
        }),
    }
}

async fn furnish(place: &Place, clock: &Arc<AtomicI64>, today: Date) -> Result<Files> {
    let told = clock.clone();
    let store = Store::open(place, Arc::new(move || told.load(Ordering::SeqCst))).await?;
    let mut past = Past::new(&store, clock.clone(), today, &printed);
    past.begin();
    for (login, name, role) in ACCOUNTS {
        store.make_account_with(&Author::program(), login, name, role, PASSWORD).await?;
    }
    past.make().await?;
    let files = std::mem::take(&mut past.files);
    // Whatever opens this record, to check it or to back it up, does it at the demo's time.
    let ahead_s = clock.load(Ordering::SeqCst) - when::wall_clock()();
    store.live_at(&Author::program(), ahead_s).await?;
    store.close().await;
    Ok(files)
}

/// The paper of a report; a page where this build has no PDF.
fn printed(report: Report, heading: Heading) -> Vec<u8> {
    let of = Box::new(web::printer::Report { report, heading });
    match printer().print(&Paper::Report(of.clone()), &desk_settings()) {
        Ok(pdf) => pdf,
        Err(_) => engine::print::html(&of.report, &of.heading).into_bytes(),
    }
}

fn welcome(voice: Voice, address: &str, monitors: &Path, browse: bool) {
    voice.tell(&format!("the workbench is at {address}, Ctrl-C ends it"));
    for (login, name, role) in ACCOUNTS {
        voice.tell(&format!("  log in as {login:<8} {PASSWORD}   {name}, {role}"));
    }
    voice.tell(&format!("nights still on their monitors lie in {}", monitors.display()));
    if browse {
        // A machine without a desktop has no opener; the address is printed above.
        let opener = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
        let quiet = || Stdio::null();
        let _ = Command::new(opener)
            .arg(address)
            .stdin(quiet())
            .stdout(quiet())
            .stderr(quiet())
            .spawn();
    }
}
