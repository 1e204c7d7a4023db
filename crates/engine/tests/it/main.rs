//! Integration tests of the engine: one binary.
#![expect(clippy::disallowed_methods, reason = "tests read fixtures from disk")]

mod criteria;
mod layers;
mod made_night;
mod print;
mod report;
mod schema;
