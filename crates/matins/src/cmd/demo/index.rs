//! The page that lists the nights of the demo.

use super::Line;
use super::department::{ABOUT, HOSPITAL};

const STYLE: &str = "\
:root{color-scheme:light dark;--ink:#1d1a16;--paper:#fbf9f4;--rule:#b9b2a6}
@media(prefers-color-scheme:dark){:root{--ink:#ece7dd;--paper:#1a1816;--rule:#5d574f}}
body{margin:2rem auto;max-width:60rem;padding:0 1rem;background:var(--paper);color:var(--ink);\
font:1rem/1.5 Georgia,serif}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;vertical-align:top;padding:.5rem .75rem .5rem 0;border-top:1px solid var(--rule)}
a{color:inherit}";

/// The page.
pub(super) fn page(lines: &[Line]) -> String {
    let rows: Vec<String> = lines.iter().map(row).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n\
         <title>{hospital}</title>\n<style>\n{STYLE}\n</style>\n<h1>{hospital}</h1>\n<p>{about}</p>\n\
         <table>\n<thead><tr><th scope=\"col\">Night of</th><th scope=\"col\">Question</th>\
         <th scope=\"col\">Answer</th><th scope=\"col\">Files</th></tr></thead>\n<tbody>\n{rows}\n\
         </tbody>\n</table>\n</html>\n",
        hospital = escaped(HOSPITAL[0]),
        about = escaped(ABOUT),
        rows = rows.join("\n"),
    )
}

fn row(line: &Line) -> String {
    let report = &line.report;
    let reason = report.reasons.first().map_or("", String::as_str);
    let files: Vec<String> = super::formats()
        .iter()
        .map(|(ending, _)| (*ending, "report"))
        .chain([("csv", "recording"), ("notes.toml", "notes"), ("truth.json", "truth")])
        .map(|(ending, what)| {
            let short = ending.rsplit('.').next().unwrap_or(ending).to_uppercase();
            format!("<a href=\"{}.{ending}\">{what} ({short})</a>", line.guest.file)
        })
        .collect();
    format!(
        "<tr><th scope=\"row\">{}<br><small>{}</small></th><td>{}</td><td>{}<br><small>{} {}</small></td>\
         <td>{}</td></tr>",
        escaped(line.guest.person),
        escaped(line.guest.reason),
        escaped(&report.question),
        escaped(&report.headline),
        escaped(&report.decision_words),
        escaped(reason),
        files.join("<br>")
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
