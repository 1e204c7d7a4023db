//! `matins verify`: does the department's record agree with its chain?

use store::record::chain_head::Head;
use store::record::chain_head::read_heads;
use store::safekeeping::proof::Verified;

use crate::args::ReachArgs;
use crate::args::VerifyArgs;
use crate::cmd::record;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice, say};

/// Checks a record, or a backup without restoring it.
pub(crate) fn run(args: &VerifyArgs, voice: Voice) -> Result<Exit, Trouble> {
    let found = match (&args.data, &args.backup) {
        (Some(data), _) => {
            let heads = heads(args)?;
            record::wait_for(of_record(data, args.reach, &heads, voice))?
        }
        (None, Some(file)) => {
            let passphrase = record::passphrase(args.passphrase_file.as_deref())?;
            let made = store::safekeeping::backup::check(
                file,
                passphrase.as_ref(),
                &record::progress(voice),
            );
            made.map_err(|error| record::told(&error))?.verified
        }
        (None, None) => return Err(Trouble::usage("neither --data nor --backup was given")),
    };
    if !found.is_sound() {
        return Err(unsound(&found));
    }
    files::print(sound(&found).as_bytes())?;
    if found.told.is_empty() { Ok(Exit::Done) } else { Err(unaccounted(&found)) }
}

/// What contradicts nothing and still nobody accounts for: where acts were cut off, this is what is left of them.
fn unaccounted(found: &Verified) -> Trouble {
    for told in &found.told {
        say(&format!("  {told}\n"));
    }
    let what = match found.told.len() {
        1 => "1 thing stands in the record that no act accounts for".to_owned(),
        count => format!("{count} things stand in the record that no act accounts for"),
    };
    Trouble::store(what).hint(
        "compare the last act with heads that were kept elsewhere (--heads), and tell whoever answers for the record",
    )
}

async fn of_record(
    data: &str,
    reach: ReachArgs,
    heads: &[Head],
    voice: Voice,
) -> Result<Verified, Trouble> {
    let store = record::open(data, reach).await?;
    let found = store.verify(heads, &record::progress(voice)).await;
    let found = found.map_err(|error| record::told(&error))?;
    if found.is_sound() {
        // The answer stands whether or not it can be written down: a full disk is no fault of the chain.
        if let Err(error) = store.note_verified(&found).await {
            voice.tell(&format!("that it was checked could not be written down: {error}"));
        }
    }
    store.close().await;
    Ok(found)
}

fn heads(args: &VerifyArgs) -> Result<Vec<Head>, Trouble> {
    let Some(path) = &args.heads else { return Ok(Vec::new()) };
    let heads = read_heads(&files::read_text(path)?);
    if heads.is_empty() {
        return Err(Trouble::not_understood("no line of it is the head of a record")
            .about(files::shown(path))
            .hint("expected lines of a number and a hash, as `matins verify` prints them"));
    }
    Ok(heads)
}

fn sound(found: &Verified) -> String {
    let destroyed = match found.destroyed {
        0 => String::new(),
        count => format!("{count} acts lost their content to a recorded destruction\n"),
    };
    format!(
        "sound: {} acts, {} rows and {} files agree with the chain\n{destroyed}head: {} {}\n",
        found.acts, found.rows, found.files, found.seq, found.hash
    )
}

/// Every fault, then their number: what is told last is read first.
fn unsound(found: &Verified) -> Trouble {
    for wrong in &found.wrong {
        say(&format!("  {wrong}\n"));
    }
    let more = found.wrong_count - found.wrong.len() as u64;
    if more > 0 {
        say(&format!("  and {more} more\n"));
    }
    let what = match found.wrong_count {
        1 => "the record does not agree with its chain in 1 place".to_owned(),
        count => format!("the record does not agree with its chain in {count} places"),
    };
    Trouble::store(what).hint(
        "keep it as it is, restore the last good backup beside it, and tell whoever answers for the record",
    )
}
