//! Integration tests of the simulator: one binary.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "seconds of a night become indices"
)]
#![expect(clippy::unwrap_used, reason = "helpers of tests may fail loudly")]

mod nights;
mod physiology;
mod sensors;
mod write;

// What every reader promises, held here too: what is written must read.
#[path = "../../../engine/tests/it/reader_contract.rs"]
mod reader_contract;
