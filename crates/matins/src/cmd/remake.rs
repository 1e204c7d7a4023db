//! `matins report --data`: a signed report, made again and held against the bytes that were signed.
//!
//! A version that was replaced or withdrawn since is written with that across every page; its bytes as they were
//! signed are given for checking alone, by `--kept`, and their name says what they are.

use std::path::PathBuf;

use engine::print::Stamp;
use serde_json::json;
use store::reading::remake::Remade;
use store::record::act::Author;
use store::record::db::Store;

use crate::args::{ReportArgs, ReportFormat, Sheet};
use crate::cmd::record;
use crate::cmd::report::bytes;
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};

/// Writes the report when it is the one that was signed, to the byte; otherwise says why not.
pub(crate) fn run(args: &ReportArgs, voice: Voice) -> Result<Exit, Trouble> {
    let (Some(data), Some(night)) = (&args.signed.data, args.signed.night) else {
        return Err(Trouble::usage("neither a recording nor a night of a record was given"));
    };
    if let Some(out) = &args.output {
        files::free(out, args.force)?;
    }
    let made = record::wait_for(of_record(data, night, args))?;
    let own = || PathBuf::from(format!("night-{night}{}.pdf", made.name));
    let out = args.output.clone().unwrap_or_else(own);
    files::free(&out, args.force)?;
    files::write(&out, &made.pdf)?;
    let said = if files::is_standard(&out) {
        // What is read from a pipe has no name that says what it is.
        made.warning.unwrap_or_default()
    } else {
        format!("wrote {}: {}", out.display(), made.says)
    };
    if !said.is_empty() {
        voice.tell(&said);
    }
    Ok(Exit::Done)
}

/// A report taken out of a record.
struct Made {
    pdf: Vec<u8>,
    says: String,
    /// What stands behind the night in the file's name.
    name: String,
    /// What became of the version, when it stands no more.
    warning: Option<String>,
}

async fn of_record(data: &str, night: i64, args: &ReportArgs) -> Result<Made, Trouble> {
    let store = record::open(data, args.signed.reach).await?;
    let made = of_store(&store, night, args).await;
    store.close().await;
    made
}

async fn of_store(store: &Store, night: i64, args: &ReportArgs) -> Result<Made, Trouble> {
    let mut conn = store.read().await.map_err(|error| record::told(&error))?;
    let version = args.signed.version;
    let signed = conn.signed(night, version).await.map_err(|error| record::told(&error))?;
    let (number, hash) = (signed.version, signed.pdf_sha256.clone().unwrap_or_default());
    let person = conn.report_person(&signed).await.map_err(|error| record::told(&error))?;
    let stamp = conn.stamp(&signed).await.map_err(|error| record::told(&error))?;
    let pdf = if args.signed.kept {
        conn.bytes(&hash).await.map_err(|error| record::told(&error))?
    } else {
        let remade = conn.remade(night, Some(number)).await;
        again(&remade.map_err(|error| record::told(&error))?, number)?
    };
    drop(conn);
    let facts = json!({"report": number, "remade": !args.signed.kept});
    let looked = store.looked(&Author::program(), format!("night {night}"), person, facts).await;
    looked.map_err(|error| record::told(&error))?;
    Ok(told(pdf, number, &hash, stamp.as_ref(), args.signed.kept))
}

fn told(pdf: Vec<u8>, number: i64, hash: &str, stamp: Option<&Stamp>, kept: bool) -> Made {
    let how = if kept { "kept" } else { "made again, byte for byte" };
    let says = format!("version {number} as it was signed, {how} (SHA-256 {hash})");
    let Some(stamp) = stamp else {
        return Made { pdf, says, name: String::new(), warning: None };
    };
    let warning = format!("{}. {}", stamp.word, stamp.says);
    let (says, name) = if kept {
        (
            format!("{warning} These are the bytes that were signed, WITHOUT that on them"),
            "-as-signed",
        )
    } else {
        (format!("{warning} It is printed across every page; {says} without it"), "")
    };
    let name = format!("-version-{number}-{}{name}", stamp.word.to_lowercase());
    Made { pdf, says, name, warning: Some(warning) }
}

/// The report printed again, if it comes out as it was signed.
fn again(remade: &Remade, number: i64) -> Result<Vec<u8>, Trouble> {
    let pdf = bytes(&remade.report, &remade.heading, ReportFormat::Pdf, Sheet::A4)?;
    if remade.is_signed(&pdf) {
        // Held against what was signed without the mark, and given with it.
        return match remade.stamp {
            Some(_) => bytes(&remade.report, &remade.marked(), ReportFormat::Pdf, Sheet::A4),
            None => Ok(pdf),
        };
    }
    let by = if remade.engine == engine::ENGINE {
        "though the same engine made it".to_owned()
    } else {
        format!("{} made it, this is {}", remade.engine, engine::ENGINE)
    };
    Err(Trouble::refused(format!("version {number} does not come out as it was signed: {by}"))
        .about(format!("night {}", remade.night.id))
        .hint("use the release that made it, or --kept for the bytes that were signed"))
}
