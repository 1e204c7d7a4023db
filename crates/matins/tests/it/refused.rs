//! Bad input: the exact words shown, the exit code, and nothing on standard output.

use crate::desk::Desk;
use crate::made::{edf, edf_header, rows};

/// `look` and `score` say the same of a file, and neither prints data. The lines after the first are the
/// place and the hint.
#[track_caller]
fn refused(name: &str, bytes: impl AsRef<[u8]>, code: i32, lines: &[&str]) {
    let desk = Desk::new().with(name, bytes);
    let words = format!("matins: {name}: {}\n", lines.join("\n  "));
    for verb in ["look", "score"] {
        desk.run(&[verb, name, "--quiet"]).fails(code, &words);
    }
}

#[test]
fn an_empty_file() {
    refused("night.csv", "", 3, &["the file is empty"]);
}

#[test]
fn binary_rubbish() {
    let rubbish: Vec<u8> = (0..4096_u32).map(|n| (n * 167 % 251) as u8 ^ 0x80).collect();
    refused(
        "night.bin",
        rubbish,
        3,
        &[
            "neither EDF, WFDB nor delimited text: the file begins with the bytes 80 27 d3 7a 26 d2 79 25",
            "at: byte 0",
            "hint: export the night from the monitor as CSV or EDF",
        ],
    );
}

#[test]
fn words_that_are_no_night() {
    refused(
        "letter.txt",
        "Dear colleague,\nthank you for seeing this patient.\n",
        3,
        &[
            "no header found: expected a line naming a time and SpO2, pulse or CO2 columns",
            "hint: name the columns in a column map",
        ],
    );
}

#[test]
fn a_text_cut_off_in_its_first_row() {
    refused(
        "night.csv",
        "time,SpO2 (%)\n2026-01-13T22:00:00,9",
        3,
        &["only one row: the interval between samples is not known"],
    );
}

#[test]
fn a_header_without_rows() {
    refused("night.csv", "time,SpO2 (%)\n", 3, &["no rows below the header", "at: line 1"]);
}

#[test]
fn a_text_without_a_time_column() {
    refused(
        "night.csv",
        "SpO2 (%),Pulse (/min)\n96,60\n96,61\n",
        3,
        &[
            "no column holds the time: the header names `SpO2 (%)`, `Pulse (/min)`",
            "at: line 1",
            "hint: say in a column map which column is the time and how it is written",
        ],
    );
}

#[test]
fn two_co2_columns() {
    refused(
        "night.csv",
        rows("time,tcPCO2 (kPa),tcPCO2 (mmHg)", "5.8,43", 60),
        3,
        &[
            "two columns could be tcPCO2: `tcPCO2 (kPa)` and `tcPCO2 (mmHg)`",
            "hint: a column map picks one of them",
        ],
    );
}

#[test]
fn a_unit_no_one_knows() {
    refused(
        "night.csv",
        rows("time,SpO2 (%),tcPCO2 (furlong)", "96,43", 60),
        4,
        &[
            "unit `furlong` of `tcPCO2 (furlong)` is not known for tcPCO2: expected kPa, mmHg, mm[Hg] or torr",
            "hint: if the header is wrong, a column map can name the unit",
        ],
    );
}

#[test]
fn co2_without_a_unit() {
    refused(
        "night.csv",
        rows("time,SpO2 (%),tcPCO2", "96,43", 60),
        4,
        &[
            "`tcPCO2` has no unit: expected kPa or mmHg",
            "hint: its numbers look like mmHg; if that is right, put unit = \"mmHg\" in a column map",
        ],
    );
}

#[test]
fn mmhg_labelled_kpa() {
    refused(
        "night.csv",
        rows("time,SpO2 (%),tcPCO2 (kPa)", "96,43.2", 3600),
        4,
        &[
            "`tcPCO2 (kPa)` is labelled kPa, but its numbers are those of mmHg",
            "hint: find out which is right; a column map can name the unit",
        ],
    );
}

#[test]
fn kpa_labelled_mmhg() {
    refused(
        "night.csv",
        rows("time,SpO2 (%),tcPCO2 (mmHg)", "96,5.8", 3600),
        4,
        &[
            "`tcPCO2 (mmHg)` is labelled mmHg, but its numbers are those of kPa",
            "hint: find out which is right; a column map can name the unit",
        ],
    );
}

#[test]
fn an_edf_cut_off_in_its_header() {
    refused(
        "night.edf",
        &edf(60)[..300],
        3,
        &[
            "the header ends inside the transducer of signal 1: expected 80 bytes, found 28",
            "at: byte 272",
        ],
    );
}

#[test]
fn an_edf_whose_header_size_is_wrong() {
    refused(
        "night.edf",
        edf_header("60", "1", "1024", "1"),
        3,
        &[
            "number of bytes in the header: expected 512, which is 256 for each of 1 signals and 256 more, found `1024    `",
            "at: byte 184",
        ],
    );
}

#[test]
fn an_edf_whose_number_of_signals_is_wrong() {
    refused(
        "night.edf",
        edf_header("60", "1", "512", "9999"),
        3,
        &[
            "too many signals: expected at most 512, found 9999",
            "hint: the header may be damaged; fetch the file from the monitor again",
        ],
    );
    refused(
        "night.edf",
        edf_header("60", "1", "512", "many"),
        3,
        &["number of signals: expected a number, found `many`", "at: byte 252"],
    );
}

#[test]
fn a_wfdb_header_without_its_samples() {
    refused(
        "night.hea",
        "night 1 1 100\nnight.dat 16 10(0)/% 16 0 0 0 0 SpO2\n",
        3,
        &[
            "the header names `night.dat`: expected that file beside it, found none",
            "hint: keep the files of a record in one folder",
        ],
    );
}

#[test]
fn a_file_that_is_not_there() {
    let words = "matins: night.csv: there is no such file\n";
    for verb in ["look", "score", "report"] {
        Desk::new().run(&[verb, "night.csv", "--quiet"]).fails(3, words);
    }
}

#[test]
fn a_folder() {
    let words = "matins: .: expected a file, found a folder\n";
    for verb in ["look", "score"] {
        Desk::new().run(&[verb, ".", "--quiet"]).fails(3, words);
    }
}

#[test]
fn a_zone_no_one_knows() {
    Desk::new().run(&["score", "night.csv", "--zone", "Europe/Lundon"]).fails(
        2,
        "matins: the zone `Europe/Lundon` is not known\n  \
         hint: expected a name such as Europe/London, an offset such as +01:00, or UTC\n",
    );
}

#[test]
fn a_question_no_one_knows() {
    Desk::new().run(&["score", "night.csv", "--question", "snoring"]).fails(
        2,
        "matins: the question `snoring` is not in criteria adult-air; known are \
         night_gas_exchange, hypoventilation, oxygenation, repeated_falls\n",
    );
}

#[test]
fn criteria_no_one_knows() {
    Desk::new().run(&["score", "night.csv", "--criteria", "adult"]).fails(
        2,
        "matins: the criteria set `adult` is not known; known are adult-air, adult-neuromuscular, \
         adult-ventilation, child, infant\n  \
         hint: a set of your own is given as a file whose name ends in .toml\n",
    );
}

#[test]
fn criteria_based_on_a_set_no_one_knows() {
    let desk = Desk::new().with("ours.toml", "name = \"ours\"\nbased_on = \"adults\"\n");
    desk.run(&["score", "night.csv", "--criteria", "ours.toml"]).fails(
        4,
        "matins: ours.toml: criteria ours: the set in `based_on` `adults` is not known; known are \
         adult-air, adult-neuromuscular, adult-ventilation, child, infant\n  \
         hint: `matins criteria show adult-air` prints a set that is whole; copy it and change it\n",
    );
}
