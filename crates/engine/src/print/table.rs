//! A report as text for a terminal, eighty columns wide; it says the same without colour.

use std::fmt::Write as _;

use crate::judge::Answer;
use crate::report::FigureGroup;
use crate::report::FigureLine;
use crate::report::Report;
use crate::report::RuleLine;

const WIDTH: usize = 80;

/// The report as a table: the answer first, then the rules, the figures, and what was believed.
pub fn table(report: &Report, colour: bool) -> String {
    let mut out = String::new();
    answer(&mut out, report, Pen { colour });
    rules(&mut out, report, Pen { colour });
    for group in &report.figures {
        figures(&mut out, group, Pen { colour });
    }
    believed(&mut out, report, Pen { colour });
    let made = &report.provenance;
    let _ = writeln!(
        out,
        "\n{} {} \u{b7} {} \u{b7} input {}",
        made.criteria_name,
        made.criteria_version,
        made.engine,
        made.input_sha256.chars().take(16).collect::<String>()
    );
    out
}

/// Marks up words for a terminal, or leaves them be.
#[derive(Clone, Copy)]
struct Pen {
    colour: bool,
}

impl Pen {
    fn bold(self, words: &str) -> String {
        if self.colour { format!("\u{1b}[1m{words}\u{1b}[0m") } else { words.to_owned() }
    }

    fn accent(self, words: &str) -> String {
        if self.colour { format!("\u{1b}[1;31m{words}\u{1b}[0m") } else { words.to_owned() }
    }
}

fn answer(out: &mut String, report: &Report, pen: Pen) {
    if let Some(date) = &report.night.date {
        let _ = writeln!(out, "{date}, {} to {}", report.night.start, report.night.end);
    }
    if !report.question.is_empty() {
        wrap(out, "", &report.question);
    }
    if !report.first.is_empty() {
        out.push('\n');
    }
    for sentence in &report.first {
        for line in wrapped(sentence, WIDTH) {
            let _ = writeln!(out, "{}", pen.accent(&line));
        }
    }
    out.push('\n');
    for line in wrapped(&report.headline, WIDTH) {
        let _ = writeln!(out, "{}", pen.bold(&line));
    }
    let _ = writeln!(out, "{}", pen.bold(&report.decision_words));
    if !report.summary.is_empty() {
        out.push('\n');
    }
    for sentence in &report.summary {
        wrap(out, "", sentence);
    }
    out.push('\n');
    for sentence in &report.not_read {
        wrap(out, "  Not read: ", sentence);
    }
    for reason in &report.reasons {
        wrap(out, "  ", reason);
    }
    for mend in &report.mend {
        wrap(out, "  To mend: ", mend);
    }
}

fn rules(out: &mut String, report: &Report, pen: Pen) {
    for (needed, title) in [(true, "Rules this question needs"), (false, "Other rules of the set")]
    {
        let rules: Vec<&RuleLine> = report.rules.iter().filter(|r| r.needed == needed).collect();
        if rules.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n{}", pen.bold(title));
        for line in rules {
            rule(out, line, pen);
        }
    }
}

fn rule(out: &mut String, rule: &RuleLine, pen: Pen) {
    let word = format!("{:<11}", rule.answer.words());
    let word = match rule.answer {
        Answer::NotMet => word,
        Answer::Met | Answer::CannotTell => pen.accent(&word),
    };
    let mut lines = wrapped(&rule.asks, WIDTH - 15).into_iter();
    let _ = writeln!(out, "{:>2} {word} {}", rule.number, lines.next().unwrap_or_default());
    for line in lines {
        let _ = writeln!(out, "{:15}{line}", "");
    }
    let told = match &rule.margin {
        Some(margin) => format!("{} Margin {margin}.", rule.because),
        None => rule.because.clone(),
    };
    for line in wrapped(&told, WIDTH - 15) {
        let _ = writeln!(out, "{:15}{line}", "");
    }
}

fn figures(out: &mut String, group: &FigureGroup, pen: Pen) {
    let title = format!("{}, {} believed", group.title, group.stands_on);
    let _ = writeln!(out, "\n{}", pen.bold(&title));
    let widest = |of: fn(&FigureLine) -> String| {
        group.lines.iter().map(|line| of(line).chars().count()).max().unwrap_or(0) + 2
    };
    let (name_width, level_width) = (widest(|line| line.name.clone()), widest(level));
    for line in &group.lines {
        figure(out, line, name_width, level_width);
    }
}

/// The number with its unit; CO2 in both units; nothing when there is none.
fn level(line: &FigureLine) -> String {
    match (&line.value, &line.mmhg) {
        (Some(value), Some(mmhg)) => format!("{value} {} ({mmhg} mmHg)", line.unit),
        (Some(value), None) => format!("{value} {}", line.unit).trim_end().to_owned(),
        (None, _) => String::new(),
    }
}

fn figure(out: &mut String, line: &FigureLine, name_width: usize, level_width: usize) {
    let name = format!("  {:<name_width$}", line.name);
    if line.value.is_some() {
        let range = line.range.as_ref().map_or(String::new(), |r| format!("could be {r}"));
        let row = format!("{name}{:<level_width$}{range}", level(line));
        let _ = writeln!(out, "{}", row.trim_end());
        return;
    }
    let why = line.absent.as_deref().unwrap_or("not given");
    let indent = name_width + 2;
    let mut lines = wrapped(&format!("none: {why}"), WIDTH - indent).into_iter();
    let _ = writeln!(out, "{name}{}", lines.next().unwrap_or_default());
    for line in lines {
        let _ = writeln!(out, "{:indent$}{line}", "");
    }
}

fn believed(out: &mut String, report: &Report, pen: Pen) {
    let _ = writeln!(out, "\n{}", pen.bold("Believed"));
    wrap(out, "  ", &report.night.period);
    for quality in &report.quality {
        let why: Vec<String> =
            quality.reasons.iter().map(|(reason, length)| format!("{reason} {length}")).collect();
        let why = if why.is_empty() { String::new() } else { format!("; not: {}", why.join(", ")) };
        wrap(out, &format!("  {:<8}", quality.name), &format!("{}{why}", quality.words));
    }
    wrap(out, "  ", &report.correction.sentence);
    told(out, report, pen);
}

fn told(out: &mut String, report: &Report, pen: Pen) {
    let night = &report.night;
    let _ = writeln!(out, "\n{}", pen.bold("Told of the night"));
    wrap(out, "  ", &format!("Breathing: {}.", night.breathing.as_deref().unwrap_or("not told")));
    wrap(out, "  ", &night.representative);
    for line in &night.told {
        wrap(out, "  ", line);
    }
}

/// Text in lines of the terminal's width, `before` on the first, blanks as wide on the others.
fn wrap(out: &mut String, before: &str, text: &str) {
    let indent = before.chars().count();
    for (i, line) in wrapped(text, WIDTH - indent).into_iter().enumerate() {
        let lead = if i == 0 { before.to_owned() } else { " ".repeat(indent) };
        let _ = writeln!(out, "{lead}{line}");
    }
}

/// Text broken at blanks into lines of at most `width` letters; control characters left out.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let clean: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let mut lines: Vec<String> = Vec::new();
    for word in clean.split_whitespace() {
        let long = word.chars().count();
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + long <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
