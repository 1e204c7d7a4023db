//! This morning: what is missing, due, back, to hand out, and what waits.

use std::collections::BTreeSet;

use askama::Template;
use serde_json::json;
use store::lending::desk::Morning;
use store::lending::desk::NightLine;
use store::reading::reserve::Learnt;

use super::nights::LEARNT;
use super::rows::LoanTable;
use super::rows::Offer;
use super::rows::pounds;
use crate::access::Right;
use crate::form::sentence;
use crate::mark::Mark;
use crate::page::Answer;
use crate::visit::Visit;

#[derive(Debug, Template)]
#[template(path = "desk/morning.html")]
struct Page {
    answer: String,
    value: String,
    parts: Vec<Part>,
    to_do: Vec<(i64, String, Mark)>,
    /// Signed nights of which something was learnt since.
    learnt: Vec<LearntRow>,
    nights: Vec<NightRow>,
    waiting: Vec<(i64, i64, String)>,
    /// How many wait, for whoever may not see who.
    waits: String,
    may_lend: bool,
}

/// One heading with its loans.
#[derive(Debug)]
struct Part {
    id: &'static str,
    title: &'static str,
    words: &'static str,
    care: bool,
    loans: LoanTable,
}

#[derive(Debug)]
struct NightRow {
    href: String,
    who: String,
    when: String,
    mark: Mark,
    doubt: String,
}

#[derive(Debug)]
struct LearntRow {
    /// Where it is read, for who may.
    href: String,
    who: String,
    when: String,
    says: Vec<String>,
}

/// `GET /morning`.
pub(crate) async fn morning(visit: Visit) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let morning = conn.morning(store.now()).await?;
    let mut learnt = conn.learnt().await?;
    // What was learnt of a night is of its first reading.
    let blind = conn.blind_nights(&visit.author().login).await?;
    learnt.retain(|one| !blind.contains(&one.night.id));
    drop(conn);
    visit.looks("morning", None, json!({"people": people(&morning, &learnt)}));
    let sees = visit.may(Right::SeePeople);
    let page = Page {
        answer: answer(&morning, learnt.len(), sees),
        learnt: learnt.iter().map(|one| learnt_row(&visit, one)).collect(),
        value: format!(
            "Out: {}. Late or lost: {}.",
            pounds(morning.out_pence),
            pounds(morning.at_risk_pence)
        ),
        parts: parts(&visit, &morning),
        to_do: morning
            .to_do
            .iter()
            .map(|one| (one.id, one.mark.clone(), one.status.into()))
            .collect(),
        nights: morning.nights.iter().map(|line| night(&visit, line)).collect(),
        waits: match (sees, morning.waiting.len()) {
            (true, _) | (_, 0) => String::new(),
            (_, 1) => "One patient waits for a loan.".to_owned(),
            (_, n) => format!("{n} patients wait for a loan."),
        },
        waiting: morning
            .waiting
            .iter()
            .filter(|_| sees)
            .map(|(study, person)| (study.id, person.id, person.listed()))
            .collect(),
        may_lend: visit.may(Right::Lend),
    };
    visit.page("This morning", &page)
}

/// Whose data stand on the page, by row.
fn people(morning: &Morning, learnt: &[Learnt]) -> BTreeSet<i64> {
    let loans = [
        &morning.missing,
        &morning.due,
        &morning.back,
        &morning.skin,
        &morning.tonight,
        &morning.endangered,
    ];
    let lent = loans.into_iter().flatten().map(|line| line.person.id);
    let read = morning.nights.iter().filter_map(|line| Some(line.person.as_ref()?.id));
    let again = learnt.iter().map(|one| one.person.id);
    let waiting = morning.waiting.iter().map(|(_, person)| person.id);
    lent.chain(read).chain(again).chain(waiting).collect()
}

/// The morning in one sentence: what needs somebody first. Of somebody's skin only whoever sees people is told.
fn answer(morning: &Morning, learnt: usize, sees: bool) -> String {
    let skin = if sees { morning.skin.len() } else { 0 };
    let count = |n: usize, one: &str, many: &str| match n {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {many}")),
    };
    let parts: Vec<String> = [
        count(morning.missing.len(), "monitor is late", "monitors are late"),
        count(morning.due.len(), "is due today", "are due today"),
        count(morning.back.len(), "waits to be downloaded", "wait to be downloaded"),
        count(morning.tonight.len(), "goes out tonight", "go out tonight"),
        count(skin, "loan told of harmed skin", "loans told of harmed skin"),
        count(learnt, "signed night to look at again", "signed nights to look at again"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() { "Nothing waits.".to_owned() } else { format!("{}.", parts.join("; ")) }
}

fn parts(visit: &Visit, morning: &Morning) -> Vec<Part> {
    let part = |id, title, words, care, lines: &[_], offer, empty, last| Part {
        id,
        title,
        words,
        care,
        loans: LoanTable::new(visit, lines, offer, empty, last),
    };
    let all = [
        part(
            "missing",
            "Missing",
            "",
            false,
            &morning.missing,
            Offer::Loan,
            "Nothing is late.",
            "What to do",
        ),
        part(
            "due",
            "Due today",
            "",
            false,
            &morning.due,
            Offer::TakeBack,
            "Nothing more is due today.",
            "Next",
        ),
        part(
            "back",
            "Back, the night still on the monitor",
            "",
            false,
            &morning.back,
            Offer::Receive,
            "Nothing waits to be downloaded.",
            "Next",
        ),
        part(
            "skin",
            "Sore, blistered or otherwise harmed skin",
            "Tell a physiologist and follow the department's incident procedure.",
            true,
            &morning.skin,
            Offer::Stands,
            "",
            "Skin",
        ),
        part(
            "tonight",
            "To hand out",
            "",
            false,
            &morning.tonight,
            Offer::HandOut,
            "Nothing is booked for tonight.",
            "Next",
        ),
        part(
            "endangered",
            "Booked, but the monitor cannot go",
            "It is late, held, away or lost: give another.",
            true,
            &morning.endangered,
            Offer::Loan,
            "",
            "Next",
        ),
    ];
    let sees = visit.may(Right::SeePeople);
    // What calls for care is shown only when there is some, and of a skin only to whom may see whose it is.
    all.into_iter()
        .filter(|part| !part.care || !part.loans.rows.is_empty())
        .filter(|part| sees || part.id != "skin")
        .collect()
}

fn learnt_row(visit: &Visit, one: &Learnt) -> LearntRow {
    let (sees, reads) = (visit.may(Right::SeePeople), visit.may(Right::SeeResults));
    LearntRow {
        href: if reads { format!("/nights/{}", one.night.id) } else { String::new() },
        who: if sees { one.person.listed() } else { "a patient".to_owned() },
        when: visit.local(one.night.start_at),
        says: if reads {
            one.says.iter().map(|says| sentence(says)).collect()
        } else {
            vec![LEARNT.to_owned()]
        },
    }
}

fn night(visit: &Visit, line: &NightLine) -> NightRow {
    let sees = visit.may(Right::SeePeople);
    let who = match &line.person {
        Some(person) if sees => person.listed(),
        Some(_) => "a patient".to_owned(),
        None => "whose it is is not settled".to_owned(),
    };
    let untied = line.night.status == store::words::NightStatus::Untied;
    let href = if untied && visit.may(Right::Read) {
        format!("/nights/{}/settle", line.night.id)
    } else if !untied && line.outcome.is_some() && visit.may(Right::SeeResults) {
        format!("/nights/{}", line.night.id)
    } else {
        String::new()
    };
    // A doubt may quote what a file says of whose it is.
    let doubt = line.night.doubts.0.first().filter(|_| sees).cloned().unwrap_or_default();
    NightRow {
        href,
        who,
        when: visit.local(line.night.start_at),
        mark: line.night.status.into(),
        doubt,
    }
}
