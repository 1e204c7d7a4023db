//! The desk's pages: this morning, the calendar, people, loans, monitors and lots.

mod calendar;
mod columns;
mod diary;
mod loans;
mod lots;
mod monitors;
mod morning;
mod nights;
mod papers;
mod people;
mod receive;
mod rows;
mod settle;

use askama::Template;
use store::error::StoreError;

use crate::form::Form;
use crate::routes::Routes;
use crate::typed::Typed;

/// A page that is one form.
#[derive(Debug, Template)]
#[template(path = "desk/titled.html")]
pub(crate) struct Titled {
    title: String,
    words: String,
    form: Form,
    /// HTML that follows the form.
    after: String,
}

impl Titled {
    /// A page of one form.
    pub(crate) fn new(title: &str, words: &str, form: Form) -> Self {
        Self { title: title.to_owned(), words: words.to_owned(), form, after: String::new() }
    }
}

/// Something that can be done on a page, folded away until it is wanted.
#[derive(Debug)]
struct Act {
    /// Last part of its address.
    name: &'static str,
    title: &'static str,
    form: Form,
    open: bool,
}

impl Act {
    fn new(name: &'static str, title: &'static str, form: Form) -> Self {
        Self { name, title, form, open: false }
    }
}

/// Puts what was typed and what was refused back into the form of the act it was sent to; `at` says which
/// refusal stands at which field.
fn refill(
    acts: &mut [Act],
    name: &str,
    typed: &Typed,
    error: StoreError,
    at: &[(&str, &str)],
) -> Result<(), StoreError> {
    match acts.iter_mut().find(|act| act.name == name) {
        Some(act) => {
            act.form = act.form.clone().filled(typed);
            act.form.refused(error, at)
        }
        None => Err(error),
    }
}

/// The desk's routes.
pub(crate) fn routes() -> Routes {
    Routes::new()
        .get("/morning", morning::morning)
        .get("/calendar", calendar::calendar)
        .get("/people", people::people)
        .post("/people", people::find)
        .get("/people/new", people::new)
        .post("/people/new", people::enter)
        .get("/people/{id}", people::person)
        .get("/people/{id}/edit", people::edit)
        .post("/people/{id}/edit", people::correct)
        .post("/people/{id}/void", people::void)
        .post("/people/{id}/restore", people::restore)
        .get("/people/{id}/refer", people::refer)
        .post("/people/{id}/refer", people::enter_referral)
        .get("/studies/{id}/book", loans::booking)
        .post("/studies/{id}/book", loans::book)
        .get("/receive", receive::receiving)
        .upload("/receive", receive::receive)
        .post("/receive/columns", columns::told)
        .and(settle::routes())
        .and(loan_routes())
        .and(monitor_routes())
}

fn loan_routes() -> Routes {
    Routes::new()
        .get("/loans/{id}", loans::loan)
        .get("/loans/{id}/hand-out", loans::handing_out)
        .post("/loans/{id}/hand-out", loans::hand_out)
        .get("/loans/{id}/take-back", loans::taking_back)
        .post("/loans/{id}/take-back", loans::take_back)
        .post("/loans/{id}/set-aside", loans::set_aside)
        .post("/loans/{id}/exchange", loans::exchange)
        .post("/loans/{id}/cancel", loans::cancel)
        .post("/loans/{id}/extend", loans::extend)
        .post("/loans/{id}/chase", loans::chase)
        .post("/loans/{id}/give-up", loans::give_up)
        .get("/loans/{id}/diary", diary::diary)
        .post("/loans/{id}/diary", diary::enter)
        .get("/loans/{id}/leaflet.pdf", papers::leaflet)
        .get("/loans/{id}/sheet.pdf", papers::sheet)
        .get("/loans/{id}/letter.pdf", papers::letter)
}

fn monitor_routes() -> Routes {
    Routes::new()
        .get("/monitors", monitors::monitors)
        .get("/monitors/new", monitors::new)
        .post("/monitors/new", monitors::enter)
        .get("/monitors/{id}", monitors::monitor)
        .post("/monitors/{id}/to-cleaning", monitors::to_cleaning)
        .post("/monitors/{id}/clean", monitors::clean)
        .post("/monitors/{id}/check", monitors::check)
        .post("/monitors/{id}/membrane", monitors::membrane)
        .post("/monitors/{id}/gas", monitors::gas)
        .post("/monitors/{id}/serviced", monitors::serviced)
        .post("/monitors/{id}/move", monitors::moved)
        .post("/checks/{id}/void", monitors::void)
        .get("/cleanings/{id}/record.pdf", papers::cleaning)
        .get("/labels.pdf", papers::labels)
        .get("/lots", lots::lots)
        .post("/lots", lots::enter)
        .post("/lots/{id}/close", lots::close)
}
