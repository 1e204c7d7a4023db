//! How two readers of the same nights agree, and drawing a sample for a second reading. Nobody is named.

mod files;
mod pictures;
mod tables;
mod words;

use askama::Template;
use store::reading::agreement::Agreement;
use store::reading::second::DrawForm;
use store::text;
use store::when;

use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::lead_to;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;
use tables::Table;

/// How many days a sample is drawn from unless others are typed.
const DAYS: i64 = 90;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/agreement", page)
        .get("/agreement/pairs.csv", files::pairs)
        .get("/agreement/figures.csv", files::figures)
        .post("/agreement/draw", draw)
}

#[derive(Template)]
#[template(path = "agreement/agreement.html")]
struct Page {
    answer: String,
    says: Vec<String>,
    verdict: Table,
    verdict_says: String,
    rules: Table,
    figures: Table,
    plots: Vec<String>,
    seconds: Table,
    how: [&'static str; 6],
    any: bool,
    /// The sample by chance and the one night by hand, for who may read.
    forms: Vec<Form>,
    assets: &'static str,
}

/// `GET /agreement`.
async fn page(visit: Visit) -> Answer {
    let forms = forms(&visit);
    let made = made(&visit, forms).await?;
    visit.page("How the readers agree", &made)
}

async fn made(visit: &Visit, forms: Vec<Form>) -> Result<Page, crate::page::Trouble> {
    let found = visit.app.store().read().await?.agreement().await?;
    Ok(Page {
        answer: words::answer(&found),
        says: words::facts(&found),
        verdict: tables::verdict(&found.verdict),
        verdict_says: words::kappas(&found.verdict),
        rules: tables::rules(&found.rules),
        figures: tables::figures(&found.figures),
        plots: plots(&found),
        seconds: tables::seconds(&found.seconds),
        how: words::HOW,
        any: !found.pairs.is_empty(),
        forms: if visit.may(Right::Read) { forms } else { Vec::new() },
        assets: crate::assets::FOLDER.as_str(),
    })
}

fn plots(found: &Agreement) -> Vec<String> {
    found.figures.iter().enumerate().filter_map(|(at, one)| pictures::plot(at, one)).collect()
}

fn forms(visit: &Visit) -> Vec<Form> {
    let today = when::local_date(visit.app.store().now(), &visit.department.zone);
    let from = when::days_later(today, 1 - DAYS).to_string();
    let sample = visit
        .form("/agreement/draw", "Draw a sample")
        .field(Field::number("asked", "How many nights", "1").needed().value("10").with("min", "1"))
        .field(Field::date("from", "First evening").needed().value(from))
        .field(Field::date("to", "Last evening").needed().value(today.to_string()))
        .field(
            Field::text("seed", "Seed")
                .most(text::MARK)
                .needed()
                .value(today.to_string())
                .hint("Any words. They are kept, so that anyone can draw the same nights again."),
        );
    let one = visit.form("/agreement/draw", "Pick this night").field(
        Field::number("night", "Number of the night", "1")
            .needed()
            .hint("As in the address of its page: /nights/12 is night 12.")
            .with("min", "1"),
    );
    vec![sample, one]
}

/// `POST /agreement/draw`: a sample by chance, or one night by hand.
async fn draw(visit: Visit, typed: Typed) -> Answer {
    let (store, by) = (visit.app.store(), visit.author());
    let mut forms = forms(&visit);
    let by_hand = typed.option("night").is_some();
    let at = usize::from(by_hand);
    let form = forms.remove(at).filled(&typed).checked();
    forms.insert(at, form);
    if !forms[at].has_faults() {
        let drawn = if by_hand {
            let night = typed.number("night").unwrap_or(0);
            store.pick_second(&by, night).await.map(|_| 1)
        } else {
            let asked = typed.number("asked").unwrap_or(0);
            let get = |name: &str| typed.get(name).to_owned();
            let form = DrawForm { asked, from: get("from"), to: get("to"), seed: get("seed") };
            store.draw_second(&by, form, &visit.department.zone).await.map(|drawn| drawn.len())
        };
        match drawn {
            Ok(drawn) => {
                visit.say(&words::drawn(drawn));
                return Ok(lead_to("/agreement"));
            }
            Err(error) => {
                forms[at].refused(
                    error,
                    &[
                        ("draw_wrong", "from"),
                        ("second_there", "night"),
                        ("no_first_reading", "night"),
                    ],
                )?;
            }
        }
    }
    let made = made(&visit, forms).await?;
    visit.again("How the readers agree", &made)
}
