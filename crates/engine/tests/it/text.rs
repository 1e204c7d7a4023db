//! Delimited text: every shape that is read, every refusal with its words.

use engine::read::{Input, ReadOptions};

use crate::reader_contract::read_held;

#[test]
fn an_empty_file_is_refused() {
    let input = Input { name: "night.csv", bytes: b"", companions: &[] };
    let error = read_held(input, &ReadOptions::default()).unwrap_err();
    assert_eq!(error.to_string(), "the file is empty");
}
