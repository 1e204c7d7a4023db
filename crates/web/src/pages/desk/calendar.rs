//! The booking calendar: monitors by nights.

use askama::Template;
use jiff::civil::Date;
use serde_json::json;
use store::lending::desk::Calendar;
use store::when;

use super::rows::weekday;
use crate::access::Right;
use crate::mark::Mark;
use crate::page::Answer;
use crate::typed::Typed;
use crate::visit::Visit;

/// Nights on one page.
const SHOWN: i64 = 14;

#[derive(Debug, Template)]
#[template(path = "desk/calendar.html")]
struct Page {
    before: String,
    after: String,
    nights: Vec<Night>,
    rows: Vec<Row>,
}

/// One night and what is free in it.
#[derive(Debug)]
pub(super) struct Night {
    pub(super) weekday: &'static str,
    pub(super) day: String,
    pub(super) free: usize,
    pub(super) today: bool,
}

#[derive(Debug)]
struct Row {
    id: i64,
    name: String,
    mark: Mark,
    cells: Vec<Cell>,
}

/// Neighbouring nights of one loan, or one night that is free.
#[derive(Debug, Default, PartialEq, Eq)]
struct Cell {
    loan: i64,
    span: usize,
    status: &'static str,
    who: String,
    says: String,
}

/// `GET /calendar`.
pub(crate) async fn calendar(visit: Visit, typed: Typed) -> Answer {
    let store = visit.app.store();
    let today = when::local_date(store.now(), &visit.department.zone);
    let from = when::date(typed.get("from")).unwrap_or(today);
    let calendar = store.read().await?.calendar(from, SHOWN, store.now()).await?;
    let loans: Vec<&i64> = calendar.loans.keys().collect();
    visit.looks("calendar", None, json!({"from": from.to_string(), "loans": loans}));
    let page = Page {
        before: when::days_later(from, -SHOWN).to_string(),
        after: when::days_later(from, SHOWN).to_string(),
        nights: nights(&calendar, today),
        rows: rows(&visit, &calendar),
    };
    visit.page("Calendar", &page)
}

/// The nights with what is free in them.
pub(super) fn nights(calendar: &Calendar, today: Date) -> Vec<Night> {
    let night = |night: &store::lending::desk::NightCount| Night {
        weekday: weekday(night.night_on),
        day: night.night_on.strftime("%-d %b").to_string(),
        free: night.free,
        today: night.night_on == today,
    };
    calendar.nights.iter().map(night).collect()
}

fn rows(visit: &Visit, calendar: &Calendar) -> Vec<Row> {
    let sees = visit.may(Right::SeePeople);
    let row = |(monitor, nights): &(
        store::record::tables::Monitor,
        Vec<Option<store::record::tables::LoanNight>>,
    )| {
        let mut cells: Vec<Cell> = Vec::new();
        for night in nights {
            let loan = night.as_ref().map_or(0, |night| night.loan);
            match cells.last_mut() {
                Some(last) if loan > 0 && last.loan == loan => last.span += 1,
                _ => cells.push(cell(calendar, loan, sees)),
            }
        }
        Row { id: monitor.id, name: monitor.mark.clone(), mark: monitor.status.into(), cells }
    };
    calendar.rows.iter().map(row).collect()
}

fn cell(calendar: &Calendar, loan: i64, sees: bool) -> Cell {
    let Some(line) = calendar.loans.get(&loan) else { return Cell { span: 1, ..Cell::default() } };
    Cell {
        loan,
        span: 1,
        status: line.loan.status.text(),
        who: if sees { line.person.family.clone() } else { line.loan.mark.clone() },
        says: format!("{}, {}", line.loan.mark, line.loan.status),
    }
}
