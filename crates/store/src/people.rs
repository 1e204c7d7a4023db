//! The people of the department: who somebody is, and what a file says of them.

pub mod identity;
pub mod person;
