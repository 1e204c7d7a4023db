//! The patient's diary, copied from paper.

use axum::extract::Path;
use engine::notes::diary::QUESTIONS;
use engine::notes::diary::Takes;
use serde_json::json;
use store::lending::diary::DiaryForm;
use store::lending::loan::evenings;
use store::record::tables::Loan;
use store::record::tables::Person;

use super::Titled;
use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

async fn form(visit: &Visit, id: i64) -> Result<(Loan, Form), Trouble> {
    let mut conn = visit.app.store().read().await?;
    let loan: Loan = conn.get(id).await?;
    let kept = conn.diary(id).await?;
    let nights: Vec<(String, String)> = evenings(loan.first_night()?, loan.nights)
        .iter()
        .map(|night| (night.to_string(), night.to_string()))
        .collect();
    let last = kept.last();
    let night = last.map_or_else(|| loan.first_night_on.clone(), |entry| entry.night_on.clone());
    let answers: Vec<&str> =
        last.map(|entry| entry.lines.split('\n').collect()).unwrap_or_default();
    let mut form = visit
        .form(
            format!("/loans/{id}/diary"),
            if last.is_some() { "Correct the diary" } else { "Enter the diary" },
        )
        .field(Field::menu("night_on", "The night of", nights).needed().value(night));
    for (at, question) in QUESTIONS.iter().enumerate() {
        let hint = match question.takes {
            Takes::Spans(_) => format!("Times from-to, with commas between: {}", question.example),
            _ => format!("For instance {}", question.example),
        };
        let answer = answers.get(at).copied().unwrap_or_default();
        form = form.field(Field::text(question.key, question.asks).hint(hint).value(answer));
    }
    Ok((loan, form.back(format!("/loans/{id}"), "Not now")))
}

/// `GET /loans/{id}/diary`.
pub(crate) async fn diary(visit: Visit, Path(id): Path<i64>) -> Answer {
    let (loan, form) = form(&visit, id).await?;
    visit.looks(format!("loan {id}"), Some(loan.person), json!({"paper": "diary"}));
    visit.page("Diary", &page(&visit, &loan, form).await?)
}

/// `POST /loans/{id}/diary`.
pub(crate) async fn enter(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let (loan, form) = form(&visit, id).await?;
    let mut form = form.filled(&typed).checked();
    if !form.has_faults() {
        let answers = QUESTIONS.iter().map(|question| typed.get(question.key).to_owned()).collect();
        let diary = DiaryForm { night_on: typed.get("night_on").to_owned(), answers };
        let at: Vec<(&str, &str)> =
            QUESTIONS.iter().map(|question| (question.key, question.key)).collect();
        match visit.app.store().enter_diary(&visit.author(), id, &diary).await {
            Ok(entry) => {
                let told = visit.app.store().read().await?.diary_says(&entry).await?;
                let said = std::iter::once("The diary is in the record.".to_owned());
                let said: Vec<String> = said.chain(told.iter().map(|one| sentence(one))).collect();
                return Ok(visit.done(&said.join(" "), &format!("/loans/{id}")));
            }
            Err(error) => form.refused(error, &at)?,
        }
    }
    visit.again("Diary", &page(&visit, &loan, form).await?)
}

async fn page(visit: &Visit, loan: &Loan, form: Form) -> Result<Titled, Trouble> {
    let person: Person = visit.app.store().read().await?.get(loan.person).await?;
    let words = "Copy what the patient wrote; leave empty what they left empty. A correction keeps the entry before it.";
    Ok(Titled::new(&format!("Diary of {}", person.listed()), words, form))
}
