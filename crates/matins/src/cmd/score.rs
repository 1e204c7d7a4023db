//! `matins score`: figures, rules and verdict.

use std::path::{Path, PathBuf};

use engine::judge::Judgement;
use engine::print::{json, table};
use engine::report::report;

use crate::args::ScoreArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};
use crate::setup::Setup;

/// Scores every file; one that fails does not stop the others.
pub(crate) fn run(args: &ScoreArgs, voice: Voice) -> Result<Exit, Trouble> {
    let several = args.files.len() > 1;
    if several && args.night.notes.is_some() {
        return Err(Trouble::usage("one notes file cannot belong to several nights")
            .hint("--notes-beside takes NAME.notes.toml for each NAME.csv"));
    }
    let setup = Setup::new(&args.night)?;
    let page = Page { several, json: args.json, colour: voice.colours_output() };
    let ended = if several {
        all(&setup, &args.files, page, voice)
    } else {
        files::print(page.of(&setup, &args.files[0])?.as_bytes())?;
        Ok(Exit::Done)
    };
    setup.tell_default(voice);
    setup.tell_unused_notes(&args.files, voice);
    ended
}

fn all(setup: &Setup, paths: &[PathBuf], page: Page, voice: Voice) -> Result<Exit, Trouble> {
    let mut failed = Vec::new();
    for path in paths {
        match page.of(setup, path) {
            Ok(text) => files::print(text.as_bytes())?,
            Err(trouble) => {
                voice.trouble(&trouble);
                failed.push(files::shown(path));
            }
        }
    }
    if failed.is_empty() {
        return Ok(Exit::Done);
    }
    let (count, of) = (failed.len(), paths.len());
    Err(Trouble::some_failed(format!("{count} of {of} files failed: {}", failed.join(", "))))
}

/// How the answer for one file is printed.
#[derive(Clone, Copy, Debug)]
struct Page {
    several: bool,
    json: bool,
    colour: bool,
}

impl Page {
    fn of(self, setup: &Setup, path: &Path) -> Result<String, Trouble> {
        let judgement = setup.judgement(path)?;
        Ok(match (self.json, self.several) {
            (true, false) => json(&judgement),
            (true, true) => line(path, &judgement),
            (false, false) => self.table(setup, &judgement),
            (false, true) => {
                format!("{}\n\n{}\n\n", files::shown(path), self.table(setup, &judgement))
            }
        })
    }

    fn table(self, setup: &Setup, judgement: &Judgement) -> String {
        table(&report(judgement, &setup.criteria), self.colour)
    }
}

/// One line of JSON that names the file, since a failed one leaves no line.
fn line(path: &Path, judgement: &Judgement) -> String {
    let file = serde_json::Value::from(files::shown(path));
    format!("{{\"file\":{file},\"scores\":{}}}\n", compact(&json(judgement)))
}

/// JSON without the white space between its parts.
fn compact(json: &str) -> String {
    let mut inside_text = false;
    let mut escaped = false;
    json.chars()
        .filter(|&c| {
            let keep = inside_text || !c.is_ascii_whitespace();
            match c {
                '"' if !escaped => inside_text = !inside_text,
                _ => {}
            }
            escaped = inside_text && c == '\\' && !escaped;
            keep
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::compact;

    #[test]
    fn only_the_space_between_goes() {
        assert_eq!(
            compact("{\n  \"a b\": \"c \\\" d\\\\\",\n  \"e\": [1, 2]\n}\n"),
            "{\"a b\":\"c \\\" d\\\\\",\"e\":[1,2]}"
        );
    }
}
