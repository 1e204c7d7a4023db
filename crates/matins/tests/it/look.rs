//! `matins look`.

use crate::desk::Desk;
use crate::made::{edf, edf_header, quiet_night, rows};

#[test]
fn a_text_is_shown() {
    let desk = Desk::new().with("night.csv", quiet_night());
    desk.run(&["look", "night.csv"])
        .prints("look-text.txt", "matins: next: matins score night.csv\n");
}

#[test]
fn what_was_told_is_told_again_in_the_next_command() {
    let desk = Desk::new().with("night.csv", quiet_night());
    desk.run(&["look", "night.csv", "--zone", "Europe/London"])
        .prints("look-zone.txt", "matins: next: matins score night.csv --zone Europe/London\n");
}

#[test]
fn a_text_from_standard_input_is_shown() {
    let ran =
        Desk::new().run_with(&["look", "-", "--zone", "Europe/London"], quiet_night().as_bytes());
    ran.prints("look-standard-input.txt", "");
}

#[test]
fn an_edf_with_half_its_records_is_shown_with_a_caution() {
    let mut bytes = edf(60);
    bytes.truncate(512 + 60);
    let desk = Desk::new().with("night.edf", bytes);
    desk.run(&["look", "night.edf", "-q"]).prints("look-truncated-edf.txt", "");
}

/// The header promises ten gigabytes, 50 000 000 records of 200 bytes; the file holds twelve kilobytes.
#[test]
fn ten_gigabytes_claimed_by_a_header_take_no_room() {
    let mut bytes = edf_header("50000000", "100", "512", "1");
    bytes.extend(960_u16.to_le_bytes().repeat(6000));
    let desk = Desk::new().with("night.edf", bytes);
    desk.run(&["look", "night.edf", "-q"]).prints("look-huge-claim.txt", "");
}

#[test]
fn a_gap_is_listed_on_the_clock() {
    let whole = rows("time,SpO2 (%),Pulse (/min)", "96,60", 600);
    let kept: Vec<&str> = whole.lines().filter(|line| !line.contains("T22:03:0")).collect();
    let text = kept.join("\n") + "\n";
    let desk = Desk::new().with("night.csv", text);
    desk.run(&["look", "night.csv", "-q"]).prints("look-gap.txt", "");
}

#[test]
fn a_column_map_is_guessed_off_a_terminal_and_read_again() {
    let text = rows("time,Chan 1,Chan 2,tcPCO2", "96,60,43", 600);
    let desk = Desk::new().with("night.csv", text);
    let made = desk.run(&["look", "night.csv", "--make-map"]);
    assert_eq!((made.code, made.stdout.as_str()), (0, ""), "{}", made.stderr);
    assert_eq!(desk.names(), ["night.csv", "night.map.toml"]);
    desk.run(&["look", "night.csv", "--make-map", "-o", "-"]).prints("map.toml", "");
    desk.run(&["look", "night.csv", "--make-map"]).fails(
        1,
        "matins: night.map.toml: the file stands already and was not replaced\n  \
         hint: --force replaces it\n",
    );
}

#[test]
fn a_column_map_with_a_word_no_one_knows_is_refused() {
    let desk = Desk::new()
        .with("night.csv", quiet_night())
        .with("map.toml", "[[column]]\ncolumn = \"x\"\nquantity = \"oxygen\"\n");
    desk.run(&["look", "night.csv", "--map", "map.toml"]).fails(
        3,
        "matins: map.toml: the column map: quantity `oxygen` is not known\n  \
         hint: `matins look FILE --make-map` writes a map that is whole\n",
    );
}
