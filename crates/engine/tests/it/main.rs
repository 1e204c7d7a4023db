//! Integration tests of the engine: one binary.
#![expect(clippy::disallowed_methods, reason = "tests read fixtures from disk")]

mod criteria;
mod layers;
mod map;
mod notes;
mod reader_contract;
mod text;
mod text_property;
mod text_refused;
