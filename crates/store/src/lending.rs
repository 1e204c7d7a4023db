//! Monitors and their loans: booked, handed out, brought back, cleaned, checked.

pub mod desk;
pub mod diary;
pub mod loan;
pub mod machine;
pub mod monitor;
pub(crate) mod plausible;
pub mod setting;
