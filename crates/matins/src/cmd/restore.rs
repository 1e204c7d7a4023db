//! `matins restore`: a backup into a place that holds nothing.

use store::record::db::Place;
use store::when::wall_clock;

use crate::args::RestoreArgs;
use crate::cmd::record;
use crate::exit::Exit;
use crate::message::{Trouble, Voice};

/// Restores and checks; what does not agree leaves nothing behind.
pub(crate) fn run(args: &RestoreArgs, voice: Voice) -> Result<Exit, Trouble> {
    let passphrase = record::passphrase(args.passphrase_file.as_deref())?;
    let place = Place::read(&args.data);
    let found = record::wait_for(async {
        let progress = record::progress(voice);
        let done = store::safekeeping::backup::restore(
            &args.file,
            &place,
            passphrase.as_ref(),
            wall_clock(),
            &progress,
        );
        done.await.map_err(|error| record::told(&error))
    })?;
    voice.tell(&format!(
        "{}: {} acts, {} rows and {} files, restored and sound",
        args.file.display(),
        found.acts,
        found.rows,
        found.files
    ));
    Ok(Exit::Done)
}
