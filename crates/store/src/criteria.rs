//! The department's own criteria: drafted, tried on past nights, adopted.

pub mod adoption;
pub mod rerun;
pub mod sets;
