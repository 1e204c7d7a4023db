//! What was typed after `study`, and its run.

use std::fs;
use std::io::{self, Write};

use engine::screen::Reason;
use validation::study::ablate::ablate;
use validation::study::kept::to_text;
use validation::study::{Kept, Options, Set, gather, page, run};

const USAGE: &str = "usage: validation study [--set training|held-out] [--nights N] \
                     [--without REASON] [--threads N] [--full]\n\
                     \x20      validation study [--nights N] [--threads N] --write FILE";

/// Nights of the training set on which the reasons are left out: ten of each sleeper.
const ABLATION_NIGHTS: usize = 190;

/// What was typed.
struct Asked {
    options: Options,
    full: bool,
    write: Option<String>,
}

/// Runs the study as asked; the answer is its page.
pub(crate) fn study(arguments: &[String]) -> Result<String, String> {
    let asked = parse(arguments)?;
    let options = match &asked.write {
        Some(_) => Options { set: Set::HeldOut, without: None, ..asked.options },
        None => asked.options,
    };
    let results = gather(&run(&options, &progress)?, &options)?;
    let text = page(&results, asked.full);
    if let Some(path) = &asked.write {
        let nights = Options { set: Set::Training, nights: ABLATION_NIGHTS, ..options };
        let ablations = ablate(&nights, &progress)?;
        let kept = Kept { held_out: results, ablation_nights: ABLATION_NIGHTS, ablations };
        fs::write(path, to_text(&kept)?).map_err(|e| format!("{path}: {e}"))?;
    }
    Ok(text)
}

fn parse(arguments: &[String]) -> Result<Asked, String> {
    let options = Options { set: Set::Training, nights: 200, without: None, threads: 1 };
    let mut asked = Asked { options, full: false, write: None };
    let mut rest = arguments.iter();
    while let Some(flag) = rest.next() {
        if flag == "--full" {
            asked.full = true;
            continue;
        }
        let value = rest.next().ok_or_else(|| format!("{flag} asks for a value\n{USAGE}"))?;
        asked
            .take(flag, value)
            .ok_or_else(|| format!("{flag} {value} is not understood\n{USAGE}"))?;
    }
    Ok(asked)
}

impl Asked {
    /// One option and its value; `None` when it is not understood.
    fn take(&mut self, flag: &str, value: &str) -> Option<()> {
        let options = &mut self.options;
        match flag {
            "--set" => options.set = Set::from_id(value)?,
            "--nights" => options.nights = value.parse().ok()?,
            "--threads" => options.threads = value.parse().ok()?,
            "--write" => self.write = Some(value.to_owned()),
            "--without" => {
                let reason = Reason::ALL.into_iter().find(|reason| reason.id() == value)?;
                options.without = Some(reason);
            }
            _ => return None,
        }
        Some(())
    }
}

/// Every tenth night on the error stream; a stream that is closed stops nothing.
fn progress(done: usize, of: usize) {
    if done.is_multiple_of(10) || done == of {
        let end = if done == of { "\n" } else { "" };
        let mut stderr = io::stderr().lock();
        let _ = write!(stderr, "\r{done} of {of} nights{end}");
        let _ = stderr.flush();
    }
}
