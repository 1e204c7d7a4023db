//! `matins look --make-map`: a column map, asked for on a terminal, guessed elsewhere.

use std::io::{BufRead, IsTerminal as _};
use std::path::{Path, PathBuf};

use engine::read::map::{Question, propose};

use crate::args::LookArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice, say};

/// Writes a column map; what nobody answered stands at its head as a comment.
pub(crate) fn run(args: &LookArgs, no_input: bool, voice: Voice) -> Result<Exit, Trouble> {
    let out = args.output.clone().unwrap_or_else(|| default_name(&args.file));
    files::free(&out, args.force)?;
    let bytes = files::read(&args.file)?;
    let (mut map, questions) =
        propose(&bytes).map_err(|error| Trouble::from(error).about(files::shown(&args.file)))?;
    let ask = !no_input && on_terminal() && !files::is_standard(&args.file);
    let mut open = Vec::new();
    for question in &questions {
        match ask.then(|| answered(question, &mut std::io::stdin().lock())).flatten() {
            Some(choice) => question.choices[choice].apply(&mut map),
            None => open.push(question),
        }
    }
    let comments: String = open.into_iter().map(comment).collect();
    files::write(&out, format!("{comments}{}", map.to_toml()).as_bytes())?;
    if !files::is_standard(&out) {
        tell(&args.file, &out, comments.matches("# decide:").count(), voice);
    }
    Ok(Exit::Done)
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

/// A question nobody answered, with the guess that the map holds and the other choices.
fn comment(question: &Question) -> String {
    let choices: Vec<String> =
        question.choices.iter().map(|choice| format!("#   - {}", choice.label)).collect();
    format!("# decide: {}\n{}\n", question.text, choices.join("\n"))
}

fn tell(file: &Path, out: &Path, open: usize, voice: Voice) {
    voice.tell(&format!("wrote {}", out.display()));
    if open > 0 {
        voice.tell(&format!(
            "{open} questions are open; each stands at its head after `# decide:`, the guess first"
        ));
    }
    voice.tell(&format!("next: matins look {} --map {}", file.display(), out.display()));
}
