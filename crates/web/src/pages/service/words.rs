//! What the figures say, in sentences.

use store::service::Chart;
use store::service::Drift;
use store::service::FEWEST;
use store::service::Failures;
use store::service::GasCheck;
use store::service::Leg;
use store::service::MonitorFailures;
use store::service::MonthOf;
use store::service::PER_HUNDRED_FROM;
use store::service::Period;
use store::service::RUN;
use store::service::Repeats;
use store::service::Run;
use store::service::Share;
use store::service::Turnaround;
use store::service::Usage;
use store::when::local_date;

use super::Counted;

pub(super) const HOW_TURNAROUND: &str = "A leg counts in the days in which it ended. One that had begun \
and not ended by the last day is open: it is in no median, so with many open the median is too kind. A \
referral has a day and no hour, so legs that begin with it are whole days. Of a loan with several nights \
the first counts. Referrals closed without a report are not open.";

pub(super) const HOW_REPEATS: &str = "Nights that began in these days and are being read or signed, by \
their verdict now. A night may have several reasons, so they can add up to more. The interval is Wilson's, \
95 %.";

pub(super) const HOW_USE: &str = "A monitor's night is what it did at 22:00. Lent: with a patient within \
the time of the loan. Late: with a patient after it was due. In preparation: back, to be cleaned or checked. \
Away: held, in repair or lost. Nights before a monitor came and after it was retired are not counted.";

pub(super) fn how_failures() -> String {
    format!(
        "A check that did not pass is one failure, also when the monitor was held for it. A night without \
         belief is one in which no time has both SpO2 and CO2 believed. Sent away is for repair or service, \
         and no failure. A rate for each hundred loans is given from {PER_HUNDRED_FROM} loans on."
    )
}

pub(super) fn how_drift() -> String {
    format!(
        "What the monitor showed less what the gas should give, check by check. The limits are those of \
         single readings on a control chart: the mean, and 2.66 times the mean step between neighbouring \
         checks to either side. Fewer than {FEWEST} checks have no limits. A run is {RUN} or more checks in a \
         row on one side of the mean. Limits describe the monitor's own checks; what the department allows is \
         its setting, drawn beside them."
    )
}

/// So many of a thing.
pub(super) fn count(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// The days counted, in words.
pub(super) fn days(period: &Period) -> String {
    let form = |day: jiff::civil::Date| day.strftime("%-d %B %Y").to_string();
    if period.from == period.to {
        return form(period.from);
    }
    format!("{} to {}", form(period.from), form(period.to))
}

/// A time as it is read: minutes, hours or days.
pub(super) fn time(hours: f64) -> String {
    if hours < 1.0 {
        format!("{:.0} min", hours * 60.0)
    } else if hours < 10.0 {
        format!("{hours:.1} h")
    } else if hours < 48.0 {
        format!("{hours:.0} h")
    } else {
        format!("{:.1} days", hours / 24.0)
    }
}

/// A difference in kPa with its sign.
pub(super) fn off(kpa: f64) -> String {
    let text = format!("{kpa:+.2}");
    if text.ends_with("0.00") { "0.00".to_owned() } else { text.replace('-', "\u{2212}") }
}

/// A share with its interval.
pub(super) fn share(share: &Share) -> String {
    let (Some(percent), Some(interval)) = (share.percent(), share.interval) else {
        return "none to count from".to_owned();
    };
    format!(
        "{percent:.0}\u{a0}%, 95\u{a0}% interval {:.0} to {:.0}\u{a0}%",
        100.0 * interval.low,
        100.0 * interval.high
    )
}

/// The whole in a few sentences.
pub(super) fn answer(counted: &Counted) -> String {
    let mut says = vec![whole(&counted.turnaround)];
    says.extend(counted.repeats.as_ref().map(repeats_said));
    let failures = &counted.failures.all;
    says.push(format!(
        "{} on {}.",
        count(failures.failures(), "failure", "failures"),
        count(failures.loans, "loan", "loans")
    ));
    says.push(lent(&counted.usage));
    says.join(" ")
}

fn whole(turnaround: &Turnaround) -> String {
    let Some(times) = turnaround.all(Leg::Whole) else { return String::new() };
    let open = match times.longest_open_h() {
        None => String::new(),
        Some(oldest) => format!(
            " {} open, the oldest for {}.",
            count(times.open_h.len() as u64, "referral is", "referrals are"),
            time(oldest)
        ),
    };
    match times.percentile_h(50.0) {
        None => format!("No referral was answered in these days.{open}"),
        Some(median) => format!(
            "{} answered, half within {} of coming in.{open}",
            count(times.ended_h.len() as u64, "referral was", "referrals were"),
            time(median)
        ),
    }
}

fn repeats_said(repeats: &Repeats) -> String {
    if repeats.repeat.of == 0 {
        return "No night was read.".to_owned();
    }
    format!(
        "{} of {} must be repeated ({}).",
        repeats.repeat.count,
        count(repeats.repeat.of, "night read", "nights read"),
        share(&repeats.repeat)
    )
}

fn lent(usage: &[MonthOf]) -> String {
    match Usage::sum(usage.iter().map(|one| &one.usage)).percent() {
        None => "The department had no monitor.".to_owned(),
        Some(percent) => format!("The monitors were lent on {percent:.0}\u{a0}% of their nights."),
    }
}

/// The turnaround: the slowest leg, what is open, and what is in no figure.
pub(super) fn turnaround(turnaround: &Turnaround) -> Vec<String> {
    let mut says = Vec::new();
    let legs =
        turnaround.times.iter().filter(|times| times.urgency.is_none() && times.leg != Leg::Whole);
    let slowest = legs
        .filter_map(|times| Some((times.leg, times.percentile_h(50.0)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((leg, median)) = slowest {
        says.push(format!("The slowest leg is {}: {} in the median.", leg.words(), time(median)));
    }
    let open: Vec<String> = turnaround
        .times
        .iter()
        .filter(|times| times.urgency.is_none() && times.leg != Leg::Whole)
        .filter(|times| !times.open_h.is_empty())
        .map(|times| format!("{} from {}", times.open_h.len(), times.leg.words()))
        .collect();
    if !open.is_empty() {
        let open: Vec<&str> = open.iter().map(String::as_str).collect();
        says.push(format!("Still open: {}.", list(&open)));
    }
    if turnaround.without_night > 0 {
        let n = turnaround.without_night as u64;
        says.push(format!("{} ended without a night.", count(n, "loan", "loans")));
    }
    if turnaround.backwards > 0 {
        let n = turnaround.backwards as u64;
        says.push(format!(
            "{} backwards, for instance a referral dated after its booking, and {} in no figure.",
            count(n, "time runs", "times run"),
            if n == 1 { "is" } else { "are" }
        ));
    }
    says
}

/// Repeats: the share, what waits, and what was booked again.
pub(super) fn repeats(repeats: &Repeats) -> Vec<String> {
    let mut says = vec![repeats_said(repeats)];
    if let Some((cause, share)) = repeats.causes.first() {
        says.push(format!(
            "Most frequent: {}, {}.",
            cause.words(),
            count(share.count, "night", "nights")
        ));
    }
    if repeats.waiting > 0 {
        let n = repeats.waiting;
        says.push(format!(
            "{} to be read and in no share.",
            count(n, "night waits", "nights wait")
        ));
    }
    says
}

/// Failures: how many, and where most.
pub(super) fn failures(failures: &Failures) -> Vec<String> {
    let all = &failures.all;
    if all.loans + all.failures() == 0 {
        return vec!["No monitor went out and none failed.".to_owned()];
    }
    let rate = all.per_hundred(all.failures());
    let rate = rate.map_or(String::new(), |rate| format!(", {rate:.0} for each hundred"));
    let mut says = vec![format!(
        "{} on {}{rate}.",
        count(all.failures(), "failure", "failures"),
        count(all.loans, "loan", "loans")
    )];
    let most = failures.monitors.iter().map(MonitorFailures::failures).max().unwrap_or(0);
    let worst: Vec<&str> = failures
        .monitors
        .iter()
        .filter(|line| line.failures() == most)
        .map(|line| line.monitor.mark.as_str())
        .collect();
    if most > 1 && worst.len() < 3 {
        says.push(format!("Most of them at {}: {most}.", worst.join(" and ")));
    }
    says
}

/// The drift of all: how many stand out.
pub(super) fn drifts(drifts: &[Drift]) -> Vec<String> {
    if drifts.is_empty() {
        return vec!["No monitor was checked with a gas.".to_owned()];
    }
    let loud: Vec<&str> = drifts
        .iter()
        .filter(|drift| !drift.is_quiet())
        .map(|drift| drift.monitor.mark.as_str())
        .collect();
    let checks: usize = drifts.iter().map(|drift| drift.checks.len()).sum();
    let of = format!(
        "{} of {}",
        count(checks as u64, "check", "checks"),
        count(drifts.len() as u64, "monitor", "monitors")
    );
    if loud.is_empty() {
        return vec![format!("Nothing stands out in {of}.")];
    }
    vec![format!("In {of}, something stands out at {}.", list(&loud))]
}

fn list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// The first few of many things, and how many more there are.
fn first_few(words: &[String]) -> String {
    let shown: Vec<&str> = words.iter().map(String::as_str).take(4).collect();
    match words.len() - shown.len() {
        0 => list(&shown),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// Use: the share lent, and what kept the rest.
pub(super) fn usage(usage: &[MonthOf]) -> Vec<String> {
    let all = Usage::sum(usage.iter().map(|one| &one.usage));
    let mut says = vec![lent(usage)];
    if all.nights() > 0 {
        says.push(format!(
            "Of {}: {} lent, {} late, {} idle, {} in preparation, {} away.",
            count(all.nights(), "night", "nights"),
            all.lent,
            all.late,
            all.idle,
            all.preparing,
            all.away
        ));
    }
    says
}

/// What stands out at one monitor, in one line.
pub(super) fn in_short(drift: &Drift, period: &Period) -> String {
    let first = stands_out(drift, period).into_iter().next().unwrap_or_default();
    format!("{}: {first}", drift.monitor.mark)
}

/// Everything that stands out at one monitor, a sentence each; or that nothing does.
pub(super) fn stands_out(drift: &Drift, period: &Period) -> Vec<String> {
    let Some(chart) = &drift.chart else { return vec!["no gas check in these days.".to_owned()] };
    let when = |check: &GasCheck| local_date(check.at, &period.zone).strftime("%-d %B").to_string();
    let told = |checks: &[&GasCheck]| {
        let told: Vec<String> = checks
            .iter()
            .map(|one| format!("{} ({} kPa)", when(one), off(one.off_kpa())))
            .collect();
        first_few(&told)
    };
    let mut says = Vec::new();
    let beyond: Vec<&GasCheck> = drift.beyond().collect();
    if !beyond.is_empty() {
        says.push(format!(
            "{} further off than the {:.2} kPa the department allows: {}.",
            count(beyond.len() as u64, "check lay", "checks lay"),
            drift.limit_kpa,
            told(&beyond)
        ));
    }
    let outside: Vec<&GasCheck> = outside(drift, chart).collect();
    if let Some((low, high)) = chart.limits.filter(|_| !outside.is_empty()) {
        says.push(format!(
            "{} outside the limits of its own chart, {} to {} kPa: {}.",
            count(outside.len() as u64, "check lay", "checks lay"),
            off(low),
            off(high),
            told(&outside)
        ));
    }
    says.extend(chart.runs.iter().filter_map(|run| said_run(drift, chart, *run, when)));
    if says.is_empty() {
        let n = drift.checks.len();
        let few = if chart.limits.is_none() { ", too few for limits" } else { "" };
        says.push(format!("nothing stands out in {}{few}.", count(n as u64, "check", "checks")));
    }
    says
}

/// The checks outside the limits that the department's own limit did not tell already.
fn outside<'a>(drift: &'a Drift, chart: &'a Chart) -> impl Iterator<Item = &'a GasCheck> {
    let told: Vec<i64> = drift.beyond().map(|check| check.at).collect();
    chart
        .outside
        .iter()
        .filter_map(|at| drift.checks.get(*at))
        .filter(move |one| !told.contains(&one.at))
}

fn said_run(
    drift: &Drift,
    chart: &Chart,
    run: Run,
    when: impl Fn(&GasCheck) -> String,
) -> Option<String> {
    let (first, last) = (drift.checks.get(run.first)?, drift.checks.get(run.last)?);
    Some(format!(
        "from {} to {}, {} checks in a row lay {} the mean of {} kPa.",
        when(first),
        when(last),
        run.last - run.first + 1,
        if run.above { "above" } else { "below" },
        off(chart.mean)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_differences_are_read_at_a_glance() {
        for (hours, words) in
            [(0.5, "30 min"), (3.25, "3.2 h"), (26.4, "26 h"), (240.0, "10.0 days")]
        {
            assert_eq!(time(hours), words);
        }
        assert_eq!([0.126, -0.05, -0.001].map(off), ["+0.13", "\u{2212}0.05", "0.00"]);
        assert_eq!(share(&Share::new(9, 26)), "35\u{a0}%, 95\u{a0}% interval 19 to 54\u{a0}%");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
    }
}
