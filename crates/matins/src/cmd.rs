//! One file per verb.

pub(crate) mod completions;
pub(crate) mod criteria;
pub(crate) mod look;
pub(crate) mod man;
pub(crate) mod score;
