//! The command: what was typed, run, and an exit code. Everything it shows is worked out elsewhere.

mod args;
mod cmd;
mod exit;
mod files;
mod heading;
mod message;
mod printer;
mod setup;

use std::process::ExitCode;

use clap::Parser as _;
use clap::error::ErrorKind;

use crate::args::{Typed, Verb};
use crate::exit::Exit;
use crate::message::{Trouble, Voice};

fn main() -> ExitCode {
    match Typed::try_parse() {
        Ok(typed) => {
            let voice = Voice::new(typed.no_color, typed.quiet);
            ended(run(typed, voice), voice).into()
        }
        Err(error) => not_typed(&error).into(),
    }
}

fn run(typed: Typed, voice: Voice) -> Result<Exit, Trouble> {
    match typed.verb {
        Verb::Look(args) => cmd::look::run(&args, typed.no_input, voice),
        Verb::Diary(args) => cmd::diary::run(&args, typed.no_input, voice),
        Verb::Score(args) => cmd::score::run(&args, voice),
        Verb::Report(args) => cmd::report::run(&args, voice),
        Verb::Simulate(args) => cmd::simulate::run(&args, voice),
        Verb::Criteria(args) => cmd::criteria::run(args.what, voice),
        Verb::Demo(args) => cmd::demo::run(&args, voice),
        Verb::Serve(args) => cmd::serve::run(args, voice),
        Verb::Clock(args) => cmd::clock::run(&args, voice),
        Verb::Verify(args) => cmd::verify::run(&args, voice),
        Verb::Backup(args) => cmd::backup::run(&args, voice),
        Verb::Restore(args) => cmd::restore::run(&args, voice),
        Verb::Completions { shell } => cmd::completions::run(shell),
        Verb::Man { verb } => cmd::man::run(verb.as_deref()),
    }
}

fn ended(result: Result<Exit, Trouble>, voice: Voice) -> Exit {
    result.unwrap_or_else(|trouble| {
        voice.trouble(&trouble);
        trouble.exit
    })
}

/// Help and version are data and go to standard output; anything else is told in the program's own voice.
fn not_typed(error: &clap::Error) -> Exit {
    if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        // A reader of the help that has gone away has had enough.
        let _ = error.print();
        return Exit::Done;
    }
    let text = error.render().to_string();
    let text = text.strip_prefix("error: ").unwrap_or(&text).trim_end().to_owned();
    ended(Err(Trouble::usage(text)), Voice::new(false, false))
}
