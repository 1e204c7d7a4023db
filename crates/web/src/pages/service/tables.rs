//! The figures as tables.

use askama::Template;
use store::service::Drift;
use store::service::Failures;
use store::service::Leg;
use store::service::MonitorFailures;
use store::service::MonthOf;
use store::service::Repeats;
use store::service::Share;
use store::service::Times;
use store::service::Turnaround;
use store::service::Usage;

use super::words;

/// A table with a name for readers, and the same as a file.
#[derive(Debug, Template)]
#[template(path = "service/table.html")]
pub(super) struct Table {
    pub(super) caption: &'static str,
    /// Headings, and which columns are of numbers.
    pub(super) heads: Vec<Head>,
    pub(super) rows: Vec<Vec<Cell>>,
    /// What stands there when there is no row.
    pub(super) empty: &'static str,
    /// Address of the file; empty when there is none.
    pub(super) csv: String,
}

/// A heading.
#[derive(Debug)]
pub(super) struct Head {
    pub(super) word: &'static str,
    pub(super) number: bool,
}

/// A cell, perhaps with a page behind it.
#[derive(Debug)]
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) href: String,
}

impl Cell {
    pub(super) fn link(text: &str, href: String) -> Self {
        Self { text: text.to_owned(), href }
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self { text, href: String::new() }
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        count.to_string().into()
    }
}

/// Headings of numbers after one of words.
pub(super) fn heads(words: &[&'static str]) -> Vec<Head> {
    words.iter().enumerate().map(|(at, word)| Head { word, number: at > 0 }).collect()
}

fn or_dash(value: Option<f64>, says: impl Fn(f64) -> String) -> Cell {
    value.map_or_else(|| "\u{2013}".to_owned(), says).into()
}

fn monitor(named: &store::service::Named, query: &str) -> Cell {
    Cell::link(&named.mark, format!("/service/monitors/{}?{query}", named.id))
}

/// The legs, all urgencies together.
pub(super) fn turnaround(turnaround: &Turnaround, query: &str) -> Table {
    let all = Leg::ALL.iter().filter_map(|leg| turnaround.all(*leg));
    Table {
        caption: "Turnaround, all referrals",
        heads: heads(&["Leg", "Ended", "Median", "Quartiles", "Longest", "Open", "Oldest open"]),
        rows: all.map(|times| legs(times, times.leg.words().to_owned())).collect(),
        empty: "",
        csv: format!("/service/turnaround.csv?{query}"),
    }
}

/// The legs, urgency by urgency.
pub(super) fn by_urgency(turnaround: &Turnaround) -> Table {
    let own = turnaround.times.iter().filter_map(|times| {
        let name = format!("{}, {}", times.leg.words(), times.urgency?);
        Some(legs(times, name))
    });
    Table {
        caption: "Turnaround by urgency",
        heads: heads(&[
            "Leg and urgency",
            "Ended",
            "Median",
            "Quartiles",
            "Longest",
            "Open",
            "Oldest open",
        ]),
        rows: own.collect(),
        empty: "No referral came.",
        csv: String::new(),
    }
}

fn legs(times: &Times, name: String) -> Vec<Cell> {
    let quartiles = match (times.percentile_h(25.0), times.percentile_h(75.0)) {
        (Some(low), Some(high)) => format!("{} to {}", words::time(low), words::time(high)),
        _ => "\u{2013}".to_owned(),
    };
    vec![
        name.into(),
        (times.ended_h.len() as u64).into(),
        or_dash(times.percentile_h(50.0), words::time),
        quartiles.into(),
        or_dash(times.longest_h(), words::time),
        (times.open_h.len() as u64).into(),
        or_dash(times.longest_open_h(), words::time),
    ]
}

/// The repeats and their causes.
pub(super) fn repeats(repeats: &Repeats, query: &str) -> Table {
    let row = |name: String, share: &Share| {
        let interval = share.interval.map_or_else(
            || "\u{2013}".to_owned(),
            |of| format!("{:.1} to {:.1} %", 100.0 * of.low, 100.0 * of.high),
        );
        vec![
            name.into(),
            share.count.into(),
            share.of.into(),
            or_dash(share.percent(), |percent| format!("{percent:.1} %")),
            interval.into(),
        ]
    };
    let causes = repeats.causes.iter().map(|(cause, share)| row(cause.words(), share));
    let rows = std::iter::once(row("to be repeated".to_owned(), &repeats.repeat))
        .chain(causes)
        .chain(std::iter::once(row("booked again".to_owned(), &repeats.again)));
    Table {
        caption: "Nights to be repeated, by reason",
        heads: heads(&["Nights", "How many", "Of", "Share", "95 % interval"]),
        rows: rows.collect(),
        empty: "",
        csv: format!("/service/repeats.csv?{query}"),
    }
}

/// The failures of each monitor and of all.
pub(super) fn failures(failures: &Failures, query: &str) -> Table {
    let of = |line: &MonitorFailures, name: Cell| {
        vec![
            name,
            line.loans.into(),
            line.failed_checks.into(),
            line.held.into(),
            line.lost.into(),
            line.without_night.into(),
            line.nothing_believed.into(),
            line.parts_missing.into(),
            line.failures().into(),
            or_dash(line.per_hundred(line.failures()), |rate| format!("{rate:.0}")),
            line.away.into(),
        ]
    };
    let mut rows: Vec<Vec<Cell>> =
        failures.monitors.iter().map(|line| of(line, monitor(&line.monitor, query))).collect();
    if rows.len() > 1 {
        rows.push(of(&failures.all, "all".to_owned().into()));
    }
    Table {
        caption: "Failures by monitor",
        heads: heads(&[
            "Monitor",
            "Loans",
            "Failed checks",
            "Held",
            "Lost",
            "No night",
            "None believed",
            "Part missing",
            "Failures",
            "Per 100 loans",
            "Sent away",
        ]),
        rows,
        empty: "No monitor went out and none failed.",
        csv: format!("/service/failures.csv?{query}"),
    }
}

/// The gas checks of each monitor in short.
pub(super) fn drifts(drifts: &[Drift], query: &str) -> Table {
    let row = |drift: &Drift| {
        let limits = drift.chart.as_ref().and_then(|chart| chart.limits);
        let limits = limits.map_or_else(
            || "too few".to_owned(),
            |(low, high)| format!("{} to {}", words::off(low), words::off(high)),
        );
        let outside = drift.chart.as_ref().map_or(0, |chart| chart.outside.len());
        let runs = drift.chart.as_ref().map_or(0, |chart| chart.runs.len());
        vec![
            monitor(&drift.monitor, query),
            (drift.checks.len() as u64).into(),
            or_dash(drift.chart.as_ref().map(|chart| chart.mean), words::off),
            limits.into(),
            or_dash(drift.checks.last().map(store::service::GasCheck::off_kpa), words::off),
            (drift.beyond().count() as u64).into(),
            (outside as u64).into(),
            (runs as u64).into(),
        ]
    };
    Table {
        caption: "Gas checks by monitor, kPa off",
        heads: heads(&[
            "Monitor",
            "Checks",
            "Mean, kPa",
            "Limits, kPa",
            "Last, kPa",
            "Beyond allowed",
            "Outside limits",
            "Runs",
        ]),
        rows: drifts.iter().map(row).collect(),
        empty: "No monitor was checked with a gas.",
        csv: format!("/service/gas-checks.csv?{query}"),
    }
}

const USE_HEADS: [&str; 7] =
    ["Nights", "Lent", "Late", "Idle", "In preparation", "Away", "Share lent"];

fn nights(usage: &Usage) -> Vec<Cell> {
    vec![
        usage.nights().into(),
        usage.lent.into(),
        usage.late.into(),
        usage.idle.into(),
        usage.preparing.into(),
        usage.away.into(),
        or_dash(usage.percent(), |percent| format!("{percent:.0} %")),
    ]
}

/// The use of all monitors, month by month.
pub(super) fn by_month(usage: &[MonthOf], query: &str) -> Table {
    let row = |(name, usage): (String, Usage)| {
        let mut row: Vec<Cell> = vec![name.into()];
        row.extend(nights(&usage));
        row
    };
    Table {
        caption: "Use of all monitors by month, nights",
        heads: heads(&[&["Month"][..], &USE_HEADS].concat()),
        rows: months(usage).into_iter().map(row).collect(),
        empty: "The department had no monitor.",
        csv: format!("/service/use.csv?{query}"),
    }
}

/// The use of each monitor in each month.
pub(super) fn by_monitor(usage: &[MonthOf], query: &str) -> Table {
    let row = |one: &MonthOf| {
        let mut row = vec![monitor(&one.monitor, query), month(one.month).into()];
        row.extend(nights(&one.usage));
        row
    };
    let mut heads = heads(&[&["Monitor", "Month"][..], &USE_HEADS].concat());
    heads[1].number = false;
    Table {
        caption: "Use of each monitor by month, nights",
        heads,
        rows: usage.iter().map(row).collect(),
        empty: "The department had no monitor.",
        csv: String::new(),
    }
}

/// All monitors together, month by month.
pub(super) fn months(usage: &[MonthOf]) -> Vec<(String, Usage)> {
    let mut firsts: Vec<_> = usage.iter().map(|one| one.month).collect();
    firsts.sort_unstable();
    firsts.dedup();
    let of = |first| {
        let own = usage.iter().filter(move |one| one.month == first).map(|one| &one.usage);
        (month(first), Usage::sum(own))
    };
    firsts.into_iter().map(of).collect()
}

fn month(first: jiff::civil::Date) -> String {
    first.strftime("%B %Y").to_string()
}
