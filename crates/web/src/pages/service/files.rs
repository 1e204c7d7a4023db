//! The figures as files: CSV (RFC 4180), numbers as they are, units in the headings.

use axum::extract::Path;
use axum::response::Response;
use store::service::Drift;
use store::service::Period;
use store::service::Share;

use super::Asked;
use crate::page::Answer;
use crate::page::csv_cell;
use crate::page::download;
use crate::typed::Typed;
use crate::visit::Visit;

/// A file of a heading and lines, named by what it holds and its days.
fn file(what: &str, period: &Period, heads: &[&str], rows: Vec<Vec<String>>) -> Response {
    let heads = heads.iter().map(|&head| head.to_owned()).collect();
    let mut text = String::new();
    for row in std::iter::once(heads).chain(rows) {
        let cells: Vec<String> = row.iter().map(|cell| csv_cell(cell)).collect();
        text.push_str(&cells.join(","));
        text.push_str("\r\n");
    }
    let name = format!("{what}-{}-{}.csv", period.from, period.to);
    download(&name, "text/csv; charset=utf-8", text.into_bytes())
}

/// A number to three places; empty when there is none.
fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| format!("{value:.3}"))
}

/// `GET /service/turnaround.csv`.
pub(super) async fn turnaround(visit: Visit, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.turnaround(&period).await?;
    let rows = found.times.iter().map(|times| {
        vec![
            times.leg.words().to_owned(),
            times.urgency.map_or("all", store::words::Urgency::text).to_owned(),
            times.ended_h.len().to_string(),
            number(times.percentile_h(50.0)),
            number(times.percentile_h(25.0)),
            number(times.percentile_h(75.0)),
            number(times.longest_h()),
            times.open_h.len().to_string(),
            number(times.longest_open_h()),
        ]
    });
    let heads = [
        "leg",
        "urgency",
        "ended",
        "median (h)",
        "first quartile (h)",
        "third quartile (h)",
        "longest (h)",
        "open",
        "oldest open (h)",
    ];
    Ok(file("turnaround", &period, &heads, rows.collect()))
}

/// `GET /service/repeats.csv`.
pub(super) async fn repeats(visit: Visit, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.repeat_rate(&period, &visit.author().login).await?;
    let row = |name: String, share: &Share| {
        vec![
            name,
            share.count.to_string(),
            share.of.to_string(),
            number(share.percent()),
            number(share.interval.map(|of| 100.0 * of.low)),
            number(share.interval.map(|of| 100.0 * of.high)),
        ]
    };
    let mut rows = vec![row("to be repeated".to_owned(), &found.repeat)];
    rows.extend(found.causes.iter().map(|(cause, share)| row(cause.words(), share)));
    rows.push(row("booked again".to_owned(), &found.again));
    let heads =
        ["nights", "count", "of", "share (%)", "95 % interval, low (%)", "95 % interval, high (%)"];
    Ok(file("repeats", &period, &heads, rows))
}

/// `GET /service/failures.csv`.
pub(super) async fn failures(visit: Visit, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.failures(&period).await?;
    let rows = found.monitors.iter().map(|line| {
        let counts = [
            line.loans,
            line.failed_checks,
            line.held,
            line.lost,
            line.without_night,
            line.nothing_believed,
            line.parts_missing,
            line.failures(),
        ];
        let mut row = vec![line.monitor.mark.clone()];
        row.extend(counts.map(|count| count.to_string()));
        row.extend(
            counts[1..].iter().map(|count| number(line.per_hundred(*count))).collect::<Vec<_>>(),
        );
        row.push(line.away.to_string());
        row
    });
    let heads = [
        "monitor",
        "loans",
        "failed checks",
        "held",
        "lost",
        "returns without a night",
        "nights with nothing believed",
        "returns with a part missing",
        "failures",
        "failed checks per 100 loans",
        "held per 100 loans",
        "lost per 100 loans",
        "returns without a night per 100 loans",
        "nights with nothing believed per 100 loans",
        "returns with a part missing per 100 loans",
        "failures per 100 loans",
        "sent away",
    ];
    Ok(file("failures", &period, &heads, rows.collect()))
}

/// `GET /service/gas-checks.csv`.
pub(super) async fn gas_checks(visit: Visit, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.drifts(&period).await?;
    Ok(checks("gas-checks", &period, &found))
}

/// `GET /service/monitors/{id}/gas-checks.csv`.
pub(super) async fn gas_checks_of_one(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.drift(id, &period).await?;
    Ok(checks(&format!("gas-checks-{}", found.monitor.mark), &period, &[found]))
}

fn checks(what: &str, period: &Period, drifts: &[Drift]) -> Response {
    let mut rows = Vec::new();
    for drift in drifts {
        let limits = drift.chart.as_ref().and_then(|chart| chart.limits);
        let mean = drift.chart.as_ref().map(|chart| chart.mean);
        for check in &drift.checks {
            rows.push(vec![
                drift.monitor.mark.clone(),
                store::when::rfc3339(check.at),
                check.made.text().to_owned(),
                number(Some(check.expected_kpa)),
                number(Some(check.observed_kpa)),
                number(Some(check.off_kpa())),
                if check.passed { "yes" } else { "no" }.to_owned(),
                number(mean),
                number(limits.map(|of| of.0)),
                number(limits.map(|of| of.1)),
                number(Some(drift.limit_kpa)),
            ]);
        }
    }
    let heads = [
        "monitor",
        "at (UTC)",
        "before or after the loan",
        "gas should give (kPa)",
        "monitor showed (kPa)",
        "off (kPa)",
        "passed",
        "mean off (kPa)",
        "lower limit (kPa)",
        "upper limit (kPa)",
        "allowed (kPa)",
    ];
    file(what, period, &heads, rows)
}

/// `GET /service/use.csv`.
pub(super) async fn usage(visit: Visit, typed: Typed) -> Answer {
    let period = Asked::strict(&visit, &typed)?;
    let found = visit.app.store().read().await?.usage(&period).await?;
    let rows = found.iter().map(|one| {
        let of = &one.usage;
        let mut row = vec![one.monitor.mark.clone(), one.month.strftime("%Y-%m").to_string()];
        row.extend(
            [of.nights(), of.lent, of.late, of.idle, of.preparing, of.away]
                .map(|nights| nights.to_string()),
        );
        row.push(number(of.percent()));
        row
    });
    let heads = [
        "monitor",
        "month",
        "nights",
        "lent (nights)",
        "late (nights)",
        "idle (nights)",
        "in preparation (nights)",
        "away (nights)",
        "lent (% of nights)",
    ];
    Ok(file("use", &period, &heads, rows.collect()))
}
