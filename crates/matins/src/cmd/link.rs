//! `matins link`: a one-time link made on the server itself, which is the second channel.

use crate::args::LinkArgs;
use crate::cmd::record;
use crate::exit::Exit;
use crate::files;
use crate::message::Trouble;

/// Makes a link and prints its path; the server does not know under which name it is reached.
pub(crate) fn run(args: &LinkArgs) -> Result<Exit, Trouble> {
    let (account, token) = record::wait_for(async {
        let store = record::open(&args.data, args.reach).await?;
        let made = store.link_on_server(&args.login).await;
        store.close().await;
        made.map_err(|error| record::told(&error))
    })?;
    let words = format!(
        "for {}, who logs in as {}: after the address of the workbench\n/first/{token}\n",
        account.name, account.login
    );
    files::print(words.as_bytes())?;
    Ok(Exit::Done)
}
