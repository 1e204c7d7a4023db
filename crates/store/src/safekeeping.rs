//! Kept and proved: checked against the chain, backed up, restored.

pub mod backup;
pub mod dump;
pub(crate) mod fabric;
pub mod proof;
pub(crate) mod seal;
pub mod verify;
