//! What the documents promise, held against the tree.

mod documents;
mod hazards;
mod sources;
mod suites;
