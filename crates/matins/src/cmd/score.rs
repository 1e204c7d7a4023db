//! `matins score`: figures, rules and verdict.

use std::path::Path;

use engine::judge::Judgement;

use crate::args::ScoreArgs;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};
use crate::parts;
use crate::setup::Setup;

/// Scores every file; one that fails does not stop the others.
pub(crate) fn run(args: &ScoreArgs, voice: Voice) -> Result<Exit, Trouble> {
    let several = args.files.len() > 1;
    if several && args.night.notes.is_some() {
        return Err(Trouble::usage("one notes file cannot belong to several nights")
            .hint("--notes-beside takes NAME.notes.toml for each NAME.csv"));
    }
    let setup = Setup::new(&args.night)?;
    if !several {
        let text = answer(&setup, &args.files[0], args.json, false)?;
        files::print(text.as_bytes())?;
        setup.tell_default(voice);
        suggest(&setup, &args.files[0], voice);
        return Ok(Exit::Done);
    }
    let mut failed = Vec::new();
    for path in &args.files {
        match answer(&setup, path, args.json, true) {
            Ok(text) => files::print(text.as_bytes())?,
            Err(trouble) => {
                voice.trouble(&trouble);
                failed.push(files::shown(path));
            }
        }
    }
    setup.tell_default(voice);
    finish(&failed, args.files.len())
}

/// What is printed for one file.
fn answer(setup: &Setup, path: &Path, json: bool, several: bool) -> Result<String, Trouble> {
    let judgement = setup.judgement(path)?;
    Ok(match (json, several) {
        (true, false) => parts::json(&judgement),
        (true, true) => line(path, &judgement),
        (false, false) => parts::table(&judgement),
        (false, true) => format!("{}\n\n{}\n", files::shown(path), parts::table(&judgement)),
    })
}

/// One line of JSON that names the file, since a failed one leaves no line.
fn line(path: &Path, judgement: &Judgement) -> String {
    let file = serde_json::Value::from(files::shown(path));
    format!("{{\"file\":{file},\"scores\":{}}}\n", compact(&parts::json(judgement)))
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

fn suggest(setup: &Setup, path: &Path, voice: Voice) {
    if let Some(notes) = setup.unused_notes(path) {
        voice.tell(&format!(
            "{} lies beside it and was not used; --notes {0} uses it",
            files::shown(&notes)
        ));
    }
}

fn finish(failed: &[String], of: usize) -> Result<Exit, Trouble> {
    if failed.is_empty() {
        return Ok(Exit::Done);
    }
    Err(Trouble {
        exit: Exit::SomeFailed,
        ..Trouble::usage(format!(
            "{} of {of} files could not be scored: {}",
            failed.len(),
            failed.join(", ")
        ))
    })
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
