//! One made night up to a named step, once: what `benches/instructions.sh` counts.
#![expect(
    clippy::print_stdout,
    reason = "a step's result is printed so that nothing is optimised away"
)]

use std::error::Error;

use engine::correct::correct;
use engine::criteria::shipped;
use engine::judge::judge;
use engine::notes::Notes;
use engine::print::Heading;
use engine::print::html;
use engine::read::Input;
use engine::read::ReadOptions;
use engine::read::read;
use engine::report::report;
use engine::score::score;
use engine::screen::screen;

#[path = "../benches/made/mod.rs"]
mod made;

/// The steps in order; each run does all up to its own.
const STEPS: [&str; 7] = ["nothing", "read", "screen", "correct", "score", "judge", "html"];

fn main() -> Result<(), Box<dyn Error>> {
    let asked = std::env::args().nth(1).unwrap_or_else(|| "html".into());
    let last = STEPS.iter().position(|step| *step == asked).ok_or("name a step")?;
    let text = made::text();
    let criteria = shipped("adult-air")?;
    println!("{} bytes", text.len());
    if last < 1 {
        return Ok(());
    }
    let input = Input { name: "night.csv", bytes: text.as_bytes(), companions: &[] };
    let recording = read(input, &ReadOptions::default())?;
    println!("{} channels", recording.channels.len());
    if last < 2 {
        return Ok(());
    }
    let screened = screen(recording, Notes::default(), &criteria);
    println!("{} screened", screened.channels.len());
    if last < 3 {
        return Ok(());
    }
    let corrected = correct(screened, &criteria);
    println!("{} findings", corrected.findings.len());
    if last < 4 {
        return Ok(());
    }
    let scores = score(corrected, &criteria);
    println!("{} measures", scores.measures.len());
    if last < 5 {
        return Ok(());
    }
    let judgement = judge(scores, &criteria);
    println!("{} rules", judgement.rules.len());
    if last < 6 {
        return Ok(());
    }
    println!("{} letters", html(&report(&judgement, &criteria), &Heading::default()).len());
    Ok(())
}
