//! The workbench: the department's record in the browser.
//!
//! Pages are made on the server ([`page`]) from templates beside this crate; plain ES modules make them quicker
//! to use but nothing needs them, except what a browser cannot do without. Every request goes through one
//! [`guard`], which knows from one table ([`access`]) who may do what; a route that is not in the table is
//! refused to everybody.
//!
//! To add a page: a file in `pages/` with `routes()`, a line in `pages.rs`, a row for each route in
//! `access.rs`, and, when it should stand in the navigation, a row in [`access::NAVIGATION`].
//!
//! What this crate does not do: it holds no SQL and no rule of the desk; those are the record's.
//! Modules use only the modules above them in this list.

pub mod error;
pub mod printer;

pub mod limits;

pub mod door;

pub mod assets;

pub mod access;

pub mod extremes;

pub mod opened;

mod look;

pub mod typed;

pub mod fields;
pub mod form;

pub mod mark;

pub mod plot;

pub mod page;

pub mod uploads;

pub mod app;

pub mod visit;

pub mod routes;

pub mod live;

pub mod pages;

pub mod guard;

pub mod serve;

pub use crate::app::App;
pub use crate::serve::Config;
pub use crate::serve::app;
pub use crate::serve::serve;
