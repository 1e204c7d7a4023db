//! What the verbs on the department's record share: where it lies, waiting for it, and its errors.

use std::future::Future;
use std::io::IsTerminal as _;
use std::path::Path;
use std::sync::Mutex;

use store::error::StoreError;
use store::record::db::Place;
use store::record::db::Reach;
use store::record::db::Store;
use store::safekeeping::dump::Passphrase;
use store::safekeeping::verify::Step;
use store::when::wall_clock;

use crate::args::ReachArgs;
use crate::files;
use crate::message::{Trouble, Voice, say};

/// Opens the record that is there; a mistyped folder may not become a new one.
pub(crate) async fn open(data: &str, reach: ReachArgs) -> Result<Store, Trouble> {
    let place = Place::read(data);
    let opened = Store::open_existing(&place, wall_clock(), within(reach)).await;
    opened.map_err(|error| told(&error))
}

/// Who may reach the record's folder, as it was typed.
pub(crate) fn within(reach: ReachArgs) -> Reach {
    if reach.shared_folder { Reach::Shared } else { Reach::Owner }
}

/// Runs work on the record to its end.
pub(crate) fn wait_for<T>(work: impl Future<Output = Result<T, Trouble>>) -> Result<T, Trouble> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| {
        Trouble::machine(format!("the program cannot start its threads: {}", files::plain(&error)))
    })?;
    runtime.block_on(work)
}

/// An error of the record in the program's voice.
pub(crate) fn told(error: &StoreError) -> Trouble {
    let trouble = Trouble::store(error.to_string());
    match error.hint() {
        hint if hint.is_empty() => trouble,
        hint => trouble.hint(hint),
    }
}

/// The passphrase in a file's first line; `-` is standard input.
pub(crate) fn passphrase(file: Option<&Path>) -> Result<Option<Passphrase>, Trouble> {
    let Some(path) = file else { return Ok(None) };
    let text = files::read_text(path)?;
    let read = Passphrase::read(&text);
    read.map(Some).map_err(|what| Trouble::refused(what).about(files::shown(path)))
}

/// Tells the steps of long work on a terminal, on one line that is written over.
pub(crate) fn progress(voice: Voice) -> impl Fn(Step) + Send + Sync {
    let shown = std::io::stderr().is_terminal() && !voice.is_quiet();
    let last = Mutex::new(("", 0));
    move |step| {
        let percent = (step.done * 100).checked_div(step.of).unwrap_or(100).min(100);
        let Ok(mut last) = last.lock() else { return };
        if shown && *last != (step.what, percent) {
            *last = (step.what, percent);
            let end = if percent == 100 { "\r\u{1b}[K" } else { "" };
            say(&format!("\r{}: {percent} %{end}", step.what));
        }
    }
}
