//! Writes `docs/validation.md`, or says whether it is what the engine says today.
//!
//! `validation PATH` writes; `validation --check PATH` compares. Either fails when a case is out of its
//! limits or compared nothing.
//!
//! `validation study [--set training|held-out] [--nights N] [--without REASON] [--threads N] [--full]`
//! holds made nights against their truth and prints what it found; with `--write FILE` it takes the
//! held-out nights, leaves each reason out in turn on training nights, and writes the file of results.

use std::fs;
use std::io::{self, Write};
use std::process::ExitCode;

use validation::{Suite, cases, document, study};

mod ask;

fn main() -> ExitCode {
    match run(&std::env::args().skip(1).collect::<Vec<_>>()) {
        Ok(message) => say(&mut io::stdout(), &message, ExitCode::SUCCESS),
        Err(message) => say(&mut io::stderr(), &message, ExitCode::FAILURE),
    }
}

fn say(out: &mut dyn Write, message: &str, code: ExitCode) -> ExitCode {
    match writeln!(out, "{message}") {
        Ok(()) => code,
        Err(_) => ExitCode::FAILURE,
    }
}

fn run(arguments: &[String]) -> Result<String, String> {
    if let [verb, options @ ..] = arguments
        && verb == "study"
    {
        return ask::study(options);
    }
    let (check, path) = match arguments {
        [path] if path != "--check" => (false, path),
        [flag, path] if flag == "--check" => (true, path),
        _ => return Err("usage: validation [--check] docs/validation.md".into()),
    };
    let suites = cases::all();
    let text = document::write(&suites, &study::kept::committed()?);
    let faults: Vec<String> = suites.iter().flat_map(Suite::faults).collect();
    if check {
        let committed = fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
        if committed != text {
            return Err(format!(
                "{}{path} is not what the engine says today\nhint: cargo run -p validation -- {path}",
                difference(&committed, &text)
            ));
        }
    } else {
        fs::write(path, &text).map_err(|e| format!("{path}: {e}"))?;
    }
    let compared: usize = suites.iter().map(Suite::count).sum();
    if faults.is_empty() {
        Ok(format!("{} suites, {compared} comparisons, all within limits", suites.len()))
    } else {
        Err(faults.join("\n"))
    }
}

/// The first line in which two texts differ.
fn difference(committed: &str, now: &str) -> String {
    let mut lines = now.lines();
    for (number, old) in committed.lines().enumerate() {
        let new = lines.next().unwrap_or("");
        if old != new {
            return format!("line {}: committed `{old}`, now `{new}`\n", number + 1);
        }
    }
    lines.next().map_or_else(String::new, |new| format!("further lines now: `{new}`\n"))
}
