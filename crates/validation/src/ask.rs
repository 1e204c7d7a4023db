//! What was typed after `study`, and its run.

use std::io::{self, Write};

use engine::screen::Reason;
use validation::study::{Options, Set, gather, page, run};

const USAGE: &str = "usage: validation study [--set training|held-out] [--nights N] \
                     [--without REASON] [--threads N] [--full]";

/// Runs the study as asked; the answer is its page.
pub(crate) fn study(arguments: &[String]) -> Result<String, String> {
    let mut options = Options { set: Set::Training, nights: 200, without: None, threads: 1 };
    let mut full = false;
    let mut rest = arguments.iter();
    while let Some(flag) = rest.next() {
        if flag == "--full" {
            full = true;
            continue;
        }
        let value = rest.next().ok_or_else(|| format!("{flag} asks for a value\n{USAGE}"))?;
        take(&mut options, flag, value)
            .ok_or_else(|| format!("{flag} {value} is not understood\n{USAGE}"))?;
    }
    let rows = run(&options, &progress)?;
    Ok(page(&gather(&rows, &options)?, full))
}

/// One option and its value; `None` when it is not understood.
fn take(options: &mut Options, flag: &str, value: &str) -> Option<()> {
    match flag {
        "--set" => options.set = Set::from_id(value)?,
        "--nights" => options.nights = value.parse().ok()?,
        "--threads" => options.threads = value.parse().ok()?,
        "--without" => {
            let reason = Reason::ALL.into_iter().find(|reason| reason.id() == value)?;
            options.without = Some(reason);
        }
        _ => return None,
    }
    Some(())
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
