//! Whose night it is, settled by hand: every loan that could own it, a second person where something contradicts,
//! untied, set aside, and put in the place of a worse file's night.

use askama::Template;
use axum::extract::Path;
use serde_json::json;
use store::error::Result;
use store::error::StoreError;
use store::intake::settle::Candidate;
use store::intake::settle::Candidates;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Night;
use store::record::tables::Person;
use store::record::tables::Tie;
use store::text;
use store::words::NightStatus;

use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

const AT: &[(&str, &str)] = &[("reason_missing", "reason")];

/// Its routes.
pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/nights/{id}/settle", settling)
        .post("/nights/{id}/settle", settle)
        .post("/nights/{id}/aside", aside)
        .get("/nights/{id}/untie", untying)
        .post("/nights/{id}/untie", untie)
        .get("/nights/{id}/replace", replacing)
        .post("/nights/{id}/replace", replace)
        .post("/ties/{id}/confirm", confirm)
        .post("/ties/{id}/decline", decline)
}

#[derive(Debug, Default, Template)]
#[template(path = "desk/whose.html")]
struct Page {
    title: &'static str,
    words: String,
    doubts: Vec<String>,
    /// What the file says of its person, read anew.
    says: Vec<String>,
    proposal: Option<Proposal>,
    rows: Vec<Row>,
    forms: Vec<(&'static str, Form)>,
    /// Versions of a report that stay with the patient they were made for: address, if there is paper, and words.
    papers: Vec<(String, String)>,
}

#[derive(Debug)]
struct Proposal {
    whose: String,
    by: String,
    because: String,
    against: Vec<String>,
    /// `None` for who proposed it.
    confirm: Option<Form>,
    decline: Form,
}

#[derive(Debug)]
struct Row {
    id: i64,
    mark: String,
    who: String,
    monitor: String,
    overlap: String,
    speaks_for: Vec<String>,
    against: Vec<String>,
    open: Vec<String>,
    clear: bool,
    seconded: bool,
    /// Whether somebody looked it up by a number.
    sought: bool,
}

fn row(all: &Candidates, one: &Candidate) -> Row {
    let sentences = |all: &[String]| all.iter().map(|says| sentence(says)).collect();
    let (weighed, loan) = (&one.weighed, &one.loan);
    let minutes = weighed.overlap_s / 60;
    Row {
        id: loan.id,
        mark: loan.mark.clone(),
        who: format!("{}, born {}", one.person.listed(), one.person.born_on),
        monitor: one.monitor.mark.clone(),
        overlap: format!("{} h {:02} min", minutes / 60, minutes % 60),
        speaks_for: sentences(&weighed.speaks_for),
        against: sentences(&weighed.against),
        open: sentences(&weighed.open),
        clear: weighed.is_sure(),
        seconded: !weighed.against.is_empty(),
        sought: all.sought.contains(&loan.id),
    }
}

fn reason(label: &str) -> Field {
    Field::lines("reason", label, 2).hint("Stands in the record with your name.").needed()
}

fn settle_form(visit: &Visit, night: &Night, all: &Candidates, found: &str) -> Form {
    let of = all.loans.iter().map(|one| {
        let two = if one.weighed.against.is_empty() { "" } else { " (two people)" };
        let words = format!(
            "{}: {}, born {}, {}, night of {}{two}",
            one.loan.mark,
            one.person.listed(),
            one.person.born_on,
            one.monitor.mark,
            one.loan.first_night_on
        );
        (one.loan.id.to_string(), words)
    });
    visit
        .form(format!("/nights/{}/settle", night.id), "Settle")
        .field(
            Field::menu("loan", "It is the night of", of.collect())
                .hint("Where something contradicts, your word is a proposal: the night stays untied until a second person agrees.")
                .needed(),
        )
        .field(reason("How you know"))
        .field(Field::hidden("found", found))
        .grave()
        .back("/nights", "Not now")
}

/// Other loans stand behind a number: the list holds only those that could own the night.
fn search_form(visit: &Visit, night: &Night) -> Form {
    visit.form(format!("/nights/{}/settle", night.id), "Look it up").field(
        Field::text("find", "Number of a loan, a monitor or a patient")
            .most(text::MARK)
            .hint("Its loans are laid beside the night, with what speaks against each.")
            .needed(),
    )
}

fn aside_form(visit: &Visit, night: &Night) -> Form {
    visit
        .form(format!("/nights/{}/aside", night.id), "Set it aside")
        .field(Field::lines("reason", "Why it is nobody's night here", 2).needed())
        .grave()
}

fn untie_form(visit: &Visit, night: &Night) -> Form {
    visit
        .form(format!("/nights/{}/untie", night.id), "Untie it")
        .field(reason("Why it is not this patient's"))
        .grave()
        .back(format!("/nights/{}", night.id), "Not now")
}

/// The page of a night that is tied to nobody, with the loans behind a number that somebody typed.
async fn page(visit: &Visit, night: &Night, find: &str) -> Result<Page, Trouble> {
    let all = visit.app.store().candidates(night, find).await?;
    page_with(visit, night, &all, find).await
}

async fn page_with(
    visit: &Visit,
    night: &Night,
    all: &Candidates,
    find: &str,
) -> Result<Page, Trouble> {
    let store = visit.app.store();
    let people: Vec<i64> = all.loans.iter().map(|one| one.person.id).collect();
    store
        .looked(
            &visit.author(),
            format!("night {}", night.id),
            night.person,
            json!({"people": people}),
        )
        .await?;
    let mut page = Page {
        title: "Whose night is this?",
        words: format!(
            "The night from {} to {}.",
            visit.local(night.start_at),
            visit.local(night.end_at)
        ),
        doubts: night.doubts.0.iter().map(|doubt| sentence(doubt)).collect(),
        proposal: proposal(visit, night).await?,
        rows: all.loans.iter().map(|one| row(all, one)).collect(),
        ..Page::default()
    };
    page.papers = papers(visit, night).await?;
    let free = matches!(night.status, NightStatus::Untied | NightStatus::SetAside);
    if free && page.proposal.is_none() && night.replaced_by.is_none() {
        if !replaceable(all).is_empty() {
            let form = replace_form(visit, night, all);
            page.forms.push(("A better file of a night that is in already", form));
        }
        page.forms.push(("Settle it", settle_form(visit, night, all, find)));
        page.forms.push(("A loan that is not listed", search_form(visit, night)));
    }
    if night.status == NightStatus::Untied {
        page.forms.push(("Or it belongs to nobody here", aside_form(visit, night)));
    }
    if let Some(now) = night.replaced_by {
        page.words = format!("{} Night {now} stands in its place.", page.words);
    }
    page.says.clone_from(&all.says);
    Ok(page)
}

async fn papers(visit: &Visit, night: &Night) -> Result<Vec<(String, String)>, Trouble> {
    if night.status != NightStatus::SetAside {
        return Ok(Vec::new());
    }
    let reports = visit.app.store().read().await?.reports(night.id).await?;
    let words = |version: i64, withdrawn: bool| {
        format!("Version {version}{}", if withdrawn { ", withdrawn" } else { "" })
    };
    let path = |version: i64| format!("/nights/{}/reports/{version}", night.id);
    let all = reports.iter().map(|one| {
        let href = one.pdf_sha256.as_ref().map_or_else(String::new, |_| path(one.version));
        (href, words(one.version, one.withdrawn_at.is_some()))
    });
    Ok(all.collect())
}

async fn proposal(visit: &Visit, night: &Night) -> Result<Option<Proposal>, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let Some(tie) = conn.proposal(night.id).await? else { return Ok(None) };
    let loan: Loan = conn.get(tie.loan).await?;
    let person: Person = conn.get(loan.person).await?;
    let monitor: Monitor = conn.get(loan.monitor).await?;
    let place =
        tie.replaces.map_or_else(String::new, |old| format!(", in the place of night {old}"));
    let confirm = visit
        .form(format!("/ties/{}/confirm", tie.id), "I have compared it myself, and agree")
        .field(reason("How you know"))
        .grave();
    Ok(Some(Proposal {
        whose: format!(
            "{}: {}, born {}, monitor {}{place}",
            loan.mark,
            person.listed(),
            person.born_on,
            monitor.mark
        ),
        by: format!("{}, {}", tie.proposed_by, visit.local(tie.proposed_at)),
        because: sentence(&tie.because),
        against: tie.against.0.iter().chain(&tie.open.0).map(|one| sentence(one)).collect(),
        confirm: (tie.proposed_by != visit.author().login).then_some(confirm),
        decline: decline_form(visit, &tie),
    }))
}

fn decline_form(visit: &Visit, tie: &Tie) -> Form {
    visit.form(format!("/ties/{}/decline", tie.id), "Decline").field(reason("Why not"))
}

async fn night(visit: &Visit, id: i64) -> Result<Night> {
    visit.app.store().read().await?.get(id).await
}

/// What is said of a night after somebody settled it, and where that leads.
fn told(visit: &Visit, night: &Night) -> axum::response::Response {
    match (night.status, night.result) {
        (NightStatus::Untied, _) => {
            let says =
                "Proposed. Something contradicts, so a second person must agree before it is tied.";
            visit.done(says, &format!("/nights/{}/settle", night.id))
        }
        (_, None) => {
            visit.done("Tied. It cannot be scored yet: see what is wrong with it.", "/nights")
        }
        _ => visit.done("Settled.", &format!("/nights/{}", night.id)),
    }
}

/// `GET /nights/{id}/settle`.
async fn settling(visit: Visit, Path(id): Path<i64>) -> Answer {
    let night = night(&visit, id).await?;
    if night.loan.is_some() && night.status != NightStatus::SetAside {
        return Err(Trouble::refused(&[store::error::Refusal::new(
            "night_tied",
            "this night is tied to a loan already",
            "untie it first, with a reason",
        )]));
    }
    let page = page(&visit, &night, "").await?;
    visit.page("Whose night", &page)
}

/// Puts a form that was refused in the place of the one that was sent.
fn put_back(page: &mut Page, form: Form) {
    let same = |known: &Form| (&known.action, &known.button) == (&form.action, &form.button);
    match page.forms.iter_mut().find(|(_, known)| same(known)) {
        Some((_, known)) => *known = form,
        None => page.forms.push(("Not done", form)),
    }
}

/// `POST /nights/{id}/settle`: whose it is, or a number to look a loan up by.
async fn settle(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let night = night(&visit, id).await?;
    if !typed.all("find").is_empty() {
        return look_up(&visit, &night, &typed).await;
    }
    let found = typed.get("found");
    let all = store.candidates(&night, found).await?;
    let mut form = settle_form(&visit, &night, &all, found).filled(&typed).checked();
    if let (Some(loan), false) = (typed.number("loan"), form.has_faults()) {
        match store.settle_night(&visit.author(), id, loan, typed.get("reason")).await {
            Ok(night) => return Ok(told(&visit, &night)),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let mut page = page_with(&visit, &night, &all, found).await?;
    put_back(&mut page, form);
    visit.again("Whose night", &page)
}

/// The page with the loans behind a number. It is sent as a form, for no number of a patient stands in an address.
async fn look_up(visit: &Visit, night: &Night, typed: &Typed) -> Answer {
    let mut form = search_form(visit, night).filled(typed).checked();
    let find = if form.has_faults() { "" } else { typed.get("find") };
    let all = visit.app.store().candidates(night, find).await?;
    if !form.has_faults() && all.sought.is_empty() {
        form.fault("find", "No loan that went out is found by this number.");
    }
    let mut page = page_with(visit, night, &all, find).await?;
    put_back(&mut page, form.clone());
    if form.has_faults() {
        visit.again("Whose night", &page)
    } else {
        visit.page("Whose night", &page)
    }
}

/// `POST /nights/{id}/aside`.
async fn aside(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let night = night(&visit, id).await?;
    let mut form = aside_form(&visit, &night).filled(&typed).checked();
    if !form.has_faults() {
        match store.set_night_aside(&visit.author(), id, typed.get("reason")).await {
            Ok(_) => return Ok(visit.done("Set aside.", "/nights")),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let mut page = page_of(&visit, &night).await?;
    put_back(&mut page, form);
    visit.again("Whose night", &page)
}

/// The page a form of a night stands on: to settle it, or to untie it.
async fn page_of(visit: &Visit, night: &Night) -> Result<Page, Trouble> {
    if night.loan.is_none() || night.status == NightStatus::SetAside {
        return page(visit, night, "").await;
    }
    let mut conn = visit.app.store().read().await?;
    let person: Option<Person> = match night.person {
        Some(id) => Some(conn.get(id).await?),
        None => None,
    };
    let by_hand = match conn.tied_by_hand(night).await? {
        Some(tie) => conn.hand_tie_says(&tie).await?,
        None => "It found its loan by itself".to_owned(),
    };
    drop(conn);
    let store = visit.app.store();
    store.looked(&visit.author(), format!("night {}", night.id), night.person, json!(null)).await?;
    let name = person.map_or_else(String::new, |person| person.listed());
    Ok(Page {
        title: "Not this patient's night?",
        words: format!(
            "The night from {} to {} is tied to {name}. {}",
            visit.local(night.start_at),
            visit.local(night.end_at),
            sentence(&by_hand)
        ),
        doubts: vec!["Untied, it cannot be read until somebody has settled whose it is. What was judged by hand is not carried over; a withdrawn report stays with the patient it was made for.".to_owned()],
        forms: vec![
            ("Untie it", untie_form(visit, night)),
            ("Or it belongs to nobody here", aside_form(visit, night)),
        ],
        ..Page::default()
    })
}

/// `GET /nights/{id}/untie`.
async fn untying(visit: Visit, Path(id): Path<i64>) -> Answer {
    let night = night(&visit, id).await?;
    let page = page_of(&visit, &night).await?;
    visit.page("Not this patient's night", &page)
}

/// `POST /nights/{id}/untie`.
async fn untie(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let night = night(&visit, id).await?;
    let mut form = untie_form(&visit, &night).filled(&typed).checked();
    if !form.has_faults() {
        match store.untie_night(&visit.author(), id, typed.get("reason")).await {
            Ok(free) => return Ok(visit.done("Untied.", &format!("/nights/{}/settle", free.id))),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let mut page = page_of(&visit, &night).await?;
    put_back(&mut page, form);
    visit.again("Not this patient's night", &page)
}

/// Nights of the same time that a night can take the place of.
fn replaceable(all: &Candidates) -> Vec<(String, String)> {
    let open = |night: &&Night| matches!(night.status, NightStatus::Waiting | NightStatus::Reading);
    let of = |one: &Candidate| -> Vec<(String, String)> {
        let nights = one.doubles.iter().filter(open);
        nights
            .map(|night| {
                let two = one.weighed.against.len() > 1;
                let two = if two { " (two people)" } else { "" };
                let words = format!(
                    "night {} of {}, {}, {}{two}",
                    night.id,
                    one.person.listed(),
                    one.loan.mark,
                    one.monitor.mark
                );
                (night.id.to_string(), words)
            })
            .collect()
    };
    all.loans.iter().flat_map(of).collect()
}

fn replace_form(visit: &Visit, night: &Night, all: &Candidates) -> Form {
    visit
        .form(format!("/nights/{}/replace", night.id), "Put it in the other's place")
        .field(
            Field::menu("old", "It takes the place of", replaceable(all))
                .hint("A signed night is not on offer: withdraw its report first. Both files stay whole.")
                .needed(),
        )
        .field(reason("Why this file is the right one"))
        .grave()
        .back(format!("/nights/{}/settle", night.id), "Not now")
}

async fn replace_page(
    visit: &Visit,
    night: &Night,
    all: &Candidates,
    form: Form,
) -> Result<Page, Trouble> {
    let people: Vec<i64> = all.loans.iter().map(|one| one.person.id).collect();
    let (by, facts) = (visit.author(), json!({"people": people}));
    visit.app.store().looked(&by, format!("night {}", night.id), night.person, facts).await?;
    let with = all.loans.iter().filter(|one| !one.doubles.is_empty());
    Ok(Page {
        title: "A better file of a night",
        words: format!(
            "The night from {} to {} lies at the time of one that is in the record already.",
            visit.local(night.start_at),
            visit.local(night.end_at)
        ),
        doubts: night.doubts.0.iter().map(|doubt| sentence(doubt)).collect(),
        rows: with.map(|one| row(all, one)).collect(),
        forms: vec![("Put it in the other's place", form)],
        ..Page::default()
    })
}

/// `GET /nights/{id}/replace`.
async fn replacing(visit: Visit, Path(id): Path<i64>) -> Answer {
    let night = night(&visit, id).await?;
    let all = visit.app.store().candidates(&night, "").await?;
    let form = replace_form(&visit, &night, &all);
    let page = replace_page(&visit, &night, &all, form).await?;
    visit.page("A better file", &page)
}

/// `POST /nights/{id}/replace`.
async fn replace(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let night = night(&visit, id).await?;
    let all = store.candidates(&night, "").await?;
    let mut form = replace_form(&visit, &night, &all).filled(&typed).checked();
    if let (Some(old), false) = (typed.number("old"), form.has_faults()) {
        match store.replace_night(&visit.author(), id, old, typed.get("reason")).await {
            Ok(night) => return Ok(told(&visit, &night)),
            Err(error) => form.refused(error, AT)?,
        }
    }
    let page = replace_page(&visit, &night, &all, form).await?;
    visit.again("A better file", &page)
}

/// `POST /ties/{id}/confirm`.
async fn confirm(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    let done = store.confirm_tie(&visit.author(), id, typed.get("reason")).await;
    seconded(&visit, id, &typed, done, true).await
}

/// `POST /ties/{id}/decline`.
async fn decline(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let store = visit.app.store();
    match store.decline_tie(&visit.author(), id, typed.get("reason")).await {
        Ok(night) => Ok(visit
            .done("Declined. The night stays untied.", &format!("/nights/{}/settle", night.id))),
        Err(error) => seconded(&visit, id, &typed, Err(error), false).await,
    }
}

/// The answer to a second person, or the page again with what was refused.
async fn seconded(
    visit: &Visit,
    id: i64,
    typed: &Typed,
    done: Result<Night, StoreError>,
    agreed: bool,
) -> Answer {
    let error = match done {
        Ok(night) => return Ok(told(visit, &night)),
        Err(error) => error,
    };
    let tie: Tie = visit.app.store().read().await?.get(id).await?;
    let night = night(visit, tie.night).await?;
    let mut page = page(visit, &night, "").await?;
    let Some(proposal) = &mut page.proposal else { return Err(error.into()) };
    match (&mut proposal.confirm, agreed) {
        (Some(form), true) => {
            *form = form.clone().filled(typed);
            form.refused(error, AT)?;
        }
        (None, true) => return Err(error.into()),
        (_, false) => {
            proposal.decline = proposal.decline.clone().filled(typed);
            proposal.decline.refused(error, AT)?;
        }
    }
    visit.again("Whose night", &page)
}
