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
//! Modules stand in layers: a module uses its own layer and those above it, never those below.

#[macro_use]
mod macros;

// Words, errors and pure rules on text.
pub mod chain;
pub mod error;
pub mod fit;
pub mod ident;
pub mod text;
pub mod when;
pub mod words;

// The database and the one way to change it.
pub mod act;
pub mod clock;
pub mod db;
mod own;
pub mod record;
mod schema;
mod share;
mod steady;
pub mod tables;
mod throttle;

// Keeping it: kept bytes, checking against the chain, backing up and restoring.
pub mod backup;
pub mod bytes;
pub mod dump;
pub mod entry;
pub mod every;
mod fabric;
pub mod head;
pub mod proof;
mod seal;
pub mod verify;

// The department: its settings, people and monitors.
pub mod machine;
pub mod monitor;
pub mod person;
mod plausible;
pub mod sets;
pub mod setting;

// Who may log in, and what was done.
pub mod account;
pub mod audit;
pub mod password;
pub mod session;

// What happens between them.
pub mod desk;
pub mod diary;
pub mod loan;

// A night comes in: cut, tied to its loan, scored.
pub mod check;
mod columns;
pub mod cut;
pub mod identity;
pub mod morning;
pub mod scoring;
pub mod settle;
pub mod tie;
pub mod whose;

// A night is read: judged by hand, signed, interpreted, laid beside others.
pub mod compare;
pub mod content;
pub mod hand;
pub mod late;
pub mod reading;
pub mod repeat;
pub mod reserve;
pub mod second;
pub mod signing;
pub mod standing;

// The department's own criteria: drafted, tried on past nights, adopted.
pub mod adoption;
pub mod rerun;

// A signed report made again.
pub mod remake;

// What the department did, counted; nobody is named in it.
pub mod agreement;
pub mod service;

// Its time over, or asked for by the person it is about.
pub mod access;
pub mod belongings;
pub mod destroy;
pub mod retention;
