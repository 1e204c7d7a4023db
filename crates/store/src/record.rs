//! The record itself: rows, acts, the chain that holds them, and the two databases below.

pub mod act;
pub mod all_tables;
pub mod bytes;
pub mod chain;
pub mod chain_head;
pub mod clock;
pub mod db;
pub mod entry;
pub mod fit;
pub(crate) mod image;
pub mod lists;
pub(crate) mod network_share;
pub(crate) mod own;
pub mod row;
pub(crate) mod schema;
pub(crate) mod steady_clock;
pub mod tables;
pub(crate) mod throttle;
