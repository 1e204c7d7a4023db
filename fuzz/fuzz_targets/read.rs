//! Any bytes: reading answers or refuses, what reads keeps the readers' contract, and goes the whole way.
#![no_main]

use engine::criteria::shipped;
use engine::night::night;
use engine::notes::Notes;
use engine::read::{Input, ReadOptions, wfdb};
use libfuzzer_sys::fuzz_target;

#[path = "../../crates/engine/tests/it/reader_contract.rs"]
mod reader_contract;

/// Nights longer than this are read and not scored, so that one input stays fast.
const MOST_SAMPLES: usize = 200_000;

fuzz_target!(|bytes: &[u8]| {
    // The files a WFDB header names all hold these same bytes: enough to reach every storage format.
    let names = wfdb::companions(bytes).into_iter().take(4).chain(wfdb::annotation_name(bytes));
    let companions: Vec<(String, Vec<u8>)> = names.map(|name| (name, bytes.to_vec())).collect();
    let input = Input { name: "night", bytes, companions: &companions };
    let Ok(recording) = reader_contract::read_held(input, &ReadOptions::default()) else { return };
    if recording.channels.iter().map(|channel| channel.samples.len()).sum::<usize>() > MOST_SAMPLES
    {
        return;
    }
    let criteria = shipped("adult-air").expect("the shipped criteria read");
    let _ = night(recording, Notes::default(), &criteria);
});
