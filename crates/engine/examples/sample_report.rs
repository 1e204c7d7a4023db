//! Prints the made night in every form into a folder: `cargo run --example sample_report -- FOLDER`.

use std::path::Path;

use engine::print::{self, Heading};
use engine::report::report;

#[path = "../tests/it/made_night.rs"]
mod made_night;

#[expect(clippy::disallowed_methods, reason = "an example writes what it made")]
fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| ".".into());
    let judgement = made_night::judgement();
    let report = report(&judgement, &made_night::criteria());
    let write = |name: &str, text: String| std::fs::write(Path::new(&folder).join(name), text);
    write("night.html", print::html(&report, &print::sample_heading()))?;
    write("blank.html", print::html(&report, &Heading::default()))?;
    write("night.svg", print::svg(&report.picture, print::Look::Screen))?;
    write("paper.svg", print::svg(&report.picture, print::Look::Paper))?;
    write("scores.json", print::json(&judgement))?;
    write("report.json", print::json_report(&report))?;
    write("table.txt", print::table(&report, false))
}
