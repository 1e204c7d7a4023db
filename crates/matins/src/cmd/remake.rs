//! `matins report --data`: a signed report, made again and held against the bytes that were signed.

use std::path::PathBuf;

use serde_json::json;
use store::act::Author;
use store::db::Store;
use store::remake::Remade;

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
    let out = args.output.clone().unwrap_or_else(|| PathBuf::from(format!("night-{night}.pdf")));
    files::free(&out, args.force)?;
    let (pdf, said) = record::wait_for(of_record(data, night, args))?;
    files::write(&out, &pdf)?;
    if !files::is_standard(&out) {
        voice.tell(&format!("wrote {}: {said}", out.display()));
    }
    Ok(Exit::Done)
}

async fn of_record(
    data: &str,
    night: i64,
    args: &ReportArgs,
) -> Result<(Vec<u8>, String), Trouble> {
    let store = record::open(data, args.signed.reach).await?;
    let made = of_store(&store, night, args).await;
    store.close().await;
    made
}

async fn of_store(
    store: &Store,
    night: i64,
    args: &ReportArgs,
) -> Result<(Vec<u8>, String), Trouble> {
    let mut conn = store.read().await.map_err(|error| record::told(&error))?;
    let version = args.signed.version;
    let signed = conn.signed(night, version).await.map_err(|error| record::told(&error))?;
    let (number, hash) = (signed.version, signed.pdf_sha256.clone().unwrap_or_default());
    let person = conn.get::<store::tables::Night>(night).await.ok().and_then(|night| night.person);
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
    let how = if args.signed.kept { "kept" } else { "made again, byte for byte" };
    Ok((pdf, format!("version {number} as it was signed, {how} (SHA-256 {hash})")))
}

/// The report printed again, if it comes out as it was signed.
fn again(remade: &Remade, number: i64) -> Result<Vec<u8>, Trouble> {
    let pdf = bytes(&remade.report, &remade.heading, ReportFormat::Pdf, Sheet::A4)?;
    if remade.is_signed(&pdf) {
        return Ok(pdf);
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
