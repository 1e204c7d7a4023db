//! Messages, on standard error only: the thing, what is wrong, where, and what to do next.

use std::io::{IsTerminal as _, Write as _};

use engine::criteria::CriteriaError;
use engine::notes::NotesError;
use engine::read::{ReadError, ReadErrorKind};

use crate::exit::Exit;

/// Why something could not be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Trouble {
    /// How the run ends because of it.
    pub(crate) exit: Exit,
    /// The file or argument it concerns.
    pub(crate) thing: Option<String>,
    /// What is wrong, with expected and found; lowercase, no full stop.
    pub(crate) what: String,
    /// Where in the thing.
    pub(crate) place: Option<String>,
    /// What to do next.
    pub(crate) hint: Option<String>,
}

impl Trouble {
    fn new(exit: Exit, what: impl Into<String>) -> Self {
        Self { exit, thing: None, what: what.into(), place: None, hint: None }
    }

    /// The machine failed.
    pub(crate) fn machine(what: impl Into<String>) -> Self {
        Self::new(Exit::Machine, what)
    }

    /// The command line asks for something that is not there.
    pub(crate) fn usage(what: impl Into<String>) -> Self {
        Self::new(Exit::Usage, what)
    }

    /// An input is missing or was not understood.
    pub(crate) fn not_understood(what: impl Into<String>) -> Self {
        Self::new(Exit::NotUnderstood, what)
    }

    /// An input was understood and refused.
    pub(crate) fn refused(what: impl Into<String>) -> Self {
        Self::new(Exit::Refused, what)
    }

    /// The department's record could not be used.
    pub(crate) fn store(what: impl Into<String>) -> Self {
        Self::new(Exit::Store, what)
    }

    /// A text that was not understood, at a line where that is known.
    pub(crate) fn at_line(what: impl Into<String>, line: Option<usize>) -> Self {
        let trouble = Self::not_understood(what);
        match line {
            Some(line) => trouble.at(format!("line {line}")),
            None => trouble,
        }
    }

    /// Notes that were not understood, or that contradict the recording.
    pub(crate) fn notes(error: NotesError) -> Self {
        let trouble = Self::at_line(error.what, error.line);
        let exit = if error.another_night { Exit::Refused } else { trouble.exit };
        Self { exit, hint: error.hint, ..trouble }
    }

    /// Of several files, some failed; each has been told already.
    pub(crate) fn some_failed(what: impl Into<String>) -> Self {
        Self::new(Exit::SomeFailed, what)
    }

    /// A criteria set that could not be used.
    pub(crate) fn criteria(error: &CriteriaError) -> Self {
        Self::refused(error.to_string()).hint(
            "`matins criteria show adult-air` prints a set that is whole; copy it and change it",
        )
    }

    /// The same, about a file or argument.
    #[must_use]
    pub(crate) fn about(mut self, thing: impl Into<String>) -> Self {
        self.thing = Some(thing.into());
        self
    }

    /// The same, at a place.
    #[must_use]
    pub(crate) fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }

    /// The same, with what to do next.
    #[must_use]
    pub(crate) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

impl From<ReadError> for Trouble {
    fn from(error: ReadError) -> Self {
        let exit = match error.kind {
            ReadErrorKind::NotUnderstood => Exit::NotUnderstood,
            ReadErrorKind::Refused => Exit::Refused,
        };
        Self { exit, thing: None, what: error.what, place: error.place, hint: error.hint }
    }
}

/// The voice of the program on standard error.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Voice {
    colour: bool,
    output_colour: bool,
    quiet: bool,
}

impl Voice {
    /// A voice for this run.
    pub(crate) fn new(no_color: bool, quiet: bool) -> Self {
        let set = |name: &str| std::env::var(name).ok();
        let (refused, term) = (set("NO_COLOR"), set("TERM"));
        let on = |terminal| wants_colour(no_color, refused.as_deref(), term.as_deref(), terminal);
        Self {
            colour: on(std::io::stderr().is_terminal()),
            output_colour: on(std::io::stdout().is_terminal()),
            quiet,
        }
    }

    /// Whether data on standard output may carry colour.
    pub(crate) fn colours_output(self) -> bool {
        self.output_colour
    }

    /// Whether only what went wrong is said.
    pub(crate) fn is_quiet(self) -> bool {
        self.quiet
    }

    /// Says what went wrong; never silenced.
    pub(crate) fn trouble(self, trouble: &Trouble) {
        let thing = trouble.thing.as_ref().map(|thing| format!("{thing}: ")).unwrap_or_default();
        let mut text = format!("{} {thing}{}\n", self.bold("matins:"), trouble.what);
        for (label, line) in [("at:", &trouble.place), ("hint:", &trouble.hint)] {
            let line = line.as_ref().map(|line| format!("  {} {line}\n", self.faint(label)));
            text.push_str(&line.unwrap_or_default());
        }
        say(&text);
    }

    /// Says what was done or comes next; silenced by `--quiet`.
    pub(crate) fn tell(self, line: &str) {
        if !self.quiet {
            say(&format!("{} {line}\n", self.bold("matins:")));
        }
    }

    fn bold(self, text: &str) -> String {
        if self.colour { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() }
    }

    fn faint(self, text: &str) -> String {
        if self.colour { format!("\u{1b}[2m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

/// Whether messages may carry colour. `NO_COLOR` counts only when it holds something.
fn wants_colour(
    no_color: bool,
    no_color_set: Option<&str>,
    term: Option<&str>,
    terminal: bool,
) -> bool {
    let refused = no_color_set.is_some_and(|value| !value.is_empty());
    terminal && !no_color && !refused && term != Some("dumb")
}

/// Writes to standard error as it is. A message nobody can receive is lost: there is nowhere else to say so.
pub(crate) fn say(text: &str) {
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_empty_no_color_keeps_colour_and_any_other_removes_it() {
        assert!(wants_colour(false, None, Some("xterm"), true));
        assert!(wants_colour(false, Some(""), Some("xterm"), true));
        assert!(!wants_colour(false, Some("0"), Some("xterm"), true));
        assert!(!wants_colour(false, None, Some("dumb"), true));
        assert!(!wants_colour(true, None, Some("xterm"), true));
        assert!(!wants_colour(false, None, Some("xterm"), false));
    }
}
