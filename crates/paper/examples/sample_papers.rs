//! Prints the desk's papers of an invented department: `cargo run -p paper --example sample_papers -- FOLDER`.

use std::path::Path;

use paper::{HandOut, LabelSheet, Leaflet, Letter, Print, Sheet, sample};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| ".".into());
    let write = |name: &str, bytes: Vec<u8>| std::fs::write(Path::new(&folder).join(name), bytes);
    let labels = sample::labels();
    let day = Some((2026, 3, 3));
    write("labels-sheet.pdf", paper::label(&labels, LabelSheet::Grid { skip: 2 }, day)?)?;
    write("labels-single.pdf", paper::label(&labels, LabelSheet::Single, day)?)?;
    let leaflet = sample::leaflet()?;
    write("leaflet.pdf", paper::leaflet(&leaflet)?)?;
    for (name, print, sheet) in [
        ("leaflet-large.pdf", Print::Large, Sheet::A4),
        ("leaflet-letter.pdf", Print::Usual, Sheet::Letter),
    ] {
        write(name, paper::leaflet(&Leaflet { print, sheet, ..leaflet.clone() })?)?;
    }
    write("certificate.pdf", paper::certificate(&sample::cleaning())?)?;
    let handout = sample::handout()?;
    write("handout.pdf", paper::handout(&handout)?)?;
    write("handout-letter.pdf", paper::handout(&HandOut { sheet: Sheet::Letter, ..handout })?)?;
    for id in ["repeat", "overdue", "overdue-again"] {
        write(&format!("letter-{id}.pdf"), paper::letter(&sample::letter(id)?)?)?;
    }
    let large = Letter { print: Print::Large, ..sample::letter("overdue")? };
    write("letter-large.pdf", paper::letter(&large)?)?;
    Ok(())
}
