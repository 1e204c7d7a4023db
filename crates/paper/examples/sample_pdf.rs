//! Prints the made night as PDF into a folder: `cargo run -p paper --example sample_pdf -- FOLDER`.

use std::path::Path;

use engine::print::{Heading, sample_heading};
use engine::report::report;
use paper::Sheet;

#[path = "../../engine/tests/it/made_night.rs"]
mod made_night;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| ".".into());
    let report = report(&made_night::judgement(), &made_night::criteria());
    for (name, heading, sheet) in [
        ("night.pdf", sample_heading(), Sheet::A4),
        ("letter.pdf", sample_heading(), Sheet::Letter),
        ("blank.pdf", Heading::default(), Sheet::A4),
    ] {
        std::fs::write(Path::new(&folder).join(name), paper::pdf_on(&report, &heading, sheet)?)?;
    }
    Ok(())
}
