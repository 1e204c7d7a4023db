//! Every source named anywhere is a key of `docs/sources.md`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What may stand in place of a key.
const PHRASES: [&str; 3] = ["from memory", "department setting", "common practice"];

pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Every file below a folder with one of these endings.
pub(crate) fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(&folder).into_iter().flatten().flatten().map(|e| e.path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|found| found == ending) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The keys of `docs/sources.md` and how often each heads an entry.
fn keys() -> BTreeMap<String, usize> {
    let text = fs::read_to_string(root().join("docs/sources.md")).unwrap();
    let mut keys = BTreeMap::new();
    for line in text.lines() {
        if let Some(key) = line.strip_prefix("## `").and_then(|rest| rest.strip_suffix('`')) {
            *keys.entry(key.to_owned()).or_insert(0) += 1;
        }
    }
    keys
}

/// The texts between `before` and the next quotation mark.
fn quoted<'a>(text: &'a str, before: &str) -> Vec<&'a str> {
    text.split(before).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// Words in backticks that look like a publication's key: kebab case that ends in a year.
fn dated_keys(text: &str) -> Vec<&str> {
    text.split('`')
        .filter(|word| {
            let year = word.rsplit('-').next().unwrap_or("");
            word.contains('-')
                && year.len() == 4
                && (year.starts_with("19") || year.starts_with("20"))
                && word.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
        })
        .collect()
}

#[test]
fn no_key_stands_twice() {
    let keys = keys();
    assert!(keys.len() > 80, "only {} keys found", keys.len());
    let twice: Vec<_> = keys.iter().filter(|(_, count)| **count > 1).collect();
    assert!(twice.is_empty(), "{twice:?}");
}

#[test]
fn every_entry_says_what_is_taken_and_how_far_it_was_checked() {
    let text = fs::read_to_string(root().join("docs/sources.md")).unwrap();
    for entry in text.split("\n## `").skip(1) {
        let key = entry.split('`').next().unwrap();
        assert!(entry.contains("\n- Taken: "), "{key} does not say what is taken");
        assert!(entry.contains("\n- Status: "), "{key} has no status");
    }
}

#[test]
fn criteria_name_only_known_sources() {
    let keys = keys();
    let mut seen = 0;
    for file in files(&root().join("criteria"), "toml") {
        let text = fs::read_to_string(&file).unwrap();
        for source in quoted(&text, "source = \"") {
            seen += 1;
            let known = keys.contains_key(source) || PHRASES.contains(&source);
            assert!(known, "{}: `{source}` is no key of docs/sources.md", file.display());
        }
    }
    assert!(seen > 60, "only {seen} sources looked at");
}

#[test]
fn code_names_only_known_sources() {
    let keys = keys();
    let mut unknown = Vec::new();
    let mut seen = 0;
    for file in files(&root().join("crates"), "rs") {
        // This file's own examples are no sources.
        if file.ends_with("tests/it/sources.rs") {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        // A test may write any source into what it makes; the code may not.
        let stated = if file.components().any(|part| part.as_os_str() == "tests") {
            Vec::new()
        } else {
            quoted(&text, "source: \"")
        };
        for source in stated.into_iter().chain(dated_keys(&text)) {
            seen += 1;
            if !keys.contains_key(source) && !PHRASES.contains(&source) {
                unknown.push(format!("{}: `{source}`", file.display()));
            }
        }
    }
    assert!(seen > 20, "only {seen} sources looked at");
    assert!(unknown.is_empty(), "no keys of docs/sources.md:\n{}", unknown.join("\n"));
}

#[test]
fn a_key_is_found_in_backticks_by_its_year() {
    let text = "as in `berry-2012`, not `adult-air`, not `2012`, not `a b-2012`";
    assert_eq!(dated_keys(text), ["berry-2012"]);
}
