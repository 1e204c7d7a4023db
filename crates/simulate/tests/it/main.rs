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
