//! Another night in place of this one: a booking with its reason, and the letter to the patient.

use axum::extract::Path;
use engine::judge::Decision;
use jiff::civil::Date;
use store::lending::desk::NightCount;
use store::reading::repeat::Again;
use store::record::db::Conn;
use store::record::tables::Loan;
use store::record::tables::Night;
use store::record::tables::Person;
use store::when;

use super::Reading;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::pages::desk::Titled;
use crate::typed::Typed;
use crate::visit::Visit;

/// How far ahead a free night is looked for, nights.
const AHEAD: i64 = 28;

/// What the night's page offers: the loan that repeats it, or the form for one.
pub(super) enum Offer {
    /// It is being repeated: the loan's number and its words.
    Booked(i64, String),
    /// It can be, and should be.
    Form(Form),
    /// It can be, on a page of its own.
    Page,
    /// It is not for whoever asks, or belongs to nobody.
    Nothing,
}

impl Offer {
    /// Whether another night can be booked.
    pub(super) fn is_open(&self) -> bool {
        matches!(self, Self::Form(_) | Self::Page)
    }
}

/// What is offered for a night.
pub(super) async fn offer(
    visit: &Visit,
    conn: &mut Conn,
    reading: &Reading,
) -> Result<Offer, Trouble> {
    let night = &reading.night;
    if let Some(loan) = conn.repeats(night.id).await? {
        return Ok(Offer::Booked(loan.id, says(&loan)));
    }
    if night.study.is_none() || !visit.may(Right::Read) || !visit.may(Right::Lend) {
        return Ok(Offer::Nothing);
    }
    // Every edit asks: the calendar is looked at only where the form is shown.
    if reading.opened.report.decision != Decision::Repeat {
        return Ok(Offer::Page);
    }
    Ok(Offer::Form(blank(visit, conn, reading).await?))
}

/// The form as it is first shown.
async fn blank(visit: &Visit, conn: &mut Conn, reading: &Reading) -> Result<Form, Trouble> {
    let now = visit.app.store().now();
    let tomorrow = when::days_later(when::local_date(now, &visit.department.zone), 1);
    let free = conn.calendar(tomorrow, AHEAD, now).await?.nights;
    let first = first_free(&free).unwrap_or(tomorrow);
    Ok(form(visit, &reading.night, first, &why(reading)))
}

/// Why, in words that the desk may read: of the recording, no findings.
fn why(reading: &Reading) -> String {
    let causes = engine::judge::causes(&reading.opened.judgement.verdict.reasons);
    causes.into_iter().map(engine::judge::Cause::words).collect::<Vec<_>>().join("; ")
}

/// The first night on which a monitor is free.
fn first_free(nights: &[NightCount]) -> Option<Date> {
    nights.iter().find(|night| night.free > 0).map(|night| night.night_on)
}

fn says(loan: &Loan) -> String {
    format!("loan {}, first night {}, {}", loan.mark, loan.first_night_on, loan.status)
}

fn form(visit: &Visit, night: &Night, first: Date, why: &str) -> Form {
    visit
        .form(format!("/nights/{}/repeat", night.id), "Book another night")
        .field(Field::hidden("seen", night.act.to_string()))
        .field(Field::date("first_night_on", "First night").needed().value(first.to_string()))
        .field(Field::number("nights", "Nights", "1").needed().value("1").with("min", "1"))
        .field(Field::lines("reason", "Why, for the desk: no findings", 2).needed().value(why))
}

/// `GET /nights/{id}/repeat`.
pub(super) async fn page(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let (form, title) = asked(&visit, &reading).await?;
    visit.page("Another night", &Titled::new(&title, "", form))
}

async fn asked(visit: &Visit, reading: &Reading) -> Result<(Form, String), Trouble> {
    let mut conn = visit.app.store().read().await?;
    let title = format!("Another night for {}", Person::listed(&reading.person));
    let form = match offer(visit, &mut conn, reading).await? {
        Offer::Form(form) => form,
        Offer::Page => blank(visit, &mut conn, reading).await?,
        Offer::Booked(_, says) => {
            return Err(Trouble {
                says: vec![format!("This night is being repeated already: {says}.")],
                ..Trouble::refused(&[])
            });
        }
        Offer::Nothing => return Err(Trouble::forbidden()),
    };
    Ok((form.back(format!("/nights/{}", reading.night.id), "Not now"), title))
}

/// `POST /nights/{id}/repeat`.
pub(super) async fn repeat(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let (form, title) = asked(&visit, &reading).await?;
    let mut form = form.filled(&typed).checked();
    let first = when::date(typed.get("first_night_on"));
    if let (Some(first_night_on), Some(nights), false) =
        (first, typed.number("nights"), form.has_faults())
    {
        let reason = typed.get("reason").to_owned();
        let again = Again { first_night_on, nights, monitor: None, reason };
        let seen = typed.number("seen").unwrap_or(0);
        match visit.app.store().repeat_night(&visit.author(), id, seen, again).await {
            Ok(loan) => {
                let words =
                    format!("Booked: {}. The letter to the patient stands below.", says(&loan));
                return Ok(visit.done(&words, &format!("/loans/{}", loan.id)));
            }
            Err(error) => {
                let at = [("nights_wrong", "nights"), ("nights_past", "first_night_on")];
                form.refused(error, &[at[0], at[1], ("reason_missing", "reason")])?;
            }
        }
    }
    visit.again("Another night", &Titled::new(&title, "", form))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_night_with_a_monitor_is_offered() {
        let night = |day: i8, free: usize| NightCount {
            night_on: jiff::civil::date(2026, 12, day),
            taken: 0,
            free,
        };
        let nights = [night(1, 0), night(2, 1), night(3, 4)];
        assert_eq!(first_free(&nights), Some(jiff::civil::date(2026, 12, 2)));
        assert_eq!(first_free(&nights[..1]), None);
    }
}
