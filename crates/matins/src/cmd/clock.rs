//! `matins clock`: the machine's clock against the record, and the recorded way on from a clock that was wrong.

use store::record::act::Author;
use store::record::clock::Clocks;
use store::when::rfc3339;

use crate::args::ClockArgs;
use crate::cmd::record;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};

/// Tells what both say; with a reason, takes the machine's clock for right.
pub(crate) fn run(args: &ClockArgs, voice: Voice) -> Result<Exit, Trouble> {
    let clocks = record::wait_for(asked(args, voice))?;
    files::print(shown(&clocks).as_bytes())?;
    match clocks.doubt {
        Some(doubt) if args.reason.is_none() => {
            Err(Trouble::store(format!("nothing can be changed: {}", doubt.says)).hint(doubt.hint))
        }
        _ => Ok(Exit::Done),
    }
}

async fn asked(args: &ClockArgs, voice: Voice) -> Result<Clocks, Trouble> {
    let store = record::open(&args.data, args.reach).await?;
    let clocks = match &args.reason {
        None => store.clocks().await,
        Some(reason) => store.accept_clock(&Author::program(), reason).await,
    };
    store.close().await;
    let clocks = clocks.map_err(|error| record::told(&error))?;
    if args.reason.is_some() {
        voice.tell("the clock is accepted: acts go on from it; everybody has to log in again");
    }
    Ok(clocks)
}

fn shown(clocks: &Clocks) -> String {
    let last = match clocks.last_at {
        0 => "none".to_owned(),
        at => rfc3339(at),
    };
    let invented = clocks.invented_s.map_or_else(String::new, |ahead_s| {
        format!("this record is of an invented department, {ahead_s} s from this machine's clock\n")
    });
    format!("clock: {}\nlast act: {last}\n{invented}", rfc3339(clocks.now))
}
