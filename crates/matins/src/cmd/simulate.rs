//! `matins simulate`: a night of which the truth is known.

use std::path::{Path, PathBuf};

use simulate::write;
use simulate::{Made, Named, sleeper_named, sleepers};

use crate::args::SimulateArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};

/// Lists the sleepers, or makes a night with its notes and its truth beside it.
pub(crate) fn run(args: &SimulateArgs, voice: Voice) -> Result<Exit, Trouble> {
    let Some(out) = args.output.as_deref().filter(|_| !args.list) else { return list(voice) };
    let mut named = named(args.sleeper.as_deref())?;
    if let Some(hours) = args.hours {
        named.sleeper.sleep.in_bed_h = hours;
    }
    let outputs = outputs(out, &named.night(args.seed))?;
    for (path, _) in &outputs {
        files::free(path, args.force)?;
    }
    for (path, bytes) in &outputs {
        files::write(path, bytes)?;
    }
    if !files::is_standard(out) {
        tell(&named, out, voice);
    }
    Ok(Exit::Done)
}

fn list(voice: Voice) -> Result<Exit, Trouble> {
    let lines: Vec<String> =
        sleepers().iter().map(|named| format!("{:<16}{}\n", named.id, named.sentence)).collect();
    files::print(lines.concat().as_bytes())?;
    voice.tell("next: matins simulate --sleeper NAME -o night.csv");
    Ok(Exit::Done)
}

/// The sleeper with this name, or the first of the list.
pub(crate) fn named(name: Option<&str>) -> Result<Named, Trouble> {
    let found = match name {
        Some(name) => sleeper_named(name),
        None => sleepers().into_iter().next(),
    };
    found.ok_or_else(|| {
        let known: Vec<&str> = sleepers().iter().map(|named| named.id).collect();
        Trouble::usage(format!(
            "the sleeper `{}` is not known; known are {}",
            name.unwrap_or_default(),
            known.join(", ")
        ))
    })
}

/// The night in the format its name asks for, with its notes and its truth; on standard output, the
/// night alone, as text.
pub(crate) fn outputs(out: &Path, made: &Made) -> Result<Vec<(PathBuf, Vec<u8>)>, Trouble> {
    let text = || write::text(&made.recording).into_bytes();
    if files::is_standard(out) {
        return Ok(vec![(out.to_owned(), text())]);
    }
    let night = match out.extension().and_then(|ending| ending.to_str()) {
        Some("csv") => text(),
        Some("edf") => write::edf(&made.recording, write::EdfOptions::default()),
        _ => {
            return Err(Trouble::usage("expected a name ending in .csv or .edf")
                .about(out.display().to_string()));
        }
    };
    Ok(vec![
        (out.to_owned(), night),
        (files::beside(out, "notes.toml"), made.notes_toml.clone().into_bytes()),
        (files::beside(out, "truth.json"), made.truth.to_json().into_bytes()),
    ])
}

fn tell(named: &Named, out: &Path, voice: Voice) {
    let notes = files::beside(out, "notes.toml");
    voice.tell(&format!(
        "{} slept; the truth is in {}",
        named.id,
        files::beside(out, "truth.json").display()
    ));
    voice.tell(&format!(
        "next: matins score {} --notes {} --criteria {} --question {}",
        out.display(),
        notes.display(),
        named.criteria,
        named.question
    ));
}
