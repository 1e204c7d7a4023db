//! Prints what a file holds as JSON, in full precision: for comparison with other readers.
//!
//! `samples FILE` prints the recording; `samples --file FILE` prints an EDF or BDF file as it stands;
//! `samples --edf FILE OUT`, `samples --edf-interrupted FILE OUT` and `samples --text FILE OUT` write the
//! recording out.
#![expect(clippy::print_stdout, reason = "its output is the point")]

use std::error::Error;
use std::path::Path;

use engine::read::edf;
use engine::read::wfdb;
use engine::read::{Input, ReadOptions, read};
use engine::recording::Recording;
use serde_json::{Value, json};
use simulate::write;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["--file", path] => println!("{}", file(&edf::parse(&std::fs::read(path)?)?)),
        ["--edf", path, out] => std::fs::write(out, edf_of(path, false)?)?,
        ["--edf-interrupted", path, out] => std::fs::write(out, edf_of(path, true)?)?,
        ["--text", path, out] => std::fs::write(out, write::text(&load(Path::new(path))?))?,
        [path] => println!("{}", recording(&load(Path::new(path))?)),
        _ => return Err("give one file, or --file and one file".into()),
    }
    Ok(())
}

/// Reads a file with the files it names, found beside it.
fn load(path: &Path) -> Result<Recording, Box<dyn Error>> {
    let bytes = std::fs::read(path)?;
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut companions: Vec<(String, Vec<u8>)> = Vec::new();
    if path.extension().is_some_and(|ext| ext == "hea") {
        let mut wanted = wfdb::companions(&bytes);
        wanted.extend(wfdb::annotation_name(&bytes));
        while let Some(name) = wanted.pop() {
            let Ok(bytes) = std::fs::read(folder.join(&name)) else { continue };
            if Path::new(&name).extension().is_some_and(|ext| ext == "hea") {
                wanted.extend(wfdb::companions(&bytes));
            }
            companions.push((name, bytes));
        }
    }
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let input = Input { name, bytes: &bytes, companions: &companions };
    Ok(read(input, &ReadOptions::default())?)
}

fn edf_of(path: &str, interrupted: bool) -> Result<Vec<u8>, Box<dyn Error>> {
    Ok(write::edf(&load(Path::new(path))?, write::EdfOptions { interrupted }))
}

/// NaN becomes null: JSON has no word for it.
fn recording(recording: &Recording) -> Value {
    let channels = recording.channels.iter().map(|channel| {
        json!({
            "id": channel.id, "label": channel.file_label, "unit": channel.file_unit,
            "period_s": channel.period_s, "offset_s": channel.offset_s, "samples": &*channel.samples,
        })
    });
    let marks = recording.marks.iter().map(|mark| {
        json!({"kind": mark.kind.id(), "start_s": mark.start_s, "end_s": mark.end_s, "text": mark.text})
    });
    json!({
        "format": recording.format.name(),
        "start": recording.clock.start().to_string(),
        "duration_s": recording.duration_s,
        "channels": channels.collect::<Vec<_>>(),
        "marks": marks.collect::<Vec<_>>(),
        "findings": recording.findings.iter().map(|f| f.sentence.clone()).collect::<Vec<_>>(),
    })
}

fn file(file: &edf::EdfFile) -> Value {
    let ordinary = file.signals.iter().filter(|signal| !signal.header.is_annotations());
    let signals = ordinary.map(|signal| {
        json!({
            "label": signal.header.label, "dimension": signal.header.dimension,
            "samples_per_record": signal.header.samples_per_record,
            "digital": signal.digital, "physical": signal.physical().collect::<Vec<f64>>(),
        })
    });
    let annotations = file.annotations.iter().map(
        |note| json!({"onset_s": note.onset_s, "duration_s": note.duration_s, "text": note.text}),
    );
    json!({
        "format": file.header.format.name(),
        "start": file.header.start.to_string(),
        "record_s": file.header.record_s,
        "record_starts_s": file.record_starts_s,
        "signals": signals.collect::<Vec<_>>(),
        "annotations": annotations.collect::<Vec<_>>(),
        "findings": file.findings.iter().map(|f| f.sentence.clone()).collect::<Vec<_>>(),
    })
}
