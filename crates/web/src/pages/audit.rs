//! Governance's page: every act, by person, thing, author and day, and as a file.

use askama::Template;
use axum::response::Response;
use serde_json::json;
use store::login::audit::Asked;
use store::login::audit::Line;
use store::text;

use crate::form::Field;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::csv_cell;
use crate::page::download;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::typed::encode;
use crate::visit::Visit;

/// How many acts one page shows.
const PAGE: i64 = 100;
/// How many a file holds at most.
const FILE: i64 = 1_000_000;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/audit", show).get("/audit/acts.csv", csv)
}

struct Shown {
    seq: i64,
    at: String,
    who: String,
    role: String,
    station: String,
    verb: String,
    object: String,
    person: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "audit.html")]
struct Page {
    who: Field,
    object: Field,
    person: Field,
    verb: Field,
    from: Field,
    to: Field,
    lines: Vec<Shown>,
    total: i64,
    older: Option<String>,
    file: String,
    filtered: bool,
}

async fn show(visit: Visit, typed: Typed) -> Answer {
    let asked = asked(&visit, &typed)?;
    let mut conn = visit.app.store().read().await?;
    let total = conn.acts_count(&asked).await?;
    let lines = conn.acts(&asked, PAGE).await?;
    drop(conn);
    let query = query(&typed);
    let last = lines.last().map_or(0, |line| line.seq);
    let more = i64::try_from(lines.len()).is_ok_and(|shown| shown == PAGE) && last > 1;
    let field =
        |name: &'static str, label: &str| Field::text(name, label).value(typed.get(name)).filters();
    let page = Page {
        who: field("who", "Author's login"),
        object: field("object", "Thing").with("placeholder", "loan 12"),
        person: Field::number("person", "Person's row", "1").value(typed.get("person")).filters(),
        verb: field("verb", "Act").with("placeholder", "login"),
        from: Field::date("from", "From").value(typed.get("from")).filters(),
        to: Field::date("to", "To").value(typed.get("to")).filters(),
        lines: lines.into_iter().map(|line| shown(&visit, line)).collect(),
        total,
        older: more.then(|| format!("/audit?{query}before={last}")),
        file: format!("/audit/acts.csv?{query}"),
        filtered: !query.is_empty(),
    };
    visit.looks("audit", asked.person, json!({"asked": query.trim_end_matches('&')}));
    visit.page("Audit", &page)
}

async fn csv(visit: Visit, typed: Typed) -> Answer {
    let asked = asked(&visit, &typed)?;
    let facts = json!({"asked": query(&typed).trim_end_matches('&'), "as": "file"});
    visit.looks("audit", asked.person, facts);
    let lines = visit.app.store().read().await?.acts(&asked, FILE).await?;
    Ok(file(lines))
}

fn file(lines: Vec<Line>) -> Response {
    let mut text = "seq,at,who,role,station,act,object,person,reason,software,hash\r\n".to_owned();
    for line in lines {
        let person = line.person.map(|person| person.to_string()).unwrap_or_default();
        let cells = [
            line.seq.to_string(),
            store::when::rfc3339(line.at),
            line.who,
            line.role,
            line.station,
            line.verb,
            line.object,
            person,
            line.reason.unwrap_or_default(),
            line.software,
            line.hash,
        ];
        let cells: Vec<String> = cells.iter().map(|cell| csv_cell(cell)).collect();
        text.push_str(&cells.join(","));
        text.push_str("\r\n");
    }
    download("acts.csv", "text/csv; charset=utf-8", text.into_bytes())
}

fn shown(visit: &Visit, line: Line) -> Shown {
    Shown {
        seq: line.seq,
        at: visit.local(line.at),
        who: line.who,
        role: line.role,
        station: line.station,
        verb: line.verb,
        object: line.object,
        person: line.person.map(|person| person.to_string()).unwrap_or_default(),
        reason: line.reason.unwrap_or_default(),
    }
}

/// The filter as it was asked for. A day is a local day; one that is none is left out.
fn asked(visit: &Visit, typed: &Typed) -> Result<Asked, Trouble> {
    let unfit = |name: &&str| {
        let asked = typed.get(name);
        text::strange(asked, false).is_some() || text::too_long(asked, text::NAME).is_some()
    };
    if ["who", "verb", "object"].iter().any(unfit) {
        return Err(Trouble::not_understood(
            "No act is asked for by a text so long, or with a sign that cannot be seen.",
        ));
    }
    let midnight = jiff::civil::time(0, 0, 0, 0);
    let day = |name: &str, later: i64| {
        let date = store::when::date(typed.get(name))?;
        Some(store::when::local_instant(
            store::when::days_later(date, later),
            midnight,
            &visit.department.zone,
        ))
    };
    Ok(Asked {
        who: typed.option("who").map(|who| who.to_lowercase()),
        verb: typed.option("verb"),
        object: typed.option("object"),
        person: typed.number("person"),
        from_at: day("from", 0),
        before_at: day("to", 1),
        before_seq: typed.number("before"),
    })
}

/// The filter as the beginning of a query, empty or ending with `&`.
fn query(typed: &Typed) -> String {
    let names = ["who", "object", "person", "verb", "from", "to"];
    let given =
        names.iter().filter_map(|name| Some(format!("{name}={}&", encode(&typed.option(name)?))));
    given.collect()
}
