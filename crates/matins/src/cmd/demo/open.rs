//! The invented department opened in the browser, on this machine only.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use ::demo::{Past, desk_settings};
use engine::print::Heading;
use engine::report::Report;
use jiff::civil::Date;
use store::act::Author;
use store::db::{Place, Store};
use store::error::Result;
use store::when;
use store::words::Role;
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

/// Stands in the folder of a demo that is whole, so that it is known again and goes on.
const INVENTED: &str = "invented.txt";
const INVENTED_SAYS: &str = "\
The record in this folder is of an invented department, made by `matins demo`. Nobody in it is real.
`matins demo --data` with this folder goes on with it.
";

/// Files by name.
type Files = Vec<(String, Vec<u8>)>;

/// Whether the folder holds a demo that was made whole.
pub(super) fn is_demo(folder: &Path) -> bool {
    folder.join(INVENTED).is_file()
}

/// Makes the record in the folder, or goes on with the one there, and serves it until it is told to end.
pub(super) fn run(folder: &Path, args: &DemoArgs, voice: Voice) -> Result<Exit, Trouble> {
    let runtime = serve::runtime()?;
    let place = Place::Folder(folder.join("record"));
    let monitors = folder.join(MONITORS);
    let from = if is_demo(folder) {
        if args.day.is_some() {
            return Err(Trouble::usage(
                "`--day` is for a new demo; this one goes on from its last act",
            )
            .about(folder.display().to_string()));
        }
        runtime.block_on(last_act(&place)).map_err(serve::record)?
    } else {
        let today = day(args)?;
        voice.tell("making some months of an invented department");
        let clock = Arc::new(AtomicI64::new(0));
        let files = runtime.block_on(furnish(&place, &clock, today)).map_err(serve::record)?;
        std::fs::create_dir_all(&monitors).map_err(|error| super::not_made(&monitors, &error))?;
        for (name, bytes) in files {
            files::write(&monitors.join(name), &bytes)?;
        }
        files::write(&folder.join(INVENTED), INVENTED_SAYS.as_bytes())?;
        clock.load(Ordering::SeqCst)
    };
    let store = runtime.block_on(Store::open(&place, going_on(from))).map_err(serve::record)?;
    let browse = !args.no_open;
    let ready = move |address: &str| welcome(voice, address, &monitors, browse);
    runtime.block_on(serve::run_on(store, args.listen, Arc::new(ready), voice))?;
    Ok(Exit::Done)
}

/// The demo's clock: it goes on from where its past ended, whatever the hour is here.
fn going_on(from: i64) -> when::Clock {
    let wall = when::wall_clock();
    let began = wall();
    Arc::new(move || from + wall() - began)
}

/// When the last act of a demo was that is gone on with.
async fn last_act(place: &Place) -> Result<i64> {
    let store = Store::open(place, when::wall_clock()).await?;
    let clocks = store.clocks().await;
    store.close().await;
    Ok(clocks?.last_at)
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
