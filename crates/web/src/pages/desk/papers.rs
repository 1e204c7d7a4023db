//! Papers of the desk as PDF: labels, leaflet with diary, hand-out sheet, record of cleaning, letters.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use jiff::civil::Date;
use serde_json::json;
use store::lending::setting::DeskSettings;
use store::record::db::Conn;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Person;
use store::when;
use store::words::LoanStatus;

use crate::page::Answer;
use crate::page::Trouble;
use crate::printer::Cleaning;
use crate::printer::HandOut;
use crate::printer::Label;
use crate::printer::Leaflet;
use crate::printer::Letter;
use crate::printer::Paper;
use crate::printer::Worn;
use crate::typed::Typed;
use crate::visit::Visit;

/// `GET /labels.pdf`: of one monitor, or of all that are not retired.
pub(crate) async fn labels(visit: Visit, typed: Typed) -> Answer {
    let mut conn = visit.app.store().read().await?;
    let desk = conn.desk_settings().await?;
    let monitors: Vec<Monitor> = match typed.number("monitor") {
        Some(id) => vec![conn.get(id).await?],
        None => conn.monitors_kept().await?,
    };
    drop(conn);
    let label = |monitor: Monitor| Label { mark: monitor.mark, line: monitor.kind };
    print(&visit, Paper::Labels(monitors.into_iter().map(label).collect()), desk, "labels").await
}

/// How long the sensor of a loan may stay at one place, and from when it is put on: as typed, as told at the
/// hand-out, or as the department has set it. No paper is printed with a blank for it.
fn worn(desk: &DeskSettings, loan: &Loan, typed: &Typed) -> Result<Worn, Trouble> {
    let hours = typed.get("hours").replace(',', ".");
    let asked = match hours.parse::<f64>() {
        Ok(hours) if hours.is_finite() => Some(minutes(hours)),
        _ if hours.is_empty() => loan.out.0.as_ref().and_then(|out| out.longest_min),
        _ => return Err(Trouble::not_understood("The hours at one place are not a number.")),
    };
    let from = match typed.get("from") {
        "" => desk.put_on_from(),
        from => from.parse().map_err(|_| {
            Trouble::not_understood("The time it is put on from is no time of day.")
        })?,
    };
    Ok(Worn { minutes: desk.worn_min(asked)?, from })
}

/// Whole minutes of hours as somebody types them, rounded down.
#[expect(
    clippy::cast_possible_truncation,
    reason = "held between nothing and two days before it is cut"
)]
pub(super) fn minutes(hours: f64) -> i64 {
    (hours.clamp(0.0, 48.0) * 60.0).floor() as i64
}

/// `GET /loans/{id}/leaflet.pdf`, in large print with `?print=large`; `hours` and `from` say for this loan how long
/// the sensor may stay at one place and from when it is put on.
pub(crate) async fn leaflet(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let mut conn = visit.app.store().read().await?;
    let desk = conn.desk_settings().await?;
    let loan: Loan = conn.get(id).await?;
    let text = own_text(&mut conn, "leaflet").await?;
    drop(conn);
    let paper = Leaflet {
        text,
        return_by: spoken(&desk, loan.due_at),
        worn: worn(&desk, &loan, &typed)?,
        loan: loan.mark,
        large: typed.get("print") == "large",
    };
    print(&visit, Paper::Leaflet(paper), desk, "leaflet").await
}

/// `GET /loans/{id}/sheet.pdf`: the hand-out sheet the borrower signs.
pub(crate) async fn sheet(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let desk = conn.desk_settings().await?;
    let loan: Loan = conn.get(id).await?;
    let person: Person = conn.get(loan.person).await?;
    let monitor: Monitor = conn.get(loan.monitor).await?;
    let text = own_text(&mut conn, "handout").await?;
    drop(conn);
    visit.looks(format!("loan {id}"), Some(loan.person), json!({"paper": "sheet"}));
    let slot = |label: &str, words: String| (label.to_owned(), words);
    let paper = HandOut {
        text,
        patient: vec![
            slot("Name", person.listed()),
            slot("Date of birth", person.born_on.clone()),
            slot("Hospital number", person.mrn.clone()),
        ],
        lent_on: loan.out_at.map_or_else(String::new, |at| spoken(&desk, at)),
        return_by: spoken(&desk, loan.due_at),
        worn: worn(&desk, &loan, &typed)?,
        carer: loan.out.0.as_ref().and_then(|out| out.carer.clone()).unwrap_or_default(),
        loan: loan.mark,
        monitor: monitor.kind,
        mark: monitor.mark,
        lent_by: loan.out_by.unwrap_or_default(),
    };
    print(&visit, Paper::HandOut(paper), desk, "hand-out-sheet").await
}

/// `GET /loans/{id}/letter.pdf?letter=overdue`.
pub(crate) async fn letter(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let desk = conn.desk_settings().await?;
    let loan: Loan = conn.get(id).await?;
    let person: Person = conn.get(loan.person).await?;
    let text = own_text(&mut conn, "letters").await?;
    let chases = conn.chases(id).await?;
    drop(conn);
    let kind = typed.get("letter").to_owned();
    let is_late = store::lending::desk::is_late(&loan, store.now(), &desk);
    may_be_sent(&loan, &kind, is_late, store::lending::desk::was_written_to(&loan, &chases))?;
    visit.looks(format!("loan {id}"), Some(loan.person), json!({"paper": kind}));
    let name = format!("{} {}", person.given, person.family);
    let address = person.address.unwrap_or_default();
    let paper = Letter {
        id: kind,
        text,
        to: std::iter::once(name.clone()).chain(address.lines().map(str::to_owned)).collect(),
        date: spoken_day(&desk, store.now()),
        salutation: format!("Dear {name}"),
        lent_on: loan.out_at.map_or_else(String::new, |at| spoken_day(&desk, at)),
        first_night: when::date(&loan.first_night_on).map(day_words).unwrap_or_default(),
        return_by: spoken(&desk, loan.due_at),
        loan: loan.mark,
        signed: vec![visit.author().name, desk.department.clone()],
    };
    print(&visit, Paper::Letter(paper), desk, "letter").await
}

/// A letter is printed only while what it says is so: nobody is asked for a monitor that was given up, cancelled or
/// brought back, or is not due yet, nor told of a letter that was not written.
fn may_be_sent(
    loan: &Loan,
    letter: &str,
    is_late: bool,
    was_written_to: bool,
) -> Result<(), Trouble> {
    let (is, hint) = match (letter, loan.status) {
        ("overdue" | "overdue-again", LoanStatus::Out) if !is_late => {
            ("not overdue".to_owned(), "Print it when the time it is due back has passed.")
        }
        ("overdue-again", LoanStatus::Out) if !was_written_to => {
            let hint =
                "Send the first reminder, and write it down on the loan as a word by letter.";
            ("without a first reminder by letter since it was due".to_owned(), hint)
        }
        ("repeat", LoanStatus::Booked) | ("overdue" | "overdue-again", LoanStatus::Out) => {
            return Ok(());
        }
        ("repeat" | "overdue" | "overdue-again", status) => (status.to_string(), ""),
        _ => return Ok(()),
    };
    let says =
        format!("Loan {} is {is}: this letter would say something that is not so.", loan.mark);
    let hints = (!hint.is_empty()).then(|| hint.to_owned()).into_iter().collect();
    Err(Trouble { says: vec![says], hints, ..Trouble::refused(&[]) })
}

/// `GET /cleanings/{id}/record.pdf`: the record of decontamination.
pub(crate) async fn cleaning(visit: Visit, Path(id): Path<i64>) -> Answer {
    let mut conn = visit.app.store().read().await?;
    let desk = conn.desk_settings().await?;
    let row: store::record::tables::Cleaning = conn.get(id).await?;
    let monitor: Monitor = conn.get(row.monitor).await?;
    let Some(loan) = row.loan else {
        return Err(Trouble::not_found());
    };
    let loan: Loan = conn.get(loan).await?;
    drop(conn);
    let paper = Cleaning {
        mark: monitor.mark,
        monitor: monitor.kind,
        serial: monitor.serial,
        loan: loan.mark,
        loan_ended: loan.back_at.map_or_else(String::new, |at| spoken(&desk, at)),
        method: row.method,
        cleaned_by: row.who,
        cleaned_at: spoken(&desk, row.at),
    };
    print(&visit, Paper::Cleaning(paper), desk, "cleaning").await
}

/// The department's own words for a paper, if it set any.
async fn own_text(conn: &mut Conn, name: &str) -> Result<Option<String>, Trouble> {
    let kept = conn.setting(name).await?;
    Ok(kept.map(|kept| kept.value).filter(|text| !text.trim().is_empty()))
}

async fn print(visit: &Visit, paper: Paper, desk: DeskSettings, name: &str) -> Answer {
    let app = visit.app.clone();
    // Setting a page takes tens of milliseconds: not on a thread that serves others.
    let made = tokio::task::spawn_blocking(move || app.printer().print(&paper, &desk)).await;
    match made.map_err(|error| Trouble::broken(error.to_string()))? {
        Ok(bytes) => Ok(inline(name, bytes)),
        Err(says) => Err(Trouble {
            status: StatusCode::CONFLICT,
            says: vec![crate::form::sentence(&says)],
            ..Trouble::refused(&[])
        }),
    }
}

/// A PDF that the browser opens and prints.
fn inline(name: &str, bytes: Vec<u8>) -> Response {
    let disposition = format!("inline; filename=\"{name}.pdf\"");
    (
        [
            (header::CONTENT_TYPE, "application/pdf".to_owned()),
            (header::CONTENT_DISPOSITION, disposition),
        ],
        bytes,
    )
        .into_response()
}

/// `Thursday 26 November, 10:00` of an instant.
fn spoken(desk: &DeskSettings, at_s: i64) -> String {
    let minute = when::local_minute(at_s, &desk.zone());
    format!("{}, {}", spoken_day(desk, at_s), minute.get(11..).unwrap_or_default())
}

fn spoken_day(desk: &DeskSettings, at_s: i64) -> String {
    day_words(when::local_date(at_s, &desk.zone()))
}

/// `Thursday 26 November`.
fn day_words(day: Date) -> String {
    const DAYS: [&str; 7] =
        ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let weekday = usize::try_from(day.weekday().to_monday_zero_offset()).unwrap_or(0);
    let month = usize::try_from(day.month() - 1).unwrap_or(0);
    format!("{} {} {}", DAYS[weekday], day.day(), MONTHS[month])
}
