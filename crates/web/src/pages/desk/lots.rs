//! Lots: calibration gas, membranes, gel, clips and wipes.

use askama::Template;
use axum::extract::Path;
use store::lending::monitor::ConsumableForm;
use store::record::tables::Consumable;
use store::when;
use store::words::ConsumableKind;

use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::typed::Typed;
use crate::visit::Visit;

#[derive(Debug, Template)]
#[template(path = "desk/lots.html")]
struct Lots {
    all: Vec<Row>,
    form: Form,
    may_keep: bool,
}

#[derive(Debug)]
struct Row {
    lot: String,
    kind: ConsumableKind,
    until: String,
    received: i64,
    co2: String,
    says: String,
    close: Option<Form>,
}

fn form(visit: &Visit) -> Form {
    let kinds = ConsumableKind::choices();
    visit
        .form("/lots", "Enter")
        .field(Field::menu("kind", "What", kinds).needed())
        .field(Field::text("lot", "Lot number").of("consumable", "lot").needed())
        .field(Field::date("expires_on", "May be used until"))
        .field(Field::number("received", "How many", "1").value("1").with("min", "1"))
        .field(
            Field::number("co2_percent", "CO2 of a gas, %", "any")
                .hint(
                    "As it stands on the cylinder, more than 0. Leave it empty for anything else.",
                )
                .with("min", "0.01")
                .with("max", "100"),
        )
}

async fn page(visit: &Visit, form: Form) -> Result<Lots, store::error::StoreError> {
    let store = visit.app.store();
    let all = store.read().await?.lots().await?;
    let today = when::local_date(store.now(), &visit.department.zone).to_string();
    let may_keep = visit.may(Right::KeepMonitors);
    let row = |lot: &Consumable| {
        let expired = lot.expires_on.as_ref().is_some_and(|until| *until < today);
        let close = may_keep && lot.closed_at.is_none();
        Row {
            lot: lot.lot.clone(),
            kind: lot.kind,
            until: lot.expires_on.clone().unwrap_or_default(),
            received: lot.received,
            co2: lot.co2_percent.map_or_else(String::new, |percent| format!("{percent} %")),
            says: if lot.closed_at.is_some() {
                "used up"
            } else if expired {
                "expired"
            } else {
                "in use"
            }
            .to_owned(),
            close: close.then(|| {
                visit.form(format!("/lots/{}/close", lot.id), format!("{} is used up", lot.lot))
            }),
        }
    };
    Ok(Lots { all: all.iter().map(row).collect(), form, may_keep })
}

/// `GET /lots`.
pub(crate) async fn lots(visit: Visit) -> Answer {
    let page = page(&visit, form(&visit)).await?;
    visit.page("Lots", &page)
}

/// `POST /lots`.
pub(crate) async fn enter(visit: Visit, typed: Typed) -> Answer {
    let mut form = form(&visit).filled(&typed).checked();
    if let (Some(kind), false) = (ConsumableKind::read(typed.get("kind")), form.has_faults()) {
        let lot = ConsumableForm {
            kind,
            lot: typed.get("lot").to_owned(),
            expires_on: typed.get("expires_on").to_owned(),
            received: typed.number("received").unwrap_or(1),
            co2_percent: typed.get("co2_percent").replace(',', ".").parse().ok(),
        };
        match visit.app.store().add_consumable(&visit.author(), lot).await {
            Ok(_) => return Ok(visit.done("Entered.", "/lots")),
            Err(error) => {
                form.refused(
                    error,
                    &[
                        ("lot_missing", "lot"),
                        ("day_wrong", "expires_on"),
                        ("co2_wrong", "co2_percent"),
                        ("number_wrong", "received"),
                    ],
                )?;
            }
        }
    }
    let page = page(&visit, form).await?;
    visit.again("Lots", &page)
}

/// `POST /lots/{id}/close`.
pub(crate) async fn close(visit: Visit, Path(id): Path<i64>) -> Answer {
    visit.app.store().close_consumable(&visit.author(), id).await?;
    Ok(visit.done("Used up.", "/lots"))
}
