//! `matins criteria`: the sets, one of them as its file, or every number of one explained.

use std::path::Path;

use engine::criteria::{Criteria, SECTIONS, shipped, shipped_names, shipped_text};

use crate::args::CriteriaVerb;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};
use crate::setup;

/// Lists, shows or checks.
pub(crate) fn run(what: Option<CriteriaVerb>, voice: Voice) -> Result<Exit, Trouble> {
    match what.unwrap_or(CriteriaVerb::List) {
        CriteriaVerb::List => list(voice),
        CriteriaVerb::Show { name } => show(&name),
        CriteriaVerb::Check { file } => check(&file, voice),
    }
}

fn list(voice: Voice) -> Result<Exit, Trouble> {
    for name in shipped_names() {
        let set = shipped(name).map_err(|error| Trouble::criteria(&error))?;
        files::print(format!("{name:<21}{:<9}{}\n", set.version, set.title).as_bytes())?;
    }
    voice.tell("the first is used when none is named; `matins criteria show NAME` prints one");
    Ok(Exit::Done)
}

fn show(name: &str) -> Result<Exit, Trouble> {
    let text = shipped_text(name).ok_or_else(|| setup::no_such_set(name))?;
    files::print(text.as_bytes())?;
    Ok(Exit::Done)
}

fn check(path: &Path, voice: Voice) -> Result<Exit, Trouble> {
    let set = setup::criteria_file(path)?;
    files::print(explained(&set).as_bytes())?;
    voice.tell(&format!(
        "{} is sound; `matins score FILE --criteria {0}` uses it",
        files::shown(path)
    ));
    Ok(Exit::Done)
}

/// The set in words: every number and every rule with its source.
fn explained(set: &Criteria) -> String {
    let mut lines = vec![format!("{} {}: {}", set.name, set.version, set.title)];
    lines.push(format!("sha256 {}", set.sha256));
    for (section, title) in SECTIONS {
        lines.push(format!("\n{title}"));
        for value in set.values().into_iter().filter(|value| value.section == section) {
            let (key, number) = (value.key, value.setting.value);
            lines.push(format!("  {key} = {number}\n    {}", value.meaning));
            lines.push(format!("    source: {}", value.setting.source));
        }
    }
    lines.push("\nrules".to_owned());
    for rule in &set.rules {
        lines.push(format!("  {}\n    {}\n    source: {}", rule.id, rule.asks, rule.source));
    }
    lines.push("\nquestions, the first being the default".to_owned());
    for question in &set.questions {
        lines.push(format!("  {}\n    {}", question.id, question.asks));
        lines.push(format!("    from: {}", question.channels.join(", ")));
        lines.push(format!("    needs: {}", question.needs.join(", ")));
    }
    lines.join("\n") + "\n"
}
