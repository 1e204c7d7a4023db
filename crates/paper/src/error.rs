//! Why a paper was not made.

/// Why a paper was not made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PaperError {
    /// What was asked for cannot be printed; the caller can mend it.
    Refused {
        /// The thing, what is wrong with it, what was expected and found.
        what: String,
        /// What to do next.
        hint: String,
    },
    /// The typesetter or the exporter refused: a fault of this crate, never of the words it was given.
    NotSet {
        /// What they said, one line each.
        said: Vec<String>,
    },
}

impl PaperError {
    pub(crate) fn refused(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::Refused { what: what.into(), hint: hint.into() }
    }
}

impl std::fmt::Display for PaperError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Refused { what, .. } => f.write_str(what),
            Self::NotSet { said } => {
                write!(f, "the words could not be set on paper: {}", said.join("; "))
            }
        }
    }
}

impl std::error::Error for PaperError {}
