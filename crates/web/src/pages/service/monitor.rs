//! One monitor: its control chart, its checks, its failures and its use.

use askama::Template;
use axum::extract::Path;
use store::service::Drift;
use store::service::MonitorFailures;
use store::service::MonthOf;

use super::Asked;
use super::pictures;
use super::tables;
use super::tables::Cell;
use super::tables::Table;
use super::words;
use crate::access::Right;
use crate::form::sentence;
use crate::page::Answer;
use crate::typed::Typed;
use crate::visit::Visit;

#[derive(Template)]
#[template(path = "service/monitor.html")]
struct Page {
    mark: String,
    when: String,
    says: Vec<String>,
    asked: Asked,
    action: String,
    plot: String,
    checks: Table,
    how: String,
    facts: Vec<(&'static str, String)>,
    usage: Table,
    /// The monitor's own page, for who may see it.
    own: Option<String>,
    assets: &'static str,
}

/// `GET /service/monitors/{id}`.
pub(super) async fn page(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let asked = Asked::read(&visit, &typed)?;
    let mut conn = visit.app.store().read().await?;
    let drift = conn.drift(id, &asked.period).await?;
    let failures = conn.failures(&asked.period).await?;
    let failures = failures.monitors.into_iter().find(|line| line.monitor.id == id);
    let usage = conn.usage(&asked.period).await?;
    let usage: Vec<MonthOf> = usage.into_iter().filter(|one| one.monitor.id == id).collect();
    drop(conn);
    let page = Page {
        mark: drift.monitor.mark.clone(),
        when: words::days(&asked.period),
        says: words::stands_out(&drift, &asked.period).iter().map(|says| sentence(says)).collect(),
        action: format!("/service/monitors/{id}"),
        plot: pictures::drift(&drift, &asked.period),
        checks: checks(&visit, &drift, &asked.query),
        how: words::how_drift(),
        facts: failures.as_ref().map(facts).unwrap_or_default(),
        usage: Table { csv: String::new(), ..tables::by_month(&usage, "") },
        own: visit.may(Right::SeeMonitors).then(|| format!("/monitors/{id}")),
        asked,
        assets: crate::assets::FOLDER.as_str(),
    };
    let title = format!("Gas checks of {}", page.mark);
    if page.asked.fault.is_some() {
        return visit.again(&title, &page);
    }
    visit.page(&title, &page)
}

fn checks(visit: &Visit, drift: &Drift, query: &str) -> Table {
    let loud = pictures::loud(drift);
    let row = |(at, check): (usize, &store::service::GasCheck)| -> Vec<Cell> {
        let passed = if check.passed { "passed" } else { "not passed" };
        let told = if loud.contains(&at) { "stands out" } else { "" };
        vec![
            visit.local(check.at).into(),
            check.made.says().to_owned().into(),
            format!("{:.2}", check.expected_kpa).into(),
            format!("{:.2}", check.observed_kpa).into(),
            words::off(check.off_kpa()).into(),
            passed.to_owned().into(),
            told.to_owned().into(),
        ]
    };
    let mut heads = tables::heads(&[
        "When",
        "Made",
        "Gas should give, kPa",
        "Showed, kPa",
        "Off, kPa",
        "Whole check",
        "Chart",
    ]);
    for at in [1, 5, 6] {
        heads[at].number = false;
    }
    Table {
        caption: "Gas checks, the latest first",
        heads,
        rows: drift.checks.iter().enumerate().rev().map(row).collect(),
        empty: "No gas check in these days.",
        csv: format!("/service/monitors/{}/gas-checks.csv?{query}", drift.monitor.id),
    }
}

fn facts(line: &MonitorFailures) -> Vec<(&'static str, String)> {
    let counts = [
        ("Loans", line.loans),
        ("Failures", line.failures()),
        ("Checks not passed", line.failed_checks),
        ("Held", line.held),
        ("Lost", line.lost),
        ("Returns without a night", line.without_night),
        ("Nights with nothing believed", line.nothing_believed),
        ("Returns with a part missing", line.parts_missing),
        ("Sent away", line.away),
    ];
    counts.into_iter().map(|(label, count)| (label, count.to_string())).collect()
}
