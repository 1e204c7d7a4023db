//! Nights and readings of one person laid beside each other: warnings, lines over each other and side by side,
//! figures with their differences and the published spread, answers.

mod choice;
mod draw;
mod lane;
mod rows;
mod table;

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use engine::compare::Comparison;
use engine::compare::compare;
use engine::compare::letter;
use serde_json::json;
use store::reading::compare::Offered;
use store::reading::compare::Side;
use store::record::tables::Night;
use store::record::tables::Person;

use crate::opened::Opened;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

use choice::Asked;
use choice::Chooser;
use draw::Picture;
use rows::FigureGroup;
use rows::RuleRow;
use rows::SideCard;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/people/{id}/compare", page).get("/people/{id}/compare/table", csv)
}

#[derive(Template)]
#[template(path = "compare/compare.html")]
struct Page {
    id: i64,
    assets: &'static str,
    name: String,
    born: String,
    number: String,
    says: String,
    chooser: Chooser,
    /// The query of this comparison, for its table as a file.
    query: String,
    laid: Option<Laid>,
}

/// What is shown once two sides are chosen.
struct Laid {
    warnings: Vec<String>,
    cards: Vec<SideCard>,
    picture: Picture,
    letters: Vec<char>,
    /// `B − A`, …
    differences: Vec<String>,
    groups: Vec<FigureGroup>,
    rules: Vec<RuleRow>,
    spreads: Vec<(String, &'static str, &'static str)>,
}

impl Laid {
    /// How many columns the table of figures has.
    fn columns(&self) -> usize {
        self.letters.len() + 2 + usize::from(self.differences.len() == 1)
    }
}

/// Sides that were judged, and the judgements beside each other.
struct Beside {
    sides: Vec<Shown>,
    found: Comparison,
}

/// One side that was judged, ready to be drawn.
struct Shown {
    letter: char,
    side: Facts,
    opened: Opened,
}

/// What is said of a side beside its judgement.
struct Facts {
    night: Night,
    reader: Option<String>,
    /// What its version is, where it is not the one that holds.
    version: Option<String>,
    monitor: Option<String>,
}

/// `GET /people/{id}/compare?side=NIGHT[.VERSION][@CRITERIA]&side=…&axis=clock|lights`.
async fn page(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let asked = Asked::read(&typed)?;
    if asked.from_form {
        return Ok(lead_to(&format!("/people/{id}/compare?{}", asked.query())));
    }
    let (person, offered, sets) = offers(&visit, id).await?;
    let beside = match asked.choices.len() {
        0 | 1 => None,
        _ => Some(laid(&visit, id, &asked).await?),
    };
    visit.looks(format!("person {id}"), Some(id), json!({"page": "compare"}));
    if let Some(beside) = &beside {
        looked(&visit, beside);
    }
    let page = Page {
        id,
        assets: crate::assets::FOLDER.as_str(),
        name: person.listed(),
        born: person.born_on.clone(),
        number: person.mrn.clone(),
        says: says(&offered, beside.as_ref()),
        chooser: Chooser::new(&visit, &asked, &offered, &sets),
        query: asked.query(),
        laid: beside.map(|beside| shown(&beside, &asked)),
    };
    visit.page(&format!("Nights of {} side by side", page.name), &page)
}

/// The person, the nights on offer, and the names of the sets of criteria.
async fn offers(
    visit: &Visit,
    id: i64,
) -> Result<(Person, Vec<Offered>, BTreeSet<String>), Trouble> {
    let mut conn = visit.app.store().read().await?;
    let person: Person = conn.get(id).await?;
    let blind = conn.blind_nights(&visit.author().login).await?;
    let mut offered = conn.comparable(id).await?;
    offered.retain(|one| !blind.contains(&one.night.id));
    let sets = conn.set_names().await?;
    Ok((person, offered, sets.into_iter().collect()))
}

/// Judges the sides and lays them beside each other.
async fn laid(visit: &Visit, person: i64, asked: &Asked) -> Result<Beside, Trouble> {
    let mut conn = visit.app.store().read().await?;
    for choice in &asked.choices {
        conn.not_blind(&visit.author().login, choice.night).await?;
    }
    drop(conn);
    // Whole judgements lie in the future, which is too large to be handed around.
    let sides = Box::pin(visit.app.store().beside(person, asked.choices.clone())).await?;
    let run = tokio::task::spawn_blocking(move || folded(sides));
    run.await.map_err(|error| Trouble::broken(error.to_string()))
}

fn folded(sides: Vec<Side>) -> Beside {
    let sides: Vec<Shown> = sides.into_iter().enumerate().map(|(at, side)| one(at, side)).collect();
    let compared: Vec<engine::compare::Side> = sides
        .iter()
        .map(|shown| engine::compare::Side {
            night: shown.side.night.id,
            reader: shown.side.reader.as_deref(),
            monitor: shown.side.monitor.as_deref(),
            judgement: &shown.opened.judgement,
            report: &shown.opened.report,
            criteria: &shown.opened.criteria,
        })
        .collect();
    let found = compare(&compared);
    Beside { sides, found }
}

fn one(at: usize, side: Side) -> Shown {
    let version = side.version.as_ref().filter(|_| !side.holds);
    let facts = Facts {
        reader: side.reader().map(str::to_owned),
        version: version.map(|version| version.what.clone()),
        monitor: side.monitor,
        night: side.night,
    };
    let ids = (facts.night.id, facts.night.result.unwrap_or(0));
    let opened = Opened::new(ids, side.recording, side.judgement, side.criteria, None);
    Shown { letter: letter(at), side: facts, opened }
}

/// Tells that each night is looked at.
fn looked(visit: &Visit, beside: &Beside) {
    let nights: BTreeMap<i64, &Night> =
        beside.sides.iter().map(|shown| (shown.side.night.id, &shown.side.night)).collect();
    for night in nights.values() {
        super::night::looked_at(visit, night);
    }
}

/// What is to be seen, or to be done first, in words.
fn says(offered: &[Offered], beside: Option<&Beside>) -> String {
    if let Some(beside) = beside {
        let verdicts: Vec<&str> = beside.sides.iter().map(|one| verdict(&one.opened)).collect();
        if verdicts.windows(2).all(|pair| pair[0] == pair[1]) {
            return format!("Each side {}.", verdicts[0]);
        }
        let said = beside.sides.iter().zip(verdicts);
        let said: Vec<String> = said.map(|(one, is)| format!("{} {is}", one.letter)).collect();
        return format!("{}.", said.join(", "));
    }
    match offered {
        [] => "There is no scored night of this patient yet.".to_owned(),
        [one] if one.versions.len() < 2 => {
            "There is one night of this patient; it can be laid beside itself under other criteria."
                .to_owned()
        }
        _ => "Choose two sides or more: nights, versions of their notes, or criteria.".to_owned(),
    }
}

fn verdict(opened: &Opened) -> &'static str {
    match opened.report.decision {
        engine::judge::Decision::Sufficient => "answers its question",
        engine::judge::Decision::Partial => "answers in part",
        engine::judge::Decision::Repeat => "is to be repeated",
    }
}

fn shown(beside: &Beside, asked: &Asked) -> Laid {
    let letters: Vec<char> = beside.sides.iter().map(|shown| shown.letter).collect();
    let picture = Picture::new(&beside.sides, asked.axis);
    let mut warnings: Vec<String> =
        beside.found.warnings.iter().map(|warning| warning.says.clone()).collect();
    warnings.extend(picture.notes.iter().cloned());
    Laid {
        warnings,
        cards: beside.sides.iter().map(SideCard::new).collect(),
        picture,
        differences: letters
            .iter()
            .skip(1)
            .map(|one| format!("{one} \u{2212} {}", letters[0]))
            .collect(),
        groups: rows::groups(&beside.found, &letters),
        rules: rows::rules(&beside.found, &letters),
        spreads: rows::spreads(&beside.found),
        letters,
    }
}

/// `GET /people/{id}/compare/table?…`: the figures as a file.
async fn csv(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let asked = Asked::read(&typed)?;
    if asked.choices.len() < 2 {
        return Err(Trouble::not_understood("Two sides or more are laid beside each other."));
    }
    let beside = laid(&visit, id, &asked).await?;
    let nights: Vec<i64> = beside.sides.iter().map(|shown| shown.side.night.id).collect();
    let facts = json!({"compared": nights, "as": "table"});
    visit.looks(format!("person {id}"), Some(id), facts);
    let names: Vec<String> = nights.iter().map(i64::to_string).collect();
    let name = format!("nights-{}.csv", names.join("-"));
    let bytes = table::csv(&beside).into_bytes();
    Ok::<Response, Trouble>(crate::page::download(&name, "text/csv; charset=utf-8", bytes))
}

impl Shown {
    /// The recording.
    fn recording(&self) -> &Arc<engine::recording::Recording> {
        &self.opened.recording
    }
}
