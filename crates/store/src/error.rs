//! Why the record did not do what was asked.

use std::fmt;

/// One rule that stands in the way, in words for the person at the desk.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Refusal {
    /// Short name of the rule, for tests and pages: `not_clean`.
    pub code: &'static str,
    /// What stands in the way, as a sentence without its full stop.
    pub says: String,
    /// What to do about it; empty when nothing can be done.
    pub hint: String,
}

impl Refusal {
    /// A refusal with its hint.
    pub fn new(code: &'static str, says: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, says: says.into(), hint: hint.into() }
    }
}

/// Why the record could not do what was asked. Nothing was written whenever one of these is given.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Rules of the department forbid it: every one of them, not only the first.
    #[error("{}", said(.0))]
    Refused(Vec<Refusal>),
    /// Somebody else changed the thing since it was shown.
    #[error("{what} was changed by somebody else meanwhile; look at it again before you change it")]
    Changed {
        /// The thing, for instance `loan 12`.
        what: String,
    },
    /// There is no such thing in the record.
    #[error("there is no {what} in the record")]
    Missing {
        /// The thing, for instance `loan 12`.
        what: String,
    },
    /// The folder or the database cannot be used.
    #[error("{what}: {says}")]
    Unusable {
        /// The folder, file or database.
        what: String,
        /// What is wrong, and what was expected.
        says: String,
        /// What to do about it.
        hint: String,
    },
    /// What is kept does not agree with the chain of acts.
    #[error("the record is damaged: {says}")]
    Damaged {
        /// What was found and what was expected.
        says: String,
    },
    /// The database refused or broke off.
    #[error("the database said: {0}")]
    Database(sqlx::Error),
}

/// What an error is about when only the database is known.
pub(crate) const RECORD: &str = "the record";

impl From<sqlx::Error> for StoreError {
    /// The database's own words in ours, where they are known.
    fn from(error: sqlx::Error) -> Self {
        match known(&error.to_string().to_lowercase()) {
            Some((says, hint)) => Self::Unusable {
                what: RECORD.to_owned(),
                says: says.to_owned(),
                hint: hint.to_owned(),
            },
            None => Self::Database(error),
        }
    }
}

impl StoreError {
    /// One refusal.
    pub fn refused(code: &'static str, says: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Refused(vec![Refusal::new(code, says, hint)])
    }

    /// What to do about it; empty when nothing is known.
    pub fn hint(&self) -> String {
        match self {
            Self::Refused(all) => all.iter().map(|one| one.hint.as_str()).filter(|hint| !hint.is_empty()).collect::<Vec<_>>().join("; "),
            Self::Unusable { hint, .. } => hint.clone(),
            Self::Damaged { .. } => "run `matins verify`, keep the folder as it is and restore the last good backup beside it".to_owned(),
            Self::Changed { .. } | Self::Missing { .. } | Self::Database(_) => String::new(),
        }
    }

    /// Whether one of the refusals has this code.
    pub fn is(&self, code: &str) -> bool {
        matches!(self, Self::Refused(all) if all.iter().any(|one| one.code == code))
    }
}

fn said(all: &[Refusal]) -> impl fmt::Display {
    all.iter().map(|one| one.says.as_str()).collect::<Vec<_>>().join("; ")
}

fn known(said: &str) -> Option<(&'static str, &'static str)> {
    const KNOWN: &[(&str, &str, &str)] = &[
        (
            "disk is full",
            "there is no room left on the disk; nothing was written",
            "free some room; what was acknowledged before is safe",
        ),
        (
            "no space left",
            "there is no room left on the disk; nothing was written",
            "free some room; what was acknowledged before is safe",
        ),
        (
            "could not extend file",
            "there is no room left on the server's disk; nothing was written",
            "free some room; what was acknowledged before is safe",
        ),
        (
            "readonly",
            "it cannot be written",
            "give the account that runs matins the right to write the folder and all its files",
        ),
        (
            "read-only",
            "it cannot be written",
            "give the account that runs matins the right to write the folder and all its files",
        ),
        (
            "unable to open database",
            "it cannot be opened or made",
            "see that the folder is there and may be written by the account that runs matins",
        ),
        (
            "malformed",
            "a page of it is damaged",
            "keep the folder as it is, restore the last good backup beside it, and run `matins verify` on both",
        ),
        (
            "not a database",
            "it is not a record of matins, or its first page is damaged",
            "keep it as it is and restore the last good backup beside it",
        ),
        (
            "disk i/o error",
            "the disk reports an error",
            "stop, copy the folder to another disk, and restore the last good backup",
        ),
        (
            "database is locked",
            "another program holds it and did not let go",
            "see whether a second server or a copy program is running",
        ),
        (
            "connection refused",
            "nothing answers at its address",
            "see that the server runs and the address is right",
        ),
        (
            "server does not support tls",
            "the server speaks no TLS, and patients' data would cross the network in the clear",
            "set TLS up on the server; `?sslmode=disable` at the end of the address says that they may",
        ),
        (
            "invalid byte sequence for encoding",
            "a text holds a character that it cannot keep; nothing was written",
            "type it again without that",
        ),
        (
            "password authentication failed",
            "it does not accept this user and password",
            "correct the address",
        ),
    ];
    KNOWN.iter().find(|(sign, _, _)| said.contains(sign)).map(|(_, says, hint)| (*says, *hint))
}

/// Result of the record.
pub type Result<T, E = StoreError> = std::result::Result<T, E>;
