//! An invented department for the tests of lending.

use jiff::civil::Date;
use store::lending::loan::LoanForm;
use store::lending::monitor::CheckForm;
use store::lending::monitor::ConsumableForm;
use store::lending::monitor::MonitorForm;
use store::lending::setting::DeskSettings;
use store::people::person::PersonForm;
use store::people::person::ReferralForm;
use store::record::act::Author;
use store::record::db::Store;
use store::record::tables::HandOut;
use store::record::tables::Monitor;
use store::record::tables::Study;
use store::record::tables::TakeBack;
use store::words::CheckWhen;
use store::words::Condition;
use store::words::ConsumableKind;
use store::words::Role;
use store::words::Skin;
use store::words::Urgency;

pub(crate) fn desk_clerk() -> Author {
    Author {
        login: "pillow".to_owned(),
        name: "Petra Pillow".to_owned(),
        role: Role::Desk,
        station: "test".to_owned(),
    }
}

pub(crate) fn day(text: &str) -> Date {
    text.parse().unwrap()
}

/// The `n`th invented patient with a study that waits for a night. Hospital numbers are of no hospital.
pub(crate) async fn study(store: &Store, n: usize) -> Study {
    let form = PersonForm {
        mrn: format!("LK{n:06}"),
        family: format!("Blanket{n}"),
        given: "Bea".to_owned(),
        born_on: "1960-01-31".to_owned(),
        ..PersonForm::default()
    };
    let person = store.add_person(&desk_clerk(), &form).await.unwrap();
    let referral = ReferralForm {
        person: person.id,
        asked_by: "Dr Duvet".to_owned(),
        received_on: "2026-11-20".to_owned(),
        question: "night_gas_exchange".to_owned(),
        words: String::new(),
        support: String::new(),
        urgency: Urgency::Routine,
        criteria: "adult-air".to_owned(),
    };
    store.add_referral(&desk_clerk(), referral).await.unwrap().1
}

/// A monitor that is clean, checked and free.
pub(crate) async fn ready(store: &Store, serial: &str) -> Monitor {
    let by = desk_clerk();
    let form = MonitorForm {
        serial: serial.to_owned(),
        kind: "ear sensor monitor".to_owned(),
        value_pence: 650_000,
        service_due_on: "2027-06-01".to_owned(),
        electrical_due_on: "2027-06-01".to_owned(),
        ..MonitorForm::default()
    };
    let monitor = store.add_monitor(&by, form).await.unwrap();
    let gas = ConsumableForm {
        kind: ConsumableKind::Gas,
        lot: format!("G-{serial}"),
        expires_on: "2027-01-31".to_owned(),
        received: 1,
        co2_percent: Some(5.0),
    };
    let gas = store.add_consumable(&by, gas).await.unwrap();
    store.connect_gas(&by, monitor.id, gas.id).await.unwrap();
    store.change_membrane(&by, monitor.id, None).await.unwrap();
    clean_and_check(store, monitor.id).await
}

pub(crate) async fn clean_and_check(store: &Store, monitor: i64) -> Monitor {
    store.clean(&desk_clerk(), monitor, "wiped", true).await.unwrap();
    store.check(&desk_clerk(), monitor, good_check()).await.unwrap()
}

pub(crate) fn good_check() -> CheckForm {
    CheckForm {
        made: CheckWhen::After,
        expected_kpa: Some(5.0),
        observed_kpa: Some(5.1),
        pressure_kpa: Some(101.3),
        clock_ahead_s: Some(3),
        parts: DeskSettings::default().parts,
        passed: true,
        note: String::new(),
    }
}

pub(crate) fn loan(study: &Study, first: &str, nights: i64) -> LoanForm {
    LoanForm {
        study: study.id,
        first_night_on: day(first),
        nights,
        monitor: None,
        repeats_night: None,
    }
}

pub(crate) fn full_hand_out() -> HandOut {
    HandOut {
        identified_by: vec!["name".to_owned(), "born_on".to_owned()],
        parts: DeskSettings::default().parts,
        fitting_shown: true,
        burn_warning_told: true,
        agreement_signed: true,
        longest_min: Some(480),
        takes_off: true,
        ..HandOut::default()
    }
}

pub(crate) fn good_return() -> TakeBack {
    TakeBack {
        place: "the desk".to_owned(),
        condition: Condition::Good,
        missing: Vec::new(),
        skin: Skin::Clear,
        clock_ahead_s: Some(0),
        note: None,
    }
}
