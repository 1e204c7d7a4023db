//! The box in the header: a hardware scanner types a mark like a keyboard and ends with Enter.

use store::desk::Scanned;
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
        Scanned::Loan(id) if visit.may(Right::SeePeople) => format!("/loans/{id}"),
        Scanned::Person(id) if visit.may(Right::SeePeople) => format!("/people/{id}"),
        Scanned::Misread => {
            return Err(nothing(
                text,
                "The mark's last sign does not agree with the others: read it again, or type it.",
            ));
        }
        Scanned::Nothing => {
            return Err(nothing(
                text,
                "Expected the mark of a monitor or a loan, a serial number, a hospital number or an NHS number.",
            ));
        }
        Scanned::Monitor(_) | Scanned::Loan(_) | Scanned::Person(_) => {
            return Err(Trouble::forbidden());
        }
    };
    Ok(lead_to(&place))
}

fn nothing(text: &str, hint: &str) -> Trouble {
    let mut trouble = Trouble::not_found();
    trouble.says = vec![format!("Nothing in the record answers to \u{201c}{text}\u{201d}.")];
    trouble.hints = vec![hint.to_owned()];
    trouble
}
