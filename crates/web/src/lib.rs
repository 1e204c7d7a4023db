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
//!
//! Rooms, each using only those before it:
//! `error`, `printer`, `limits`, `door`, `assets`, `access`, `extremes`, `opened`, `look`, `typed`,
//! `fields`, `form`, `mark`, `plot`, `page`, `uploads`, `app`, `visit`, `routes`, `live`, `pages`,
//! `guard`, `serve`.

pub mod access;
pub mod app;
pub mod assets;
pub mod door;
pub mod error;
pub mod extremes;
pub mod fields;
pub mod form;
pub mod guard;
pub mod limits;
pub mod live;
mod look;
pub mod mark;
pub mod opened;
pub mod page;
pub mod pages;
pub mod plot;
pub mod printer;
pub mod routes;
pub mod serve;
pub mod typed;
pub mod uploads;
pub mod visit;

pub use crate::app::App;
pub use crate::serve::Config;
pub use crate::serve::app;
pub use crate::serve::serve;
