//! The box in the header: a hardware scanner types a mark like a keyboard and ends with Enter.

use store::ident::is_checked;
use store::ident::plain_mark;

use crate::page::Answer;
use crate::page::Trouble;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().post("/scan", scan)
}

async fn scan(visit: Visit, typed: Typed) -> Answer {
    let mark = plain_mark(typed.get("mark"));
    let place = place_of(&visit, &mark).await?;
    let Some(place) = place else {
        let checked = mark.starts_with("M-") || mark.starts_with("L-");
        let hint = if checked && !is_checked(&mark) {
            "The mark's last sign does not agree with the others: read it again, or type it."
        } else {
            "Expected a monitor's mark such as M-0007 with its last sign, or a loan's such as L-00123 with its last sign."
        };
        let mut trouble = Trouble::not_found();
        trouble.says = vec![format!("Nothing in the record has the mark \u{201c}{mark}\u{201d}.")];
        trouble.hints = vec![hint.to_owned()];
        return Err(trouble);
    };
    Ok(crate::page::lead_to(&place))
}

/// The page of the thing with this mark, if there is one and it may be seen.
#[expect(clippy::unused_async, reason = "the record is asked here once the desk's pages exist")]
async fn place_of(_visit: &Visit, _mark: &str) -> Result<Option<String>, Trouble> {
    Ok(None)
}
