//! The workbench asked from outside, one request at a time.

#![expect(clippy::unwrap_used, reason = "a test says what it expects by unwrapping it")]

mod agree;
mod ask;
mod columns;
mod compare;

mod criteria;
mod entry;
mod forms;
mod gone;
mod lent;
mod limits;
mod looking;
mod matrix;
mod night;
mod odd;
mod papers;
mod service;
mod settle;
mod texts;
