//! Somebody with a loan, for tests and the example that show how a night is read. Everybody is invented.

use engine::time::zone_named;
use store::error::Result;
use store::record::act::Author;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::HandOut;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::Study;
use store::when::local_date;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::StudyStatus;
use store::words::Urgency;

/// A person, what was asked about them, and a loan that was out from before `start` until after the night.
pub(crate) async fn lend(
    store: &Store,
    n: i64,
    (family, given): (&str, &str),
    start: i64,
) -> Result<()> {
    let zone = zone_named("Europe/London").unwrap_or(jiff::tz::TimeZone::UTC);
    let mut act = store.act(&Author::program(), "loan.book").await?;
    let mut person = Person {
        id: 0,
        act: 0,
        mrn: format!("LM 000 00{n}"),
        nhs_number: None,
        family: family.to_owned(),
        given: given.to_owned(),
        born_on: format!("19{}-0{n}-1{n}", 50 + n * 4),
        telephone: None,
        address: None,
        needs: None,
        voided_at: None,
        voided_because: None,
        same_as: None,
    };
    act.put(&mut person).await?;
    let mut asked = referral(n, person.id);
    act.put(&mut asked).await?;
    let mut study = Study {
        id: 0,
        act: 0,
        person: person.id,
        referral: asked.id,
        status: StudyStatus::OnLoan,
        closed_because: None,
    };
    act.put(&mut study).await?;
    let mut monitor = monitor(n);
    act.put(&mut monitor).await?;
    let mut loan = Loan {
        id: 0,
        act: 0,
        mark: format!("L-0000{n}-X"),
        study: study.id,
        person: person.id,
        monitor: monitor.id,
        first_night_on: local_date(start, &zone).to_string(),
        nights: 1,
        due_at: start + 50_000,
        status: LoanStatus::Back,
        booked_by: "pillow".to_owned(),
        booked_at: start - 900_000,
        out_at: Some(start - 20_000),
        out_by: Some("pillow".to_owned()),
        out: Kept(Some(HandOut::default())),
        back_at: Some(start + 45_000),
        back_by: Some("pillow".to_owned()),
        back: Kept(None),
        because: None,
        repeats_night: None,
        repeats_because: None,
    };
    act.put(&mut loan).await?;
    act.close().await.map(|_| ())
}

fn referral(n: i64, person: i64) -> Referral {
    let questions = ["", "hypoventilation"];
    Referral {
        id: 0,
        act: 0,
        person,
        asked_by: "Dr T. Quillfeather".to_owned(),
        received_on: "2026-01-02".to_owned(),
        question: questions[usize::from(n % 2 == 0)].to_owned(),
        words: Some("morning headaches; breathing support considered".to_owned()),
        support: None,
        urgency: if n == 2 { Urgency::Urgent } else { Urgency::Routine },
        criteria: "adult-air".to_owned(),
        voided_at: None,
        voided_because: None,
    }
}

fn monitor(n: i64) -> Monitor {
    Monitor {
        id: 0,
        act: 0,
        mark: format!("M-000{n}-X"),
        serial: format!("TC-100{n}"),
        kind: "ear sensor monitor".to_owned(),
        value_pence: 680_000,
        bought_on: None,
        in_use_since_on: None,
        firmware: None,
        service_due_on: Some("2027-06-01".to_owned()),
        electrical_due_on: None,
        membrane_on: None,
        gas: None,
        status: MonitorStatus::Back,
        because: None,
        loan: None,
        returned_at: None,
        cleaned_at: None,
        checked_at: None,
    }
}
