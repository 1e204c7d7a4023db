//! A department's own set: written over a shipped one, told apart from it, and never out of range.

use engine::criteria::{
    Criteria, Kind, Own, SECTIONS, differences, head, own_rule_ids, published_rule_text,
    published_rules, shipped, shipped_names, shipped_text, with_version,
};
use engine::night::night;
use engine::notes::Notes;

use crate::made_night::recording;

fn base(name: &str) -> Option<String> {
    shipped_text(name).map(str::to_owned)
}

/// The set `quiet-ward`, based on `adult-air`, with lines of its own.
fn own(lines: &str) -> Result<Criteria, String> {
    let head = "name = \"quiet-ward\"\nversion = \"1\"\ntitle = \"Quiet ward\"\nbased_on = \"adult-air\"\n";
    Criteria::parse(&format!("{head}{lines}"), &base).map_err(|error| error.to_string())
}

#[test]
fn every_value_stands_in_its_part_with_unit_and_range() {
    let set = shipped("adult-air").unwrap();
    let values = set.values();
    let text = shipped_text("adult-air").unwrap();
    assert_eq!(values.len(), text.matches(" = { value = ").count());
    let bare: Vec<&str> =
        values.iter().filter(|one| one.unit.is_empty()).map(|one| one.key).collect();
    assert_eq!(bare, ["lag_correlation", "signs_least", "dropouts_least", "cluster_falls"]);
    for name in shipped_names() {
        for value in shipped(name).unwrap().values() {
            let (lowest, highest) = value.range();
            assert!((lowest..=highest).contains(&value.setting.value), "{name} {}", value.key);
            assert!(value.meaning.ends_with('.'), "{}", value.meaning);
            assert!(SECTIONS.iter().any(|(section, _)| *section == value.section));
        }
    }
}

#[test]
fn a_set_differs_from_itself_in_nothing_and_from_another_in_what_it_states() {
    let adult = shipped("adult-air").unwrap();
    assert_eq!(differences(&adult, &adult), []);
    let lines = "[judge]\nspo2_least_h = { value = 5, source = \"department setting\" }\n";
    let found = differences(&own(lines).unwrap(), &adult);
    let said: Vec<_> = found.iter().map(|one| (one.kind, one.key.as_str(), one.unit)).collect();
    assert_eq!(said, [(Kind::About, "title", ""), (Kind::Value, "spo2_least_h", "h")]);
    let (here, there) = (found[1].here.clone().unwrap(), found[1].there.clone().unwrap());
    assert_eq!((here.words.as_str(), here.source.as_str()), ("5", "department setting"));
    assert_eq!((there.words.as_str(), there.source.as_str()), ("4", "griffon-2020"));
}

#[test]
fn a_rule_and_a_question_are_told_on_whichever_side_they_stand() {
    let (adult, child) = (shipped("adult-air").unwrap(), shipped("child").unwrap());
    let both = differences(&adult, &child);
    let only = |here: bool| {
        let rules = both.iter().filter(|one| one.kind == Kind::Rule);
        rules.filter(|one| if here { one.there.is_none() } else { one.here.is_none() }).count()
    };
    // Of 8 and 11 rules, none stands in both sets, by their files.
    assert_eq!((only(true), only(false)), (8, 11));
    let questions = both.iter().filter(|one| one.kind == Kind::Question);
    let sides: Vec<_> =
        questions.map(|one| (one.key.as_str(), one.here.is_some(), one.there.is_some())).collect();
    assert_eq!(
        sides,
        [
            ("night_gas_exchange", true, false),
            ("hypoventilation", true, true),
            ("oxygenation", true, false),
            ("repeated_falls", true, true),
            ("support_in_order", false, true)
        ]
    );
}

#[test]
fn a_set_taken_apart_and_written_holds_only_what_differs_and_reads_the_same() {
    let adult = shipped("adult-air").unwrap();
    for name in shipped_names() {
        let (text, set) = (shipped_text(name).unwrap(), shipped(name).unwrap());
        let mut apart = Own::of(text, &set);
        "adult-air".clone_into(&mut apart.head.based_on);
        let written = apart.text(&adult);
        let again = Criteria::parse(&written, &base).unwrap();
        // The age band is the base's: it is no value of a department.
        let told = differences(&again, &set);
        assert!(told.iter().all(|one| one.key == "age_band"), "{name}: {told:?}");
    }
    let lines = "[judge]\nspo2_least_h = { value = 5, source = \"griffon-2020\" }\n";
    let set = own(lines).unwrap();
    let written = Own::of("", &set).text(&adult);
    assert_eq!(written.matches("value = ").count(), 1, "{written}");
    assert!(!written.contains("rules =") && !written.contains("[[question]]"), "{written}");
}

#[test]
fn a_rule_of_ones_own_is_kept_as_it_was_written_and_asked() {
    let adult = shipped("adult-air").unwrap();
    let text = published_rule_text("co2_above_55mmhg_10min").unwrap();
    let rule = text
        .replace("co2_above_55mmhg_10min", "co2_above_52mmhg_5min")
        .replace("55", "52")
        .replace("600", "300");
    let set = own(&format!("rules = [\"co2_above_52mmhg_5min\"]\nquestion = []\n{rule}"));
    let set = set.unwrap();
    assert_eq!(set.rules.len(), 1);
    let whole = format!("{}{rule}", "name = \"x\"\nversion = \"1\"\n");
    assert_eq!(own_rule_ids(&whole), ["co2_above_52mmhg_5min"]);
    let again = Own::of(&whole, &set).text(&adult);
    assert!(again.contains("id = \"co2_above_52mmhg_5min\"") && again.contains("52"), "{again}");
}

#[test]
fn every_published_rule_can_be_copied_and_reads_as_it_was() {
    for rule in published_rules().unwrap() {
        let text = published_rule_text(&rule.id).unwrap();
        let lines = format!("rules = [\"{}\"]\nquestion = []\n{text}", rule.id);
        assert_eq!(own(&lines).unwrap().rules, [rule]);
    }
    assert_eq!(published_rule_text("no_such_rule"), None);
}

#[test]
fn a_value_out_of_its_range_is_refused_with_what_was_expected() {
    for (value, says) in [
        ("101", "criteria quiet-ward: `screen.spo2_lowest_pct` is 101, expected 0 to 100 %"),
        ("-1", "criteria quiet-ward: `screen.spo2_lowest_pct` is -1, expected 0 to 100 %"),
        ("nan", "criteria quiet-ward: `screen.spo2_lowest_pct` is NaN, expected 0 to 100 %"),
    ] {
        let lines = format!(
            "[screen]\nspo2_lowest_pct = {{ value = {value}, source = \"department setting\" }}\n"
        );
        assert_eq!(own(&lines).unwrap_err(), says);
    }
}

/// A department may set any value in its range: the worst that comes of it is a night that nothing is believed of.
#[test]
fn no_value_in_its_range_breaks_the_engine() {
    let adult = shipped("adult-air").unwrap();
    // Three hours tell as much as nine.
    let mut short = recording();
    short.duration_s = 10_800.0;
    for channel in &mut short.channels {
        channel.samples = channel.samples.get(..10_800).unwrap().into();
    }
    for value in adult.values() {
        let (lowest, highest) = value.range();
        for number in [lowest, highest] {
            let lines = format!(
                "[{}]\n{} = {{ value = {number}, source = \"department setting\" }}\n",
                value.section, value.key
            );
            let set = own(&lines).unwrap();
            let judgement = night(short.clone(), Notes::default(), &set);
            assert_eq!(judgement.rules.len(), set.rules.len(), "{} = {number}", value.key);
        }
    }
}

#[test]
fn another_version_changes_that_line_alone() {
    let text = shipped_text("child").unwrap();
    let again = with_version(text, "2026.1-3");
    assert_eq!(head(&again).version, "2026.1-3");
    let lines = text.lines().zip(again.lines()).filter(|(a, b)| a != b);
    assert_eq!(lines.collect::<Vec<_>>(), [("version = \"2026.1\"", "version = \"2026.1-3\"")]);
}
