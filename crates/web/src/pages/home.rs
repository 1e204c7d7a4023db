//! The first page.

use askama::Template;

use crate::access::Right;
use crate::page::Answer;
use crate::page::lead_to;
use crate::routes::Routes;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/", home)
}

#[derive(Template)]
#[template(path = "home.html")]
struct Page {
    name: String,
    accounts: bool,
    settings: bool,
    audit: bool,
}

async fn home(visit: Visit) -> Answer {
    // Whoever has a morning begins with it.
    if visit.may(Right::SeePeople) && visit.may(Right::SeeMonitors) {
        return Ok(lead_to("/morning"));
    }
    let page = Page {
        name: visit.account()?.name.clone(),
        accounts: visit.may(Right::Accounts),
        settings: visit.may(Right::Settings),
        audit: visit.may(Right::Audit),
    };
    visit.page("Begin", &page)
}
