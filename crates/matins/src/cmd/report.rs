//! `matins report`: the report of a night.

use std::path::{Path, PathBuf};

use engine::print::{Heading, html, json_report};
use engine::report::{Report, report};

use crate::args::{ReportArgs, ReportFormat, Sheet};
use crate::cmd::remake;
use crate::exit::Exit;
use crate::files;
use crate::heading;
use crate::message::{Trouble, Voice};
use crate::setup::Setup;

/// Writes the report.
pub(crate) fn run(args: &ReportArgs, voice: Voice) -> Result<Exit, Trouble> {
    let Some(file) = &args.file else { return remake::run(args, voice) };
    let (out, format) = target(args, file)?;
    files::free(&out, args.force)?;
    let heading = typed_heading(args.heading.as_deref())?;
    let setup = Setup::new(&args.night)?;
    let judgement = setup.judgement(file)?;
    let report = report(&judgement, &setup.criteria);
    let bytes = bytes(&report, &heading, format, args.paper)?;
    files::write(&out, &bytes)?;
    setup.tell_default(voice);
    setup.tell_unused_notes(std::slice::from_ref(file), voice);
    if !files::is_standard(&out) {
        voice.tell(&format!("wrote {}", out.display()));
    }
    Ok(Exit::Done)
}

/// The report's bytes in a format.
pub(crate) fn bytes(
    report: &Report,
    heading: &Heading,
    format: ReportFormat,
    sheet: Sheet,
) -> Result<Vec<u8>, Trouble> {
    match format {
        ReportFormat::Html => Ok(html(report, heading).into_bytes()),
        ReportFormat::Json => Ok(json_report(report).into_bytes()),
        ReportFormat::Pdf => pdf(report, heading, sheet),
    }
}

#[cfg(feature = "pdf")]
fn pdf(report: &Report, heading: &Heading, sheet: Sheet) -> Result<Vec<u8>, Trouble> {
    let sheet = match sheet {
        Sheet::A4 => paper::Sheet::A4,
        Sheet::Letter => paper::Sheet::Letter,
    };
    paper::pdf_on(report, heading, sheet).map_err(|error| Trouble::machine(error.to_string()))
}

#[cfg(not(feature = "pdf"))]
fn pdf(_: &Report, _: &Heading, _: Sheet) -> Result<Vec<u8>, Trouble> {
    Err(Trouble::usage("this build has no PDF").hint(
        "a name ending in .html gives a page; `cargo build` without --no-default-features has PDF",
    ))
}

/// The heading typed, or one of blanks.
fn typed_heading(path: Option<&Path>) -> Result<Heading, Trouble> {
    match path {
        Some(path) => heading::parse(&files::read_text(path)?)
            .map_err(|trouble| trouble.about(files::shown(path))),
        None => Ok(Heading::default()),
    }
}

/// Where the report goes, and as what.
fn target(args: &ReportArgs, file: &Path) -> Result<(PathBuf, ReportFormat), Trouble> {
    let best = if cfg!(feature = "pdf") { ReportFormat::Pdf } else { ReportFormat::Html };
    match (&args.output, args.format) {
        (Some(out), Some(format)) => Ok((out.clone(), format)),
        (Some(out), None) => Ok((out.clone(), ending(out)?)),
        (None, _) if files::is_standard(file) => {
            Err(Trouble::usage("a night from standard input has no name to give its report")
                .hint("-o names the report"))
        }
        (None, format) => {
            let format = format.unwrap_or(best);
            Ok((files::beside(file, name(format)), format))
        }
    }
}

fn name(format: ReportFormat) -> &'static str {
    match format {
        ReportFormat::Pdf => "pdf",
        ReportFormat::Html => "html",
        ReportFormat::Json => "report.json",
    }
}

fn ending(out: &Path) -> Result<ReportFormat, Trouble> {
    if files::is_standard(out) {
        return Err(Trouble::usage("standard output has no ending to tell the report's format")
            .hint("--format html|json|pdf tells it"));
    }
    match out.extension().and_then(|ending| ending.to_str()) {
        Some("pdf") => Ok(ReportFormat::Pdf),
        Some("html") => Ok(ReportFormat::Html),
        Some("json") => Ok(ReportFormat::Json),
        _ => Err(Trouble::usage("expected a name ending in .pdf, .html or .json")
            .about(out.display().to_string())
            .hint("--format tells the format where the ending does not")),
    }
}
