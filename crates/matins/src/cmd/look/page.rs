//! The page that `matins look` prints.

use engine::finding::Weight;
use engine::recording::{Channel, Quantity, Recording};
use engine::time::{Clock, Stretch, zone_name};

/// Most gaps listed; the rest are counted.
const GAPS_LISTED: usize = 20;

/// What a recording holds, in words.
pub(crate) fn page(recording: &Recording, name: &str) -> String {
    let mut lines = vec![name.to_owned(), String::new()];
    facts(&mut lines, recording);
    channels(&mut lines, recording);
    marks(&mut lines, recording);
    gaps(&mut lines, recording);
    noticed(&mut lines, recording);
    lines.join("\n") + "\n"
}

fn facts(lines: &mut Vec<String>, recording: &Recording) {
    let mut fact = |label: &str, value: &str| lines.push(format!("{label:<10}{value}"));
    fact("format", recording.format.name());
    fact("start", &start(&recording.clock));
    fact("zone", &zone(&recording.clock));
    fact("end", &recording.clock.label(recording.duration_s, true));
    fact("length", &length(recording.duration_s));
    for (at_s, before, after) in recording.clock.changes_within(recording.duration_s) {
        let at = recording.clock.label(at_s, false);
        fact("clocks", &format!("changed at {at}, from {before} to {after}"));
    }
    if let Some(monitor) = &recording.monitor {
        fact("monitor", monitor);
    }
    fact("sha256", &recording.input_sha256);
}

fn start(clock: &Clock) -> String {
    let format =
        if clock.date_known() { "%Y-%m-%d %H:%M:%S" } else { "%H:%M:%S, the date is not told" };
    clock.start().strftime(format).to_string()
}

fn zone(clock: &Clock) -> String {
    clock.zone().map_or_else(|| "not told".to_owned(), zone_name)
}

/// `8 h 12 min`, `3 min 20 s`, `5 s`.
fn length(seconds: f64) -> String {
    let whole = seconds.round();
    let (hours, minutes, rest) =
        ((whole / 3600.0).floor(), (whole % 3600.0 / 60.0).floor(), whole % 60.0);
    match (hours > 0.0, minutes > 0.0, rest > 0.0) {
        (true, _, false) => format!("{hours} h {minutes} min"),
        (true, _, true) => format!("{hours} h {minutes} min {rest} s"),
        (false, true, false) => format!("{minutes} min"),
        (false, true, true) => format!("{minutes} min {rest} s"),
        (false, false, _) => format!("{rest} s"),
    }
}

fn channels(lines: &mut Vec<String>, recording: &Recording) {
    lines.push("\nchannels".to_owned());
    for channel in &recording.channels {
        lines.push(format!(
            "  {:<12}{:<7}every {:<8}{:>8} samples, {}{}",
            channel.id,
            channel.unit.symbol(),
            format!("{} s", channel.period_s),
            channel.samples.len(),
            range(channel),
            label(channel)
        ));
    }
}

fn range(channel: &Channel) -> String {
    let numbers = || channel.samples.iter().copied().filter(|x| x.is_finite());
    let missing = channel.samples.len() - numbers().count();
    let (low, high) = (numbers().reduce(f64::min), numbers().reduce(f64::max));
    let missing = if missing == 0 { String::new() } else { format!(", {missing} missing") };
    match (low, high) {
        (Some(low), Some(high)) => {
            let digits = usize::from(channel.quantity == Quantity::Tcpco2) * 2;
            format!("{low:.digits$} to {high:.digits$}{missing}")
        }
        _ => "no numbers at all".to_owned(),
    }
}

/// What the file calls the channel, with its own unit where matins holds another.
fn label(channel: &Channel) -> String {
    let own_unit = &channel.file_unit;
    let converted = !own_unit.is_empty() && own_unit != channel.unit.symbol();
    let converted = if converted { format!(", in {own_unit} there") } else { String::new() };
    let not_scored = if channel.quantity == Quantity::Other { ", kept, not scored" } else { "" };
    format!("; \"{}\" in the file{converted}{not_scored}", channel.file_label)
}

fn marks(lines: &mut Vec<String>, recording: &Recording) {
    if recording.marks.is_empty() {
        return;
    }
    lines.push("\nmarks".to_owned());
    for mark in &recording.marks {
        let until = mark.end_s.map(|end_s| format!(" to {}", recording.clock.label(end_s, true)));
        let words = if mark.text.is_empty() { String::new() } else { format!("  {}", mark.text) };
        lines.push(format!(
            "  {}{}  {}{words}",
            recording.clock.label(mark.start_s, true),
            until.unwrap_or_default(),
            mark.kind.id().replace('_', " "),
        ));
    }
}

fn gaps(lines: &mut Vec<String>, recording: &Recording) {
    let gaps = all_gaps(recording);
    if gaps.is_empty() {
        return;
    }
    lines.push("\ngaps".to_owned());
    for (stretch, channels) in gaps.iter().take(GAPS_LISTED) {
        lines.push(format!(
            "  {} to {}  {}  {}",
            recording.clock.label(stretch.start_s, true),
            recording.clock.label(stretch.end_s, true),
            length(stretch.length_s()),
            channels.join(", ")
        ));
    }
    if gaps.len() > GAPS_LISTED {
        lines.push(format!("  and {} more", gaps.len() - GAPS_LISTED));
    }
}

/// Runs of missing values, in order of time; channels that share a run stand together.
fn all_gaps(recording: &Recording) -> Vec<(Stretch, Vec<&str>)> {
    let mut runs: Vec<(Stretch, &str)> = recording
        .channels
        .iter()
        .flat_map(|channel| channel_gaps(channel).into_iter().map(|gap| (gap, channel.id.as_str())))
        .collect();
    let order = |a: &Stretch, b: &Stretch| {
        a.start_s.total_cmp(&b.start_s).then(a.end_s.total_cmp(&b.end_s))
    };
    runs.sort_by(|a, b| order(&a.0, &b.0));
    runs.chunk_by(|a, b| a.0 == b.0)
        .map(|same| (same[0].0, same.iter().map(|(_, id)| *id).collect()))
        .collect()
}

fn channel_gaps(channel: &Channel) -> Vec<Stretch> {
    let mut at = 0;
    let mut gaps = Vec::new();
    for run in channel.samples.chunk_by(|a, b| a.is_finite() == b.is_finite()) {
        if !run[0].is_finite() {
            gaps.push(Stretch::new(channel.time_s(at), channel.time_s(at + run.len())));
        }
        at += run.len();
    }
    gaps
}

fn noticed(lines: &mut Vec<String>, recording: &Recording) {
    if recording.findings.is_empty() {
        return;
    }
    lines.push("\nnoticed".to_owned());
    for finding in &recording.findings {
        let weight = match finding.weight {
            Weight::Note => "note",
            Weight::Caution => "caution",
            Weight::Serious => "serious",
        };
        lines.push(format!("  {weight:<9}{}", finding.sentence));
    }
}
