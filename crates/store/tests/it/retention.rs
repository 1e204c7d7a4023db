//! Data whose time is over, and data somebody asks for.

use store::error::StoreError;
use store::record::all_tables;
use store::record::db::Place;
use store::record::tables::Monitor;
use store::record::tables::Night;
use store::record::tables::Original;
use store::record::tables::Person;
use store::record::tables::Setting;
use store::safekeeping::verify::in_silence;
use store::words::Role;

use crate::both::Desk;
use crate::full;
use crate::full::by;

/// Years after which an adult is due, and some days.
const LATER_S: i64 = (8 * 366 + 2) * 86_400;

/// Every text of the record that tells who the person is or what was found.
const TELLING: [&str; 13] = [
    "Counterpane",
    "Quilla",
    "H1000",
    "1961-04-05",
    "01632",
    "Blanket Row",
    "Dr Night",
    "headaches",
    "slept badly",
    "at noon",
    "her words",
    "his words",
    "as expected",
];

async fn destroy(
    desk: &Desk,
    person: i64,
) -> Result<store::retention::destroy::Destroyed, StoreError> {
    desk.store
        .destroy_person(
            &by(Role::Governance),
            person,
            "review of 2034",
            "Decided by the records group",
        )
        .await
}

/// Everything the database holds as text.
async fn everything(desk: &Desk) -> String {
    let mut conn = desk.store.read().await.unwrap();
    let mut text = String::new();
    let mut last = 0;
    while let Some(entry) = conn.entries(last, 1).await.unwrap().pop() {
        last = entry.seq;
        text += &serde_json::to_string(&entry).unwrap();
    }
    drop(conn);
    let folder = tempfile::tempdir().unwrap();
    let access =
        desk.store.subject_access(&by(Role::Governance), 1, "to see what is left").await.unwrap();
    drop(folder);
    text + &access.json
}

on_both! {
    async fn a_destroyed_person_is_gone_and_the_chain_still_closes(desk) {
        let someone = full::fill(&desk.store).await;
        desk.store.looked(&by(Role::Desk), "people", None, serde_json::json!({"search": "counterp"})).await.unwrap();
        desk.store.looked(&by(Role::Desk), "people", None, serde_json::json!({"search": "Counterpane"})).await.unwrap();
        let before = everything(&desk).await;
        for telling in TELLING {
            assert!(before.contains(telling), "{telling}");
        }
        let monitor: Monitor = desk.store.read().await.unwrap().get(1).await.unwrap();
        desk.years_later(LATER_S).await;
        let gone = destroy(&desk, someone.id).await.unwrap();
        assert_eq!((gone.files, gone.kept.len()), (2, 0));
        let after = everything(&desk).await;
        for telling in TELLING {
            assert!(!after.contains(telling), "{telling} is left");
        }
        let found = desk.store.verify(&[], &in_silence).await.unwrap();
        assert_eq!(found.wrong, Vec::<String>::new());
        assert_eq!((found.destroyed, found.files), (gone.acts as u64, 1), "the criteria are nobody's");
        // What is not the person's stays as it was, under the act that wrote it again.
        let mut conn = desk.store.read().await.unwrap();
        let left: Monitor = conn.get(1).await.unwrap();
        assert_eq!(Monitor { act: monitor.act, ..left }, monitor);
        let original: Original = conn.get(1).await.unwrap();
        assert!(conn.bytes(&original.sha256).await.is_err());
        // The acts themselves, who did them and when, stay.
        let entry = conn.entries(1, 1).await.unwrap().remove(0);
        assert_eq!((entry.verb.as_str(), entry.who.as_str(), entry.body), ("person.put", "desk", None));
        drop(conn);
        if let Place::Folder(folder) = &desk.place {
            for name in ["matins.db", "matins.db-wal"] {
                let bytes = std::fs::read(folder.join(name)).unwrap_or_default();
                for telling in TELLING {
                    assert!(!bytes.windows(telling.len()).any(|window| window == telling.as_bytes()), "{telling} is left in {name}");
                }
            }
        }
    }

    /// One file holds the nights of two patients: the other's stay, with their file.
    async fn a_file_that_is_another_persons_too_is_kept_and_told(desk) {
        let someone = full::fill(&desk.store).await;
        let mut act = desk.store.act(&by(Role::Desk), "person.put").await.unwrap();
        let mut other = full::person("H2000", "Eiderdown");
        act.put(&mut other).await.unwrap();
        let mut night: Night = act.get(1).await.unwrap();
        (night.id, night.from_s, night.to_s) = (0, 86_400, 115_200);
        (night.person, night.loan, night.study, night.notes) = (Some(other.id), None, None, "# his words".to_owned());
        act.put(&mut night).await.unwrap();
        let value = r#"{"name":"counterpane.csv","zone":"Europe/London"}"#.to_owned();
        let (name, who) = ("reading:1".to_owned(), "desk".to_owned());
        let mut reading = Setting { id: 0, act: 0, name, value, at: 0, who };
        act.put(&mut reading).await.unwrap();
        act.close().await.unwrap();
        desk.years_later(LATER_S).await;
        let gone = destroy(&desk, someone.id).await.unwrap();
        assert_eq!(gone.kept, ["original 1 holds a night of another person too"]);
        let mut conn = desk.store.read().await.unwrap();
        let original: Original = conn.get(1).await.unwrap();
        assert_eq!(conn.bytes(&original.sha256).await.unwrap(), b"time,SpO2 (%)\n");
        // The name of the file named the first patient; how it is read stays.
        assert_eq!(original.name, "original-1.csv");
        let kept = conn.get::<Setting>(reading.id).await.unwrap().value;
        assert_eq!(kept, r#"{"name":"original-1.csv","zone":"Europe/London"}"#);
        assert_eq!(conn.get::<Night>(night.id).await.unwrap().notes, "# his words");
        assert_eq!(conn.get::<Person>(other.id).await.unwrap().family, "Eiderdown");
        drop(conn);
        assert_eq!(desk.store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
    }

    async fn a_destruction_survives_a_backup(desk) {
        let someone = full::fill(&desk.store).await;
        desk.years_later(LATER_S).await;
        destroy(&desk, someone.id).await.unwrap();
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("b");
        let made = store::safekeeping::backup::backup(&desk.store, &file, None, &in_silence).await.unwrap();
        assert!(made.verified.destroyed > 0);
        let place = Place::Folder(folder.path().join("r"));
        let now = desk.store.now();
        let found = store::safekeeping::backup::restore(&file, &place, None, std::sync::Arc::new(move || now), &in_silence).await.unwrap();
        assert_eq!(found.wrong, Vec::<String>::new());
    }

    async fn what_keeps_a_person_from_being_destroyed(desk) {
        let someone = full::fill(&desk.store).await;
        let governance = by(Role::Governance);
        assert!(destroy(&desk, someone.id).await.unwrap_err().is("not_due"));
        desk.years_later(LATER_S).await;
        let today = store::when::local_date(desk.store.now(), &jiff::tz::TimeZone::UTC);
        let due = desk.store.read().await.unwrap().due_for_review(today).await.unwrap();
        assert_eq!(due.len(), 1);
        assert_eq!((due[0].person, due[0].due_on.as_str(), due[0].rule.as_str()), (someone.id, "2034-11-25", "8 years after the last entry"));
        desk.store.hold_person(&governance, someone.id, "a claim is open").await.unwrap();
        let refused = destroy(&desk, someone.id).await.unwrap_err();
        assert_eq!(refused.to_string(), "this person's data are held: a claim is open");
        let due = desk.store.read().await.unwrap().due_for_review(today).await.unwrap();
        assert_eq!(due[0].held.as_deref(), Some("a claim is open"));
        desk.store.release_person(&governance, someone.id, "the claim is settled").await.unwrap();
        for role in [Role::Desk, Role::Physiologist, Role::Physician, Role::Administrator] {
            let refused = desk.store.destroy_person(&by(role), someone.id, "r", "c").await.unwrap_err();
            assert!(refused.is("not_yours_to_govern"), "{role}");
            assert!(desk.store.subject_access(&by(role), someone.id, "r").await.unwrap_err().is("not_yours_to_govern"));
        }
        let refused = desk.store.destroy_person(&governance, someone.id, "r", " ").await.unwrap_err();
        assert!(refused.is("reason_missing"));
        let kept: Person = desk.store.read().await.unwrap().get(someone.id).await.unwrap();
        assert_eq!(kept, someone);
        destroy(&desk, someone.id).await.unwrap();
        // Who is gone is not due again.
        assert_eq!(desk.store.read().await.unwrap().due_for_review(today).await.unwrap(), []);
    }

    /// Whatever table points to a person, a loan, a night, a study or a referral is in what the person gets.
    async fn a_person_gets_everything_that_is_about_them(desk) {
        let someone = full::fill(&desk.store).await;
        let access = desk.store.subject_access(&by(Role::Governance), someone.id, "asked in writing").await.unwrap();
        let all: serde_json::Value = serde_json::from_str(&access.json).unwrap();
        let not_theirs = ["account", "consumable", "monitor"];
        for table in all_tables::tables() {
            let held = if table == "setting" { 0 } else { usize::from(!not_theirs.contains(&table)) };
            assert_eq!(all[table].as_array().map_or(0, Vec::len), held, "{table}");
        }
        assert!(all["act"].as_array().unwrap().iter().any(|act| act["what"] == "person.access"));
        let names: Vec<&str> = access.files.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["original-1-counterpane.csv", "report-1-version-1.pdf"]);
        assert_eq!(access.files[0].1, b"time,SpO2 (%)\n");
        for telling in TELLING {
            assert!(access.json.contains(telling), "{telling}");
        }
    }
}
