//! `matins backup`: the department's record in one file, while work goes on.

use crate::args::BackupArgs;
use crate::cmd::record;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};

/// Makes a backup, reads it back, and names it only then.
pub(crate) fn run(args: &BackupArgs, voice: Voice) -> Result<Exit, Trouble> {
    let passphrase = record::passphrase(args.passphrase_file.as_deref())?;
    if let (Some(passphrase), Some(path)) = (&passphrase, &args.passphrase_file) {
        passphrase.good().map_err(|what| Trouble::refused(what).about(files::shown(path)))?;
    }
    let made = record::wait_for(async {
        let store = record::open(&args.data, args.reach).await?;
        let progress = record::progress(voice);
        let made = store::safekeeping::backup::backup(
            &store,
            &args.output,
            passphrase.as_ref(),
            &progress,
        )
        .await;
        store.close().await;
        made.map_err(|error| record::told(&error))
    })?;
    let found = &made.verified;
    voice.tell(&format!(
        "{}: {} acts, {} rows and {} files, read back and sound",
        args.output.display(),
        found.acts,
        found.rows,
        found.files
    ));
    if passphrase.is_none() {
        voice.tell("it is not encrypted; --passphrase-file encrypts it");
    }
    Ok(Exit::Done)
}
