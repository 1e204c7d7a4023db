//! The department's own settings and texts. Every version is kept; the latest holds.

mod desk;

use askama::Template;
use axum::extract::Path;
use store::lending::setting::DESK;
use store::record::tables::Setting;
use store::text;

use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// The settings that are edited as text: name, title, what it is.
const TEXTS: &[(&str, &str, &str)] = &[
    (
        "desk",
        "The desk",
        "Hospital, department, telephone, time zone, return places and times, parts of the bag, limits of the checks, and after how many minutes without a touch a session ends.",
    ),
    (
        "leaflet",
        "The patient's leaflet",
        "What the patient reads at home, in plain words. TOML, as docs/paper.md says; empty prints the text that comes with the program.",
    ),
    (
        "handout",
        "The hand-out sheet",
        "What the borrower is told and signs. TOML, as docs/paper.md says.",
    ),
    ("letters", "Letters", "The words of the letters to patients. TOML, as docs/paper.md says."),
    ("phrases", "Phrases for reports", "One phrase a line, offered when a comment is written."),
];

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/settings", list)
        .get("/settings/{name}", show)
        .post("/settings/{name}", save)
}

struct Line {
    name: &'static str,
    title: &'static str,
    about: &'static str,
    last: String,
}

#[derive(Template)]
#[template(path = "settings.html")]
struct List {
    lines: Vec<Line>,
}

async fn list(visit: Visit) -> Answer {
    let mut lines = Vec::new();
    for (name, title, about) in TEXTS {
        let versions = versions(&visit, name).await?;
        let last =
            versions.first().map(|version| format!("{}, {}", visit.local(version.at), version.who));
        let last = last.unwrap_or_else(|| "as shipped".to_owned());
        lines.push(Line { name, title, about, last });
    }
    visit.page("Settings", &List { lines })
}

struct Version {
    id: i64,
    at: String,
    who: String,
    value: String,
}

#[derive(Template)]
#[template(path = "setting.html")]
struct Page {
    title: &'static str,
    about: &'static str,
    form: Form,
    versions: Vec<Version>,
}

fn page(
    visit: &Visit,
    text: &(&'static str, &'static str, &'static str),
    versions: Vec<Setting>,
) -> Page {
    let (name, title, about) = *text;
    let latest = versions.first();
    let holds = latest.map_or("", |version| version.value.as_str());
    let empty = visit
        .form(format!("/settings/{name}"), "Save as the new version")
        .field(Field::hidden("seen", latest.map_or(0, |version| version.id).to_string()))
        .back("/settings", "Leave it as it is");
    let form = if name == DESK {
        desk::form(empty, holds)
    } else {
        let shipped = visit.app.printer().shipped_text(name).unwrap_or_default();
        // Where nothing was saved yet the text that holds is there to be changed.
        let (value, hint) = if holds.trim().is_empty() && !shipped.is_empty() {
            (shipped, "This is the text that comes with the program.")
        } else {
            (holds, "")
        };
        empty.field(Field::lines("value", "Text", 18).most(text::PAPER).value(value).hint(hint))
    };
    let line = |version: Setting| Version {
        id: version.id,
        at: visit.local(version.at),
        who: version.who,
        value: version.value,
    };
    Page { title, about, form, versions: versions.into_iter().map(line).collect() }
}

async fn show(visit: Visit, Path(name): Path<String>) -> Answer {
    let text = text(&name)?;
    let versions = versions(&visit, text.0).await?;
    visit.page(text.1, &page(&visit, text, versions))
}

async fn save(visit: Visit, Path(name): Path<String>, typed: Typed) -> Answer {
    let text = text(&name)?;
    let versions = versions(&visit, text.0).await?;
    let latest = versions.first().map_or(0, |version| version.id);
    let holds = versions.first().map(|version| version.value.clone()).unwrap_or_default();
    let mut page = page(&visit, text, versions);
    page.form = page.form.filled(&typed);
    if typed.number("seen") != Some(latest) {
        page.form.faults.push((
            "Somebody else saved a version meanwhile; it is the first of the list below."
                .to_owned(),
            "Put both together, then save again.".to_owned(),
        ));
        page.form.fields[0].values = vec![latest.to_string()];
        return visit.again(text.1, &page);
    }
    let value = if text.0 == DESK {
        desk::text(&typed, &holds)
    } else {
        typed.raw("value").replace("\r\n", "\n")
    };
    if !value.trim().is_empty()
        && let Err(says) = visit.app.printer().check_text(text.0, &value)
    {
        page.form.fault("value", crate::form::sentence(&says));
        return visit.again(text.1, &page);
    }
    match visit.app.store().put_setting(&visit.author(), text.0, &value).await {
        Ok(_) => Ok(visit.done("Saved. It holds from now on.", "/settings")),
        Err(error) => {
            desk::refused(&mut page.form, error)?;
            visit.again(text.1, &page)
        }
    }
}

fn text(name: &str) -> Result<&'static (&'static str, &'static str, &'static str), Trouble> {
    TEXTS.iter().find(|text| text.0 == name).ok_or_else(Trouble::not_found)
}

async fn versions(visit: &Visit, name: &str) -> Result<Vec<Setting>, Trouble> {
    let mut conn = visit.app.store().read().await?;
    Ok(conn.versions_of(name).await?)
}
