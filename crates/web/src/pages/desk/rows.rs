//! Rows and words that several of the desk's pages show.

use askama::Template;
use store::lending::desk::LoanLine;
use store::lending::desk::Rung;
use store::lending::setting::DeskSettings;
use store::record::tables::Movement;
use store::words::LoanStatus;

use crate::access::Right;
use crate::mark::Mark;
use crate::visit::Visit;

/// A table of loans.
#[derive(Debug, Template)]
#[template(path = "desk/loans.html")]
pub(crate) struct LoanTable {
    pub(crate) rows: Vec<LoanRow>,
    /// What stands there when there is none.
    pub(crate) empty: &'static str,
    /// Heading of the last column.
    pub(crate) last: &'static str,
}

/// One loan as a row.
#[derive(Debug)]
pub(crate) struct LoanRow {
    /// 0 when whoever looks may not see people.
    pub(crate) person: i64,
    pub(crate) name: String,
    pub(crate) born: String,
    pub(crate) monitor: i64,
    pub(crate) monitor_mark: String,
    pub(crate) loan: i64,
    pub(crate) loan_mark: String,
    pub(crate) when: String,
    pub(crate) mark: Option<Mark>,
    pub(crate) remark: String,
    pub(crate) act_href: String,
    pub(crate) act_says: &'static str,
}

/// What a row offers to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Offer {
    /// Nothing; where the loan stands is shown.
    Stands,
    HandOut,
    TakeBack,
    /// The page where its night is taken in.
    Receive,
    /// The loan's page.
    Loan,
}

impl LoanRow {
    /// A row that offers something, to whom may do it.
    pub(crate) fn new(visit: &Visit, line: &LoanLine, offer: Offer) -> Self {
        let (loan, id) = (&line.loan, line.loan.id);
        let may = visit.may(Right::Lend);
        let sees = visit.may(Right::SeePeople);
        let (act_href, act_says) = match offer {
            Offer::HandOut if may => (format!("/loans/{id}/hand-out"), "Hand out"),
            Offer::TakeBack if may => (format!("/loans/{id}/take-back"), "Take back"),
            Offer::Receive if may => {
                (format!("/receive?monitor={}", line.monitor.id), "Take off the night")
            }
            Offer::Loan if may => (format!("/loans/{id}"), "See to"),
            _ => (String::new(), ""),
        };
        Self {
            person: if sees { line.person.id } else { 0 },
            name: if sees { line.person.listed() } else { "a patient".to_owned() },
            born: if sees { format!("born {}", line.person.born_on) } else { String::new() },
            monitor: line.monitor.id,
            monitor_mark: line.monitor.mark.clone(),
            loan: id,
            loan_mark: loan.mark.clone(),
            when: when(visit, line),
            mark: (offer == Offer::Stands).then(|| loan.status.into()),
            remark: remark(visit, line),
            act_href,
            act_says,
        }
    }
}

impl LoanTable {
    /// A table of lines that all offer the same.
    pub(crate) fn new(
        visit: &Visit,
        lines: &[LoanLine],
        offer: Offer,
        empty: &'static str,
        last: &'static str,
    ) -> Self {
        let rows = lines.iter().map(|line| LoanRow::new(visit, line, offer)).collect();
        Self { rows, empty, last }
    }
}

/// The time that matters where the loan stands.
fn when(visit: &Visit, line: &LoanLine) -> String {
    let loan = &line.loan;
    let at = |at: Option<i64>| at.map_or_else(String::new, |at| visit.local(at));
    match loan.status {
        LoanStatus::Booked | LoanStatus::Cancelled => {
            nights(loan.first_night_on.as_str(), loan.nights)
        }
        LoanStatus::Out => format!("due {}", visit.local(loan.due_at)),
        LoanStatus::Back => format!("back {}", at(loan.back_at)),
        LoanStatus::Lost => format!("out since {}", at(loan.out_at)),
    }
}

/// `the night of 2026-11-25`, or from it and how many.
pub(crate) fn nights(first: &str, nights: i64) -> String {
    if nights == 1 {
        format!("the night of {first}")
    } else {
        format!("{nights} nights from {first}")
    }
}

/// What to do next, the last word with the borrower, or the skin.
/// What was said with the borrower and of their skin is for whoever sees people.
fn remark(visit: &Visit, line: &LoanLine) -> String {
    let sees = visit.may(Right::SeePeople);
    let rung = match line.rung {
        Some(Rung::DueToday) | None => None,
        Some(rung) => Some(rung.says().to_owned()),
    };
    let chased = line
        .chased
        .as_ref()
        .filter(|_| sees)
        .map(|chase| format!("last word {}: {}", visit.local(chase.at), chase.outcome));
    let skin = line.loan.back.0.as_ref().filter(|_| sees).and_then(|back| {
        use store::words::Skin;
        matches!(back.skin, Skin::Sore | Skin::Blister | Skin::Red)
            .then(|| format!("skin {}", back.skin))
    });
    let told = line.skin.as_ref().filter(|_| sees).map(|words| {
        if visit.may(Right::Diary) {
            format!("the diary says of the skin: {words}")
        } else {
            "the diary tells of harmed skin".to_owned()
        }
    });
    [rung, chased, skin, told].into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// One step in a monitor's life as a sentence of its history.
pub(crate) fn step(visit: &Visit, one: &Movement) -> String {
    let at = visit.local(one.at);
    format!("{at} {} ({} to {}) by {}", one.what, one.before, one.after, one.who)
}

/// Pence as pounds: `£6,800`.
pub(crate) fn pounds(pence: i64) -> String {
    let whole = (pence / 100).to_string();
    let mut text = String::new();
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    format!("£{text}")
}

/// Values and words of a closed list, for a menu.
pub(crate) fn list(of: &[String]) -> Vec<(String, String)> {
    of.iter().map(|one| (one.clone(), one.clone())).collect()
}

/// The department's parts, as a list to tick.
pub(crate) fn parts(desk: &DeskSettings) -> Vec<(String, String)> {
    list(&desk.parts)
}

/// `Monday 25` of a day.
pub(crate) fn weekday(day: jiff::civil::Date) -> &'static str {
    ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
        [usize::try_from(day.weekday().to_monday_zero_offset()).unwrap_or(0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_is_grouped_by_thousands() {
        assert_eq!([0, 99, 680_000, 123_456_700].map(pounds), ["£0", "£0", "£6,800", "£1,234,567"]);
    }
}
