//! `matins look --make-map`: a column map, asked for on a terminal, guessed elsewhere.

use std::io::{BufRead as _, IsTerminal as _};
use std::path::{Path, PathBuf};

use crate::args::LookArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice, say};
use crate::parts;

/// Writes a column map; what nobody answered stands in it as a comment.
pub(crate) fn run(args: &LookArgs, no_input: bool, voice: Voice) -> Result<Exit, Trouble> {
    let out = args.output.clone().unwrap_or_else(|| default_name(&args.file));
    files::free(&out, args.force)?;
    let bytes = files::read(&args.file)?;
    let (mut map, questions) = parts::propose(&bytes);
    let ask = !no_input && on_terminal() && !files::is_standard(&args.file);
    let mut open = 0;
    for question in questions {
        let given = ask.then(|| answer(&question)).flatten();
        open += usize::from(given.is_none());
        map.push_str(&given.unwrap_or_else(|| format!("# to decide: {question}\n")));
    }
    files::write(&out, map.as_bytes())?;
    tell(args, &out, open, voice);
    Ok(Exit::Done)
}

fn default_name(file: &Path) -> PathBuf {
    if files::is_standard(file) { file.to_owned() } else { files::beside(file, "map.toml") }
}

fn on_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

fn answer(question: &str) -> Option<String> {
    say(question);
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).ok()?;
    Some(line.trim().to_owned()).filter(|line| !line.is_empty())
}

fn tell(args: &LookArgs, out: &Path, open: usize, voice: Voice) {
    if files::is_standard(out) {
        return;
    }
    voice.tell(&format!("wrote {}", out.display()));
    if open > 0 {
        voice.tell(&format!(
            "{open} of its lines must be decided by a person; each is marked `decide`"
        ));
    }
    voice.tell(&format!("next: matins look {} --map {}", args.file.display(), out.display()));
}
