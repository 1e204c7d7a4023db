//! Whose night is it? Everything that must keep a night from the wrong patient.

use std::fmt::Write as _;

use jiff::civil::DateTime;
use jiff::civil::datetime;
use store::intake::receive::Incoming;
use store::intake::receive::Received;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::Check;
use store::record::tables::DiaryEntry;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Outcome;
use store::record::tables::Setting;
use store::record::tables::Study;
use store::safekeeping::verify::in_silence;
use store::words::CheckWhen;
use store::words::NightStatus;
use store::words::Representative;
use store::words::Role;
use store::words::StudyStatus;

use crate::full;
use crate::full::by;

/// A patient with a loan of the monitor with this serial number, the night of 24 to 25 November.
pub(crate) async fn lent(store: &Store, n: i64, serial: &str) -> Loan {
    lent_as(store, n, serial, |_| {}).await
}

pub(crate) async fn lent_as(
    store: &Store,
    n: i64,
    serial: &str,
    change: impl FnOnce(&mut Loan),
) -> Loan {
    let mut act = store.act(&by(Role::Desk), "loan.book").await.unwrap();
    let mut person = full::person(&format!("H{n}"), &format!("Family{n}"));
    act.put(&mut person).await.unwrap();
    let mut asked = full::referral(person.id);
    act.put(&mut asked).await.unwrap();
    let mut study = full::study(person.id, asked.id);
    act.put(&mut study).await.unwrap();
    let known = act.conn().first("WHERE serial = $1", &[serial.into()]).await.unwrap();
    let mut monitor = known.unwrap_or_else(|| full::monitor(&format!("M-{n:04}-X"), serial));
    act.put(&mut monitor).await.unwrap();
    let mut loan = full::loan(&format!("L-{n:05}-X"), &study, monitor.id);
    change(&mut loan);
    act.put(&mut loan).await.unwrap();
    act.close().await.unwrap();
    loan
}

/// A file of delimited text: one row each half minute for so many hours.
pub(crate) fn csv(start: DateTime, hours: u32) -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in 0..i64::from(hours) * 120 {
        let at = start + jiff::SignedDuration::from_secs(row * 30);
        let _ = writeln!(text, "{at},{},{},5.{}", 94 + row % 3, 60 + row % 7, row % 10);
    }
    text.into_bytes()
}

/// The same as EDF+ that names its monitor and its patient.
fn edf(start: DateTime, serial: &str, patient: &str) -> Vec<u8> {
    let bytes = csv(start, 8);
    let input = engine::read::Input { name: "n.csv", bytes: &bytes, companions: &[] };
    let mut recording = engine::read::read(input, &engine::read::ReadOptions::default()).unwrap();
    recording.monitor = Some(serial.to_owned());
    let mut file = simulate::write::edf(&recording, simulate::write::EdfOptions::default());
    file[8..88].copy_from_slice(format!("{patient:<80}").as_bytes());
    file
}

pub(crate) fn evening() -> DateTime {
    datetime(2026, 11, 24, 22, 0, 0, 0)
}

pub(crate) async fn receive(store: &Store, name: &str, bytes: Vec<u8>) -> Received {
    let file = Incoming { name: name.to_owned(), bytes, ..Incoming::default() };
    store.receive(&by(Role::Desk), file).await.unwrap()
}

pub(crate) async fn sound(store: &Store) {
    assert_eq!(store.verify(&[], &in_silence).await.unwrap().wrong, Vec::<String>::new());
}

fn doubts(received: &Received) -> Vec<&str> {
    received.nights[0].doubts.0.iter().map(String::as_str).collect()
}

on_both! {
    async fn a_night_on_which_all_agree_is_tied_and_scored(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let bytes = csv(evening(), 8);
        let found = receive(&desk.store, "TC-1042_2026-11-24.csv", bytes.clone()).await;
        let night = &found.nights[0];
        assert_eq!((night.status, night.loan, night.person), (NightStatus::Waiting, Some(loan.id), Some(loan.person)));
        assert_eq!(night.doubts.0, Vec::<String>::new());
        let mut conn = desk.store.read().await.unwrap();
        let study: Study = conn.get(loan.study).await.unwrap();
        assert_eq!(study.status, StudyStatus::ToRead);
        let outcome: Outcome = conn.get(night.result.unwrap()).await.unwrap();
        assert_eq!((outcome.criteria.as_str(), outcome.night), ("adult-air", night.id));
        assert!(outcome.believed_h > 0.0 && outcome.believed_h <= 8.0, "{}", outcome.believed_h);
        assert!(outcome.scores.contains(&found.original.sha256));
        assert_eq!(conn.bytes(&found.original.sha256).await.unwrap(), bytes);
        // A second connection must not wait for this one.
        drop(conn);
        sound(&desk.store).await;
    }

    async fn the_same_file_twice_is_kept_once(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let first = receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await;
        let again = receive(&desk.store, "another name.csv", csv(evening(), 8)).await;
        assert!(again.again && !first.again);
        assert_eq!((again.original.id, again.nights.len()), (first.original.id, 1));
        assert_eq!(desk.store.read().await.unwrap().find::<Night>("", &[]).await.unwrap().len(), 1);
    }

    /// Two bags were mixed up: the file of the second patient's monitor names the first patient.
    async fn swapped_monitors_are_seen_by_the_identifiers_in_the_file(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        lent(&desk.store, 2, "TC-2042").await;
        let found = receive(&desk.store, "n.edf", edf(evening(), "TC-2042", "H1 F 05-APR-1961 Family1")).await;
        assert_eq!(found.nights[0].status, NightStatus::Untied);
        assert_eq!(doubts(&found), [
            "the patient's number in the file is not that of the borrower",
            "the name in the file is not that of the borrower",
            "the file or its name speaks of another patient of the record",
        ]);
        let right = receive(&desk.store, "n.edf", edf(evening(), "TC-1042", "H1 F 05-APR-1961 Family1")).await;
        assert_eq!(doubts(&right), Vec::<&str>::new());
        let born = receive(&desk.store, "n.edf", edf(evening() + jiff::SignedDuration::from_secs(1), "TC-1042", "X F 05-APR-1962 X")).await;
        assert!(doubts(&born).contains(&"the day of birth in the file is not that of the borrower"));
    }

    async fn a_file_that_names_no_monitor_or_two_is_left_untied(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let other = lent(&desk.store, 2, "TC-2042").await;
        let found = receive(&desk.store, "night.csv", csv(evening(), 8)).await;
        assert_eq!(doubts(&found), ["no serial number of a monitor of ours stands in the file or its name"]);
        let file = Incoming { name: "TC-1042.csv".to_owned(), bytes: csv(evening(), 7), taken_off: Some(other.monitor), ..Incoming::default() };
        let found = desk.store.receive(&by(Role::Desk), file).await.unwrap();
        assert_eq!(doubts(&found), ["the file, its name and what was said name several monitors: M-0001-X, M-0002-X"]);
        let file = Incoming { name: "n.csv".to_owned(), bytes: csv(evening(), 6), taken_off: Some(other.monitor), ..Incoming::default() };
        let found = desk.store.receive(&by(Role::Desk), file).await.unwrap();
        assert_eq!(doubts(&found), ["no serial number of a monitor of ours stands in the file or its name; that it came off M-0002-X was only chosen"]);
        assert_eq!((found.nights[0].loan, found.nights[0].status), (None, NightStatus::Untied));
    }

    async fn a_monitor_that_was_with_nobody_gives_nobody_a_night(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let found = receive(&desk.store, "TC-1042.csv", csv(datetime(2026, 11, 20, 22, 0, 0, 0), 8)).await;
        assert_eq!(doubts(&found), ["monitor M-0001-X was with nobody at the time of this night, 2026-11-20 22:00 to 2026-11-21 06:00"]);
        let unset = receive(&desk.store, "TC-1042.csv", csv(datetime(2000, 1, 1, 22, 0, 0, 0), 8)).await;
        assert!(doubts(&unset).contains(&"by the monitor's clock the night was on 2000-01-01: was the clock set?"), "{:?}", doubts(&unset));
        let ahead = receive(&desk.store, "TC-1042.csv", csv(datetime(2027, 1, 1, 22, 0, 0, 0), 8)).await;
        assert!(doubts(&ahead).contains(&"the monitor's clock stands in the future"));
    }

    /// The clock is twelve hours fast. Noted at hand-out it is set right; not noted, the night lies in no loan.
    async fn a_clock_that_is_wrong_is_set_right_only_when_it_was_noted(desk) {
        let noted = |ahead_s| move |loan: &mut Loan| {
            loan.out = Kept(Some(HandOut { clock_ahead_s: Some(ahead_s), ..HandOut::default() }));
        };
        let loan = lent_as(&desk.store, 1, "TC-1042", noted(43_200)).await;
        lent(&desk.store, 2, "TC-2042").await;
        let late = evening() + jiff::SignedDuration::from_hours(12);
        let found = receive(&desk.store, "TC-1042.csv", csv(late, 8)).await;
        // The clock is in the future all the same, which a person must look at.
        assert_eq!(found.nights[0].start_at, 1_795_557_600);
        assert_eq!(doubts(&found), [
            "by the monitor's own clock the night, 2026-11-25 10:00 to 2026-11-25 12:00, lies outside loan L-00001-X: only the clock's noted error brings it there",
            "the monitor's clock stands in the future",
        ]);
        assert_eq!(found.nights[0].loan, None);
        let fast = lent_as(&desk.store, 3, "TC-3042", noted(3_600)).await;
        let found = receive(&desk.store, "TC-3042.csv", csv(evening() + jiff::SignedDuration::from_hours(1), 8)).await;
        assert_eq!((found.nights[0].loan, found.nights[0].start_at), (Some(fast.id), 1_795_557_600));
        assert!(found.noticed.iter().any(|one| one.contains("noted as 3600 s ahead")), "{:?}", found.noticed);
        let told = desk.store.read().await.unwrap().reservations(&found.nights[0]).await.unwrap();
        assert!(told[0].contains("its times are the monitor's own"), "{told:?}");
        let found = receive(&desk.store, "TC-2042.csv", csv(late, 8)).await;
        assert_eq!(found.nights[0].status, NightStatus::Untied);
        assert_eq!(loan.id, 1);
    }

    /// The same monitor went to two patients within a day, and the night by its clock touches both loans.
    async fn a_night_that_touches_two_loans_is_left_untied(desk) {
        lent_as(&desk.store, 1, "TC-1042", |loan| loan.back_at = Some(crate::both::MORNING - 8 * 3600)).await;
        lent_as(&desk.store, 2, "TC-1042", |loan| loan.out_at = Some(crate::both::MORNING - 7 * 3600)).await;
        let found = receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await;
        assert_eq!(doubts(&found), ["the night, 2026-11-24 22:00 to 2026-11-25 06:00, touches several loans: L-00001-X, L-00002-X"]);
    }

    /// The first of them could be the second borrower's with the clock a day behind: a person looks at it.
    async fn a_file_of_two_nights_is_split_and_only_that_of_the_last_loan_finds_it_by_itself(desk) {
        let first = lent_as(&desk.store, 1, "TC-1042", |loan| {
            "2026-11-23".clone_into(&mut loan.first_night_on);
            loan.out_at = loan.out_at.map(|at| at - 86_400);
            loan.back_at = loan.back_at.map(|at| at - 86_400);
        }).await;
        let second = lent(&desk.store, 2, "TC-1042").await;
        let mut bytes = csv(datetime(2026, 11, 23, 22, 0, 0, 0), 8);
        let rest = csv(evening(), 8);
        bytes.extend(&rest[rest.iter().position(|byte| *byte == b'\n').unwrap() + 1..]);
        let found = receive(&desk.store, "TC-1042.csv", bytes).await;
        let tied: Vec<_> = found.nights.iter().map(|night| (night.loan, night.start_at)).collect();
        assert_eq!(tied, [(None, 1_795_471_200), (Some(second.id), 1_795_557_600)]);
        let who = by(Role::Physiologist);
        let settled = desk.store.settle_night(&who, found.nights[0].id, first.id, "both nights are in").await.unwrap();
        assert_eq!((settled.loan, settled.result.is_some()), (Some(first.id), true));
        let held = desk.store.read().await.unwrap().held(&found.nights[1]).await.unwrap();
        assert_eq!(held.recording().unwrap().clock.label(0.0, false), "22:00");
    }

    async fn a_second_file_of_the_same_night_is_left_untied(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await;
        let found = receive(&desk.store, "TC-1042.csv", csv(evening(), 7)).await;
        assert_eq!(doubts(&found), ["loan L-00001-X has a night of the same time already, from 2026-11-24 22:00"]);
    }

    async fn a_night_in_doubt_is_read_only_after_a_named_person_settled_it(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let night = receive(&desk.store, "night.csv", csv(evening(), 8)).await.nights.remove(0);
        let store = &desk.store;
        assert!(store.read().await.unwrap().held(&night).await.unwrap_err().is("night_untied"));
        assert!(store.score_night(&by(Role::Physiologist), night.id).await.unwrap_err().is("night_untied"));
        for role in [Role::Desk, Role::Physician, Role::Governance, Role::Program] {
            let refused = store.settle_night(&by(role), night.id, loan.id, "label read again").await.unwrap_err();
            assert!(refused.is("not_yours_to_settle"), "{role}");
        }
        let who = by(Role::Physiologist);
        assert!(store.settle_night(&who, night.id, loan.id, " ").await.unwrap_err().is("reason_missing"));
        let settled = store.settle_night(&who, night.id, loan.id, "label read again").await.unwrap();
        assert_eq!((settled.status, settled.person), (NightStatus::Waiting, Some(loan.person)));
        assert_eq!((settled.settled_by.as_deref(), settled.settled_because.as_deref()), (Some("physiologist"), Some("label read again")));
        assert!(settled.result.is_some());
        assert!(store.settle_night(&who, night.id, loan.id, "again").await.unwrap_err().is("night_tied"));
        let untied = store.untie_night(&who, night.id, "it was her sister's").await.unwrap();
        assert_eq!((untied.status, untied.person, untied.result), (NightStatus::Untied, None, None));
        let study: Study = store.read().await.unwrap().get(loan.study).await.unwrap();
        assert_eq!(study.status, StudyStatus::Waiting);
        let aside = store.set_night_aside(&who, night.id, "tried at the desk").await.unwrap();
        assert_eq!(aside.status, NightStatus::SetAside);
        sound(store).await;
    }

    /// What the desk and the patient wrote down goes with the night, each in its place.
    async fn the_diary_and_the_gas_checks_of_the_loan_go_with_the_night(desk) {
        let loan = lent(&desk.store, 1, "TC-1042").await;
        let mut act = desk.store.act(&by(Role::Desk), "diary.enter").await.unwrap();
        let mut answers = [""; 11];
        (answers[0], answers[1], answers[2], answers[3]) = ("22:40", "05:30", "02:10-02:25", "often");
        act.put(&mut DiaryEntry {
            id: 0,
            act: 0,
            loan: loan.id,
            night_on: "2026-11-24".to_owned(),
            lines: answers.join("\n"),
            representative: Representative::No,
            at: crate::both::MORNING,
            who: "desk".to_owned(),
            replaces: None,
        }).await.unwrap();
        let check = |made, at, observed_kpa| Check {
            id: 0,
            act: 0,
            monitor: loan.monitor,
            loan: Some(loan.id),
            at,
            who: "desk".to_owned(),
            made,
            gas: None,
            expected_kpa: Some(5.0),
            observed_kpa: Some(observed_kpa),
            pressure_kpa: None,
            clock_ahead_s: None,
            parts: Kept(Vec::new()),
            missing: Kept(Vec::new()),
            passed: true,
            note: None,
            voided_at: None,
            voided_by: None,
            voided_because: None,
        };
        act.put(&mut check(CheckWhen::Before, crate::both::MORNING - 54_000, 5.0)).await.unwrap();
        act.put(&mut check(CheckWhen::After, crate::both::MORNING - 600, 5.3)).await.unwrap();
        act.close().await.unwrap();
        let night = receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        for line in ["zone = \"Europe/London\"", "lights_out = \"22:40\"", "representative = false",
            "at = \"02:10\"", "about = \"awake\"\nsays = \"often\"", "# When did you lie awake for long? `often` is not understood", "at = \"2026-11-25T07:50:00Z\"", "observed_kpa = 5.3", "sensor_temp_c = 42.0"] {
            assert!(night.notes.contains(line), "{line} is not in\n{}", night.notes);
        }
        // Neither diary nor referral told what was breathed: nothing is made up.
        assert!(!night.notes.contains("breathing"), "{}", night.notes);
        let outcome: Outcome = desk.store.read().await.unwrap().get(night.result.unwrap()).await.unwrap();
        let scores: serde_json::Value = serde_json::from_str(&outcome.scores).unwrap();
        assert_eq!(scores["correction"]["anchors"].as_array().unwrap().len(), 2);
        assert!(outcome.believed_h < 6.9, "{}", outcome.believed_h);
    }

    /// `PtXCO2` is no spelling of the trade: it is told before anything else that was noticed.
    async fn what_was_not_taken_is_told_on_receiving_with_its_weight(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let text = String::from_utf8(csv(evening(), 8)).unwrap().replace("tcPCO2", "PtXCO2");
        let received = receive(&desk.store, "TC-1042.csv", text.into_bytes()).await;
        assert!(received.noticed[0].starts_with("Serious: The column `PtXCO2 (kPa)` looks like tcPCO2"), "{:?}", received.noticed);
        let night = &received.nights[0];
        let outcome: Outcome = desk.store.read().await.unwrap().get(night.result.unwrap()).await.unwrap();
        assert!(outcome.scores.contains("tcpco2_not_taken") && !outcome.scores.contains("The recording has no tcPCO2"));
        // The same file under the trade's own word has its CO2, and nothing to tell.
        let right = String::from_utf8(csv(evening(), 8)).unwrap().replace("tcPCO2", "PtCO2");
        let read = engine::read::read(engine::read::Input { name: "n.csv", bytes: right.as_bytes(), companions: &[] }, &engine::read::ReadOptions::default()).unwrap();
        assert!(read.channel(engine::recording::Quantity::Tcpco2).is_some());
    }

    async fn a_night_scored_anew_keeps_the_result_before(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let night = receive(&desk.store, "TC-1042.csv", csv(evening(), 8)).await.nights.remove(0);
        let who = by(Role::Physiologist);
        let notes = format!("{}lights_out = \"23:00\"\nlights_on = \"05:00\"\n", night.notes.lines().next().unwrap().to_owned() + "\n");
        let anew = desk.store.rescore(&who, night.id, &notes, "adult-neuromuscular", "the lights were known").await.unwrap();
        assert_eq!(anew.criteria, "adult-neuromuscular");
        assert!(anew.believed_h <= 6.0);
        let all: Vec<Outcome> = desk.store.read().await.unwrap().find("ORDER BY id", &[]).await.unwrap();
        assert_eq!(all.len(), 2);
        let wrong = desk.store.rescore(&who, night.id, "lights_out = \"late\"", "adult-air", "x").await.unwrap_err();
        assert!(wrong.is("notes_wrong"), "{wrong}");
        let other = "lights_out = \"2026-11-20T23:00\"\nlights_on = \"2026-11-21T05:00\"\n";
        let wrong = desk.store.rescore(&who, night.id, other, "adult-air", "x").await.unwrap_err();
        assert!(wrong.is("notes_of_another_night") && wrong.to_string().contains("another night"), "{wrong}");
        let wrong = desk.store.rescore(&who, night.id, "", "no-such-set", "x").await.unwrap_err();
        assert!(wrong.is("criteria_unknown"), "{wrong}");
        sound(&desk.store).await;
    }

    async fn a_map_that_somebody_gave_is_kept_with_the_file_and_for_its_head(desk) {
        lent(&desk.store, 1, "TC-1042").await;
        let odd = |hours| String::from_utf8(csv(evening(), hours)).unwrap().replace("time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)", "when,A,B,C").into_bytes();
        let map = |quantity: &str| format!("[time]\ncolumns = [\"when\"]\ndate = \"2026-11-24\"\n[[column]]\ncolumn = \"A\"\nquantity = \"spo2\"\n[[column]]\ncolumn = \"{quantity}\"\nquantity = \"tcpco2\"\nunit = \"kPa\"\n");
        let with = |map: Option<String>| Incoming { name: "TC-1042.csv".to_owned(), bytes: odd(8), map, ..Incoming::default() };
        let who = by(Role::Desk);
        assert!(desk.store.receive(&who, with(None)).await.unwrap_err().is("not_understood"));
        assert!(desk.store.receive(&who, with(Some(map("B")))).await.unwrap_err().is("not_understood"));
        let night = desk.store.receive(&who, with(Some(map("C")))).await.unwrap().nights.remove(0);
        assert_eq!((night.status, night.result.is_some()), (NightStatus::Waiting, true));
        // The very same with the very same words is nothing new; the next of the head reads by itself.
        assert!(desk.store.receive(&who, with(Some(map("C")))).await.unwrap().again);
        let next = receive(&desk.store, "TC-1042b.csv", odd(7)).await;
        assert!(next.noticed.iter().any(|one| one.contains("tcPCO2 from `C` in kPa")), "{:?}", next.noticed);
        let mut conn = desk.store.read().await.unwrap();
        let all: Vec<Setting> = conn.find("", &[]).await.unwrap();
        let kept: Vec<&Setting> = all.iter().filter(|one| one.name.starts_with("columns:")).collect();
        assert!(kept.len() == 1 && !kept[0].value.contains("2026-11-24"), "{kept:?}");
        let own = all.iter().find(|one| one.name == format!("reading:{}", night.original)).unwrap();
        assert!(own.value.contains("2026-11-24"), "{own:?}");
        drop(conn);
        sound(&desk.store).await;
    }

    async fn a_file_that_is_no_night_is_refused_and_not_kept(desk) {
        let file = Incoming { name: "letter.csv".to_owned(), bytes: b"Dear colleague".to_vec(), ..Incoming::default() };
        let refused = desk.store.receive(&by(Role::Desk), file).await.unwrap_err();
        assert!(refused.is("not_understood"), "{refused}");
        assert_eq!(desk.store.head().await.unwrap().seq, 0);
    }
}
