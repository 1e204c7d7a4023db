//! Integration tests of the command: the real program, its whole output and its exit code.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod criteria;
mod demo;
mod desk;
mod diary;
mod look;
mod made;
mod outputs;
mod record;
mod refused;
mod report;
mod score;
mod simulate;
mod usage;
