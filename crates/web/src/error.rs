//! Why the workbench cannot start.

use store::error::StoreError;

/// Why the workbench does not start, or stopped.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// What was asked for is not safe or not possible.
    #[error("{what}")]
    Refused {
        /// What is wrong.
        what: String,
        /// What to do about it.
        hint: &'static str,
    },
    /// The address cannot be listened at.
    #[error("cannot listen at {listen}: {error}")]
    Listen {
        /// The address.
        listen: std::net::SocketAddr,
        /// What the system said.
        error: std::io::Error,
    },
    /// The certificate or its key cannot be used.
    #[error("{file}: {says}")]
    Certificate {
        /// The file.
        file: String,
        /// What is wrong with it.
        says: String,
    },
    /// The record cannot be used.
    #[error(transparent)]
    Record(#[from] StoreError),
}

impl ServeError {
    /// What to do next; empty when nothing is known.
    pub fn hint(&self) -> String {
        match self {
            Self::Refused { hint, .. } => (*hint).to_owned(),
            Self::Listen { .. } => "--listen names another address and port".to_owned(),
            Self::Certificate { .. } => {
                "both files are PEM text: the certificate with its chain, and its private key"
                    .to_owned()
            }
            Self::Record(error) => error.hint(),
        }
    }
}
