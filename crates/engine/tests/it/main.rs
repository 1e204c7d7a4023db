//! Integration tests of the engine: one binary.
#![expect(clippy::disallowed_methods, reason = "tests read fixtures from disk")]
#![expect(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod correct;
mod criteria;
mod judge;
mod layers;
mod made;
mod score;
mod screen;
mod stats;
