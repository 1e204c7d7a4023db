//! What every verb shares: help, version, and words that were not understood.

use std::io::Read as _;
use std::process::Stdio;

use crate::desk::{Desk, program};

#[test]
fn the_version_is_printed() {
    let version = format!("matins {}\n", env!("CARGO_PKG_VERSION"));
    Desk::new().run(&["--version"]).is(0, &version, "");
}

#[test]
fn help_shows_examples_first() {
    let desk = Desk::new();
    desk.run(&["--help"]).prints("help.txt", "");
    desk.run(&["score", "--help"]).prints("help-score.txt", "");
    for verb in [
        "look",
        "score",
        "report",
        "simulate",
        "criteria",
        "demo",
        "verify",
        "backup",
        "restore",
        "completions",
        "man",
    ] {
        let help = desk.run(&[verb, "--help"]).stdout;
        assert_eq!(help.lines().nth(2), Some("Examples:"), "{verb}: {help}");
    }
}

#[test]
fn a_word_that_is_no_verb_is_a_usage_error() {
    Desk::new().run(&["simlate"]).fails(
        2,
        "matins: unrecognized subcommand 'simlate'\n\n  tip: a similar subcommand exists: 'simulate'\n\n\
         Usage: matins [OPTIONS] <COMMAND>\n\nFor more information, try '--help'.\n",
    );
}

#[test]
fn nothing_typed_is_a_usage_error_that_shows_the_help() {
    let ran = Desk::new().run(&[]);
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    assert!(ran.stderr.contains("Examples:\n  matins demo"), "{}", ran.stderr);
}

#[test]
fn completions_and_pages_know_every_verb() {
    let desk = Desk::new();
    let page = desk.run(&["man"]);
    let bash = desk.run(&["completions", "bash"]);
    assert_eq!((page.code, bash.code), (0, 0));
    for verb in
        ["look", "score", "report", "simulate", "criteria", "demo", "verify", "backup", "restore"]
    {
        assert!(page.stdout.contains(verb), "man: {verb}");
        assert!(bash.stdout.contains(verb), "bash: {verb}");
    }
    for shell in ["zsh", "fish", "elvish", "powershell"] {
        let ran = desk.run(&["completions", shell]);
        assert!(ran.code == 0 && ran.stdout.contains("matins"), "{shell}");
    }
    let page = desk.run(&["man", "score"]).stdout;
    assert!(page.contains("matins\\-score"), "{page}");
    assert!(page.contains(".SH EXAMPLES\n.nf\n  matins score night.csv\n"), "{page}");
    assert!(page.contains(".SH \"EXIT STATUS\"\n.TP\n0\nDone."), "{page}");
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let desk = Desk::new();
    let mut child = program(&desk.path("."))
        .args(["completions", "zsh"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!((child.wait().unwrap().code(), said.as_str()), (Some(0), ""));
}
