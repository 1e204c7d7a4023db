//! The figures as plots.

use store::service::Drift;
use store::service::Failures;
use store::service::GasCheck;
use store::service::Leg;
use store::service::MonitorFailures;
use store::service::MonthOf;
use store::service::Period;
use store::service::Repeats;
use store::service::Turnaround;
use store::service::Usage;
use store::words::CheckWhen;

use super::tables::months;
use super::words;
use crate::plot::Axis;
use crate::plot::Fill;
use crate::plot::Plot;
use crate::plot::Shape;
use crate::plot::Sign;
use crate::plot::Stroke;

/// Each leg as a row: its quartiles, its median, its longest.
pub(super) fn turnaround(turnaround: &Turnaround) -> String {
    let legs: Vec<_> = Leg::ALL
        .iter()
        .filter_map(|leg| turnaround.all(*leg))
        .filter(|times| !times.ended_h.is_empty())
        .collect();
    let Some(longest) = legs.iter().filter_map(|times| times.longest_h()).reduce(f64::max) else {
        return String::new();
    };
    let rows = Axis::names(legs.iter().map(|times| times.leg.words().to_owned()));
    let title = "How long each leg took";
    let mut plot = Plot::new(
        "plot-turnaround",
        title,
        "The table below has the same figures.",
        Axis::numbers("days", 0.0, longest / 24.0),
        rows,
    )
    .key(Sign::Area(Fill::Hatch), "middle half")
    .key(Sign::Point(Shape::Bar), "median")
    .key(Sign::Point(Shape::Ring), "longest");
    for (row, times) in legs.iter().enumerate() {
        let days = |percent| times.percentile_h(percent).unwrap_or(0.0) / 24.0;
        let says =
            format!("{} to {}", words::time(days(25.0) * 24.0), words::time(days(75.0) * 24.0));
        let (median, last) = (days(50.0), days(100.0));
        plot = plot
            .bar(row, days(25.0), days(75.0), Fill::Hatch, &says)
            .point(last, row as f64, Shape::Ring, &words::time(last * 24.0))
            .point(median, row as f64, Shape::Bar, &words::time(median * 24.0));
    }
    plot.html()
}

/// Each share with its interval.
pub(super) fn repeats(repeats: &Repeats) -> String {
    if repeats.repeat.of == 0 {
        return String::new();
    }
    let mut shares = vec![("to be repeated".to_owned(), &repeats.repeat)];
    shares.extend(repeats.causes.iter().map(|(cause, share)| (cause.words(), share)));
    let high = shares
        .iter()
        .filter_map(|(_, share)| share.interval)
        .map(|one| one.high)
        .fold(0.0, f64::max);
    let rows = Axis::names(shares.iter().map(|(name, _)| name.clone()));
    let title = "Nights to be repeated, and why";
    let axis = Axis::numbers("% of the nights read", 0.0, 100.0 * high);
    let mut plot =
        Plot::new("plot-repeats", title, "The table below has the same figures.", axis, rows)
            .key(Sign::Point(Shape::Dot), "share")
            .key(Sign::Line(Stroke::Solid), "95 % interval");
    for (row, (_, share)) in shares.iter().enumerate() {
        if let (Some(percent), Some(interval)) = (share.percent(), share.interval) {
            plot = plot.range(row, 100.0 * interval.low, 100.0 * interval.high).point(
                percent,
                row as f64,
                Shape::Dot,
                &words::share(share),
            );
        }
    }
    plot.html()
}

/// Failures of each monitor, kind after kind.
pub(super) fn failures(failures: &Failures) -> String {
    let Some(most) =
        failures.monitors.iter().map(MonitorFailures::failures).max().filter(|n| *n > 0)
    else {
        return String::new();
    };
    let rows = Axis::names(failures.monitors.iter().map(|one| one.monitor.mark.clone()));
    let title = "Failures by monitor";
    let axis = Axis::numbers("failures", 0.0, most.max(4) as f64);
    let mut plot =
        Plot::new("plot-failures", title, "The table below has the same figures.", axis, rows)
            .key(Sign::Area(Fill::Ink), "check not passed")
            .key(Sign::Area(Fill::Hatch), "held or lost")
            .key(Sign::Area(Fill::Dots), "no night, or none of it believed")
            .key(Sign::Area(Fill::Empty), "part missing");
    for (row, one) in failures.monitors.iter().enumerate() {
        let kinds = [
            (one.failed_checks, Fill::Ink, "not passed"),
            (one.held + one.lost, Fill::Hatch, "held or lost"),
            (one.without_night + one.nothing_believed, Fill::Dots, "without a night to believe"),
            (one.parts_missing, Fill::Empty, "part missing"),
        ];
        let mut from = 0.0;
        for (count, fill, says) in kinds {
            let to = from + count as f64;
            plot = plot.bar(row, from, to, fill, &format!("{count} {says}"));
            from = to;
        }
    }
    plot.html()
}

/// Every check of every monitor by how far it was off.
pub(super) fn drifts(drifts: &[Drift]) -> String {
    let Some(limit) = drifts.first().map(|drift| drift.limit_kpa) else { return String::new() };
    let all = || drifts.iter().flat_map(|drift| &drift.checks).map(GasCheck::off_kpa);
    let axis = Axis::numbers("kPa off", all().fold(-limit, f64::min), all().fold(limit, f64::max));
    let rows = Axis::names(drifts.iter().map(|drift| drift.monitor.mark.clone()));
    let title = "How far each gas check was off";
    let mut plot = Plot::new(
        "plot-gas-checks",
        title,
        "The table below and the page of each monitor have the same figures.",
        axis,
        rows,
    )
    .upright(0.0, Stroke::Solid, "")
    .upright(-limit, Stroke::Dotted, "")
    .upright(limit, Stroke::Dotted, "")
    .key(Sign::Point(Shape::Ring), "check")
    .key(Sign::Point(Shape::Told), "stands out")
    .key(Sign::Line(Stroke::Dotted), "allowed by the department");
    for (row, drift) in drifts.iter().enumerate() {
        let loud = loud(drift);
        // Checks that were off by the same hundredth lie on each other: one is drawn.
        let mut drawn = std::collections::BTreeSet::new();
        for (at, check) in drift.checks.iter().enumerate() {
            let shape = if loud.contains(&at) { Shape::Told } else { Shape::Ring };
            let says = format!("{} kPa", words::off(check.off_kpa()));
            if drawn.insert((says.clone(), shape == Shape::Told)) {
                plot = plot.point(check.off_kpa(), row as f64, shape, &says);
            }
        }
    }
    plot.html()
}

/// Which checks lie beyond what is allowed or outside the limits, counted from 0.
pub(super) fn loud(drift: &Drift) -> Vec<usize> {
    let beyond: Vec<i64> = drift.beyond().map(|check| check.at).collect();
    let outside = drift.chart.as_ref().map(|chart| chart.outside.as_slice()).unwrap_or_default();
    let all = drift.checks.iter().enumerate();
    all.filter(|(at, check)| outside.contains(at) || beyond.contains(&check.at))
        .map(|(at, _)| at)
        .collect()
}

/// The control chart of one monitor.
pub(super) fn drift(drift: &Drift, period: &Period) -> String {
    let Some(chart) = &drift.chart else { return String::new() };
    let limit = drift.limit_kpa;
    let (low, high) = chart.limits.unwrap_or((chart.mean, chart.mean));
    let off = || drift.checks.iter().map(GasCheck::off_kpa);
    let axis = Axis::numbers(
        "kPa off",
        off().fold(low.min(-limit), f64::min),
        off().fold(high.max(limit), f64::max),
    );
    let title = format!("Gas checks of {}", drift.monitor.mark);
    let says = words::stands_out(drift, period).join(" ");
    let x = |check: &GasCheck| (check.at - period.start_at) as f64 / 86_400.0;
    let mut plot =
        Plot::new("plot-drift", &title, &says, Axis::days("", period.from, period.to), axis)
            .tall(360.0);
    if chart.limits.is_some() {
        plot = plot
            .band(low, high, Fill::Wash)
            .level(low, Stroke::Dashed, "limit")
            .level(high, Stroke::Dashed, "limit")
            .key(Sign::Area(Fill::Wash), "between the limits of its own checks");
    }
    plot = plot
        .level(-limit, Stroke::Dotted, "allowed")
        .level(limit, Stroke::Dotted, "allowed")
        .level(chart.mean, Stroke::Solid, "mean")
        .line(
            drift.checks.iter().map(|check| (x(check), check.off_kpa())).collect(),
            Stroke::Solid,
        );
    let loud = loud(drift);
    for (at, check) in drift.checks.iter().enumerate() {
        let shape = match check.made {
            _ if loud.contains(&at) => Shape::Told,
            CheckWhen::Before => Shape::Ring,
            CheckWhen::After => Shape::Dot,
        };
        plot = plot.point(
            x(check),
            check.off_kpa(),
            shape,
            &format!("{} kPa", words::off(check.off_kpa())),
        );
    }
    plot.key(Sign::Point(Shape::Dot), "check after a loan")
        .key(Sign::Point(Shape::Ring), "check before a loan")
        .key(Sign::Point(Shape::Told), "stands out")
        .html()
}

/// The months, each as what its nights were.
pub(super) fn usage(usage: &[MonthOf]) -> String {
    let months: Vec<(String, Usage)> =
        months(usage).into_iter().filter(|(_, of)| of.nights() > 0).collect();
    if months.is_empty() {
        return String::new();
    }
    let rows = Axis::names(months.iter().map(|(name, _)| name.clone()));
    let axis = Axis::within("% of the monitors' nights", 0.0, 100.0);
    let title = "What the monitors did, month by month";
    let mut plot =
        Plot::new("plot-use", title, "The table below has the same figures.", axis, rows)
            .key(Sign::Area(Fill::Ink), "lent")
            .key(Sign::Area(Fill::Hatch), "late with a patient")
            .key(Sign::Area(Fill::Dots), "in preparation")
            .key(Sign::Area(Fill::Wash), "away")
            .key(Sign::Area(Fill::Empty), "idle");
    for (row, (_, of)) in months.iter().enumerate() {
        let kinds = [
            (of.lent, Fill::Ink, "lent"),
            (of.late, Fill::Hatch, "late"),
            (of.preparing, Fill::Dots, "in preparation"),
            (of.away, Fill::Wash, "away"),
            (of.idle, Fill::Empty, "idle"),
        ];
        let mut from = 0.0;
        for (count, fill, says) in kinds {
            let to = from + 100.0 * count as f64 / of.nights() as f64;
            plot = plot.bar(row, from, to, fill, &format!("{count} {says}"));
            from = to;
        }
    }
    plot.html()
}
