//! The exit codes. `docs/command.md` prints this table, and a test holds the two together.

use std::process::ExitCode;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Everything asked for was done.
    Done,
    /// The machine failed: a full disk, a folder that may not be written.
    Machine,
    /// The command line was not understood, or names something that is not there.
    Usage,
    /// An input is missing, or was not understood.
    NotUnderstood,
    /// An input was understood and refused: its identity, its criteria, its unit.
    Refused,
    /// The department's record could not be used, or does not agree with its chain.
    Store,
    /// Several files were given, and at least one of them failed.
    SomeFailed,
}

impl Exit {
    /// Every one, in order of its number.
    pub(crate) const ALL: [Self; 7] = [
        Self::Done,
        Self::Machine,
        Self::Usage,
        Self::NotUnderstood,
        Self::Refused,
        Self::Store,
        Self::SomeFailed,
    ];

    /// What it means, for the manual page.
    pub(crate) fn meaning(self) -> &'static str {
        match self {
            Self::Done => "Done. A night that must be repeated is an answer, not a failure.",
            Self::Machine => "The machine failed, or would have had to replace a file.",
            Self::Usage => "The command line was not understood, or names what does not exist.",
            Self::NotUnderstood => "An input is missing, or was not understood.",
            Self::Refused => "An input was understood and refused: identity, criteria, unit.",
            Self::Store => {
                "The department's record could not be used, or does not agree with its chain."
            }
            Self::SomeFailed => "Several files were given, and at least one of them failed.",
        }
    }

    /// The number.
    pub(crate) fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Machine => 1,
            Self::Usage => 2,
            Self::NotUnderstood => 3,
            Self::Refused => 4,
            Self::Store => 5,
            Self::SomeFailed => 6,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

#[cfg(test)]
mod tests {
    use super::Exit;

    /// The rows of the table in the manual, in order, are the codes that there are.
    #[test]
    fn the_manual_lists_every_code() {
        let manual = include_str!("../../../docs/command.md");
        let table = manual.split("## Exit codes").nth(1).unwrap().split("## ").next().unwrap();
        let listed: Vec<u8> = table
            .lines()
            .filter_map(|line| line.strip_prefix("| ")?.split(' ').next()?.parse().ok())
            .collect();
        assert_eq!(listed, Exit::ALL.map(Exit::code));
    }
}
