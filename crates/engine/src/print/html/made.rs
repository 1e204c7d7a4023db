//! The second page: how the report was made.

use std::fmt::Write as _;

use super::{cells, element, foot, listed, mark};
use crate::print::escape::escape;
use crate::print::heading::Heading;
use crate::report::FigureGroup;
use crate::report::Report;

/// The second page.
pub(super) fn made(out: &mut String, report: &Report, heading: &Heading, id: &str) {
    out.push_str("<section class=\"sheet made\" aria-labelledby=\"made\">\n<h1 id=\"made\">How this report was made</h1>\n");
    patterns(out, report);
    if report.brief_reasons.len() < report.reasons.len() {
        listed(out, "Why the night was so judged", &report.reasons);
    }
    rules(out, report);
    for group in &report.figures {
        figures(out, group);
    }
    out.push_str("<div class=\"two\">\n");
    let mut correction = vec![report.correction.sentence.clone()];
    correction.extend(report.correction.anchors.iter().cloned());
    listed(out, "Correction of CO2", &correction);
    findings(out, report);
    night(out, report);
    provenance(out, report, heading);
    out.push_str("</div>\n");
    foot(out, report, heading, id, 2);
    out.push_str("</section>\n");
}

fn patterns(out: &mut String, report: &Report) {
    let lines: Vec<String> = report.patterns.iter().map(|p| p.sentence.clone()).collect();
    listed(out, "Patterns seen, described and not diagnosed", &lines);
}

fn rules(out: &mut String, report: &Report) {
    if report.rules.is_empty() {
        return;
    }
    out.push_str(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Every rule\"><table class=\"full\">\n\
         <caption>Every rule of the set</caption>\n<thead><tr>\
         <th scope=\"col\">No.</th><th scope=\"col\">Asks</th><th scope=\"col\">Answer</th>\
         <th scope=\"col\">Because</th><th scope=\"col\">Margin</th><th scope=\"col\">Source</th>\
         </tr></thead>\n<tbody>\n",
    );
    for rule in &report.rules {
        let place = if rule.where_.is_empty() {
            String::new()
        } else {
            format!(" At {}.", rule.where_.join(", "))
        };
        let _ = writeln!(
            out,
            "<tr class=\"{}\"><td>{}</td><th scope=\"row\">{}</th><td class=\"word\">{}</td><td>{}{}</td>\
             <td>{}</td><td>{}</td></tr>",
            rule.answer.id(),
            rule.number,
            escape(&rule.asks),
            mark(rule.answer),
            escape(&rule.because),
            escape(&place),
            escape(rule.margin.as_deref().unwrap_or("\u{2013}")),
            escape(&rule.source),
        );
    }
    out.push_str("</tbody>\n</table></div>\n");
}

fn figures(out: &mut String, group: &FigureGroup) {
    let _ = writeln!(
        out,
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"{title}, every figure\"><table class=\"full figs\">\n\
         <caption>{title}: every figure</caption>\n<thead><tr>\
         <th scope=\"col\">Figure</th><th scope=\"col\">Value</th><th scope=\"col\">Could be</th>\
         <th scope=\"col\">Stands on</th><th scope=\"col\">Definition</th><th scope=\"col\">Source</th>\
         </tr></thead>\n<tbody>",
        title = escape(&group.title)
    );
    for line in &group.lines {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th>{}<td class=\"nowrap\">{}</td><td class=\"say\">{}</td><td>{}</td></tr>",
            escape(&line.name),
            cells(line),
            escape(&line.stands_on),
            escape(&line.definition),
            escape(&line.source)
        );
    }
    out.push_str("</tbody>\n</table></div>\n");
}

fn findings(out: &mut String, report: &Report) {
    let lines: Vec<String> = report
        .findings
        .iter()
        .map(|finding| match &finding.at {
            Some(at) => format!("{at}: {}", finding.sentence),
            None => finding.sentence.clone(),
        })
        .collect();
    if lines.is_empty() {
        listed(out, "Findings", &["Nothing was noticed that needs a reservation.".to_owned()]);
    } else {
        listed(out, "Findings", &lines);
    }
}

fn night(out: &mut String, report: &Report) {
    let night = &report.night;
    let zone = night.zone.as_deref().map_or_else(
        || "No time zone was given; hours are as the monitor's clock showed them.".to_owned(),
        |zone| format!("Clock: {zone}."),
    );
    let mut lines = vec![format!("Recorded for {}, as {}. {zone}", night.length, night.format)];
    lines.extend(night.channels.iter().map(|channel| format!("{channel}.")));
    lines.extend(night.monitor.iter().cloned());
    listed(out, "The recording", &lines);
    listed(out, "Told of the night", &told(report));
}

/// The patient's word, and everything else that was told.
fn told(report: &Report) -> Vec<String> {
    let night = &report.night;
    let breathing = night.breathing.as_deref().unwrap_or("not told");
    let first = [night.representative.clone(), format!("Breathing: {breathing}.")];
    first.into_iter().chain(night.told.iter().cloned()).collect()
}

fn provenance(out: &mut String, report: &Report, heading: &Heading) {
    let made = &report.provenance;
    out.push_str("<div><h2 class=\"small\">Made from</h2>\n<dl class=\"made-from\">\n");
    let criteria =
        format!("{}: {} {}", made.criteria_title, made.criteria_name, made.criteria_version);
    for (label, words) in [
        ("Criteria", criteria.as_str()),
        ("Criteria SHA-256", &made.criteria_sha256),
        ("Recording SHA-256", &made.input_sha256),
        ("Engine", &made.engine),
    ] {
        element(out, "dt", label);
        element(out, "dd", words);
    }
    for slot in &heading.record {
        element(out, "dt", &slot.label);
        element(out, "dd", &slot.text);
    }
    out.push_str("</dl></div>\n");
}
