//! Links and pages of the documents.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use super::sources::{files, root};

/// The documents at the root and in `docs`.
fn documents() -> Vec<PathBuf> {
    let at_root = fs::read_dir(root()).unwrap().flatten().map(|entry| entry.path());
    let mut found: Vec<PathBuf> =
        at_root.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect();
    found.extend(files(&root().join("docs"), "md"));
    found
}

#[test]
fn every_link_inside_the_tree_leads_somewhere() {
    let mut seen = 0;
    for file in documents() {
        let text = fs::read_to_string(&file).unwrap();
        for target in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let path = target.split('#').next().unwrap_or("");
            if path.is_empty() || target.contains("://") {
                continue;
            }
            seen += 1;
            let found = file.parent().unwrap().join(path);
            assert!(found.exists(), "{}: link to {target} leads nowhere", file.display());
        }
    }
    assert!(seen >= 8, "only {seen} links looked at");
}

#[test]
fn the_pages_a_newcomer_needs_are_there() {
    for name in [
        "README.md",
        "ARCHITECTURE.md",
        "CONTRIBUTING.md",
        "DESIGN.md",
        "CHANGELOG.md",
        "docs/sources.md",
        "docs/glossary.md",
        "docs/hazards.md",
        "docs/validation.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
    ] {
        assert!(root().join(name).is_file(), "{name} is missing");
    }
}

/// The codes of findings in the engine: a literal in snake case right before its weight.
fn codes(text: &str) -> BTreeSet<String> {
    let joined: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    joined
        .match_indices("\", Weight::")
        .filter_map(|(end, _)| joined[..end].rsplit('"').next())
        .filter(|code| {
            code.contains('_')
                && code.bytes().all(|b| b"abcdefghijklmnopqrstuvwxyz_0123456789".contains(&b))
        })
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_finding_is_explained_and_no_other() {
    let mut known = BTreeSet::new();
    let mut code = String::new();
    for file in files(&root().join("crates/engine/src"), "rs") {
        let source = fs::read_to_string(file).unwrap();
        known.extend(codes(&source));
        code.push_str(&source);
    }
    let text = fs::read_to_string(root().join("docs/findings.md")).unwrap();
    let explained: BTreeSet<String> = text
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split('`').next())
        .map(str::to_owned)
        .collect();
    assert!(known.len() > 20, "only {} codes found", known.len());
    let lacking: Vec<_> = known.difference(&explained).collect();
    // A code may be chosen some lines before its finding is made: then it stands as a literal only.
    let said = |explained: &&String| {
        known.contains(*explained) || code.contains(&format!("\"{explained}\""))
    };
    let stale: Vec<_> = explained.iter().filter(|code| !said(code)).collect();
    assert!(lacking.is_empty(), "docs/findings.md does not explain {lacking:?}");
    assert!(stale.is_empty(), "docs/findings.md explains what no code says: {stale:?}");
}
