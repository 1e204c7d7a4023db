//! The draft of a set: what it changes, its fields, its text, and what comes next.

use std::sync::Arc;

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use engine::criteria::Criteria;
use engine::criteria::Own;
use engine::criteria::differences;
use engine::criteria::head;
use engine::criteria::shipped;
use store::criteria::adoption::Begin;
use store::criteria::adoption::Draft;
use store::criteria::adoption::sound;
use store::criteria::rerun::Ended;
use store::criteria::rerun::Rerun;
use store::criteria::sets::parsed;
use store::error::StoreError;
use store::record::db::Conn;

use super::adopt;
use super::form::Fields;
use super::rows;
use super::rows::Row;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::typed::Typed;
use crate::visit::Visit;

#[derive(Template)]
#[template(path = "criteria/draft.html")]
pub(super) struct Page {
    name: String,
    csrf: String,
    seen: i64,
    began: String,
    saved: String,
    answer: String,
    /// What stands against its adoption: sentence and hint.
    wrong: Vec<(String, String)>,
    against: String,
    rows: Vec<Row>,
    /// The fields, when the engine can read the text.
    fields: Option<Fields>,
    text: String,
    /// What past nights showed of exactly this text.
    showed: Vec<String>,
    runs: bool,
    pub(super) adopt: Form,
    assets: &'static str,
}

/// A draft with the sets around it.
pub(super) struct Open {
    pub(super) draft: Draft,
    pub(super) before: Box<Criteria>,
    pub(super) rerun: Option<Arc<Rerun>>,
    /// What the page says first; empty when nothing was typed that could not be done.
    pub(super) faults: Vec<(String, String)>,
}

impl Open {
    pub(super) async fn of(visit: &Visit, conn: &mut Conn, draft: Draft) -> Result<Self, Trouble> {
        let before = match conn.set_before(&draft.name, &draft.text).await {
            Ok(before) => before,
            // A text that names no base any more is still to be mended.
            Err(_) => shipped("adult-air").map_err(|error| Trouble::broken(error.to_string()))?,
        };
        let rerun = visit.app.rerun(&draft.name);
        Ok(Self { draft, before: Box::new(before), rerun, faults: Vec::new() })
    }

    /// The run over past nights with exactly this text against the set that holds now.
    pub(super) fn same_run(&self) -> Option<&Arc<Rerun>> {
        let same = |rerun: &&Arc<Rerun>| {
            rerun.draft.sha256() == self.draft.sha256()
                && rerun.sets().0.sha256 == self.before.sha256
        };
        self.rerun.as_ref().filter(same)
    }
}

/// The draft of a set, or why there is none to be opened.
pub(super) async fn opened(visit: &Visit, name: &str) -> Result<Option<Open>, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let Some(draft) = conn.set_draft(name).await? else { return Ok(None) };
    Ok(Some(Open::of(visit, &mut conn, draft).await?))
}

/// `GET /criteria/{name}/draft`.
pub(super) async fn page(visit: Visit, Path(name): Path<String>) -> Answer {
    let Some(open) = opened(&visit, &name).await? else {
        return Ok(lead_to(&format!("/criteria/{name}")));
    };
    let adopt = adopt::form(&visit, &open);
    let page = made(&visit, &open, None, adopt);
    visit.page(&format!("Draft of {name}"), &page)
}

/// The page of a draft; `typed` stands in its fields when they could not be saved.
pub(super) fn made(visit: &Visit, open: &Open, fields: Option<Fields>, adopt: Form) -> Page {
    let draft = &open.draft;
    let set = parsed(&draft.text).ok();
    let base = shipped(&head(&draft.text).based_on).ok();
    let fields = fields.or_else(|| {
        let (set, base) = (set.as_ref()?, base.as_ref()?);
        Some(Fields::of(&draft.text, set, base))
    });
    let rows =
        set.as_ref().map(|set| rows::rows(&differences(set, &open.before))).unwrap_or_default();
    let mut wrong = open.faults.clone();
    if wrong.is_empty()
        && let Err(StoreError::Refused(all)) = sound(&draft.name, &draft.text)
    {
        wrong = all.iter().map(|one| (sentence(&one.says), sentence(&one.hint))).collect();
    }
    let run = open.same_run();
    Page {
        name: draft.name.clone(),
        csrf: visit.csrf(),
        seen: draft.id,
        began: draft.began.clone(),
        saved: format!("{}, {}", visit.local(draft.at), draft.who),
        answer: answer(set.as_ref(), &open.before, rows.len()),
        wrong,
        against: format!("{} {}", open.before.name, open.before.version),
        rows,
        fields,
        text: draft.text.clone(),
        showed: run
            .and_then(|run| run.ran())
            .map(|_| run.map(|run| store::criteria::rerun::words(&run.state())).unwrap_or_default())
            .unwrap_or_default(),
        runs: run.is_some_and(|run| run.state().ended.is_none()),
        adopt,
        assets: crate::assets::FOLDER.as_str(),
    }
}

fn answer(set: Option<&Criteria>, before: &Criteria, n: usize) -> String {
    match (set, n) {
        (None, _) => "The text cannot be read as a set yet.".to_owned(),
        (Some(_), 0) => {
            format!("Nothing differs yet from {} {}, which holds.", before.name, before.version)
        }
        (Some(set), n) => format!(
            "Version {} would bring {} from {} {}, which holds. Nothing holds before it is adopted.",
            set.version,
            super::things(n),
            before.name,
            before.version
        ),
    }
}

/// `POST /criteria/{name}/draft`: begins, saves or throws away, as `act` says.
pub(super) async fn change(visit: Visit, Path(name): Path<String>, typed: Typed) -> Answer {
    let here = format!("/criteria/{name}/draft");
    let (store, by) = (visit.app.store(), visit.author());
    match typed.get("act") {
        "begin" => {
            let start = match (typed.number("version"), typed.option("base")) {
                (Some(version), _) => Begin::Version(version),
                (None, Some(base)) => Begin::Shipped(base),
                (None, None) => Begin::Holding,
            };
            store.begin_draft(&by, &name, &start).await?;
            Ok(visit.done("The draft is begun. Nothing holds before it is adopted.", &here))
        }
        "drop" => {
            store.drop_draft(&by, &name, seen(&typed)?).await?;
            Ok(visit.done("The draft is thrown away.", &format!("/criteria/{name}")))
        }
        "text" => {
            let text = typed.raw("text").replace("\r\n", "\n");
            store.save_draft(&by, &name, seen(&typed)?, &text).await?;
            Ok(visit.done("Saved.", &here))
        }
        // Two whole sets lie in its future, which is too large to be handed around.
        _ => Box::pin(save(visit, name, typed)).await,
    }
}

/// Which version of the draft whoever asks has seen.
pub(super) fn seen(typed: &Typed) -> Result<i64, Trouble> {
    let seen = typed.number("seen");
    seen.ok_or_else(|| Trouble::not_understood("It is not told which state of the draft was seen."))
}

/// Saves what stands in the fields.
async fn save(visit: Visit, name: String, typed: Typed) -> Answer {
    let seen = seen(&typed)?;
    let Some(mut open) = opened(&visit, &name).await? else {
        return Ok(lead_to(&format!("/criteria/{name}")));
    };
    let (set, base) = (parsed(&open.draft.text)?, shipped(&head(&open.draft.text).based_on));
    let base = base.map_err(|error| Trouble::not_understood(&error.to_string()))?;
    let mut fields = Fields::of(&open.draft.text, &set, &base).filled(&typed);
    let own = Own::of(&open.draft.text, &set);
    let read = fields.read(&own, &base, typed.get("copy")).map(|own| own.text(&base));
    let refused = match read {
        None => Vec::new(),
        // Fields have no way to write what the engine cannot read but in rules of one's own.
        Some(text) => match parsed(&text) {
            Ok(_) => {
                visit.app.store().save_draft(&visit.author(), &name, seen, &text).await?;
                let page = format!("/criteria/{name}/draft");
                return Ok(visit.done("Saved. See what differs, then what it would change.", &page));
            }
            Err(error) => vec![(sentence(&error.to_string()), String::new())],
        },
    };
    open.faults = fields
        .faults
        .iter()
        .map(|(_, label, says)| (format!("{label} {says}"), String::new()))
        .chain(refused)
        .collect();
    let adopt = adopt::form(&visit, &open);
    let page = made(&visit, &open, Some(fields), adopt);
    visit.page_of(StatusCode::UNPROCESSABLE_ENTITY, &format!("Draft of {name}"), &page.render()?)
}

/// How a run stands, in a few words.
pub(super) fn run_words(ended: Option<&Ended>) -> &'static str {
    match ended {
        None => "under way",
        Some(Ended::Whole) => "done",
        Some(Ended::Stopped) => "stopped",
        Some(Ended::Broke(_)) => "broken off",
    }
}
