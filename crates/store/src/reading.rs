//! A night is read: judged by hand, signed, interpreted, laid beside others, read again.

pub mod agreement;
pub mod beside;
pub mod compare;
pub mod content;
pub mod edit;
pub mod late;
pub mod remake;
pub mod repeat;
pub mod reserve;
pub mod second;
pub mod signing;
pub mod standing;
pub mod steps;
