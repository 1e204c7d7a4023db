//! One file per verb.

pub(crate) mod backup;
pub(crate) mod clock;
pub(crate) mod completions;
pub(crate) mod criteria;
pub(crate) mod demo;
pub(crate) mod diary;
pub(crate) mod look;
pub(crate) mod man;
mod record;
mod remake;
pub(crate) mod report;
pub(crate) mod restore;
pub(crate) mod score;
pub(crate) mod serve;
pub(crate) mod simulate;
pub(crate) mod verify;
