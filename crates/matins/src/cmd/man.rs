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
    let mut text = Vec::new();
    clap_mangen::Man::new(page).render(&mut text).map_err(|error| {
        Trouble::machine(format!("the page could not be made: {}", files::plain(&error)))
    })?;
    files::print(&text)?;
    Ok(Exit::Done)
}

fn no_such_verb(name: &str) -> Trouble {
    let command = Typed::command();
    let known: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
    Trouble::usage(format!("there is no verb `{name}`; known are {}", known.join(", ")))
}
