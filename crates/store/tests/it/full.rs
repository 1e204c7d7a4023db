//! A record with something in every table, all of it invented.

use store::record::act::Author;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::Account;
use store::record::tables::Chase;
use store::record::tables::Check;
use store::record::tables::Cleaning;
use store::record::tables::Consumable;
use store::record::tables::DiaryEntry;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::LoanNight;
use store::record::tables::Monitor;
use store::record::tables::Movement;
use store::record::tables::Night;
use store::record::tables::NotesVersion;
use store::record::tables::Original;
use store::record::tables::Outcome;
use store::record::tables::Pair;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::Report;
use store::record::tables::SecondReading;
use store::record::tables::SecondStep;
use store::record::tables::Setting;
use store::record::tables::Study;
use store::record::tables::TakeBack;
use store::record::tables::Tie;
use store::words::CheckWhen;
use store::words::Condition;
use store::words::ConsumableKind;
use store::words::Contact;
use store::words::Drawn;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::NightStatus;
use store::words::Representative;
use store::words::Role;
use store::words::Skin;
use store::words::StudyStatus;
use store::words::TieStatus;
use store::words::Urgency;

use crate::both::MORNING;

pub(crate) fn by(role: Role) -> Author {
    Author {
        login: role.text().to_owned(),
        name: format!("Some {role}"),
        role,
        station: "test".to_owned(),
    }
}

#[expect(clippy::unnecessary_wraps, reason = "short for what a field that may be empty holds")]
fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

pub(crate) fn person(mrn: &str, family: &str) -> Person {
    Person {
        id: 0,
        act: 0,
        mrn: mrn.to_owned(),
        nhs_number: None,
        family: family.to_owned(),
        given: "Quilla".to_owned(),
        born_on: "1961-04-05".to_owned(),
        telephone: some("01632 960000"),
        address: some("1 Blanket Row"),
        needs: some("large print"),
        voided_at: None,
        voided_because: None,
        same_as: None,
    }
}

pub(crate) fn referral(person: i64) -> Referral {
    Referral {
        id: 0,
        act: 0,
        person,
        asked_by: "Dr Night".to_owned(),
        received_on: "2026-11-20".to_owned(),
        question: "hypoventilation".to_owned(),
        words: some("wakes with headaches"),
        support: None,
        urgency: Urgency::Soon,
        criteria: "adult-air".to_owned(),
        voided_at: None,
        voided_because: None,
    }
}

pub(crate) fn study(person: i64, referral: i64) -> Study {
    Study { id: 0, act: 0, person, referral, status: StudyStatus::OnLoan, closed_because: None }
}

pub(crate) fn monitor(mark: &str, serial: &str) -> Monitor {
    Monitor {
        id: 0,
        act: 0,
        mark: mark.to_owned(),
        serial: serial.to_owned(),
        kind: "ear sensor monitor".to_owned(),
        value_pence: 900_000,
        bought_on: some("2024-01-01"),
        in_use_since_on: None,
        firmware: some("1.2"),
        service_due_on: some("2027-01-01"),
        electrical_due_on: None,
        membrane_on: some("2026-11-20"),
        gas: None,
        status: MonitorStatus::Back,
        because: None,
        loan: None,
        returned_at: Some(MORNING),
        cleaned_at: None,
        checked_at: None,
    }
}

/// A loan of one night, out at five in the afternoon and back at eight the next morning, UTC.
pub(crate) fn loan(mark: &str, study: &Study, monitor: i64) -> Loan {
    Loan {
        id: 0,
        act: 0,
        mark: mark.to_owned(),
        study: study.id,
        person: study.person,
        monitor,
        first_night_on: "2026-11-24".to_owned(),
        nights: 1,
        due_at: MORNING + 7200,
        status: LoanStatus::Back,
        booked_by: "desk".to_owned(),
        booked_at: MORNING - 100_000,
        out_at: Some(MORNING - 15 * 3600),
        out_by: some("desk"),
        out: Kept(Some(HandOut {
            sensor_temp_c: some("42"),
            note: some("daughter will help"),
            ..HandOut::default()
        })),
        back_at: Some(MORNING),
        back_by: some("desk"),
        back: Kept(Some(TakeBack {
            place: "desk".to_owned(),
            condition: Condition::Good,
            missing: vec!["one clip".to_owned()],
            skin: Skin::Red,
            clock_ahead_s: None,
            note: some("slept badly"),
        })),
        because: None,
        repeats_night: None,
        repeats_because: None,
    }
}

/// Fills every table by several acts. Everything belongs to the one person there is.
pub(crate) async fn fill(store: &Store) -> Person {
    let mut act = store.act(&Author::program(), "setting.put").await.unwrap();
    act.put(&mut Setting {
        id: 0,
        act: 0,
        name: "desk".to_owned(),
        value: "open".to_owned(),
        at: MORNING,
        who: "program".to_owned(),
    })
    .await
    .unwrap();
    act.put(&mut account()).await.unwrap();
    act.close().await.unwrap();

    let mut act = store.act(&by(Role::Desk), "person.put").await.unwrap();
    let mut someone = person("H1000", "Counterpane");
    act.put(&mut someone).await.unwrap();
    let mut asked = referral(someone.id);
    act.put(&mut asked).await.unwrap();
    let mut wanted = study(someone.id, asked.id);
    act.put(&mut wanted).await.unwrap();
    act.on("person 1", Some(someone.id));
    act.close().await.unwrap();

    let lent = lend(store, &wanted).await;
    read_night(store, &wanted, &lent).await;
    someone
}

fn account() -> Account {
    Account {
        id: 0,
        act: 0,
        login: "pillow".to_owned(),
        name: "Petra Pillow".to_owned(),
        role: Role::Desk,
        password: some("$argon2id$invented"),
        once_sha256: some("00"),
        once_until_at: Some(MORNING),
        once_by: some("matins"),
        once_seconded_by: some("command"),
        closed_at: None,
    }
}

async fn lend(store: &Store, wanted: &Study) -> Loan {
    let mut act = store.act(&by(Role::Desk), "loan.book").await.unwrap();
    let mut gas = Consumable {
        id: 0,
        act: 0,
        kind: ConsumableKind::Gas,
        lot: "G-7".to_owned(),
        expires_on: some("2027-06-01"),
        received: 1,
        co2_percent: Some(5.0),
        closed_at: None,
    };
    act.put(&mut gas).await.unwrap();
    let mut device = monitor("M-0001-X", "TC-1042");
    device.gas = Some(gas.id);
    act.put(&mut device).await.unwrap();
    let mut lent = loan("L-00001-X", wanted, device.id);
    act.put(&mut lent).await.unwrap();
    device.loan = Some(lent.id);
    act.put(&mut device).await.unwrap();
    let night_on = lent.first_night_on.clone();
    act.put(&mut LoanNight {
        id: 0,
        act: 0,
        loan: lent.id,
        monitor: device.id,
        night_on,
        freed: false,
    })
    .await
    .unwrap();
    act.on("loan 1", Some(wanted.person));
    act.close().await.unwrap();
    after_loan(store, &lent, gas.id).await;
    lent
}

async fn after_loan(store: &Store, lent: &Loan, gas: i64) {
    let (monitor, loan, who) = (lent.monitor, Some(lent.id), "desk".to_owned());
    let mut act = store.act(&by(Role::Desk), "loan.take_back").await.unwrap();
    act.put(&mut Movement {
        id: 0,
        act: 0,
        monitor,
        at: MORNING,
        who: who.clone(),
        before: MonitorStatus::Out,
        after: MonitorStatus::Back,
        loan,
        what: "handed in".to_owned(),
    })
    .await
    .unwrap();
    act.put(&mut Check {
        id: 0,
        act: 0,
        monitor,
        loan,
        at: MORNING - 54_000,
        who: who.clone(),
        made: CheckWhen::Before,
        gas: Some(gas),
        expected_kpa: Some(5.0),
        observed_kpa: Some(5.123_456_789_012_345),
        pressure_kpa: Some(101.3),
        clock_ahead_s: Some(2),
        parts: Kept(vec!["clips".to_owned()]),
        missing: Kept(Vec::new()),
        passed: true,
        note: some("fine"),
        voided_at: None,
        voided_by: None,
        voided_because: None,
    })
    .await
    .unwrap();
    let method = "wiped down".to_owned();
    let mut clean = Cleaning {
        id: 0,
        act: 0,
        monitor,
        loan,
        at: MORNING,
        who: who.clone(),
        method,
        wiped: true,
    };
    act.put(&mut clean).await.unwrap();
    let outcome = "will bring it at noon".to_owned();
    let how = Contact::Telephone;
    act.put(&mut Chase {
        id: 0,
        act: 0,
        loan: lent.id,
        at: MORNING,
        who: who.clone(),
        how,
        outcome,
    })
    .await
    .unwrap();
    act.put(&mut DiaryEntry {
        id: 0,
        act: 0,
        loan: lent.id,
        night_on: lent.first_night_on.clone(),
        lines: "up = 02:10".to_owned(),
        representative: Representative::Yes,
        at: MORNING,
        who,
        replaces: None,
    })
    .await
    .unwrap();
    act.on("loan 1", Some(lent.person));
    act.close().await.unwrap();
}

async fn read_night(store: &Store, wanted: &Study, lent: &Loan) {
    let mut act = store.act(&by(Role::Physiologist), "night.receive").await.unwrap();
    let sha256 = act.keep_bytes(b"time,SpO2 (%)\n").await.unwrap();
    let mut file = original(sha256);
    act.put(&mut file).await.unwrap();
    let mut night = Night {
        id: 0,
        act: 0,
        original: file.id,
        from_s: 0,
        to_s: 28_800,
        start_at: MORNING - 36_000,
        end_at: MORNING - 7_200,
        status: NightStatus::Signed,
        loan: Some(lent.id),
        person: Some(wanted.person),
        study: Some(wanted.id),
        doubts: Kept(Vec::new()),
        settled_by: None,
        settled_because: None,
        notes: "# her words".to_owned(),
        result: None,
        replaced_by: None,
    };
    act.put(&mut night).await.unwrap();
    act.put(&mut tie(&night, lent)).await.unwrap();
    act.on("night 1", Some(wanted.person));
    act.close().await.unwrap();

    let mut act = store.act(&by(Role::Physician), "report.sign").await.unwrap();
    let criteria = act.keep_bytes(criteria().whole.as_bytes()).await.unwrap();
    let mut outcome = outcome(night.id, criteria);
    act.put(&mut outcome).await.unwrap();
    act.put(&mut NotesVersion {
        id: 0,
        act: 0,
        night: night.id,
        text: "# her words".to_owned(),
        criteria: "adult-air".to_owned(),
        outcome: outcome.id,
        at: MORNING,
        who: "Some physiologist".to_owned(),
        what: "the night as it came".to_owned(),
        because: some("to begin with"),
        replaces: None,
        goes_to: None,
    })
    .await
    .unwrap();
    act.put(&mut second(&outcome)).await.unwrap();
    let pdf_sha256 = Some(act.keep_bytes(b"%PDF the signed paper").await.unwrap());
    act.put(&mut Report {
        id: 0,
        act: 0,
        night: night.id,
        version: 1,
        outcome: outcome.id,
        content: "{\"name\":\"Counterpane\"}".to_owned(),
        pdf_sha256,
        signed_by: some("physiologist"),
        signed_at: Some(MORNING),
        interpretation: some("as expected"),
        interpreted_by: some("physician"),
        interpreted_at: Some(MORNING),
        replaces: None,
        because: None,
        withdrawn_at: None,
    })
    .await
    .unwrap();
    act.on("report 1", Some(wanted.person));
    act.close().await.unwrap();
}

/// The night as two people tied it by hand.
fn tie(night: &Night, lent: &Loan) -> Tie {
    Tie {
        id: 0,
        act: 0,
        night: night.id,
        loan: lent.id,
        status: TieStatus::Tied,
        replaces: None,
        proposed_by: "physiologist".to_owned(),
        proposed_at: MORNING,
        because: "her sister told so".to_owned(),
        against: Kept(vec!["the file names another monitor".to_owned()]),
        open: Kept(Vec::new()),
        second_by: some("other"),
        second_at: Some(MORNING),
        second_because: some("told me too"),
        ended_by: None,
        ended_at: None,
        ended_because: None,
    }
}

fn original(sha256: String) -> Original {
    Original {
        id: 0,
        act: 0,
        sha256,
        name: "counterpane.csv".to_owned(),
        length: 14,
        format: "delimited text".to_owned(),
        serial: some("TC-1042"),
        received_at: MORNING,
        who: "desk".to_owned(),
        destroyed_at: None,
        destroyed_because: None,
    }
}

fn criteria() -> engine::criteria::Criteria {
    engine::criteria::shipped("adult-air").unwrap()
}

fn outcome(night: i64, criteria_sha256: String) -> Outcome {
    Outcome {
        id: 0,
        act: 0,
        night,
        at: MORNING,
        criteria: "adult-air".to_owned(),
        criteria_version: "1".to_owned(),
        criteria_sha256,
        engine: "matins".to_owned(),
        notes_sha256: "00".to_owned(),
        verdict: "sufficient".to_owned(),
        reason: some("enough of it is believed"),
        believed_h: 7.1 / 3.0,
        scores: "{}".to_owned(),
    }
}

/// A second reading of a night, finished. What was done in it is about a patient.
fn second(outcome: &Outcome) -> SecondReading {
    let step = SecondStep { text: "# his words".to_owned(), what: "excluded SpO2".to_owned() };
    SecondReading {
        id: 0,
        act: 0,
        night: outcome.night,
        how: Drawn::Hand,
        drawn_by: "physiologist".to_owned(),
        drawn_at: MORNING,
        draw: Kept(None),
        reader: some("other"),
        begun_at: Some(MORNING),
        seen_before: 0,
        criteria_sha256: Some(outcome.criteria_sha256.clone()),
        steps: Kept(vec![step]),
        here: 0,
        verdict: some("partial"),
        scores: "{\"his\":1}".to_owned(),
        before: String::new(),
        finished_at: Some(MORNING),
        pair: Kept(Some(Pair { first: outcome.id, ..Pair::default() })),
        withdrawn_at: None,
        withdrawn_because: None,
    }
}
