//! What the documents promise, held against the tree.
#![expect(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod documents;
mod hazards;
mod laws;
mod layers;
mod report;
mod sources;
mod study;
mod suites;
