//! The department's record: people, studies, loans, monitors, originals, results, reports and the audit.
//!
//! The only SQL of the project. `SQLite` in one folder by default, `PostgreSQL` by URL; one text of SQL for both.
//!
//! Every change is an **act**: one transaction that loads, decides, writes rows and closes with one link of
//! a hash chain, which holds who did what when and the image of every row written. Acts follow each other
//! one at a time, so a decision never rests on something that changes beneath it, and the chain can tell
//! any row that was changed behind its back.
//!
//! What this crate does not do: it knows no page, no request and no wall clock but the one it is given.
//! Modules use only the modules above them in this list.

#[macro_use]
mod macros;

pub mod error;
pub mod words;

pub mod chain;
pub mod ident;
pub mod when;

pub mod act;
pub mod db;
pub mod record;
mod schema;
mod share;
pub mod tables;

pub mod password;

pub mod account;

pub mod session;

pub mod audit;
