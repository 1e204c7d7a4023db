//! The box in the header: a hardware scanner types a mark like a keyboard and ends with Enter.

use serde_json::json;
use store::lending::desk::Scanned;
use store::record::row::Record as _;
use store::record::tables::Loan;
use store::text;

use crate::access::Right;
use crate::page::Answer;
use crate::page::Trouble;
use crate::page::lead_to;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().post("/scan", scan)
}

async fn scan(visit: Visit, typed: Typed) -> Answer {
    let text = typed.get("mark");
    if text::strange(text, false).is_some() || text::too_long(text, text::NAME).is_some() {
        return Err(Trouble::not_understood(
            "No mark and no number is so long, or holds a sign that cannot be seen.",
        ));
    }
    let found = visit.app.store().read().await?.scanned(text).await?;
    let place = match found {
        Scanned::Monitor(id) if visit.may(Right::SeeMonitors) => format!("/monitors/{id}"),
        Scanned::Misread => {
            return Err(nothing(
                text,
                "The mark's last sign does not agree with the others: read it again, or type it.",
            ));
        }
        // Whoever may not see people is not told whether somebody is known: it is the same answer either way.
        Scanned::Monitor(_) | Scanned::Loan(_) | Scanned::Person(_) | Scanned::Nothing
            if !visit.may(Right::SeePeople) =>
        {
            visit.refused("/scan").await;
            return Err(nothing(text, "Expected the mark or serial number of a monitor."));
        }
        Scanned::Loan(id) => format!("/loans/{id}"),
        Scanned::Person(id) => format!("/people/{id}"),
        Scanned::Monitor(_) => return Err(visit.refused("/scan").await),
        Scanned::Nothing => {
            visit.looks("scan", None, json!({"found": false}));
            return Err(nothing(
                text,
                "Expected the mark of a monitor or a loan, a serial number, a hospital number or an NHS number.",
            ));
        }
    };
    // That it is known is told by leading on, whether the browser follows or not.
    match found {
        Scanned::Person(id) => visit.looks("scan", Some(id), json!({"found": true})),
        Scanned::Loan(id) => visit.looks("scan", None, json!({"found": Loan::name(id)})),
        _ => {}
    }
    Ok(lead_to(&place))
}

fn nothing(text: &str, hint: &str) -> Trouble {
    let mut trouble = Trouble::not_found();
    trouble.says = vec![format!("Nothing in the record answers to \u{201c}{text}\u{201d}.")];
    trouble.hints = vec![hint.to_owned()];
    trouble
}
