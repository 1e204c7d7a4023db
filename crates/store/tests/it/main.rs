//! The record tested from outside, on both databases.

#![expect(
    clippy::large_futures,
    reason = "a test waits for a whole step of a reader in a frame of its own"
)]
#![expect(clippy::unwrap_used, reason = "a test says what it expects by unwrapping it")]

#[macro_use]
mod both;

mod access;
mod acts;
mod backup;
mod check;
mod clock;
mod compare;
mod criteria;
mod document;
mod forged;
mod full;
mod heads;
mod kinds;
mod lending;
mod limits;
mod made;
mod model;
mod morning;
#[cfg(unix)]
mod own;
mod reading;
mod retention;
mod second;
mod service;
mod settle;
mod verify;
