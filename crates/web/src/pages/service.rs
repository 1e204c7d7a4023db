//! Figures for the service: turnaround, repeats, failures, drift and use, as pages with plots and as CSV.
//!
//! Nobody is named. How many nights must be repeated says something of what was found, so it is shown only
//! to whoever sees results.

mod files;
mod monitor;
mod pictures;
mod tables;
mod words;

use askama::Template;
use jiff::civil::Date;
use store::record::db::Conn;
use store::service::Drift;
use store::service::Failures;
use store::service::MonthOf;
use store::service::Period;
use store::service::Repeats;
use store::service::Turnaround;
use store::when;

use crate::access::Right;
use crate::form::Field;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;
use tables::Table;

/// How many days are shown unless others are asked for, today included.
const DAYS: i64 = 90;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/service", overview)
        .get("/service/turnaround.csv", files::turnaround)
        .get("/service/repeats.csv", files::repeats)
        .get("/service/failures.csv", files::failures)
        .get("/service/gas-checks.csv", files::gas_checks)
        .get("/service/use.csv", files::usage)
        .get("/service/monitors/{id}", monitor::page)
        .get("/service/monitors/{id}/gas-checks.csv", files::gas_checks_of_one)
}

/// Everything that is counted.
struct Counted {
    turnaround: Turnaround,
    /// `None` for whoever may not see results.
    repeats: Option<Repeats>,
    failures: Failures,
    drifts: Vec<Drift>,
    usage: Vec<MonthOf>,
}

impl Counted {
    async fn of(
        conn: &mut Conn,
        period: &Period,
        results: bool,
        login: &str,
    ) -> Result<Self, Trouble> {
        Ok(Self {
            turnaround: conn.turnaround(period).await?,
            repeats: if results { Some(conn.repeat_rate(period, login).await?) } else { None },
            failures: conn.failures(period).await?,
            drifts: conn.drifts(period).await?,
            usage: conn.usage(period).await?,
        })
    }
}

/// The days asked for, and the form that asks for others.
struct Asked {
    period: Period,
    from: Field,
    to: Field,
    /// Why what was typed is not shown.
    fault: Option<String>,
    /// The days as a query.
    query: String,
}

impl Asked {
    /// The days typed, or the last ninety; those too when what was typed is no period, with the reason why.
    fn read(visit: &Visit, typed: &Typed) -> Result<Self, Trouble> {
        let (now, zone) = (visit.app.store().now(), &visit.department.zone);
        let today = when::local_date(now, zone);
        let period = |from: Date, to: Date| Period::between(from, to, zone, now);
        let (shown, fault) = match typed_days(typed, today) {
            Ok((from, to)) => match period(from, to) {
                Ok(period) => (Some(period), None),
                Err(error) => (None, Some(sentence(&error.to_string()))),
            },
            Err(says) => (None, Some(says)),
        };
        let period = match shown {
            Some(period) => period,
            None => period(when::days_later(today, 1 - DAYS), today)?,
        };
        let (from, to) = (period.from.to_string(), period.to.to_string());
        let field = |name: &'static str, label: &str, day: &str| {
            let typed = typed.get(name);
            let shown = if fault.is_some() && !typed.is_empty() { typed } else { day };
            Field::date(name, label).value(shown).filters()
        };
        Ok(Self {
            from: field("from", "First day", &from),
            to: field("to", "Last day", &to),
            query: format!("from={from}&to={to}"),
            period,
            fault,
        })
    }

    /// The days typed, for a file: what is no period is refused.
    fn strict(visit: &Visit, typed: &Typed) -> Result<Period, Trouble> {
        let asked = Self::read(visit, typed)?;
        match asked.fault {
            None => Ok(asked.period),
            Some(fault) => Err(Trouble::not_understood(&fault)),
        }
    }
}

/// The days as they were typed. One that was left empty is the last ninety days' own.
fn typed_days(typed: &Typed, today: Date) -> Result<(Date, Date), String> {
    let day = |name: &str| match typed.option(name) {
        None => Ok(None),
        Some(text) => match when::date(&text) {
            Some(day) => Ok(Some(day)),
            None => Err(format!("{text} is no day; write it as {today}.")),
        },
    };
    let to = day("to")?.unwrap_or(today);
    let from = day("from")?.unwrap_or_else(|| when::days_later(to, 1 - DAYS));
    Ok((from, to))
}

/// One part of the page: its heading, what it says, its picture, its table and what is folded away.
#[derive(Template)]
#[template(path = "service/part.html")]
struct Part {
    id: &'static str,
    title: &'static str,
    says: Vec<String>,
    plot: String,
    table: Option<Table>,
    /// A title and a table, folded away.
    more: Vec<(&'static str, Table)>,
    /// How it was counted.
    how: String,
}

#[derive(Template)]
#[template(path = "service/overview.html")]
struct Page {
    when: String,
    answer: String,
    notable: Vec<(i64, String)>,
    asked: Asked,
    parts: Vec<Part>,
    results: bool,
    assets: &'static str,
}

async fn overview(visit: Visit, typed: Typed) -> Answer {
    let asked = Asked::read(&visit, &typed)?;
    let mut conn = visit.app.store().read().await?;
    let results = visit.may(Right::SeeResults);
    let counted = Counted::of(&mut conn, &asked.period, results, &visit.author().login).await?;
    drop(conn);
    let page = Page {
        when: words::days(&asked.period),
        answer: words::answer(&counted),
        notable: counted
            .drifts
            .iter()
            .filter(|drift| !drift.is_quiet())
            .map(|drift| (drift.monitor.id, words::in_short(drift, &asked.period)))
            .collect(),
        parts: parts(&counted, &asked),
        results,
        asked,
        assets: crate::assets::FOLDER.as_str(),
    };
    if page.asked.fault.is_some() {
        return visit.again("Service", &page);
    }
    visit.page("Service", &page)
}

fn parts(counted: &Counted, asked: &Asked) -> Vec<Part> {
    let query = &asked.query;
    let mut parts = vec![Part {
        id: "turnaround",
        title: "Turnaround",
        says: words::turnaround(&counted.turnaround),
        plot: pictures::turnaround(&counted.turnaround),
        table: Some(tables::turnaround(&counted.turnaround, query)),
        more: vec![("By urgency", tables::by_urgency(&counted.turnaround))],
        how: words::HOW_TURNAROUND.to_owned(),
    }];
    parts.extend(counted.repeats.as_ref().map(|repeats| Part {
        id: "repeats",
        title: "Nights to be repeated",
        says: words::repeats(repeats),
        plot: pictures::repeats(repeats),
        table: Some(tables::repeats(repeats, query)),
        more: Vec::new(),
        how: words::HOW_REPEATS.to_owned(),
    }));
    parts.push(Part {
        id: "failures",
        title: "Failures by monitor",
        says: words::failures(&counted.failures),
        plot: pictures::failures(&counted.failures),
        table: Some(tables::failures(&counted.failures, query)),
        more: Vec::new(),
        how: words::how_failures(),
    });
    parts.push(Part {
        id: "gas-checks",
        title: "Gas checks by monitor",
        says: words::drifts(&counted.drifts),
        plot: pictures::drifts(&counted.drifts),
        table: Some(tables::drifts(&counted.drifts, query)),
        more: Vec::new(),
        how: words::how_drift(),
    });
    parts.push(Part {
        id: "use",
        title: "Use of the monitors",
        says: words::usage(&counted.usage),
        plot: pictures::usage(&counted.usage),
        table: Some(tables::by_month(&counted.usage, query)),
        more: vec![("By monitor and month", tables::by_monitor(&counted.usage, query))],
        how: words::HOW_USE.to_owned(),
    });
    parts
}
