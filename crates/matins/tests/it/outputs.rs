//! What holds for every output: written whole, or an error and nothing left behind.

use std::process::Stdio;

use crate::desk::{Desk, program};
use crate::made::quiet_night;

#[test]
fn an_output_in_a_folder_that_is_not_there_is_the_machines_failure() {
    let desk = Desk::new().with("night.csv", quiet_night());
    let words = "matins: gone/x.html: the file cannot be written: no such file or directory\n";
    desk.run(&["report", "night.csv", "-o", "gone/x.html", "-q"]).fails(1, words);
    let words = "matins: gone/n.csv: the file cannot be written: no such file or directory\n";
    desk.run(&["simulate", "-o", "gone/n.csv", "-q"]).fails(1, words);
    assert_eq!(desk.names(), ["night.csv"]);
}

#[test]
fn a_demo_where_no_folder_can_be_made_is_the_machines_failure() {
    let desk = Desk::new().with("file", "");
    desk.run(&["demo", "--out", "file/d"])
        .fails(1, "matins: file/d: the folder cannot be made: not a directory\n");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told() {
    let desk = Desk::new().with("night.csv", quiet_night());
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let child = program(&desk.path("."))
        .args(["score", "night.csv", "-q"])
        .stdout(full)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(
        String::from_utf8(output.stderr).unwrap(),
        "matins: standard output cannot be written: no space left on device\n"
    );
    assert_eq!(output.status.code(), Some(1));
}
