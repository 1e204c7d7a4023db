//! Who may do what: the one table.
//!
//! Every route has one right; a role has rights. Pages ask for further rights by field: the desk sees no
//! results, the administrator neither results nor diary.

use store::words::Role;

/// What a route or a field asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Right {
    /// Nothing: before logging in.
    Open,
    /// To be logged in.
    Enter,
    /// To see people, their contacts, referrals and loans.
    SeePeople,
    /// To enter people and referrals, to book, hand out and take back.
    Lend,
    /// To see where the monitors stand.
    SeeMonitors,
    /// To enter monitors and consumables, to clean, check, hold, mend and retire.
    KeepMonitors,
    /// To see and enter the patient's diary.
    Diary,
    /// To see nights, figures, answers and reports.
    SeeResults,
    /// To judge a night by hand and sign it technically.
    Read,
    /// To interpret and sign for the answer.
    Interpret,
    /// To read the audit.
    Audit,
    /// To review retention and record destruction.
    Retain,
    /// To see the figures for the service, which name nobody.
    Figures,
    /// To keep accounts.
    Accounts,
    /// To be the second person of a one-time link that somebody else made.
    Second,
    /// To change the department's settings and texts.
    Settings,
    /// To change the criteria nights are judged by.
    Criteria,
}

/// Whether a role has a right.
pub const fn may(role: Role, right: Right) -> bool {
    use Role::Administrator;
    use Role::Desk;
    use Role::Governance;
    use Role::Physician;
    use Role::Physiologist;
    match right {
        Right::Open | Right::Enter => true,
        Right::SeePeople => matches!(role, Desk | Physiologist | Physician | Governance),
        Right::Lend => matches!(role, Desk | Physiologist),
        Right::SeeMonitors => matches!(role, Desk | Physiologist | Governance | Administrator),
        Right::KeepMonitors => matches!(role, Desk | Physiologist | Administrator),
        Right::Diary => matches!(role, Desk | Physiologist | Physician),
        Right::SeeResults => matches!(role, Physiologist | Physician),
        Right::Read => matches!(role, Physiologist),
        Right::Interpret => matches!(role, Physician),
        Right::Audit | Right::Retain => matches!(role, Governance),
        Right::Figures => {
            matches!(role, Desk | Physiologist | Physician | Governance | Administrator)
        }
        Right::Accounts => matches!(role, Administrator),
        Right::Second => matches!(role, Governance | Administrator),
        Right::Settings => matches!(role, Administrator | Physiologist),
        Right::Criteria => matches!(role, Physiologist | Physician),
    }
}

/// Every route and the right it asks for. A route that is missing here is refused to everybody.
pub const ROUTES: &[(&str, &str, Right)] = &[
    ("GET", "/assets/{hash}/{name}", Right::Open),
    ("GET", "/login", Right::Open),
    ("POST", "/login", Right::Open),
    ("POST", "/session/again", Right::Open),
    ("GET", "/first/{token}", Right::Open),
    ("POST", "/first/{token}", Right::Open),
    ("GET", "/about", Right::Open),
    ("GET", "/health", Right::Open),
    ("POST", "/logout", Right::Enter),
    ("GET", "/session", Right::Enter),
    ("POST", "/session/stay", Right::Enter),
    ("POST", "/session/elsewhere", Right::Enter),
    ("GET", "/live", Right::Enter),
    ("GET", "/", Right::Enter),
    ("POST", "/scan", Right::Enter),
    ("GET", "/password", Right::Enter),
    ("POST", "/password", Right::Enter),
    ("GET", "/morning", Right::SeeMonitors),
    ("GET", "/calendar", Right::SeeMonitors),
    ("GET", "/people", Right::SeePeople),
    ("POST", "/people", Right::SeePeople),
    ("GET", "/people/new", Right::Lend),
    ("POST", "/people/new", Right::Lend),
    ("GET", "/people/{id}", Right::SeePeople),
    ("GET", "/people/{id}/compare", Right::SeeResults),
    ("GET", "/people/{id}/compare/table", Right::SeeResults),
    ("GET", "/people/{id}/edit", Right::Lend),
    ("POST", "/people/{id}/edit", Right::Lend),
    ("POST", "/people/{id}/void", Right::Lend),
    ("POST", "/people/{id}/restore", Right::Lend),
    ("GET", "/people/{id}/refer", Right::Lend),
    ("POST", "/people/{id}/refer", Right::Lend),
    ("GET", "/studies/{id}/book", Right::Lend),
    ("POST", "/studies/{id}/book", Right::Lend),
    ("GET", "/loans/{id}", Right::SeePeople),
    ("GET", "/loans/{id}/hand-out", Right::Lend),
    ("POST", "/loans/{id}/hand-out", Right::Lend),
    ("GET", "/loans/{id}/take-back", Right::Lend),
    ("POST", "/loans/{id}/take-back", Right::Lend),
    ("POST", "/loans/{id}/set-aside", Right::Lend),
    ("POST", "/loans/{id}/exchange", Right::Lend),
    ("POST", "/loans/{id}/cancel", Right::Lend),
    ("POST", "/loans/{id}/extend", Right::Lend),
    ("POST", "/loans/{id}/chase", Right::Lend),
    ("POST", "/loans/{id}/give-up", Right::Lend),
    ("GET", "/loans/{id}/diary", Right::Diary),
    ("POST", "/loans/{id}/diary", Right::Lend),
    ("GET", "/loans/{id}/leaflet.pdf", Right::Lend),
    ("GET", "/loans/{id}/sheet.pdf", Right::Lend),
    ("GET", "/loans/{id}/letter.pdf", Right::Lend),
    ("GET", "/receive", Right::Lend),
    ("POST", "/receive", Right::Lend),
    ("POST", "/receive/columns", Right::Lend),
    ("GET", "/nights/{id}/settle", Right::Read),
    ("POST", "/nights/{id}/settle", Right::Read),
    ("POST", "/nights/{id}/aside", Right::Read),
    ("GET", "/nights/{id}/untie", Right::Read),
    ("POST", "/nights/{id}/untie", Right::Read),
    ("GET", "/nights/{id}/replace", Right::Read),
    ("POST", "/nights/{id}/replace", Right::Read),
    ("POST", "/ties/{id}/confirm", Right::Read),
    ("POST", "/ties/{id}/decline", Right::Read),
    ("GET", "/cleanings/{id}/record.pdf", Right::KeepMonitors),
    ("GET", "/monitors", Right::SeeMonitors),
    ("GET", "/monitors/new", Right::KeepMonitors),
    ("POST", "/monitors/new", Right::KeepMonitors),
    ("GET", "/monitors/{id}", Right::SeeMonitors),
    ("POST", "/monitors/{id}/to-cleaning", Right::KeepMonitors),
    ("POST", "/monitors/{id}/clean", Right::KeepMonitors),
    ("POST", "/monitors/{id}/check", Right::KeepMonitors),
    ("POST", "/monitors/{id}/membrane", Right::KeepMonitors),
    ("POST", "/monitors/{id}/gas", Right::KeepMonitors),
    ("POST", "/monitors/{id}/serviced", Right::KeepMonitors),
    ("POST", "/monitors/{id}/move", Right::KeepMonitors),
    ("POST", "/checks/{id}/void", Right::KeepMonitors),
    ("GET", "/labels.pdf", Right::KeepMonitors),
    ("GET", "/lots", Right::SeeMonitors),
    ("POST", "/lots", Right::KeepMonitors),
    ("POST", "/lots/{id}/close", Right::KeepMonitors),
    ("GET", "/nights", Right::SeeResults),
    ("GET", "/nights/{id}", Right::SeeResults),
    ("GET", "/nights/{id}/strip", Right::SeeResults),
    ("GET", "/nights/{id}/columns", Right::SeeResults),
    ("GET", "/nights/{id}/parts", Right::SeeResults),
    ("POST", "/nights/{id}/judge", Right::Read),
    ("POST", "/nights/{id}/reason", Right::Read),
    ("POST", "/nights/{id}/mark", Right::Read),
    ("POST", "/nights/{id}/move", Right::Read),
    ("POST", "/nights/{id}/remove", Right::Read),
    ("POST", "/nights/{id}/gas", Right::Read),
    ("POST", "/nights/{id}/question", Right::Read),
    ("POST", "/nights/{id}/criteria", Right::Read),
    ("POST", "/nights/{id}/take-check", Right::Read),
    ("POST", "/nights/{id}/drop-check", Right::Read),
    ("POST", "/nights/{id}/take-diary", Right::Read),
    ("POST", "/nights/{id}/leave-diary", Right::Read),
    ("POST", "/nights/{id}/score", Right::Read),
    ("POST", "/nights/{id}/undo", Right::Read),
    ("POST", "/nights/{id}/redo", Right::Read),
    ("GET", "/nights/{id}/repeat", Right::Read),
    ("POST", "/nights/{id}/repeat", Right::Read),
    ("GET", "/nights/{id}/report", Right::SeeResults),
    ("GET", "/nights/{id}/report/preview", Right::SeeResults),
    ("POST", "/nights/{id}/report/preview", Right::SeeResults),
    ("POST", "/nights/{id}/sign", Right::Read),
    ("POST", "/nights/{id}/interpret", Right::Interpret),
    ("POST", "/nights/{id}/reopen", Right::SeeResults),
    ("POST", "/nights/{id}/withdraw", Right::SeeResults),
    ("GET", "/nights/{id}/reports/{version}", Right::SeeResults),
    ("GET", "/agreement", Right::SeeResults),
    ("GET", "/agreement/pairs.csv", Right::SeeResults),
    ("GET", "/agreement/figures.csv", Right::SeeResults),
    ("POST", "/agreement/draw", Right::Read),
    ("GET", "/second", Right::Read),
    ("POST", "/second/{id}/begin", Right::Read),
    ("GET", "/second/{id}", Right::Read),
    ("GET", "/second/{id}/strip", Right::Read),
    ("GET", "/second/{id}/columns", Right::Read),
    ("GET", "/second/{id}/parts", Right::Read),
    ("POST", "/second/{id}/judge", Right::Read),
    ("POST", "/second/{id}/reason", Right::Read),
    ("POST", "/second/{id}/mark", Right::Read),
    ("POST", "/second/{id}/move", Right::Read),
    ("POST", "/second/{id}/remove", Right::Read),
    ("POST", "/second/{id}/gas", Right::Read),
    ("POST", "/second/{id}/undo", Right::Read),
    ("POST", "/second/{id}/redo", Right::Read),
    ("POST", "/second/{id}/finish", Right::Read),
    ("POST", "/second/{id}/withdraw", Right::Read),
    ("GET", "/service", Right::Figures),
    ("GET", "/service/turnaround.csv", Right::Figures),
    ("GET", "/service/repeats.csv", Right::SeeResults),
    ("GET", "/service/failures.csv", Right::Figures),
    ("GET", "/service/gas-checks.csv", Right::Figures),
    ("GET", "/service/use.csv", Right::Figures),
    ("GET", "/service/monitors/{id}", Right::Figures),
    ("GET", "/service/monitors/{id}/gas-checks.csv", Right::Figures),
    ("GET", "/criteria", Right::Criteria),
    ("POST", "/criteria", Right::Criteria),
    ("GET", "/criteria/{name}", Right::Criteria),
    ("GET", "/criteria/{name}/draft", Right::Criteria),
    ("POST", "/criteria/{name}/draft", Right::Criteria),
    ("GET", "/criteria/{name}/rerun", Right::Criteria),
    ("POST", "/criteria/{name}/rerun", Right::Criteria),
    ("POST", "/criteria/{name}/adopt", Right::Criteria),
    ("GET", "/accounts", Right::Accounts),
    ("GET", "/accounts/new", Right::Accounts),
    ("POST", "/accounts/new", Right::Accounts),
    ("GET", "/accounts/{id}", Right::Accounts),
    ("POST", "/accounts/{id}", Right::Accounts),
    ("POST", "/accounts/{id}/link", Right::Accounts),
    ("POST", "/accounts/{id}/close", Right::Accounts),
    ("GET", "/links", Right::Second),
    ("POST", "/links/{id}", Right::Second),
    ("GET", "/audit", Right::Audit),
    ("GET", "/audit/acts.csv", Right::Audit),
    ("GET", "/retention", Right::Retain),
    ("GET", "/retention/{id}", Right::Retain),
    ("POST", "/retention/{id}/hold", Right::Retain),
    ("POST", "/retention/{id}/release", Right::Retain),
    ("POST", "/retention/{id}/access", Right::Retain),
    ("POST", "/retention/{id}/destroy", Right::Retain),
    ("GET", "/settings", Right::Settings),
    ("GET", "/settings/{name}", Right::Settings),
    ("POST", "/settings/{name}", Right::Settings),
];

/// Routes whose answers show nobody's data. What any other shows is written down as a look, also what a route
/// shows that somebody adds tomorrow: it must be taken out here, not put in.
pub const NOBODY: &[(&str, &str)] = &[
    ("GET", "/assets/{hash}/{name}"),
    ("GET", "/login"),
    ("POST", "/login"),
    ("POST", "/session/again"),
    ("GET", "/first/{token}"),
    ("POST", "/first/{token}"),
    ("GET", "/about"),
    ("GET", "/health"),
    ("POST", "/logout"),
    ("GET", "/session"),
    ("POST", "/session/stay"),
    ("POST", "/session/elsewhere"),
    ("GET", "/live"),
    ("GET", "/"),
    // It leads on; that somebody asked for a person is written down by the handler.
    ("POST", "/scan"),
    ("GET", "/password"),
    ("POST", "/password"),
    ("GET", "/people"),
    ("GET", "/people/new"),
    ("GET", "/monitors"),
    ("GET", "/monitors/new"),
    ("POST", "/monitors/new"),
    ("GET", "/labels.pdf"),
    ("GET", "/lots"),
    ("POST", "/lots"),
    ("POST", "/lots/{id}/close"),
    ("GET", "/service"),
    ("GET", "/service/monitors/{id}"),
    ("GET", "/criteria"),
    ("POST", "/criteria"),
    ("GET", "/criteria/{name}"),
    ("GET", "/criteria/{name}/draft"),
    ("POST", "/criteria/{name}/draft"),
    ("POST", "/criteria/{name}/rerun"),
    ("POST", "/criteria/{name}/adopt"),
    ("GET", "/accounts"),
    ("GET", "/accounts/new"),
    ("POST", "/accounts/new"),
    ("GET", "/accounts/{id}"),
    ("POST", "/accounts/{id}"),
    ("POST", "/accounts/{id}/link"),
    ("POST", "/accounts/{id}/close"),
    ("GET", "/links"),
    ("POST", "/links/{id}"),
    ("GET", "/settings"),
    ("GET", "/settings/{name}"),
    ("POST", "/settings/{name}"),
];

/// Whether what a route shows is written down as a look.
pub fn shows_people(method: &str, path: &str) -> bool {
    let method = if method == "HEAD" { "GET" } else { method };
    !NOBODY.contains(&(method, path))
}

/// The page a route is a piece of, where that page asks its pieces by itself, many times a minute: of these one look
/// in ten minutes is written. Another page is another look, also when it is about the same person: it shows other
/// data of them.
pub fn page_of(path: &str) -> Option<&'static str> {
    if path == "/people/{id}/compare" {
        return Some("compare");
    }
    let (page, rest) = match path.strip_prefix("/second/{id}") {
        Some(rest) => ("second", rest),
        None => ("night", path.strip_prefix("/nights/{id}")?),
    };
    let parts = [
        "",
        "/strip",
        "/columns",
        "/parts",
        "/judge",
        "/reason",
        "/mark",
        "/move",
        "/remove",
        "/gas",
        "/question",
        "/criteria",
        "/undo",
        "/redo",
    ];
    parts.contains(&rest).then_some(page)
}

/// Whether a route answers at a path, as a browser writes it without its query.
pub fn answers(method: &str, path: &str) -> bool {
    let plain = |sign: char| sign.is_ascii_alphanumeric() || "-_.~:".contains(sign);
    let fits = |pattern: &str, part: &str| match pattern.strip_prefix('{') {
        Some(_) => {
            !part.is_empty() && part.chars().all(plain) && part.chars().any(|sign| sign != '.')
        }
        None => pattern == part,
    };
    ROUTES.iter().any(|route| {
        let (patterns, parts) = (route.1.split('/'), path.split('/'));
        route.0 == method
            && patterns.clone().count() == parts.clone().count()
            && patterns.zip(parts).all(|(pattern, part)| fits(pattern, part))
    })
}

/// The right a route asks for.
pub fn right_of(method: &str, path: &str) -> Option<Right> {
    // A page's head is asked for like the page.
    let method = if method == "HEAD" { "GET" } else { method };
    ROUTES.iter().find(|route| (route.0, route.1) == (method, path)).map(|route| route.2)
}

/// The navigation, in the order of a day: path, word, and the right to see it.
pub const NAVIGATION: &[(&str, &str, Right)] = &[
    ("/morning", "This morning", Right::SeeMonitors),
    ("/calendar", "Calendar", Right::SeeMonitors),
    ("/nights", "Nights", Right::SeeResults),
    ("/receive", "Take off a night", Right::Lend),
    ("/people", "People", Right::SeePeople),
    ("/monitors", "Monitors", Right::SeeMonitors),
    ("/service", "Service", Right::Figures),
    ("/criteria", "Criteria", Right::Criteria),
    ("/audit", "Audit", Right::Audit),
    ("/retention", "Retention", Right::Retain),
    ("/accounts", "Accounts", Right::Accounts),
    ("/links", "Links", Right::Second),
    ("/settings", "Settings", Right::Settings),
];
