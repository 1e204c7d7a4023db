//! Any text: a notes file or a column map is read or refused, and notes that read take a night the whole way.
#![no_main]

use engine::criteria::shipped;
use engine::night::night;
use engine::notes::NotesFile;
use engine::read::map::ColumnMap;
use engine::read::{Input, ReadOptions, read};
use engine::time::zone_named;
use libfuzzer_sys::fuzz_target;

/// Ten minutes over the hour that came twice.
const NIGHT: &[u8] = include_bytes!("../seeds/read/interrupted.edf");

fuzz_target!(|text: &str| {
    if let Ok(map) = ColumnMap::parse(text) {
        assert_eq!(
            ColumnMap::parse(&map.to_toml()).as_ref(),
            Ok(&map),
            "a map changes when written"
        );
    }
    let Ok(notes) = NotesFile::parse(text) else { return };
    let options = ReadOptions { zone: notes.zone().and_then(zone_named), map: None };
    let input = Input { name: "night.edf", bytes: NIGHT, companions: &[] };
    let Ok(recording) = read(input, &options) else { return };
    let Ok(notes) = notes.place(&recording) else { return };
    let criteria = shipped("adult-air").expect("the shipped criteria read");
    let _ = night(recording, notes, &criteria);
});
