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
//!
//! Rooms, each using only those before it:
//! `words`, `when`, `ident`, `error`, `text`, `record`, `macros`, `login`, `safekeeping`, `people`, `lending`,
//! `intake`, `reading`, `criteria`, `retention`, `service`.
//!
//! Every function that asks the database fails when that breaks off; what else it refuses stands with it.
#![expect(clippy::missing_errors_doc, reason = "said once, above")]

#[macro_use]
mod macros;

pub mod criteria;
pub mod error;
pub mod ident;
pub mod intake;
pub mod lending;
pub mod login;
pub mod people;
pub mod reading;
pub mod record;
pub mod retention;
pub mod safekeeping;
pub mod service;
pub mod text;
pub mod when;
pub mod words;
