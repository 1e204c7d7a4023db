//! Criteria: the sets nights are read by, the department's own beside those that travel with the program, and how
//! one of its own is drafted, tried on past nights and adopted.

mod adopt;
mod editor;
mod form;
mod rerun;
mod rows;

use askama::Template;
use axum::extract::Path;
use engine::criteria::Criteria;
use engine::criteria::age_words;
use engine::criteria::differences;
use engine::criteria::head;
use engine::criteria::shipped;
use engine::criteria::shipped_names;
use store::criteria::adoption::Adopted;
use store::criteria::adoption::Begin;
use store::criteria::adoption::Draft;
use store::criteria::sets::parsed;
use store::record::db::Conn;
use store::record::tables::Setting;
use store::text;

use self::rows::Asked;
use self::rows::Part;
use self::rows::Row;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/criteria", list)
        .post("/criteria", begin)
        .get("/criteria/{name}", show)
        .get("/criteria/{name}/draft", editor::page)
        .post("/criteria/{name}/draft", editor::change)
        .get("/criteria/{name}/rerun", rerun::page)
        .post("/criteria/{name}/rerun", rerun::act)
        .post("/criteria/{name}/adopt", adopt::adopt)
}

struct Line {
    name: String,
    title: String,
    whose: &'static str,
    version: String,
    differs: String,
    read: String,
    draft: String,
}

#[derive(Template)]
#[template(path = "criteria/list.html")]
struct List {
    answer: String,
    lines: Vec<Line>,
    form: Form,
    assets: &'static str,
}

/// `GET /criteria`.
async fn list(visit: Visit) -> Answer {
    let page = listed(&visit, begin_form(&visit)).await?;
    visit.page("Criteria", &page)
}

async fn listed(visit: &Visit, form: Form) -> Result<List, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let drafts = conn.set_drafts().await?;
    let mut names = conn.set_names().await?;
    let adopted = names.len();
    names.extend(
        drafts
            .iter()
            .map(|draft| draft.name.clone())
            .filter(|name| !names.contains(name))
            .collect::<Vec<_>>(),
    );
    let mut lines = Vec::with_capacity(names.len());
    for name in names {
        let draft = drafts.iter().find(|draft| draft.name == name);
        lines.push(line(visit, &mut conn, name, draft).await?);
    }
    let own = lines.iter().filter(|line| line.whose == OWN).count();
    let answer = match own {
        0 => format!("{adopted} sets travel with the program; none is the department's own yet."),
        1 => "One set is the department's own. What it does not state is as shipped.".to_owned(),
        n => format!("{n} sets are the department's own. What they do not state is as shipped."),
    };
    Ok(List { answer, lines, form, assets: crate::assets::FOLDER.as_str() })
}

const OWN: &str = "the department's own";
const SHIPPED: &str = "as shipped";

async fn line(
    visit: &Visit,
    conn: &mut Conn,
    name: String,
    draft: Option<&Draft>,
) -> Result<Line, Trouble> {
    let own = conn.set_versions(&name).await?.into_iter().next();
    let set = match (&own, shipped(&name)) {
        (Some(own), _) => parsed(&own.value).ok(),
        (None, set) => set.ok(),
    };
    let base = own.as_ref().and_then(|own| shipped(&head(&own.value).based_on).ok());
    let n = match (&set, &base) {
        (Some(set), Some(base)) => differences(set, base).len(),
        _ => 0,
    };
    let read = conn.nights_by_set(&name).await?;
    Ok(Line {
        title: set.as_ref().map_or_else(String::new, |set| set.title.clone()),
        whose: match (&own, &set) {
            (Some(_), _) => OWN,
            (None, Some(_)) => SHIPPED,
            (None, None) => "not adopted yet",
        },
        version: set.map_or_else(String::new, |set| set.version),
        differs: base.map_or_else(String::new, |base| format!("{} from {}", things(n), base.name)),
        read: read.to_string(),
        draft: draft
            .map_or_else(String::new, |draft| format!("{}, {}", visit.local(draft.at), draft.who)),
        name,
    })
}

/// `1 difference`, `3 differences`.
pub(super) fn things(n: usize) -> String {
    if n == 1 { "1 difference".to_owned() } else { format!("{n} differences") }
}

fn begin_form(visit: &Visit) -> Form {
    let bases = shipped_names().into_iter().filter_map(|name| {
        let set = shipped(name).ok()?;
        Some((name.to_owned(), format!("{} ({name})", set.title)))
    });
    visit
        .form("/criteria", "Begin its draft")
        .field(Field::text("name", "Name").most(text::MARK).needed().hint(
            "Small letters, digits and hyphens, such as adult-clinic-b. It stands on reports.",
        ))
        .field(Field::menu("base", "Based on", bases.collect()).needed())
}

/// `POST /criteria`: the draft of a set under a new name.
async fn begin(visit: Visit, typed: Typed) -> Answer {
    let mut form = begin_form(&visit).filled(&typed).checked();
    if !form.has_faults() {
        let (name, start) = (typed.get("name"), Begin::Shipped(typed.get("base").to_owned()));
        match visit.app.store().begin_draft(&visit.author(), name, &start).await {
            Ok(_) => return Ok(visit.done("Begun.", &format!("/criteria/{name}/draft"))),
            Err(error) => form.refused(error, &[("set_name", "name"), ("set_base", "base")])?,
        }
    }
    let page = listed(&visit, form).await?;
    visit.again("Criteria", &page)
}

struct Version {
    id: i64,
    number: String,
    says: String,
    because: String,
    showed: Vec<String>,
    shown: bool,
    csrf: String,
}

#[derive(Template)]
#[template(path = "criteria/show.html")]
struct Page {
    name: String,
    csrf: String,
    title: String,
    answer: String,
    /// What must be seen first: the shipped set under it has changed since.
    care: String,
    facts: Vec<(&'static str, String)>,
    draft: Option<String>,
    against: String,
    rows: Vec<Row>,
    parts: Vec<Part>,
    asked: Vec<Asked>,
    questions: Vec<(String, Vec<String>)>,
    versions: Vec<Version>,
    /// An old version is looked at.
    old: bool,
    assets: &'static str,
}

/// `GET /criteria/{name}`, with `?version=N` an old version of it.
async fn show(visit: Visit, Path(name): Path<String>, typed: Typed) -> Answer {
    let mut conn = visit.app.store().read().await?;
    let own = conn.set_versions(&name).await?;
    let adoptions = conn.adoptions(&name).await?;
    let draft = conn.set_draft(&name).await?;
    drop(conn);
    let chosen = match typed.number("version") {
        Some(id) => Some(own.iter().find(|one| one.id == id).ok_or_else(Trouble::not_found)?),
        None => own.first(),
    };
    let set = match chosen {
        Some(kept) => parsed(&kept.value)?,
        None if draft.is_some() && shipped(&name).is_err() => {
            return Ok(crate::page::lead_to(&format!("/criteria/{name}/draft")));
        }
        None => shipped(&name).map_err(|_| Trouble::not_found())?,
    };
    let base = match chosen {
        Some(kept) => head(&kept.value).based_on,
        None => name.clone(),
    };
    let base = shipped(&base).map_err(|_| Trouble::not_found())?;
    let old = chosen.map(|one| one.id) != own.first().map(|one| one.id);
    let rows = rows::rows(&differences(&set, &base));
    let adopted = chosen.and_then(|kept| adoptions.iter().find(|one| one.setting == kept.id));
    let page = Page {
        csrf: visit.csrf(),
        title: set.title.clone(),
        answer: answer(&set, &base, chosen.is_some(), (old, rows.len())),
        care: care(&set, adopted),
        facts: facts(&visit, &set, chosen, adopted),
        draft: draft.map(|draft| format!("{}, {}", visit.local(draft.at), draft.who)),
        against: format!("{} {}", base.name, base.version),
        rows,
        parts: rows::parts(&set, &base),
        asked: rows::asked(&set, &base),
        questions: rows::questions(&set),
        versions: versions(&visit, &own, &adoptions, chosen.map(|one| one.id)),
        old,
        assets: crate::assets::FOLDER.as_str(),
        name,
    };
    visit.page(&format!("Criteria {}", page.name), &page)
}

fn answer(set: &Criteria, base: &Criteria, own: bool, (old, n): (bool, usize)) -> String {
    let (version, base) = (&set.version, &base.name);
    match (own, old) {
        (false, _) => format!("Version {version}, as shipped, holds for nights read by this set."),
        (true, true) => {
            format!("Version {version} held once. It has {} from {base} as shipped.", things(n))
        }
        (true, false) => format!(
            "The department's own version {version} holds. It has {} from {base} as shipped.",
            things(n)
        ),
    }
}

fn care(set: &Criteria, adopted: Option<&Adopted>) -> String {
    match adopted {
        Some(adopted) if adopted.sha256 != set.sha256 => {
            "The shipped set under this one has changed since it was adopted, by a new release of the program. \
             Look at the differences, run past nights and adopt it anew."
                .to_owned()
        }
        _ => String::new(),
    }
}

fn facts(
    visit: &Visit,
    set: &Criteria,
    kept: Option<&Setting>,
    adopted: Option<&Adopted>,
) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Version", set.version.clone()),
        ("For", age_words(set.age_band).to_owned()),
        ("Hash on reports, SHA-256", set.sha256.get(..16).unwrap_or_default().to_owned()),
    ];
    if let Some(kept) = kept {
        facts.push(("Adopted", format!("{}, {}", visit.local(kept.at), kept.who)));
    }
    facts.extend(adopted.map(|adopted| ("Because", adopted.reason.clone())));
    facts
}

fn versions(
    visit: &Visit,
    own: &[Setting],
    adoptions: &[Adopted],
    shown: Option<i64>,
) -> Vec<Version> {
    let row = |kept: &Setting| {
        let adopted = adoptions.iter().find(|one| one.setting == kept.id).cloned();
        let adopted = adopted.unwrap_or_default();
        let mut showed = adopted.showed;
        if !adopted.unrun_because.is_empty() {
            showed.push(format!("Past nights were not run: {}", adopted.unrun_because));
        }
        Version {
            id: kept.id,
            number: head(&kept.value).version,
            says: format!("adopted {}, {}", visit.local(kept.at), kept.who),
            because: adopted.reason,
            showed,
            shown: Some(kept.id) == shown,
            csrf: visit.csrf(),
        }
    };
    own.iter().map(row).collect()
}
