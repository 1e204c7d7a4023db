//! What docs/record.md shows is what the program does.

use store::lending::setting::DeskSettings;
use store::record::all_tables;
use store::retention::schedule::RetentionSettings;

const PAGE: &str = include_str!("../../../../docs/record.md");

fn examples() -> Vec<&'static str> {
    PAGE.split("```json\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect()
}

#[test]
fn the_settings_shown_are_those_the_program_starts_with() {
    let [retention, desk] = examples().try_into().unwrap();
    assert_eq!(RetentionSettings::read(retention).unwrap(), RetentionSettings::default());
    assert_eq!(DeskSettings::read(desk).unwrap(), DeskSettings::default());
    let shown: serde_json::Value = serde_json::from_str(desk).unwrap();
    let all = serde_json::to_value(DeskSettings::default()).unwrap();
    assert_eq!(shown.as_object().unwrap().len(), all.as_object().unwrap().len());
}

#[test]
fn every_table_stands_on_the_page() {
    for table in all_tables::tables().into_iter().chain([
        "act",
        "bytes",
        "session",
        "failed_login",
        "device",
    ]) {
        assert!(PAGE.contains(&format!("`{table}`")), "{table}");
    }
}
