//! What the columns of a file are, said at the desk: a text whose own names do not tell is not kept before
//! somebody has, and what was said is used for the next file of the same head.

use askama::Template;
use engine::read::map::Chosen;
use engine::read::map::MEANINGS;
use engine::read::map::Offer;
use engine::read::map::WRITTEN;
use engine::read::map::chosen;
use engine::read::map::offer;
use store::error::StoreError;
use store::intake::receive::Asks;
use store::intake::receive::Incoming;
use store::login::session::new_token;

use super::receive;
use crate::form::Form;
use crate::page::Answer;
use crate::page::Trouble;
use crate::typed::Typed;
use crate::visit::Visit;

const TITLE: &str = "What its columns are";

#[derive(Template)]
#[template(path = "desk/columns.html")]
struct Page<'a> {
    file: &'a str,
    form: Form,
    rows: Vec<Row>,
    meanings: &'a [(&'static str, &'static str)],
    time: Option<Vec<(String, String)>>,
    written: Vec<(&'static str, &'static str)>,
    in_doubt: Option<String>,
    typed: &'a Typed,
    named: bool,
    may_leave: bool,
}

/// One column as it is shown.
struct Row {
    field: String,
    name: String,
    first: String,
    says: &'static str,
    chosen: String,
}

impl Page<'_> {
    fn has(&self, name: &str, value: &str) -> bool {
        self.typed.get(name) == value
    }
}

/// The page that asks, for a file that cannot be taken in without; `None` where columns have nothing to do with
/// what stands against it.
pub(super) fn asked(
    visit: &Visit,
    error: &StoreError,
    file: Incoming,
) -> Result<Option<Answer>, Trouble> {
    if !["columns_unknown", "not_understood"].iter().any(|code| error.is(code)) {
        return Ok(None);
    }
    let Some(offer) = offer(&file.bytes).filter(|offer| !offer.columns.is_empty()) else {
        return Ok(None);
    };
    let token = new_token()?;
    let login = &visit.account()?.login;
    let file = visit.app.uploads().hold(token.clone(), login, file);
    let typed = Typed::of(&[("held", &token)]);
    Ok(Some(page(visit, (&file, &offer), &typed, Some(error))))
}

/// `POST /receive/columns`.
pub(crate) async fn told(visit: Visit, typed: Typed) -> Answer {
    let (uploads, token) = (visit.app.uploads(), typed.get("held").to_owned());
    let login = visit.account()?.login.clone();
    let place = uploads.place()?;
    let gone =
        || Trouble::not_understood("This file is not held any longer. Nothing of it was kept.");
    let file = uploads.waits(&token, &login).ok_or_else(gone)?;
    let offer = offer(&file.bytes).ok_or_else(gone)?;
    let mut ready = (*file).clone();
    ready.asks = Asks::Never;
    if typed.ticked("as_it_is") {
        ready.map = None;
    } else {
        match map(&offer, &typed) {
            Ok(map) => ready.map = Some(map),
            Err(says) => {
                let error = StoreError::refused("map_wrong", says, "");
                return page(&visit, (&file, &offer), &typed, Some(&error));
            }
        }
    }
    let monitor = file.taken_off;
    match receive::taken_in(&visit, ready, place).await? {
        Ok(received) => {
            uploads.let_go(&token);
            receive::received_page(&visit, received, monitor).await
        }
        Err(refused) => match refused.0 {
            error @ StoreError::Refused(_) => page(&visit, (&file, &offer), &typed, Some(&error)),
            error => Err(error.into()),
        },
    }
}

/// The map of what was chosen, as its file.
fn map(offer: &Offer, typed: &Typed) -> Result<String, String> {
    let columns = offer.columns.iter().filter_map(|column| {
        let meaning = typed.get(&format!("c-{}", column.number));
        (!meaning.is_empty()).then(|| (column.reference.clone(), meaning.to_owned()))
    });
    let chosen = Chosen {
        columns: columns.collect(),
        time: typed.option("time"),
        written: typed.option("written"),
        date: typed.option("day"),
        start: typed.option("begins"),
    };
    if chosen == Chosen::default() {
        return Err("nothing was chosen: say of one column at least what it is".to_owned());
    }
    self::chosen(offer, &chosen).map(|map| map.to_toml())
}

fn page(
    visit: &Visit,
    (file, offer): (&Incoming, &Offer),
    typed: &Typed,
    error: Option<&StoreError>,
) -> Answer {
    let mut form = visit.form("/receive/columns", "Take it in so");
    form = form.field(crate::form::Field::hidden("held", typed.get("held")));
    if let Some(StoreError::Refused(all)) = error {
        form.refused(StoreError::Refused(all.clone()), &[])?;
    }
    let rows = offer.columns.iter().map(|column| {
        let field = format!("c-{}", column.number);
        Row {
            name: if column.label.is_empty() {
                format!("column {}, without a name", column.number)
            } else {
                column.label.clone()
            },
            first: column.first.join(", "),
            says: column.says.unwrap_or("nothing known"),
            chosen: typed.get(&field).to_owned(),
            field,
        }
    });
    let page = Page {
        file: &file.name,
        rows: rows.collect(),
        meanings: &MEANINGS,
        time: offer.time.clone(),
        written: WRITTEN.iter().map(|(format, words)| (format.id(), *words)).collect(),
        in_doubt: offer.in_doubt.clone(),
        named: offer.head.iter().any(|name| !name.is_empty()),
        may_leave: !error.is_some_and(|error| error.is("not_understood")),
        typed,
        form,
    };
    visit.again(TITLE, &page)
}
