//! Agreement as tables.

use askama::Template;
use engine::recording::Quantity;
use engine::stats::Interval;
use store::reading::agreement::Classes;
use store::reading::agreement::FigureAgreement;
use store::reading::agreement::Seconds;

use super::words;
use super::words::number;

/// A table with a name for readers.
#[derive(Debug, Template)]
#[template(path = "service/table.html")]
pub(super) struct Table {
    caption: &'static str,
    heads: Vec<Head>,
    rows: Vec<Vec<Cell>>,
    empty: &'static str,
    csv: &'static str,
}

#[derive(Debug)]
struct Head {
    word: &'static str,
    number: bool,
}

#[derive(Debug)]
struct Cell {
    text: String,
    href: String,
}

fn table(
    caption: &'static str,
    heads: &[&'static str],
    rows: impl Iterator<Item = Vec<String>>,
    csv: &'static str,
) -> Table {
    let cell = |text: String| Cell { text, href: String::new() };
    Table {
        caption,
        heads: heads.iter().enumerate().map(|(at, word)| Head { word, number: at > 0 }).collect(),
        rows: rows.map(|row| row.into_iter().map(cell).collect()).collect(),
        empty: "Nothing to compare yet.",
        csv,
    }
}

const VERDICTS: [&str; 3] = ["answers", "answers in part", "to be repeated"];

/// First reader down, second across.
pub(super) fn verdict(of: &Classes) -> Table {
    let rows = VERDICTS.iter().zip(&of.table).map(|(name, counts)| {
        let counts = counts.iter().map(u64::to_string);
        std::iter::once((*name).to_owned()).chain(counts).collect()
    });
    let heads = ["First reader", "Second: answers", "answers in part", "to be repeated"];
    table("Verdicts of both readers, nights", &heads, rows, "/agreement/pairs.csv")
}

/// The answers of each rule.
pub(super) fn rules(all: &[Classes]) -> Table {
    let rows = all.iter().map(|rule| {
        let told = |at: usize| rule.table[at].iter().sum::<u64>() - rule.table[at][at];
        let apart: u64 = (0..3).map(told).sum();
        vec![
            rule.name.clone(),
            rule.count().to_string(),
            rule.same().to_string(),
            apart.to_string(),
            words::kappa(rule.kappa.as_ref(), rule.count()),
        ]
    });
    let heads = ["Rule", "Nights", "Same answer", "Another", "Kappa (95 % interval)"];
    table("Answers to the rules: met, not met, cannot tell", &heads, rows, "")
}

fn around(value: f64, interval: &Interval, decimals: usize) -> String {
    let (low, high) = (number(interval.low, decimals), number(interval.high, decimals));
    format!("{} ({low} to {high})", number(value, decimals))
}

/// Bias and limits of the figures.
pub(super) fn figures(all: &[FigureAgreement]) -> Table {
    let rows = all.iter().map(|one| {
        let (name, unit, decimals) = words::figure(one.id);
        let few = || "too few".to_owned();
        let bias = one.bias().map_or_else(|| "\u{2013}".to_owned(), |bias| number(bias, decimals));
        let [bias, low, high] = one.limits.as_ref().map_or([bias, few(), few()], |of| {
            [
                around(of.mean, &of.mean_ci, decimals),
                around(of.limits.low, &of.low_ci, decimals),
                around(of.limits.high, &of.high_ci, decimals),
            ]
        });
        let name = format!("{name}, {unit}");
        vec![name, one.points.len().to_string(), bias, low, high, one.one_only.to_string()]
    });
    let heads = [
        "Figure",
        "Pairs",
        "Bias (95 % interval)",
        "Lower limit (95 % interval)",
        "Upper limit (95 % interval)",
        "Given by one only",
    ];
    table("Figures, second reader less first", &heads, rows, "/agreement/figures.csv")
}

/// What is believed, second by second.
pub(super) fn seconds(all: &[Seconds]) -> Table {
    let percent = |share: f64| format!("{} %", number(100.0 * share, 1));
    let rows = all.iter().map(|one| {
        let hours = |at: usize| format!("{} h", number(one.seconds[at] / 3600.0, 2));
        let interval = one.interval().map_or_else(
            || "too few".to_owned(),
            |of| format!("{} to {}", percent(of.low), percent(of.high)),
        );
        let name = Quantity::from_id(&one.channel).map_or("", Quantity::name);
        vec![
            name.to_owned(),
            one.share().map_or_else(|| "\u{2013}".to_owned(), percent),
            interval,
            one.kappa
                .as_ref()
                .map_or_else(|| "one answer only".to_owned(), |of| number(of.kappa, 2)),
            hours(0),
            hours(1),
            hours(2),
            hours(3),
        ]
    });
    let heads = [
        "Channel",
        "Told the same",
        "95 % interval of a night",
        "Kappa",
        "Both believe",
        "First alone",
        "Second alone",
        "Neither",
    ];
    table("What is believed, second by second", &heads, rows, "")
}
