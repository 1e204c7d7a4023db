//! `matins man`: manual pages from the definitions that also make the help.

use clap::CommandFactory as _;

use crate::args::Typed;
use crate::exit::Exit;
use crate::files;
use crate::message::Trouble;

/// Prints the page of the command, or of one verb.
pub(crate) fn run(verb: Option<&str>) -> Result<Exit, Trouble> {
    let mut command = Typed::command();
    command.build();
    let page = match verb {
        Some(name) => command.find_subcommand(name).cloned().ok_or_else(|| no_such_verb(name))?,
        None => command,
    };
    let (examples, codes) = (examples(&page), codes());
    let mut text = Vec::new();
    clap_mangen::Man::new(page).render(&mut text).map_err(|error| {
        Trouble::machine(format!("the page could not be made: {}", files::plain(&error)))
    })?;
    text.extend(format!("{examples}{codes}").into_bytes());
    files::print(&text)?;
    Ok(Exit::Done)
}

/// The examples of the help, which the page's maker leaves out.
fn examples(page: &clap::Command) -> String {
    let help = page.get_before_help().map(ToString::to_string).unwrap_or_default();
    let lines = help.lines().skip(1).map(escaped).collect::<Vec<_>>().join("\n");
    if lines.is_empty() { String::new() } else { format!(".SH EXAMPLES\n.nf\n{lines}\n.fi\n") }
}

fn codes() -> String {
    let line = |exit: Exit| format!(".TP\n{}\n{}\n", exit.code(), escaped(exit.meaning()));
    format!(".SH \"EXIT STATUS\"\n{}", Exit::ALL.map(line).concat())
}

/// Text as the page's language wants it.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\(rs").replace('-', "\\-")
}

fn no_such_verb(name: &str) -> Trouble {
    let command = Typed::command();
    let known: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
    Trouble::usage(format!("there is no verb `{name}`; known are {}", known.join(", ")))
}
