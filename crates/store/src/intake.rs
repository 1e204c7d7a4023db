//! A night comes in: cut, tied to its loan, scored.

pub mod check;
pub(crate) mod columns;
pub mod cut;
pub mod owner;
pub mod receive;
pub mod scoring;
pub mod settle;
pub(crate) mod severe;
pub mod tie;
