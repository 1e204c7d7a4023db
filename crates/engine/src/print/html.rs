//! The report as one HTML page that needs nothing from outside.

use std::fmt::Write as _;

use super::escape::escape;
use super::heading::{Heading, Slot, Stamp};
use super::ink::{DARK, Inks, LIGHT, PAPER};
use super::report_json::report_id;
use super::svg::{Look, belief, svg};
use crate::judge::Answer;
use crate::report::FigureGroup;
use crate::report::FigureLine;
use crate::report::Report;
use crate::report::RuleLine;

mod made;

const STYLE: &str = include_str!("html/report.css");

/// The report as a page: first what was found, then how it was made.
pub fn html(report: &Report, heading: &Heading) -> String {
    let id = report_id(report);
    let mut out = head(report, heading);
    if let Some(stamp) = &heading.stamp {
        stamped(&mut out, stamp);
    }
    out.push_str("<main>\n<section class=\"sheet\" aria-label=\"What was found\">\n");
    identity(&mut out, report, heading);
    answer(&mut out, report, &heading.reservations);
    rules(&mut out, report);
    strip(&mut out, report);
    quality(&mut out, report);
    figures(&mut out, report);
    scoring(&mut out, report, heading);
    cautions(&mut out, report);
    sign(&mut out, heading);
    foot(&mut out, report, heading, &id, 1);
    out.push_str("</section>\n");
    made::made(&mut out, report, heading, &id);
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

/// The word across every page, and once in words for whoever reads or listens.
fn stamped(out: &mut String, stamp: &Stamp) {
    let word = escape(&stamp.word);
    let _ = writeln!(
        out,
        "<p class=\"stamped\" role=\"note\"><b>{word}</b> {}</p>\n<p class=\"stamp\" aria-hidden=\"true\">{word}</p>",
        escape(&stamp.says)
    );
}

fn head(report: &Report, heading: &Heading) -> String {
    let title = match &report.night.date {
        Some(date) => format!("Night of {date}"),
        None => format!("A night from {} to {}", report.night.start, report.night.end),
    };
    let title = match &heading.stamp {
        Some(stamp) => format!("{}: {title}", stamp.word),
        None => title,
    };
    let lang = if heading.lang.is_empty() { "en-GB" } else { &heading.lang };
    format!(
        "<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{}</title>\n\
         <style>\n:root{{{}}}\n@media (prefers-color-scheme:dark){{:root{{{}}}}}\n\
         @media print{{:root{{{}}}}}\n{STYLE}</style>\n</head>\n<body>\n",
        escape(lang),
        escape(&title),
        variables(LIGHT),
        variables(DARK),
        variables(PAPER),
    )
}

fn variables(inks: Inks) -> String {
    format!(
        "--paper:{};--ink:{};--quiet:{};--accent:{};--hatch:{};--hair:{};--wash:{}",
        inks.paper, inks.ink, inks.quiet, inks.accent, inks.hatch, inks.hair, inks.wash
    )
}

/// An element around escaped text, on a line of its own.
fn element(out: &mut String, tag: &str, words: &str) {
    let name = tag.split(' ').next().unwrap_or(tag);
    let _ = writeln!(out, "<{tag}>{}</{name}>", escape(words));
}

fn identity(out: &mut String, report: &Report, heading: &Heading) {
    out.push_str("<header class=\"identity\">\n<div class=\"house\">\n");
    if heading.hospital.is_empty() {
        out.push_str("<p class=\"blank\">Hospital and department</p>\n");
    }
    for (i, line) in heading.hospital.iter().enumerate() {
        element(out, if i == 0 { "p class=\"first\"" } else { "p" }, line);
    }
    let date = report.night.date.as_deref().unwrap_or("date not known");
    let breathing = report.night.breathing.as_deref().unwrap_or("not told");
    element(out, "p", &format!("Night of {date}"));
    let hours = format!("{} to {}", report.night.start, report.night.end);
    element(out, "p", &format!("{hours}, breathing {breathing}"));
    out.push_str("</div>\n");
    slots(out, &heading.patient);
    slots(out, &heading.study);
    out.push_str("</header>\n");
}

fn slots(out: &mut String, slots: &[Slot]) {
    out.push_str("<dl class=\"slots\">\n");
    for slot in slots {
        let class = if slot.text.is_empty() { "dd class=\"blank\"" } else { "dd" };
        out.push_str("<div>");
        element(out, "dt", &slot.label);
        element(out, class, &slot.text);
        out.push_str("</div>");
    }
    out.push_str("</dl>\n");
}

fn answer(out: &mut String, report: &Report, reservations: &[String]) {
    out.push_str("<section class=\"answer\">\n");
    if !report.question.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"question\"><span class=\"asked\">Asked</span> {}</p>",
            escape(&report.question)
        );
    }
    for sentence in &report.first {
        element(out, "p class=\"first-of-all\"", sentence);
    }
    let _ = writeln!(
        out,
        "<h1>{} <span class=\"decision {}\">{}</span></h1>",
        escape(&report.headline),
        report.decision.id(),
        escape(&report.decision_words)
    );
    element(out, "p class=\"summary\"", &report.summary.join(" "));
    out.push_str("<div class=\"why\">\n");
    let severe: Vec<String> = report.severe.iter().map(|one| one.sentence.clone()).collect();
    listed(out, "Severe, whatever was asked", &severe);
    listed(out, "In the file and not read", &report.not_read);
    listed(out, "To be known of this night", reservations);
    listed(out, "Why", &report.brief_reasons);
    listed(out, "What would mend it", &report.mend);
    out.push_str("</div>\n</section>\n");
}

/// A titled list; nothing at all when it is empty.
fn listed(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    out.push_str("<div>");
    element(out, "h2 class=\"small\"", title);
    out.push_str("<ul>\n");
    for line in lines {
        element(out, "li", line);
    }
    out.push_str("</ul></div>\n");
}

fn rules(out: &mut String, report: &Report) {
    let needed: Vec<&RuleLine> = report.rules.iter().filter(|rule| rule.needed).collect();
    if needed.is_empty() {
        return;
    }
    out.push_str("<section class=\"rules\">\n<h2>Rules this question needs</h2>\n<ol>\n");
    for rule in needed {
        let margin = rule.margin.as_ref().map_or(String::new(), |margin| {
            format!("<span class=\"margin\">turns at a shift of {}</span>", escape(margin))
        });
        let _ = writeln!(
            out,
            "<li value=\"{}\" class=\"{}\"><span class=\"word\">{}</span><span class=\"asks\">{}\
             </span>{margin}<span class=\"because\">{}</span></li>",
            rule.number,
            rule.answer.id(),
            mark(rule.answer),
            escape(&rule.asks),
            escape(&rule.because),
        );
    }
    out.push_str("</ol>\n</section>\n");
}

/// The answer's word with its sign; the sign alone would not be read aloud.
fn mark(answer: Answer) -> String {
    let sign = match answer {
        Answer::Met => "\u{25a0}",
        Answer::CannotTell => "\u{25a1}",
        Answer::NotMet => "\u{2013}",
    };
    format!("<span aria-hidden=\"true\">{sign}</span> {}", answer.words())
}

fn strip(out: &mut String, report: &Report) {
    out.push_str(
        "<section class=\"night\">\n<h2>The night</h2>\n\
         <div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"The night as a picture\">\n",
    );
    out.push_str(&svg(&report.picture, Look::Screen));
    out.push_str(
        "</div>\n<p class=\"key\">Full bars and the heavy line: what a rule that is met stands on. \
         Hollow bars: what decides a rule that cannot be told. Hatching: not believed. Shade: not \
         scored.</p>\n</section>\n",
    );
}

fn figures(out: &mut String, report: &Report) {
    out.push_str("<section class=\"figures\">\n<h2>Figures</h2>\n<div class=\"groups\">\n");
    for group in &report.figures {
        table(out, group);
    }
    out.push_str("</div>\n</section>\n");
}

fn table(out: &mut String, group: &FigureGroup) {
    let _ = writeln!(
        out,
        "<table>\n<caption>{} <span>{} believed</span></caption>\n<thead><tr><th scope=\"col\">\
         Figure</th><th scope=\"col\">Value</th><th scope=\"col\">Could be</th></tr></thead>\n<tbody>",
        escape(&group.title),
        escape(&group.stands_on)
    );
    for line in &group.lines {
        let Some(short) = &line.short else { continue };
        let own = if line.on_less {
            format!(" <small>on {}</small>", escape(&line.stands_on))
        } else {
            String::new()
        };
        let _ =
            writeln!(out, "<tr><th scope=\"row\">{}{own}</th>{}</tr>", escape(short), cells(line));
    }
    out.push_str("</tbody>\n</table>\n");
}

/// The value and what it could be, as two cells.
fn cells(line: &FigureLine) -> String {
    let Some(value) = &line.value else {
        let why = line.absent.as_deref().unwrap_or("not given");
        return format!("<td colspan=\"2\" class=\"absent\">none: {}</td>", escape(why));
    };
    let mmhg = line
        .mmhg
        .as_ref()
        .map_or(String::new(), |mmhg| format!(" <small>({} mmHg)</small>", escape(mmhg)));
    format!(
        "<td><b>{}</b> <small>{}</small>{mmhg}</td><td class=\"range\">{}</td>",
        escape(value),
        escape(&line.unit),
        escape(line.range.as_deref().unwrap_or("same"))
    )
}

fn quality(out: &mut String, report: &Report) {
    out.push_str("<section class=\"quality\">\n<h2>What was believed</h2>\n");
    out.push_str(belief::defs());
    out.push_str("<ul>\n");
    for line in &report.quality {
        let rest = line.sentence.strip_prefix(&line.name).unwrap_or(&line.sentence);
        let _ = writeln!(out, "<li><p><b>{}</b>{}</p>", escape(&line.name), escape(rest));
        let lanes = &report.picture.lanes;
        if let Some(lane) = lanes.iter().find(|lane| lane.quantity.id() == line.channel) {
            out.push_str(&belief::bar(&report.picture, lane));
        }
        out.push_str("</li>\n");
    }
    out.push_str("</ul>\n");
    out.push_str(&belief::clock(&report.picture));
    out.push_str(
        "<p class=\"key\">Full: believed. Hatching: not believed, and why for how long. Shade: not \
         scored.</p>\n</section>\n",
    );
}

fn scoring(out: &mut String, report: &Report, heading: &Heading) {
    out.push_str("<section class=\"pair\">\n<div>\n<h2>How it was scored</h2>\n");
    element(out, "p", &report.night.period);
    element(out, "p", &report.correction.sentence);
    out.push_str("</div>\n<div class=\"compare\">\n<h2>Earlier nights</h2>\n");
    blank_or(out, &heading.comparison, 2);
    out.push_str("</div>\n</section>\n");
}

/// Paragraphs, or as many ruled lines to write on.
fn blank_or(out: &mut String, lines: &[String], ruled: usize) {
    for line in lines {
        element(out, "p", line);
    }
    if lines.is_empty() {
        for _ in 0..ruled {
            out.push_str("<p class=\"blank\"></p>\n");
        }
    }
}

fn cautions(out: &mut String, report: &Report) {
    out.push_str("<section class=\"cautions\">\n<h2>Bear in mind</h2>\n");
    element(out, "p", &report.cautions.join(" "));
    out.push_str("</section>\n");
}

fn sign(out: &mut String, heading: &Heading) {
    out.push_str("<section class=\"sign\">\n<div>\n");
    said(out, "Comment", &heading.commented);
    blank_or(out, &heading.comment, 2);
    if !heading.interpretation.is_empty() {
        said(out, "Interpretation", &heading.interpreted);
        blank_or(out, &heading.interpretation, 0);
    }
    out.push_str("</div>\n");
    slots(out, &heading.signature);
    out.push_str("</section>\n");
}

/// The title over somebody's words, with whose they are and of when.
fn said(out: &mut String, title: &str, by: &str) {
    let title = if by.is_empty() { title.to_owned() } else { format!("{title}, {by}") };
    element(out, "h2", &title);
}

/// The last line of a page.
fn foot(out: &mut String, report: &Report, heading: &Heading, id: &str, page: usize) {
    let study = if heading.study_id.is_empty() {
        String::new()
    } else {
        format!("Study {} \u{b7} ", heading.study_id)
    };
    let made = &report.provenance;
    let version =
        if heading.version.is_empty() { String::new() } else { format!(" {}", heading.version) };
    element(
        out,
        "footer",
        &format!(
            "{study}report {id}{version} \u{b7} {} {} \u{b7} {} \u{b7} page {page} of 2",
            made.criteria_name, made.criteria_version, made.engine
        ),
    );
}
