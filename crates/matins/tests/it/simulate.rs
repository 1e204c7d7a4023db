//! `matins simulate`.

use simulate::sleepers;

use crate::desk::Desk;

#[test]
fn the_sleepers_are_listed() {
    Desk::new()
        .run(&["simulate", "--list"])
        .prints("simulate-list.txt", "matins: next: matins simulate --sleeper NAME -o night.csv\n");
    assert!(sleepers().len() >= 10);
}

#[test]
fn a_night_is_made_with_its_notes_and_its_truth() {
    let desk = Desk::new();
    desk.run(&["simulate", "--sleeper", "sawtooth", "--seed", "3", "-o", "n.csv"]).is(
        0,
        "",
        "matins: sawtooth slept; the truth is in n.truth.json\n\
         matins: next: matins score n.csv --notes n.notes.toml --criteria adult-air \
         --question repeated_falls\n",
    );
    assert_eq!(desk.names(), ["n.csv", "n.notes.toml", "n.truth.json"]);
    let ran = desk.run(&["score", "n.csv", "--notes", "n.notes.toml", "-q"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
}

#[test]
fn the_same_seed_makes_the_same_bytes_and_another_does_not() {
    let desk = Desk::new();
    let made = |seed| desk.run(&["simulate", "--seed", seed, "-o", "-"]).stdout;
    let (once, twice, other) = (made("5"), made("5"), made("6"));
    assert!(once.starts_with("time,SpO2 (%)"));
    assert_eq!(once, twice);
    assert_ne!(once, other);
}

#[test]
fn a_night_written_as_edf_is_read_again() {
    let desk = Desk::new();
    assert_eq!(desk.run(&["simulate", "-o", "n.edf"]).code, 0);
    let ran = desk.run(&["look", "n.edf"]);
    assert!(ran.stdout.contains("format    EDF+C"), "{}", ran.stdout);
}

#[test]
fn a_file_that_stands_is_not_replaced_nor_are_its_siblings_written() {
    let desk = Desk::new().with("n.truth.json", "mine");
    desk.run(&["simulate", "-o", "n.csv"]).fails(
        1,
        "matins: n.truth.json: the file stands already and was not replaced\n  \
         hint: --force replaces it\n",
    );
    assert_eq!(desk.names(), ["n.truth.json"]);
    assert_eq!(desk.run(&["simulate", "-o", "n.csv", "--force", "-q"]).code, 0);
    assert_ne!(desk.text("n.truth.json"), "mine");
}

#[test]
fn a_sleeper_no_one_knows_is_refused_by_name() {
    let known: Vec<&str> = sleepers().iter().map(|named| named.id).collect();
    let words =
        format!("matins: the sleeper `nobody` is not known; known are {}\n", known.join(", "));
    Desk::new().run(&["simulate", "--sleeper", "nobody", "-o", "n.csv"]).fails(2, &words);
}

#[test]
fn an_ending_that_is_no_night_is_refused() {
    Desk::new()
        .run(&["simulate", "-o", "n.xls"])
        .fails(2, "matins: n.xls: expected a name ending in .csv or .edf\n");
}

#[test]
fn hours_that_are_no_night_are_refused() {
    Desk::new().run(&["simulate", "--hours", "90", "-o", "n.csv"]).fails(
        2,
        "matins: invalid value '90' for '--hours <H>': expected a number from 1 to 16\n\n\
         For more information, try '--help'.\n",
    );
}
