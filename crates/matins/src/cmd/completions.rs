//! `matins completions`: from the definitions that also make the help.

use clap::CommandFactory as _;
use clap_complete::Shell;

use crate::args::Typed;
use crate::exit::Exit;
use crate::files;
use crate::message::Trouble;

/// Prints the completions of a shell.
pub(crate) fn run(shell: Shell) -> Result<Exit, Trouble> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Typed::command(), "matins", &mut text);
    files::print(&text)?;
    Ok(Exit::Done)
}
