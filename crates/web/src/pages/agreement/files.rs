//! Agreement as files: CSV (RFC 4180). Pairs are numbered in their order and name no night.

use axum::response::Response;
use engine::stats::Interval;

use super::words;
use crate::page::Answer;
use crate::page::csv_cell;
use crate::page::download;
use crate::visit::Visit;

fn file(name: &str, heads: &[&str], rows: Vec<Vec<String>>) -> Response {
    let heads = heads.iter().map(|&head| head.to_owned()).collect();
    let mut text = String::new();
    for row in std::iter::once(heads).chain(rows) {
        let cells: Vec<String> = row.iter().map(|cell| csv_cell(cell)).collect();
        text.push_str(&cells.join(","));
        text.push_str("\r\n");
    }
    download(name, "text/csv; charset=utf-8", text.into_bytes())
}

/// A number as it is; empty when there is none.
fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| format!("{value:.4}"))
}

/// `GET /agreement/pairs.csv`: verdict, answers and figures of every pair, a line each.
pub(super) async fn pairs(visit: Visit) -> Answer {
    let found = visit.app.store().read().await?.agreement().await?;
    let mut rows = Vec::new();
    for (at, pair) in found.pairs.iter().enumerate() {
        let mut line = |what: &str, [first, second]: [String; 2]| {
            rows.push(vec![(at + 1).to_string(), what.to_owned(), first, second]);
        };
        line("verdict", pair.verdict.clone());
        for (rule, answers) in &pair.rules {
            line(rule, answers.clone());
        }
        for (id, values) in &pair.figures {
            let (name, unit, _) = words::figure(id);
            line(&format!("{name} ({unit})"), values.map(number));
        }
        for (channel, seconds) in &pair.seconds {
            let [both, first, second, _] = seconds;
            let told = [both + first, both + second].map(|s| format!("{s:.0}"));
            line(&format!("{channel} believed (s)"), told);
        }
    }
    Ok(file("agreement-pairs.csv", &["pair", "what", "first reader", "second reader"], rows))
}

/// `GET /agreement/figures.csv`: bias and limits.
pub(super) async fn figures(visit: Visit) -> Answer {
    let found = visit.app.store().read().await?.agreement().await?;
    let rows = found.figures.iter().map(|one| {
        let (name, unit, _) = words::figure(one.id);
        let of = one.limits.as_ref();
        let ends = |interval: Option<&Interval>| {
            [number(interval.map(|one| one.low)), number(interval.map(|one| one.high))]
        };
        let mut row = vec![
            name.to_owned(),
            unit.to_owned(),
            one.points.len().to_string(),
            number(one.bias()),
        ];
        row.extend(ends(of.map(|of| &of.mean_ci)));
        row.push(number(of.map(|of| of.limits.low)));
        row.extend(ends(of.map(|of| &of.low_ci)));
        row.push(number(of.map(|of| of.limits.high)));
        row.extend(ends(of.map(|of| &of.high_ci)));
        row
    });
    let heads = [
        "figure",
        "unit",
        "pairs",
        "bias",
        "bias, 95 % low",
        "bias, 95 % high",
        "lower limit",
        "lower limit, 95 % low",
        "lower limit, 95 % high",
        "upper limit",
        "upper limit, 95 % low",
        "upper limit, 95 % high",
    ];
    Ok(file("agreement-figures.csv", &heads, rows.collect()))
}
