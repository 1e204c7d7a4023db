//! `matins demo`: an invented department in the browser, or only its nights and their reports.

mod index;
mod open;

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use ::demo::{GUESTS, Guest, HOSPITAL};
use engine::print::{Look, svg};

use crate::args::{DemoArgs, NightArgs, ReadArgs, ReportFormat, Sheet};
use crate::cmd::{report, simulate};
use crate::exit::Exit;
use crate::files;
use crate::heading;
use crate::message::{Trouble, Voice};
use crate::setup::Setup;

/// One night of the demo, scored.
struct Line {
    guest: &'static Guest,
    report: engine::report::Report,
}

/// Makes the nights, scores them, writes their reports, and says where they are.
pub(crate) fn run(args: &DemoArgs, voice: Voice) -> Result<Exit, Trouble> {
    let folder = folder(args.out.as_deref().or(args.data.as_deref()), args.out.is_none())?;
    if args.out.is_none() {
        return open::run(&folder, args, voice);
    }
    let mut lines = Vec::new();
    for guest in &GUESTS {
        voice.tell(&format!("making and scoring the night of {}", guest.person));
        lines.push(night(&folder, guest)?);
    }
    let page = folder.join("index.html");
    files::write(&page, index::page(&lines).as_bytes())?;
    files::print(table(&lines, &folder).as_bytes())?;
    Ok(Exit::Done)
}

/// One night: made, written, and then scored from what was written, as a department would.
fn night(folder: &Path, guest: &'static Guest) -> Result<Line, Trouble> {
    let path = |ending: &str| folder.join(format!("{}.{ending}", guest.file));
    let named = simulate::named(Some(guest.sleeper))?;
    let csv = path("csv");
    for (path, bytes) in simulate::outputs(&csv, &named.night(guest.seed))? {
        files::write(&path, &bytes)?;
    }
    let heading_text = guest.heading();
    files::write(&path("heading.toml"), heading_text.as_bytes())?;
    let heading = heading::parse(&heading_text)?;
    let setup = Setup::new(&NightArgs {
        read: ReadArgs { zone: None, map: None },
        notes: None,
        notes_beside: true,
        criteria: Some(named.criteria.to_owned()),
        question: Some(named.question.to_owned()),
    })?;
    let judgement = setup.judgement(&csv)?;
    let report = engine::report::report(&judgement, &setup.criteria);
    let strip = svg(&report.picture, Look::Screen);
    files::write(&path("strip.svg"), strip.as_bytes())?;
    for (ending, format) in formats() {
        let bytes = report::bytes(&report, &heading, format, Sheet::A4)?;
        files::write(&path(ending), &bytes)?;
    }
    Ok(Line { guest, report })
}

/// The formats that this build writes.
fn formats() -> Vec<(&'static str, ReportFormat)> {
    let mut formats = vec![("html", ReportFormat::Html)];
    if cfg!(feature = "pdf") {
        formats.push(("pdf", ReportFormat::Pdf));
    }
    formats
}

/// The folder asked for, empty or with a demo's record in it; or a fresh one in the temporary folder.
fn folder(asked: Option<&Path>, may_go_on: bool) -> Result<PathBuf, Trouble> {
    match asked {
        Some(path) => {
            fs::create_dir_all(path).map_err(|error| not_made(path, &error))?;
            let mut entries = fs::read_dir(path).map_err(|error| not_made(path, &error))?;
            if entries.next().is_some() && !(may_go_on && open::holds_record(path)) {
                return Err(Trouble::machine("the folder holds something already")
                    .about(path.display().to_string())
                    .hint("--out names another, which need not exist"));
            }
            Ok(path.to_owned())
        }
        None => fresh(&std::env::temp_dir()),
    }
}

/// `matins-demo`, or the first of `matins-demo-2`, `-3`, … that is free.
fn fresh(parent: &Path) -> Result<PathBuf, Trouble> {
    let names = (1..).map(|n| if n == 1 { String::new() } else { format!("-{n}") });
    for ending in names.take(1000) {
        let path = parent.join(format!("matins-demo{ending}"));
        match fs::create_dir(&path) {
            Ok(()) => return Ok(path),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
            Err(error) => return Err(not_made(&path, &error)),
        }
    }
    Err(Trouble::machine("the temporary folder is full of demos")
        .about(parent.display().to_string())
        .hint("--out names a folder of your own"))
}

fn not_made(path: &Path, error: &std::io::Error) -> Trouble {
    Trouble::machine(format!("the folder cannot be made: {}", files::plain(error)))
        .about(path.display().to_string())
}

/// The table: night, verdict, first reason, and where to look.
fn table(lines: &[Line], folder: &Path) -> String {
    let mut text = vec![format!("{}\n", HOSPITAL.join(", "))];
    text.push(format!("{:<13}{:<12}first reason", "night", "verdict"));
    for line in lines {
        let reason = line.report.reasons.first().map_or("", String::as_str);
        let decision = line.report.decision.id();
        let mut label = format!("{:<13}{decision:<12}", line.guest.file);
        for part in wrapped(reason, 75) {
            text.push(format!("{label:<25}{part}"));
            label.clear();
        }
    }
    text.push(format!("\nlook at  {}", folder.join("index.html").display()));
    let first = folder.join(format!("{}.csv", GUESTS[0].file));
    text.push(format!("try      matins score {} --notes-beside", first.display()));
    text.join("\n") + "\n"
}

/// The words in lines of at most `width` characters.
fn wrapped(words: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        let last = lines.len() - 1;
        if lines[last].is_empty() {
            lines[last].push_str(word);
        } else if lines[last].chars().count() + word.chars().count() < width {
            lines[last] = format!("{} {word}", lines[last]);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_in_the_way_is_left_alone() {
        let parent = tempfile::tempdir().unwrap();
        let names = [fresh(parent.path()).unwrap(), fresh(parent.path()).unwrap()];
        assert_eq!(names, [parent.path().join("matins-demo"), parent.path().join("matins-demo-2")]);
    }

    #[test]
    fn a_long_reason_is_wrapped_between_words() {
        assert_eq!(wrapped("a bc def", 5), ["a bc", "def"]);
        assert_eq!(wrapped("", 5), [""]);
    }
}
