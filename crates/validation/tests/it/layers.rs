//! Within a crate a room uses only the rooms before it, in the order that the head of its `lib.rs` gives.

use std::fs;
use std::path::{Path, PathBuf};

use super::sources::{files, root};

/// The crates whose order is held.
const CRATES: [&str; 3] = ["engine", "store", "web"];

/// The line before the list.
const BEGINS: &str = "//! Rooms, each using only those before it:";

fn src(name: &str) -> PathBuf {
    root().join("crates").join(name).join("src")
}

fn head(name: &str) -> String {
    fs::read_to_string(src(name).join("lib.rs")).unwrap()
}

/// The rooms in order: what stands in backticks between the line before the list and the next empty line.
fn order(lib: &str) -> Vec<String> {
    let after = lib.split_once(BEGINS).map_or("", |(_, after)| after);
    let list: Vec<&str> = after.lines().skip(1).take_while(|line| line.len() > 4).collect();
    list.join(" ").split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// The modules that the file declares.
fn declared(lib: &str) -> Vec<String> {
    lib.lines()
        .filter_map(|line| line.trim_start_matches("pub ").strip_prefix("mod ")?.strip_suffix(';'))
        .map(str::to_owned)
        .collect()
}

fn of_room(name: &str, room: &str) -> Vec<PathBuf> {
    let mut found = vec![src(name).join(format!("{room}.rs"))];
    if src(name).join(room).is_dir() {
        found.extend(files(&src(name).join(room), "rs"));
    }
    found.retain(|path| path.is_file());
    found
}

/// Whether the text names a room of its crate.
fn uses(text: &str, room: &str) -> bool {
    ["::", ";", "{"].iter().any(|end| text.contains(&format!("crate::{room}{end}")))
}

fn wrong(file: &Path, later: &[String]) -> Vec<String> {
    let whole = fs::read_to_string(file).unwrap();
    // A test may look at what is built on it.
    let text = whole.split("#[cfg(test)]").next().unwrap();
    assert!(!text.contains("use crate::{"), "{}: one name a line", file.display());
    let up = later.iter().filter(|room| uses(text, room));
    up.map(|room| format!("{} uses the later `{room}`", file.display())).collect()
}

#[test]
fn a_room_uses_only_the_rooms_before_it() {
    for name in CRATES {
        let order = order(&head(name));
        let mut seen = 0;
        for (at, room) in order.iter().enumerate() {
            for file in of_room(name, room) {
                seen += 1;
                let wrong = wrong(&file, &order[at + 1..]);
                assert!(wrong.is_empty(), "{}", wrong.join("\n"));
            }
        }
        assert!(seen >= order.len() && seen > 10, "{name}: only {seen} files looked at");
    }
}

#[test]
fn every_room_stands_in_its_list() {
    for name in CRATES {
        let lib = head(name);
        let (mut listed, mut found) = (order(&lib), declared(&lib));
        listed.sort_unstable();
        found.sort_unstable();
        assert_eq!(found, listed, "{name}");
    }
}

#[test]
fn a_later_room_is_seen_however_it_is_named() {
    for line in ["use crate::judge::Rule;", "use crate::judge;", "crate::judge::{a, b}"] {
        assert!(uses(line, "judge"), "{line}");
    }
    assert!(!uses("use crate::judgement::Rule;", "judge"));
}
