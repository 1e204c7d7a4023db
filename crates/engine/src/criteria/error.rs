//! Why a criteria set cannot be used.

/// Why a criteria set was refused.
#[derive(Debug, thiserror::Error)]
pub enum CriteriaError {
    /// The text is not TOML, or a key is missing, unknown or of the wrong kind.
    #[error("criteria {set}: {detail}")]
    Shape {
        /// Name of the set or file.
        set: String,
        /// What is wrong, with line and column where known.
        detail: String,
    },
    /// A name that no set, rule, unit or channel has.
    #[error("criteria {set}: {what} `{found}` is not known; known are {known}")]
    Unknown {
        /// Name of the set.
        set: String,
        /// What kind of name.
        what: &'static str,
        /// The name found.
        found: String,
        /// The names that exist.
        known: String,
    },
}
