//! `matins score`.

use crate::desk::Desk;
use crate::made::quiet_night;

const DEFAULT: &str = "matins: criteria adult-air 2026.1, the default; --criteria names another\n";
const NOTES: &str = "lights_out = \"2026-01-13T22:30:00\"\nlights_on = \"2026-01-14T02:30:00\"\n";

#[test]
fn a_night_is_scored_as_a_table() {
    let desk = Desk::new().with("night.csv", quiet_night());
    desk.run(&["score", "night.csv"]).prints("score.txt", DEFAULT);
}

#[test]
fn a_night_is_scored_as_json_from_standard_input() {
    let desk = Desk::new().with("night.csv", quiet_night());
    let file = desk.run(&["score", "night.csv", "--json", "-q"]);
    let input = desk.run_with(&["score", "-", "--json", "-q"], quiet_night().as_bytes());
    assert_eq!((file.code, file.stderr.as_str()), (0, ""));
    assert_eq!(file.stdout, input.stdout);
    let scores: serde_json::Value = serde_json::from_str(&file.stdout).unwrap();
    assert_eq!(scores["schema"], "matins.scores/1");
    assert_eq!(scores["measures"]["spo2.min"]["value"], 95.0);
    assert_eq!(scores["criteria"]["name"], "adult-air");
}

#[test]
fn several_nights_give_one_line_each_and_a_bad_one_stops_nothing() {
    let desk =
        Desk::new().with("a.csv", quiet_night()).with("b.csv", "").with("c.csv", quiet_night());
    let ran = desk.run(&["score", "a.csv", "b.csv", "gone.csv", "c.csv", "--json", "-q"]);
    assert_eq!(
        ran.stderr,
        "matins: b.csv: the file is empty\nmatins: gone.csv: there is no such file\n\
         matins: 2 of 4 files failed: b.csv, gone.csv\n"
    );
    assert_eq!(ran.code, 6);
    let lines: Vec<serde_json::Value> =
        ran.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len(), 2);
    assert_eq!((&lines[0]["file"], &lines[1]["file"]), (&"a.csv".into(), &"c.csv".into()));
    let alone = desk.run(&["score", "a.csv", "--json", "-q"]).stdout;
    let alone: serde_json::Value = serde_json::from_str(&alone).unwrap();
    assert_eq!(lines[0]["scores"], alone);
}

#[test]
fn notes_place_the_lights() {
    let desk = Desk::new().with("night.csv", quiet_night()).with("night.notes.toml", NOTES);
    let told = desk.run(&["score", "night.csv", "--notes", "night.notes.toml", "-q"]);
    let beside = desk.run(&["score", "night.csv", "--notes-beside", "-q"]);
    assert_eq!((told.code, told.stderr.as_str()), (0, ""));
    assert_eq!(told.stdout, beside.stdout);
    assert!(told.stdout.contains("lights out at 22:30"), "{}", told.stdout);
}

#[test]
fn notes_that_lie_beside_and_are_not_used_are_mentioned() {
    let desk = Desk::new().with("night.csv", quiet_night()).with("night.notes.toml", NOTES);
    let note = "matins: night.notes.toml lies beside it and was not used; --notes-beside uses it\n";
    desk.run(&["score", "night.csv"]).prints("score.txt", &format!("{DEFAULT}{note}"));
}

#[test]
fn one_notes_file_cannot_belong_to_several_nights() {
    Desk::new().run(&["score", "a.csv", "b.csv", "--notes", "n.toml"]).fails(
        2,
        "matins: one notes file cannot belong to several nights\n  \
         hint: --notes-beside takes NAME.notes.toml for each NAME.csv\n",
    );
}

#[test]
fn a_question_in_the_notes_that_the_criteria_do_not_know_is_refused() {
    let desk =
        Desk::new().with("night.csv", quiet_night()).with("n.toml", "question = \"snoring\"\n");
    desk.run(&["score", "night.csv", "--notes", "n.toml", "-q"]).fails(
        4,
        "matins: n.toml: the question `snoring` is not in criteria adult-air; known are \
         night_gas_exchange, hypoventilation, oxygenation, repeated_falls\n",
    );
}

#[test]
fn notes_with_a_word_no_one_knows_are_refused() {
    let desk = Desk::new()
        .with("night.csv", quiet_night())
        .with("n.toml", "lights_off = \"2026-01-13T22:30:00\"\n");
    desk.run(&["score", "night.csv", "--notes", "n.toml", "-q"]).fails(
        3,
        "matins: n.toml: unknown field `lights_off`, expected one of `zone`, `lights_out`, \
         `lights_on`, `representative`, `question`, `breathing`, `told`, `mark`, `blood_gas`, \
         `gas_check`, `monitor`, `exclude`, `put_back`\n  at: line 1\n",
    );
}

#[test]
fn the_same_night_gives_the_same_bytes() {
    let desk = Desk::new().with("night.csv", quiet_night());
    let once = desk.run(&["score", "night.csv", "--json"]);
    let twice = desk.run(&["score", "night.csv", "--json"]);
    assert_eq!(once.stdout, twice.stdout);
}

#[test]
fn output_that_is_no_terminal_has_no_colour() {
    let ran = Desk::new().with("night.csv", quiet_night()).run(&["score", "night.csv"]);
    assert!(!ran.stdout.contains('\u{1b}') && !ran.stderr.contains('\u{1b}'));
}

/// The notes that the first page of the project shows, as they stand there.
fn readme_notes() -> String {
    let readme = include_str!("../../../../README.md");
    let block = readme.split("```toml\n").nth(1).unwrap();
    block.split("```").next().unwrap().to_owned()
}

#[test]
fn the_notes_of_the_readme_fit_its_night_and_those_of_another_night_are_refused() {
    let desk = Desk::new();
    assert_eq!(desk.run(&["simulate", "-o", "night.csv", "-q"]).code, 0);
    let notes = readme_notes();
    let desk = desk.with("night.notes.toml", &notes);
    let ran = desk.run(&["score", "night.csv", "--notes", "night.notes.toml", "-q"]);
    assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
    assert!(ran.stdout.contains("one glass of wine"), "{}", ran.stdout);
    assert!(!ran.stdout.contains("contradict"), "{}", ran.stdout);
    let before = notes.replace("2026-01-13", "2026-01-12").replace("2026-01-14", "2026-01-13");
    let desk = desk.with("before.toml", &before);
    for verb in [&["score", "night.csv"][..], &["report", "night.csv", "-o", "night.html"][..]] {
        let ran = desk.run(&[verb, &["--notes", "before.toml", "-q"]].concat());
        assert_eq!((ran.code, ran.stdout.as_str()), (4, ""), "{}", ran.stderr);
        for part in ["before.toml", "another night", "expected times from", "found the nearest"] {
            assert!(ran.stderr.contains(part), "{part}: {}", ran.stderr);
        }
    }
}
