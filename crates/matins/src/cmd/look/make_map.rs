//! `matins look --make-map`: a column map, asked for on a terminal, guessed elsewhere.

use std::io::{BufRead, IsTerminal as _};
use std::path::{Path, PathBuf};

use engine::read::ReadOptions;
use engine::read::map::{Choice, ColumnMap, Question, propose};

use crate::args::LookArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice, say};
use crate::setup;

/// Writes a column map; what nobody answered stands at its head as a comment.
pub(crate) fn run(args: &LookArgs, no_input: bool, voice: Voice) -> Result<Exit, Trouble> {
    let out = args.output.clone().unwrap_or_else(|| default_name(&args.file));
    files::free(&out, args.force)?;
    let bytes = files::read(&args.file)?;
    let (mut map, questions) = propose(&bytes);
    if map.header_line.is_none() {
        return Err(no_columns(args, &bytes));
    }
    let ask = !no_input && on_terminal() && !files::is_standard(&args.file);
    let mut open = Vec::new();
    for question in &questions {
        match ask.then(|| answered(question, &mut std::io::stdin().lock())).flatten() {
            Some(choice) => map.answer(&question.choices[choice]),
            None => open.push(question),
        }
    }
    let comments: Vec<String> = open.iter().map(|question| comment(question, &map)).collect();
    files::write(&out, format!("{}{}", comments.concat(), map.to_toml()).as_bytes())?;
    if !files::is_standard(&out) {
        tell(&args.file, &out, open.len(), voice);
    }
    Ok(Exit::Done)
}

/// Why a file gets no map: reading it says what it is.
fn no_columns(args: &LookArgs, bytes: &[u8]) -> Trouble {
    match setup::read_recording(&args.file, bytes, &ReadOptions::default()) {
        Err(trouble) => trouble,
        Ok(recording) => {
            Trouble::usage(format!("a file in {} needs no column map", recording.format.name()))
                .about(files::shown(&args.file))
        }
    }
}

fn default_name(file: &Path) -> PathBuf {
    if files::is_standard(file) { file.to_owned() } else { files::beside(file, "map.toml") }
}

fn on_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Which choice was made; an empty line leaves the question open.
fn answered(question: &Question, input: &mut impl BufRead) -> Option<usize> {
    say(&format!("\n{}\n", question.text));
    for (n, choice) in (1..).zip(&question.choices) {
        say(&format!("  {n}  {}\n", choice.label));
    }
    loop {
        say("number, or nothing to leave it open: ");
        let mut line = String::new();
        let read = input.read_line(&mut line).ok()?;
        let typed = line.trim();
        if read == 0 || typed.is_empty() {
            return None;
        }
        let number = typed.parse().ok().filter(|n| (1..=question.choices.len()).contains(n));
        if let Some(number) = number {
            return Some(number - 1);
        }
    }
}

/// A question nobody answered, each answer with the lines it would write.
fn comment(question: &Question, map: &ColumnMap) -> String {
    let before = map.to_toml();
    let answer = |choice: &Choice| {
        let mut answered = map.clone();
        answered.answer(choice);
        let after = answered.to_toml();
        let new = after.lines().filter(|line| !before.lines().any(|known| known == *line));
        let new: Vec<&str> = new.collect();
        format!("#   {}: {}", choice.label, new.join("; ")).trim_end_matches(": ").to_owned()
    };
    let answers: Vec<String> = question.choices.iter().map(answer).collect();
    format!("# decide: {}\n{}\n", question.text, answers.join("\n"))
}

fn tell(file: &Path, out: &Path, open: usize, voice: Voice) {
    voice.tell(&format!("wrote {}", out.display()));
    if open > 0 {
        voice.tell(&format!(
            "{open} questions are open; each stands at its head after `# decide:`, the likeliest \
             answer first"
        ));
    }
    voice.tell(&format!("next: matins look {} --map {}", file.display(), out.display()));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn proposed() -> (ColumnMap, Question) {
        let text = b"time,SpO2,tcPCO2\n2026-01-13T22:00:00,96,43\n2026-01-13T22:00:01,96,43\n";
        let (map, mut questions) = propose(text);
        (map, questions.remove(0))
    }

    #[test]
    fn a_number_chooses_and_anything_else_asks_again() {
        let mut typed = &b"9\nkPa\n2\n"[..];
        assert_eq!(answered(&proposed().1, &mut typed), Some(1));
    }

    #[test]
    fn an_empty_line_or_the_end_leaves_the_question_open() {
        let question = proposed().1;
        assert_eq!(answered(&question, &mut &b"\n1\n"[..]), None);
        assert_eq!(answered(&question, &mut &b""[..]), None);
    }

    #[test]
    fn an_open_question_names_each_answer_and_what_it_writes() {
        let (map, question) = proposed();
        assert_eq!(
            comment(&question, &map),
            "# decide: In which unit is `tcPCO2` (first value `43`)?\n\
             #   mmHg: unit = \"mmHg\"\n#   kPa: unit = \"kPa\"\n"
        );
    }
}
