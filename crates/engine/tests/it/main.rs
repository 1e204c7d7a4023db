//! Integration tests of the engine: one binary.
#![expect(clippy::disallowed_methods, reason = "tests read fixtures from disk")]
#![expect(clippy::print_stdout, reason = "a test that starts itself again reads what it said")]
#![expect(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod bad_nights;
mod compare;
mod correct;
mod criteria;
mod criteria_own;
mod damaged;
mod edf;
mod gaps;
mod gases;
mod heads;
mod intake;
mod judge;
mod made;
mod made_night;
mod map;
#[cfg(target_os = "linux")]
mod memory;
mod notes;
mod other_column;
mod print;
mod reader_contract;
mod report;
mod schema;
mod score;
mod screen;
mod screen_co2;
mod screen_oximeter;
mod severe;
mod stats;
mod text;
mod text_property;
mod text_refused;
mod wfdb;
