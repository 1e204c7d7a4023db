//! Integration tests of the engine: one binary.
#![expect(clippy::disallowed_methods, reason = "tests read fixtures from disk")]

mod correct;
mod criteria;
mod layers;
mod made;
mod screen;
