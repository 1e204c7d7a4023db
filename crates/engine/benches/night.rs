//! One night, step by step and whole: wall time. Instructions are counted by `benches/instructions.sh`.

use divan::Bencher;
use divan::counter::BytesCount;
use engine::correct::correct;
use engine::criteria::Criteria;
use engine::criteria::shipped;
use engine::judge::judge;
use engine::notes::Notes;
use engine::print::Heading;
use engine::print::html;
use engine::read::Input;
use engine::read::ReadOptions;
use engine::read::read;
use engine::recording::Recording;
use engine::report::report;
use engine::score::score;
use engine::screen::screen;

mod made;

fn main() {
    divan::main();
}

fn criteria() -> Criteria {
    shipped("adult-air").expect("a shipped set reads")
}

fn recording(text: &str) -> Recording {
    let input = Input { name: "night.csv", bytes: text.as_bytes(), companions: &[] };
    read(input, &ReadOptions::default()).expect("the made night reads")
}

#[divan::bench]
fn night_1_read(bencher: Bencher) {
    let text = made::text();
    bencher.counter(BytesCount::new(text.len())).bench(|| recording(&text));
}

#[divan::bench]
fn night_2_screen(bencher: Bencher) {
    let (recording, criteria) = (recording(&made::text()), criteria());
    bencher
        .with_inputs(|| recording.clone())
        .bench_values(|recording| screen(recording, Notes::default(), &criteria));
}

#[divan::bench]
fn night_3_correct(bencher: Bencher) {
    let criteria = criteria();
    let screened = screen(recording(&made::text()), Notes::default(), &criteria);
    bencher.with_inputs(|| screened.clone()).bench_values(|screened| correct(screened, &criteria));
}

#[divan::bench]
fn night_4_score(bencher: Bencher) {
    let criteria = criteria();
    let screened = screen(recording(&made::text()), Notes::default(), &criteria);
    let corrected = correct(screened, &criteria);
    bencher.with_inputs(|| corrected.clone()).bench_values(|corrected| score(corrected, &criteria));
}

#[divan::bench]
fn night_5_judge(bencher: Bencher) {
    let criteria = criteria();
    let screened = screen(recording(&made::text()), Notes::default(), &criteria);
    let scores = score(correct(screened, &criteria), &criteria);
    bencher.with_inputs(|| scores.clone()).bench_values(|scores| judge(scores, &criteria));
}

/// What the budget of 10 ms speaks of: bytes to judgement.
#[divan::bench]
fn night_6_bytes_to_judgement(bencher: Bencher) {
    let (text, criteria) = (made::text(), criteria());
    bencher
        .counter(BytesCount::new(text.len()))
        .bench(|| engine::night::night(recording(&text), Notes::default(), &criteria));
}

/// What the budget of 20 ms speaks of: the report and its page.
#[divan::bench]
fn night_7_report_as_html(bencher: Bencher) {
    let (recording, criteria) = (recording(&made::text()), criteria());
    let judgement = engine::night::night(recording, Notes::default(), &criteria);
    bencher.bench(|| html(&report(&judgement, &criteria), &Heading::default()));
}
