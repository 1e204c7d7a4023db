//! The page that lists the nights of the demo.

use ::demo::{ABOUT, HOSPITAL};
use engine::print::ink::{DARK, Inks, LIGHT};

use super::{Line, formats};

const STYLE: &str = "\
body{margin:0 auto;max-width:58rem;padding:1.5rem 1rem 4rem;background:var(--paper);color:var(--ink);\
font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.6rem;line-height:1.25;margin:0}
h2{font-size:1.15rem;margin:0}
p{margin:.35rem 0}
.quiet{color:var(--quiet)}
.answer{font-weight:600}
article{border-top:1px solid var(--hair);margin-top:1.5rem;padding-top:1.25rem}
img{display:block;width:100%;height:auto;margin:.75rem 0}
a{color:inherit;text-underline-offset:.2em}
nav a{display:inline-block;margin-right:1.1rem;padding:.2rem 0}";

/// The page.
pub(super) fn page(lines: &[Line]) -> String {
    let nights: Vec<String> = lines.iter().map(night).collect();
    let [hospital, department] = HOSPITAL.map(escaped);
    format!(
        "<!doctype html>\n<html lang=\"en-GB\">\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n\
         <title>{hospital}</title>\n<style>\n:root{{color-scheme:light dark;{}}}\n\
         @media(prefers-color-scheme:dark){{:root{{{}}}}}\n{STYLE}\n</style>\n<main>\n\
         <h1>{hospital}</h1>\n<p>{department}</p>\n<p class=\"quiet\">{}</p>\n{}\n</main>\n</html>\n",
        inks(LIGHT),
        inks(DARK),
        escaped(ABOUT),
        nights.join("\n"),
    )
}

fn inks(inks: Inks) -> String {
    let Inks { paper, ink, quiet, hair, .. } = inks;
    format!("--paper:{paper};--ink:{ink};--quiet:{quiet};--hair:{hair}")
}

fn night(line: &Line) -> String {
    let (guest, report) = (line.guest, &line.report);
    let reason = report.reasons.first().map_or("", String::as_str);
    let links = formats()
        .into_iter()
        .map(|(ending, _)| (ending, format!("report ({})", ending.to_uppercase())))
        .chain([
            ("csv", "recording".to_owned()),
            ("notes.toml", "notes".to_owned()),
            ("truth.json", "truth".to_owned()),
        ])
        .map(|(ending, what)| format!("<a href=\"{}.{ending}\">{what}</a>", guest.file));
    format!(
        "<article>\n<h2><a href=\"{file}.html\">{}</a></h2>\n<p class=\"quiet\">{}</p>\n<p>{}</p>\n\
         <p class=\"answer\">{} {}</p>\n<p>{}</p>\n\
         <img src=\"{file}.strip.svg\" alt=\"The night as a strip: {}\" loading=\"lazy\">\n\
         <nav aria-label=\"Files of {}\">{}</nav>\n</article>",
        escaped(guest.person),
        escaped(guest.reason),
        escaped(&report.question),
        escaped(&report.headline),
        escaped(&report.decision_words),
        escaped(reason),
        escaped(&report.picture.words),
        escaped(guest.person),
        links.collect::<Vec<_>>().join("\n"),
        file = guest.file,
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
