//! An invented department, for whoever wants to see the program at work: its guests as data, and three
//! months of loans played by the record's own acts.
//!
//! What this crate does not do: it opens no browser, writes no file but the record's, and prints nothing.
//! Everybody and everything in it is invented; the nights come from [`simulate`].

mod department;
mod history;
mod kinds;
mod living;
mod seconds;

pub use department::{ABOUT, GUESTS, Guest, HOSPITAL};
pub use living::{Past, desk_settings};
