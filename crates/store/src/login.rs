//! Who may log in, and what was done.

pub mod account;
pub mod audit;
pub mod password;
pub mod session;
