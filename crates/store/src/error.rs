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
    Database(#[from] sqlx::Error),
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

/// Result of the record.
pub type Result<T, E = StoreError> = std::result::Result<T, E>;
