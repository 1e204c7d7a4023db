//! The suites as a document, the same bytes for the same engine.

use std::fmt::Write as _;

use crate::study;
use crate::study::Kept;
use crate::{Answer, Errors, Figure, Outcome, Suite};

const HEAD: &str = "\
# Validation

Published tables and worked examples, run through the engine; then made nights held against their truth, with targets.
Written by `cargo run -p validation -- docs/validation.md`; do not edit by hand.
`./check` fails when this file is not what the engine says today, and when a number is out of its limits.

*Expected* is the publication's number, or arithmetic on its formula where it prints none.
Where the key's status in `sources.md` is not *confirmed*, the comparison shows that the engine computes what we believe was published, not that it was.
Errors are given as the value that 75 %, 99 % and all of them do not exceed.
";

/// The document: the publications, then the study as it was last run.
pub fn write(suites: &[Suite], study: &Kept) -> String {
    let mut text = String::from(HEAD);
    summary(&mut text, suites);
    for suite in suites {
        section(&mut text, suite);
    }
    text.push_str(&study::section::section(study));
    text
}

fn summary(text: &mut String, suites: &[Suite]) {
    text.push_str("\n| suite | source | compared | within limits |\n|---|---|---:|---|\n");
    for suite in suites {
        let verdict = if suite.faults().is_empty() { "yes" } else { "**no**" };
        line(
            text,
            format_args!(
                "| {} | `{}` | {} | {verdict} |",
                suite.title,
                suite.source,
                suite.count()
            ),
        );
    }
}

fn section(text: &mut String, suite: &Suite) {
    line(text, format_args!("\n## {}\n", suite.title));
    line(text, format_args!("Source: `{}`, {}.", suite.source, suite.place));
    match &suite.outcome {
        Outcome::Figures { rows, digits, limits } => {
            let errors = Errors::of(rows);
            line(
                text,
                format_args!(
                    "Errors: q75 {}, q99 {}, largest {}; limits {}, {}, {} ({}).\n",
                    short(errors.q75),
                    short(errors.q99),
                    short(errors.max),
                    short(limits.q75),
                    short(limits.q99),
                    short(limits.max),
                    limits.because
                ),
            );
            figures(text, rows, *digits);
        }
        Outcome::Answers(answers) => {
            text.push('\n');
            table_of_answers(text, answers);
        }
    }
}

fn figures(text: &mut String, rows: &[Figure], digits: usize) {
    text.push_str("| | expected | found | difference |\n|---|---:|---:|---:|\n");
    for Figure { what, expected, found } in rows {
        line(
            text,
            format_args!(
                "| {what} | {expected:.digits$} | {found:.digits$} | {} |",
                signed(found - expected, digits + 1)
            ),
        );
    }
}

fn table_of_answers(text: &mut String, answers: &[Answer]) {
    text.push_str("| | expected | found |\n|---|---|---|\n");
    for Answer { what, expected, found } in answers {
        line(text, format_args!("| {what} | {expected} | {found} |"));
    }
}

/// A difference with its sign, zero without one.
fn signed(difference: f64, digits: usize) -> String {
    let text = format!("{difference:+.digits$}");
    if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { text } else { "0".into() }
}

/// Two digits of a small positive number; what is under a millionth is rounding and not told apart.
fn short(number: f64) -> String {
    if number < 1e-6 { "below 0.000001".into() } else { format!("{number:.6}") }
}

fn line(text: &mut String, arguments: std::fmt::Arguments<'_>) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{arguments}");
}
