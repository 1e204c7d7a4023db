//! `matins diary`: the patient's diary, asked for on a terminal, as a notes file.

use std::io::{BufRead, IsTerminal as _};
use std::path::PathBuf;

use engine::notes::diary::{DiaryQuestion, QUESTIONS, notes_toml};

use crate::args::DiaryArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice, say};
use crate::setup;

/// Writes a notes file; what was not answered stands in it as a comment.
pub(crate) fn run(args: &DiaryArgs, no_input: bool, voice: Voice) -> Result<Exit, Trouble> {
    let out = args.output.clone().unwrap_or_else(|| files::beside(&args.file, "notes.toml"));
    files::free(&out, args.force)?;
    let options = setup::read_options(&args.read)?;
    let recording = setup::recording(&args.file, &options)?;
    let asks = !no_input && std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let answers: Vec<String> = if asks {
        say(&format!(
            "The night ran from {} to {}. An empty line leaves a question out.\n",
            recording.clock.label(0.0, false),
            recording.clock.label(recording.duration_s, false)
        ));
        QUESTIONS.iter().map(|question| answered(question, &mut std::io::stdin().lock())).collect()
    } else {
        Vec::new()
    };
    let zone = args.read.zone.as_deref();
    let answers: Vec<&str> = answers.iter().map(String::as_str).collect();
    let text = notes_toml(zone, &answers).map_err(|error| Trouble::usage(error.to_string()))?;
    files::write(&out, text.as_bytes())?;
    tell(args, &out, asks, voice);
    Ok(Exit::Done)
}

fn tell(args: &DiaryArgs, out: &PathBuf, asked: bool, voice: Voice) {
    if files::is_standard(out) {
        return;
    }
    voice.tell(&format!("wrote {}", out.display()));
    if !asked {
        voice.tell("nobody was asked; each question stands in it as a comment");
    }
    voice.tell(&format!("next: matins score {} --notes {}", args.file.display(), out.display()));
}

/// The answer to a question; asked again until it is understood.
fn answered(question: &DiaryQuestion, input: &mut impl BufRead) -> String {
    loop {
        say(&format!("\n{} For instance: {}\n> ", question.asks, question.example));
        let mut line = String::new();
        if input.read_line(&mut line).unwrap_or(0) == 0 {
            return String::new();
        }
        match question.lines(&line) {
            Ok(_) => return line.trim().to_owned(),
            Err(error) => say(&format!("{error}\n")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_question_is_asked_again_until_its_answer_is_understood() {
        let mut typed = &b"late\n22:40\n"[..];
        assert_eq!(answered(&QUESTIONS[0], &mut typed), "22:40");
        assert_eq!(answered(&QUESTIONS[0], &mut &b""[..]), "");
    }
}
