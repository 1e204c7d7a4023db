//! Every hazard has a cause, an effect, a guard, and a test that exists.

use std::fs;

use super::sources::{files, root};

/// The hazards, each from its heading to the next.
fn hazards(text: &str) -> Vec<&str> {
    text.split("\n### ").skip(1).collect()
}

/// The names in backticks on the line of tests.
fn tests_named(hazard: &str) -> Vec<&str> {
    let line = hazard.lines().find_map(|line| line.strip_prefix("- Test: ")).unwrap_or("");
    line.split('`').skip(1).step_by(2).collect()
}

/// Whether a test stands somewhere in the tree: a Rust test, a file, or a step of the check.
fn exists(name: &str, rust: &str) -> bool {
    if let Some(step) = name.strip_prefix("check:") {
        let check = fs::read_to_string(root().join("check")).unwrap();
        return check.contains(&format!("step_{step}()"));
    }
    if name.contains('/') {
        return root().join(name).is_file();
    }
    rust.contains(&format!("fn {name}("))
}

#[test]
fn every_hazard_says_cause_effect_and_guard() {
    let text = fs::read_to_string(root().join("docs/hazards.md")).unwrap();
    let hazards = hazards(&text);
    assert!(hazards.len() >= 20, "only {} hazards", hazards.len());
    for hazard in hazards {
        let title = hazard.lines().next().unwrap();
        for part in ["- Cause: ", "- Effect: ", "- Guard: ", "- Test: "] {
            assert!(hazard.contains(part), "{title} has no `{part}`");
        }
    }
}

#[test]
fn every_test_that_a_hazard_names_exists() {
    let text = fs::read_to_string(root().join("docs/hazards.md")).unwrap();
    let rust: String = files(&root().join("crates"), "rs")
        .iter()
        .map(|file| fs::read_to_string(file).unwrap())
        .collect();
    let mut lacking = Vec::new();
    for hazard in hazards(&text) {
        let title = hazard.lines().next().unwrap();
        let named = tests_named(hazard);
        assert!(!named.is_empty(), "{title} names no test");
        lacking.extend(
            named.iter().filter(|name| !exists(name, &rust)).map(|name| format!("{title}: {name}")),
        );
    }
    assert!(lacking.is_empty(), "tests that do not exist:\n{}", lacking.join("\n"));
}

#[test]
fn hazard_numbers_are_unique() {
    let text = fs::read_to_string(root().join("docs/hazards.md")).unwrap();
    let mut ids: Vec<&str> = hazards(&text).iter().filter_map(|h| h.split(' ').next()).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all);
}
