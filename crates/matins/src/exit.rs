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
    /// Several files were given, and at least one of them failed.
    SomeFailed,
}

impl Exit {
    /// The number. 5 is kept for the department's record.
    pub(crate) fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Machine => 1,
            Self::Usage => 2,
            Self::NotUnderstood => 3,
            Self::Refused => 4,
            Self::SomeFailed => 6,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}
