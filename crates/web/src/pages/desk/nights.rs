//! The nights of a person or of a loan: where each stands, what became of its report, and what was learnt since.

use askama::Template;
use store::error::Result;
use store::reading::beside::Beside;
use store::record::db::Conn;
use store::record::tables::Night;

use crate::access::Right;
use crate::form::sentence;
use crate::mark::Mark;
use crate::visit::Visit;

/// Whose nights a table shows.
#[derive(Clone, Copy, Debug)]
pub(super) enum Of {
    Person(i64),
    Loan(i64),
}

/// A table of nights.
#[derive(Debug, Template)]
#[template(path = "desk/nights.html")]
pub(super) struct NightTable {
    rows: Vec<Row>,
    /// What stands there when there is none.
    empty: &'static str,
}

#[derive(Debug)]
struct Row {
    when: String,
    /// Where it is seen, for who may.
    href: String,
    loan: Option<(i64, String)>,
    mark: Mark,
    became: Option<Mark>,
    /// Where its report is, for who may.
    report: String,
    /// What became of its report, in words.
    says: Vec<String>,
    /// What was learnt since it was signed.
    learnt: Vec<String>,
}

impl NightTable {
    /// The latest nights of a person or a loan.
    pub(super) async fn of(
        visit: &Visit,
        conn: &mut Conn,
        of: Of,
        empty: &'static str,
    ) -> Result<Self> {
        let mut nights = match of {
            Of::Person(id) => conn.nights_of_person(id).await?,
            Of::Loan(id) => conn.nights_of_loan(id).await?,
        };
        // Where a night stands is of its first reading.
        let blind = conn.blind_nights(&visit.author().login).await?;
        nights.retain(|night| !blind.contains(&night.id));
        let beside = conn.beside(&nights).await?;
        let rows = nights.iter().map(|night| row(visit, night, &beside)).collect();
        Ok(Self { rows, empty })
    }
}

fn row(visit: &Visit, night: &Night, beside: &Beside) -> Row {
    let sees = visit.may(Right::SeeResults);
    let to = |path: &str| if sees { format!("/nights/{}{path}", night.id) } else { String::new() };
    let became = beside.became(night);
    let mut says: Vec<String> = became.iter().map(|one| sentence(&one.says)).collect();
    // Why it was taken back, and what was learnt, may tell a result.
    says.extend(became.iter().filter(|_| sees).map(|one| sentence(&one.because)));
    says.retain(|one| !one.is_empty());
    let mut learnt: Vec<String> = beside.learnt(night).iter().map(|one| sentence(one)).collect();
    if !learnt.is_empty() {
        if !sees {
            learnt.clear();
        }
        learnt.push(LEARNT.to_owned());
    }
    Row {
        when: visit.local(night.start_at),
        href: to(""),
        loan: beside.loan_of(night).map(|loan| (loan.id, loan.mark.clone())),
        mark: night.status.into(),
        became: became.map(Mark::from),
        report: to("/report"),
        says,
        learnt,
    }
}

/// What is said of a signed night of which something was learnt since.
pub(super) const LEARNT: &str =
    "Learnt since it was signed: a physiologist or a physician must look at it again.";
