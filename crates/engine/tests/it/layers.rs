//! Modules use only the modules before them.

use std::fs;
use std::path::{Path, PathBuf};

const LAYERS: [&str; 19] = [
    "unit",
    "time",
    "finding",
    "stats",
    "gas",
    "recording",
    "trace",
    "criteria",
    "notes",
    "read",
    "write",
    "screen",
    "correct",
    "score",
    "judge",
    "report",
    "compare",
    "print",
    "night",
];

fn rust_files(src: &Path, layer: &str) -> Vec<PathBuf> {
    let mut found = vec![src.join(format!("{layer}.rs"))];
    let mut folders = vec![src.join(layer)];
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(&folder).into_iter().flatten().flatten().map(|e| e.path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn modules_use_only_the_modules_before_them() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut seen = 0;
    for (depth, layer) in LAYERS.iter().enumerate() {
        for file in rust_files(&src, layer) {
            seen += 1;
            let text = fs::read_to_string(&file).unwrap();
            let hidden = text.contains("use crate::{") || text.contains("super::super");
            assert!(!hidden, "{}: one `use crate::name` per line", file.display());
            for later in &LAYERS[depth + 1..] {
                let used = text.contains(&format!("crate::{later}::"));
                assert!(!used, "{} uses `{later}`, a later layer", file.display());
            }
        }
    }
    assert!(seen >= LAYERS.len(), "only {seen} files looked at");
}

#[test]
fn every_module_stands_in_the_list() {
    let text =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs")).unwrap();
    let modules: Vec<&str> =
        text.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    let mut listed = LAYERS.to_vec();
    let mut found = modules.clone();
    listed.sort_unstable();
    found.sort_unstable();
    assert_eq!(found, listed);
}
