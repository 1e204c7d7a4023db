//! Made nights as a whole: they repeat, keep the recording's contract, and the table is in order.

use engine::recording::{Format, MarkKind, Quantity, Recording};
use simulate::sensor::Sensor;
use simulate::sleeper::Sleeper;

#[test]
fn the_same_seed_makes_the_same_bytes() {
    for named in simulate::sleepers() {
        let (first, again, other) = (named.night(5), named.night(5), named.night(6));
        assert_eq!(first.recording.input_sha256, again.recording.input_sha256, "{}", named.id);
        assert_eq!(first.notes_toml, again.notes_toml, "{}", named.id);
        assert_eq!(first.truth.spans, again.truth.spans, "{}", named.id);
        assert_eq!(first.truth.events, again.truth.events, "{}", named.id);
        assert_ne!(first.recording.input_sha256, other.recording.input_sha256, "{}", named.id);
        assert_ne!(first.truth.events, other.truth.events, "{}", named.id);
    }
    let json = |seed| simulate::sleepers()[0].night(seed).truth.to_json();
    assert_eq!(json(5), json(5));
    assert_ne!(json(5), json(6));
}

/// A made night is fixed across machines and versions: when it must change, this hash changes with it,
/// and so do the figures that stand on made nights.
#[test]
fn a_known_night_keeps_its_bytes() {
    let made = simulate::night(&Sleeper::healthy(), &Sensor::ordinary(), 1);
    assert_eq!(&made.recording.input_sha256[..16], "12d4e1aa9b9ba095");
}

fn check_contract(recording: &Recording) {
    assert_eq!(recording.format, Format::Made);
    let ids: Vec<&str> = recording.channels.iter().map(|channel| channel.id.as_str()).collect();
    assert_eq!(ids[..3], ["spo2", "pulse", "tcpco2"]);
    for channel in &recording.channels {
        let covered_s = channel.period_s * channel.samples.len() as f64;
        assert!(covered_s >= recording.duration_s, "{}", channel.id);
        assert!(covered_s < recording.duration_s + channel.period_s, "{}", channel.id);
        let bounds = match channel.quantity {
            Quantity::Spo2 => 0.0..=100.0,
            Quantity::Pulse => 0.0..=250.0,
            _ => 0.0..=20.0,
        };
        for sample in channel.samples.iter().filter(|sample| !sample.is_nan()) {
            assert!(bounds.contains(sample), "{} {sample}", channel.id);
        }
    }
}

#[test]
fn every_sleeper_makes_a_whole_recording_with_truth_as_long() {
    for named in simulate::sleepers() {
        let made = named.night(2);
        check_contract(&made.recording);
        let seconds = made.truth.stages.len();
        assert!((made.recording.duration_s - seconds as f64).abs() < 1e-9);
        for list in [&made.truth.spo2, &made.truth.paco2_kpa, &made.truth.pulse] {
            assert_eq!(list.len(), seconds);
            assert!(list.iter().all(|x| x.is_finite()), "{}", named.id);
        }
        assert!(made.truth.spo2.iter().all(|x| (40.0..=100.0).contains(x)), "{}", named.id);
        check_contract(&made.truth.perfect_recording());
    }
}

#[test]
fn the_table_has_ten_sleepers_with_ids_and_sentences_of_their_own() {
    let sleepers = simulate::sleepers();
    assert!(sleepers.len() >= 10);
    let mut ids: Vec<&str> = sleepers.iter().map(|named| named.id).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), sleepers.len());
    for named in &sleepers {
        assert!(named.sentence.ends_with('.') && named.sentence.len() > 30, "{}", named.id);
        assert!(simulate::sleeper_named(named.id).is_some());
    }
    assert!(simulate::sleeper_named("nobody").is_none());
}

/// The suggested criteria set and question exist in the shipped sets.
#[test]
fn every_suggested_question_exists() {
    for named in simulate::sleepers() {
        let set = engine::criteria::shipped(named.criteria).unwrap();
        let found = set.questions.iter().any(|question| question.id == named.question);
        assert!(found, "{}: {} in {}", named.id, named.question, named.criteria);
    }
}

#[test]
fn a_sleeper_and_a_sensor_survive_json() {
    for named in simulate::sleepers() {
        let sleeper: Sleeper =
            serde_json::from_str(&serde_json::to_string(&named.sleeper).unwrap()).unwrap();
        let sensor: Sensor =
            serde_json::from_str(&serde_json::to_string(&named.sensor).unwrap()).unwrap();
        assert_eq!((sleeper, sensor), (named.sleeper, named.sensor), "{}", named.id);
    }
}

#[test]
fn the_truth_file_names_its_version_and_holds_every_second() {
    let made = simulate::sleepers()[0].night(1);
    let json: serde_json::Value = serde_json::from_str(&made.truth.to_json()).unwrap();
    assert_eq!(json["schema"], "matins.truth/1");
    assert_eq!(json["spo2_pct"].as_array().unwrap().len(), made.truth.spo2.len());
    let last = json["hypnogram"].as_array().unwrap().last().unwrap()["end_s"].as_u64();
    assert_eq!(last, Some(made.truth.stages.len() as u64));
}

#[test]
fn a_zone_that_cannot_be_used_is_said() {
    let sleeper = Sleeper { zone: Some("Nowhere/Town".into()), ..Sleeper::healthy() };
    let made = simulate::night(&sleeper, &Sensor::ordinary(), 1);
    assert!(made.recording.clock.zone().is_none());
    assert_eq!(
        made.recording.findings[0].sentence,
        "The night was made on a civil clock without a zone: Nowhere/Town is not in the zone database."
    );
}

#[test]
fn absurd_parameters_make_a_short_or_odd_night_but_no_panic() {
    let mut sleeper = Sleeper::healthy();
    sleeper.sleep.in_bed_h = 0.0;
    sleeper.sleep.to_lights_out_min = 0.0;
    sleeper.sleep.after_lights_on_min = 0.0;
    let made = simulate::night(&sleeper, &Sensor::ordinary(), 1);
    assert_eq!(made.truth.stages.len(), 1);
    sleeper.sleep.in_bed_h = f64::NAN;
    sleeper.sleep.cycle_min = -1.0;
    sleeper.sleep.toilet_visits = 40;
    simulate::night(&sleeper, &Sensor::ordinary(), 1);
    sleeper.sleep.in_bed_h = 10.0;
    simulate::night(&sleeper, &Sensor::ordinary(), 1);
}

/// Else the engine would mark its own homework.
#[test]
fn the_simulator_knows_nothing_of_how_nights_are_judged() {
    let src = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![src];
    let mut seen = 0;
    while let Some(folder) = folders.pop() {
        for path in std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            for later in ["screen", "correct", "score", "judge", "criteria", "notes", "report"] {
                let used = text.contains(&format!("engine::{later}"));
                assert!(!used, "{} uses engine::{later}", path.display());
            }
            seen += 1;
        }
    }
    assert!(seen > 10, "only {seen} files looked at");
}

/// 26 October 2025 in London: 01:00 to 02:00 came twice, so a time in it carries its offset.
#[test]
fn notes_on_the_night_the_clocks_go_back_are_not_ambiguous() {
    let mut sleeper = simulate::sleeper_named("restless").unwrap().sleeper;
    sleeper.start = jiff::civil::date(2025, 10, 25).at(22, 0, 0, 0);
    sleeper.diary.visits_noted = true;
    sleeper.sleep.toilet_visits = 12;
    let made = simulate::night(&sleeper, &Sensor::ordinary(), 1);
    let twice = |line: &&str| line.contains("2025-10-26T01:");
    let lines: Vec<&str> = made.notes_toml.lines().filter(twice).collect();
    assert!(!lines.is_empty());
    for line in lines {
        assert!(line.ends_with("+01:00\"") || line.ends_with("+00:00\""), "{line}");
    }
}

/// The notes are read by the engine's own parser and land where the truth has them.
#[test]
fn the_notes_of_every_sleeper_are_understood() {
    for named in simulate::sleepers() {
        let made = named.night(3);
        let file = engine::notes::NotesFile::parse(&made.notes_toml).unwrap();
        let notes = file.place(&made.recording).unwrap();
        let at = |kind| notes.marks.iter().find(|mark| mark.kind == kind).map(|mark| mark.start_s);
        assert_eq!(at(MarkKind::LightsOut), Some(made.truth.lights.start_s), "{}", named.id);
        assert_eq!(at(MarkKind::LightsOn), Some(made.truth.lights.end_s), "{}", named.id);
        let written = if named.sleeper.diary.visits_noted { made.truth.visits.len() } else { 0 };
        let up = notes.marks.iter().filter(|mark| mark.kind == MarkKind::Up).count();
        assert_eq!(up, written, "{}", named.id);
        assert!(notes.findings.is_empty(), "{}: {:?}", named.id, notes.findings);
    }
}
