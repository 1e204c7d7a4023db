//! `matins look`: what a file holds.

mod make_map;
mod page;

use crate::args::LookArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};
use crate::setup;

/// Shows what the file holds, or writes a column map for it.
pub(crate) fn run(args: &LookArgs, no_input: bool, voice: Voice) -> Result<Exit, Trouble> {
    if args.make_map {
        return make_map::run(args, no_input, voice);
    }
    let options = setup::read_options(&args.read)?;
    let recording = setup::recording(&args.file, &options)?;
    files::print(page::page(&recording, &files::shown(&args.file)).as_bytes())?;
    if !files::is_standard(&args.file) {
        voice.tell(&format!("next: matins score {}{}", args.file.display(), told(args)));
    }
    Ok(Exit::Done)
}

/// The options that told how the file is read, to be told again.
fn told(args: &LookArgs) -> String {
    let zone = args.read.zone.as_ref().map(|zone| format!(" --zone {zone}"));
    let map = args.read.map.as_ref().map(|map| format!(" --map {}", map.display()));
    zone.into_iter().chain(map).collect()
}
