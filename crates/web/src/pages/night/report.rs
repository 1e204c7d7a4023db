//! The report: as it will print, signed technically, interpreted, made anew, withdrawn.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use engine::print::Stamp;
use store::error::StoreError;
use store::reading::content::Content;
use store::reading::content::Wording;
use store::reading::signing;
use store::reading::standing::Turn;
use store::record::db::Conn;
use store::record::tables::Night;
use store::record::tables::Report;
use store::words::NightStatus;

use super::Reading;
use super::parts::became;
use super::parts::sentences;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::form::Kind;
use crate::form::sentence;
use crate::mark::Mark;
use crate::page::Answer;
use crate::page::Trouble;
use crate::printer::Paper;
use crate::typed::Typed;
use crate::visit::Visit;

mod paper;

pub(super) use paper::paper;

/// What the preview may do: it carries its own style, and is shown in our own pages only.
const PREVIEW: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'self'; base-uri 'none'; form-action 'none'";

/// Which field a refusal belongs to.
const AT: &[(&str, &str)] = &[
    ("change_not_said", "changed"),
    ("password_wrong", "password"),
    ("interpretation_missing", "interpretation"),
    ("reason_missing", "reason"),
];

#[derive(Template)]
#[template(path = "night/report.html")]
struct Page {
    id: i64,
    name: String,
    stands: String,
    /// Whether what it says above is that nothing may be acted upon.
    fallen: bool,
    /// What became of the report, and what was learnt since it was signed: before whoever signs.
    became: Option<(Mark, Vec<String>)>,
    learnt: Vec<String>,
    /// The head of the report: whoever signs on a narrow screen reads it before the password.
    head: Head,
    form: Option<Form>,
    acts: Vec<(&'static str, Form)>,
    phrases: Vec<String>,
    /// Name of the field that phrases go into.
    field: &'static str,
    versions: Vec<Version>,
    assets: &'static str,
}

/// What of a report is read before anything is signed.
struct Head {
    question: String,
    first: Vec<String>,
    headline: String,
    severe: Vec<String>,
    decision: &'static str,
    decision_words: String,
    reservations: Vec<String>,
}

impl Head {
    fn of(report: &engine::report::Report, reservations: Vec<String>) -> Self {
        Self {
            question: report.question.clone(),
            first: report.first.clone(),
            headline: report.headline.clone(),
            severe: report.severe.iter().map(|one| one.sentence.clone()).collect(),
            decision: report.decision.id(),
            decision_words: report.decision_words.clone(),
            reservations,
        }
    }
}

struct Version {
    number: i64,
    says: String,
    because: String,
    stands: bool,
    paper: bool,
    /// What stands across it.
    stamp: Option<Stamp>,
}

/// `GET /nights/{id}/report`.
pub(super) async fn page(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let page = made(&visit, &reading).await?;
    visit.page(&format!("Report of {}", page.name), &page)
}

async fn made(visit: &Visit, reading: &Reading) -> Result<Page, Trouble> {
    let (id, night) = (reading.night.id, &reading.night);
    let mut conn = visit.app.store().read().await?;
    let reports = conn.own_reports(night).await?;
    let mut versions = Vec::with_capacity(reports.len());
    for (at, one) in reports.iter().enumerate() {
        versions.push(version(visit, one, at == 0, conn.stamp(one).await?));
    }
    let phrases = conn.setting("phrases").await?.map(|kept| kept.value).unwrap_or_default();
    let (form, field) = form(visit, &mut conn, night, &reports).await?;
    let beside = conn.beside(std::slice::from_ref(night)).await?;
    drop(conn);
    let learnt = sentences(&beside.learnt(night));
    let mut known = sentences(&beside.reservations(night));
    known.retain(|one| !learnt.contains(one));
    let last = reports.first();
    let standing = last.filter(|report| report.withdrawn_at.is_none());
    let lines = phrases.lines().map(str::trim).filter(|line| !line.is_empty());
    Ok(Page {
        id,
        name: reading.person.listed(),
        stands: stands(visit, night, last),
        fallen: last.is_some() && standing.is_none(),
        // Withdrawn or open again is what the sentence above says.
        became: beside
            .became(night)
            .filter(|one| matches!(one.what, Turn::Replaced | Turn::SignedAnew))
            .map(became),
        learnt,
        head: Head::of(&reading.opened.report, known),
        acts: standing.map(|_| acts(visit, night)).unwrap_or_default(),
        form,
        phrases: lines.map(str::to_owned).collect(),
        field,
        versions,
        assets: crate::assets::FOLDER.as_str(),
    })
}

fn stands(visit: &Visit, night: &Night, last: Option<&Report>) -> String {
    match (night.status, last) {
        (_, Some(Report { withdrawn_at: Some(at), because, version, .. })) => format!(
            "Withdrawn on {} (version {version}): {} No report of this night stands.",
            visit.local(*at),
            sentence(because.as_deref().unwrap_or("no reason is kept"))
        ),
        (NightStatus::Signed, Some(report)) if report.interpreted_by.is_some() => {
            format!("Version {} is signed and interpreted.", report.version)
        }
        (NightStatus::Signed, Some(report)) => format!(
            "Version {} is signed technically and waits for a physician's interpretation.",
            report.version
        ),
        (_, Some(report)) => format!(
            "The night is open again. Version {} stands until a new one is signed.",
            report.version
        ),
        _ => "Not signed yet.".to_owned(),
    }
}

/// The one form that whoever asks can send now, and its field for free words.
async fn form(
    visit: &Visit,
    conn: &mut Conn,
    night: &Night,
    reports: &[Report],
) -> Result<(Option<Form>, &'static str), Trouble> {
    let signed = night.status == NightStatus::Signed;
    if !visit.may(if signed { Right::Interpret } else { Right::Read }) {
        return Ok((None, ""));
    }
    let (comment, interpretation) = conn.words_so_far(night).await?;
    let own = wording(night, "");
    let shown = conn.draft(night, &own).await?.shown(&own);
    let to = if signed { "interpret" } else { "sign" };
    let button = if signed { "Sign the interpretation" } else { "Sign technically" };
    let form = visit
        .form(format!("/nights/{}/{to}", night.id), button)
        .field(Field::hidden("seen", night.act.to_string()))
        .field(Field::hidden("shown", shown));
    let last = reports.first();
    Ok(if signed {
        let last = last.filter(|last| last.interpreted_by.is_some());
        let withdrawn = reports.iter().any(|one| one.withdrawn_at.is_some());
        (Some(to_interpret(form, last, interpretation, withdrawn)), "interpretation")
    } else {
        (Some(to_sign(form, reports, comment)), "comment")
    })
}

fn to_interpret(
    form: Form,
    last: Option<&Report>,
    before: Option<(i64, String)>,
    withdrawn: bool,
) -> Form {
    const HINT: &str = "What it means and what is advised. One paragraph a line.";
    let (hint, words) = match before {
        Some((version, words)) => {
            (format!("{HINT} It begins as version {version} had it: read it anew."), words)
        }
        None if withdrawn => {
            let hint = format!(
                "{HINT} What was written on a version that was withdrawn stands on its paper, below."
            );
            (hint, String::new())
        }
        None => (HINT.to_owned(), String::new()),
    };
    let form = form.field(
        Field::lines("interpretation", "Interpretation", 6).needed().value(words).hint(hint),
    );
    let form = match last {
        Some(last) => form.field(changed(&format!("version {}", last.version))),
        None => form,
    };
    form.field(password("I have looked at this report and answer for its interpretation"))
}

fn to_sign(form: Form, reports: &[Report], comment: String) -> Form {
    const HINT: &str = "On the recording and what was judged by hand. One paragraph a line.";
    // A withdrawal is a row of its own, behind the version it takes back.
    let (last, was) = match reports {
        [gone, was, ..] if gone.withdrawn_at.is_some() => {
            (Some(format!("version {}, which was withdrawn", was.version)), Some(was.version))
        }
        [last, ..] => (Some(format!("version {}", last.version)), None),
        [] => (None, None),
    };
    let hint = match was {
        Some(version) if !comment.is_empty() => format!(
            "{HINT} It begins as version {version} had it, which was withdrawn: read it anew."
        ),
        _ => HINT.to_owned(),
    };
    let form = form.field(Field::lines("comment", "Comment", 4).value(comment).hint(hint));
    let form = match last {
        Some(last) => form.field(changed(&last)),
        None => form,
    };
    form.field(password("I have read this night and answer for its figures"))
}

fn changed(last: &str) -> Field {
    let label = format!("What changed since {last}");
    Field::text("changed", label).hint("It is printed on the paper.").needed()
}

/// Whoever signs is asked once more who they are: the page may have been left open by somebody else.
fn password(statement: &str) -> Field {
    Field::password("password", "Your password, to sign")
        .hint(format!("With it you say: {statement}."))
        .autocomplete("current-password")
        .needed()
}

/// What can be done with a report that stands.
fn acts(visit: &Visit, night: &Night) -> Vec<(&'static str, Form)> {
    let act = |name: &str, button: &str, reason: Field| {
        let password =
            Field::password("password", "Your password").autocomplete("current-password").needed();
        visit
            .form(format!("/nights/{}/{name}", night.id), button)
            .field(Field::hidden("seen", night.act.to_string()))
            .field(reason.needed())
            .field(password)
    };
    let mut acts = Vec::new();
    if night.status == NightStatus::Signed {
        let reason = Field::text("reason", "Why it must be amended").hint(
            "For figures, marks or comment. A physiologist signs anew, then a physician interprets anew. Where only the interpretation changes, sign that anew instead.",
        );
        acts.push(("Amend", act("reopen", "Open the night again", reason)));
    }
    let reason = Field::text("reason", "Why it is withdrawn")
        .hint("It is printed across every version from now on.");
    acts.push(("Withdraw", act("withdraw", "Withdraw the report", reason).grave()));
    acts
}

fn version(visit: &Visit, report: &Report, latest: bool, stamp: Option<Stamp>) -> Version {
    let signed = |by: &Option<String>, at: Option<i64>| {
        let at = at.map(|at| visit.local(at)).unwrap_or_default();
        by.as_ref().map(|by| format!("{by}, {at}"))
    };
    let says = if let Some(at) = report.withdrawn_at {
        format!("withdrawn {}", visit.local(at))
    } else {
        let scored =
            signed(&report.signed_by, report.signed_at).map(|by| format!("signed by {by}"));
        let read = signed(&report.interpreted_by, report.interpreted_at);
        let read = read.map(|by| format!("interpreted by {by}"));
        scored.into_iter().chain(read).collect::<Vec<_>>().join("; ")
    };
    Version {
        number: report.version,
        says,
        because: report.because.as_deref().map(sentence).unwrap_or_default(),
        stands: latest && report.withdrawn_at.is_none(),
        paper: report.pdf_sha256.is_some(),
        stamp,
    }
}

/// What whoever signs this night now writes on it.
fn wording(night: &Night, words: &str) -> Wording {
    match night.status {
        NightStatus::Signed => Wording::Interpretation(words.to_owned()),
        _ => Wording::Comment(words.to_owned()),
    }
}

/// `GET /nights/{id}/report/preview?comment=…`: the report as it would print now, as a draft that nobody signed. A
/// word that was not typed stays as the last version has it.
pub(super) async fn preview(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let night = &reading.night;
    let mut conn = visit.app.store().read().await?;
    let (comment, read) = conn.words_so_far(night).await?;
    let (name, kept) = match night.status {
        NightStatus::Signed => ("interpretation", read.map(|(_, words)| words).unwrap_or_default()),
        _ => ("comment", comment),
    };
    let sent = typed.fields().iter().any(|(known, _)| known == name);
    let words = if sent { typed.get(name) } else { kept.as_str() };
    let mut heading = conn.draft(night, &wording(night, words)).await?.heading();
    drop(conn);
    heading.stamp = Some(Stamp::draft());
    let page = engine::print::html(&reading.opened.report, &heading);
    Ok(([(header::CONTENT_SECURITY_POLICY, PREVIEW)], axum::response::Html(page)).into_response())
}

/// `POST /nights/{id}/sign`.
pub(super) async fn sign(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    signing(&visit, id, &typed, false).await
}

/// `POST /nights/{id}/interpret`.
pub(super) async fn interpret(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    signing(&visit, id, &typed, true).await
}

async fn signing(visit: &Visit, id: i64, typed: &Typed, physician: bool) -> Answer {
    let reading = Reading::open(visit, id).await?;
    let mut page = made(visit, &reading).await?;
    let signed_already = reading.night.status == NightStatus::Signed;
    let Some(form) = page.form.take().filter(|_| physician == signed_already) else {
        return Err(too_late(typed));
    };
    let title = format!("Report of {}", page.name);
    let mut form = refilled(form, typed).checked();
    let changed = changed_meanwhile(visit, &reading, typed).await?;
    if let Some(changed) = &changed {
        form.faults.push((changed.clone(), READ_AGAIN.to_owned()));
    }
    if form.has_faults() {
        page.form = Some(form);
        let status =
            if changed.is_some() { StatusCode::CONFLICT } else { StatusCode::UNPROCESSABLE_ENTITY };
        return visit.page_of(status, &title, &page.render()?);
    }
    match signed(visit, &reading, typed, physician).await? {
        Ok(report) => {
            let words =
                format!("Signed: version {} of the report of {}.", report.version, page.name);
            Ok(visit.done(&words, "/nights"))
        }
        Err(StoreError::Changed { .. }) => {
            form.faults.push((NIGHT_CHANGED.to_owned(), READ_AGAIN.to_owned()));
            page.form = Some(form);
            visit.page_of(StatusCode::CONFLICT, &title, &page.render()?)
        }
        Err(error) => {
            form.refused(error, AT)?;
            page.form = Some(form);
            visit.again(&title, &page)
        }
    }
}

const NIGHT_CHANGED: &str = "The night was changed by somebody else meanwhile.";
const READ_AGAIN: &str = "Nothing was signed, and what you wrote is kept. Read the report again as it prints now, then sign.";

/// What is another now than when the page was made that this form was sent from, in a sentence.
async fn changed_meanwhile(
    visit: &Visit,
    reading: &Reading,
    typed: &Typed,
) -> Result<Option<String>, Trouble> {
    let own = wording(&reading.night, "");
    let mut conn = visit.app.store().read().await?;
    let now: Content = conn.draft(&reading.night, &own).await?;
    drop(conn);
    let changed = now.changed_since(typed.get("shown"), &own);
    if typed.number("seen") != Some(reading.night.act) {
        return Ok(Some(NIGHT_CHANGED.to_owned()));
    }
    Ok((!changed.is_empty())
        .then(|| format!("Changed since this page was opened: {}.", changed.join(", "))))
}

/// The form with what was typed, but with its own word on what it shows now.
fn refilled(form: Form, typed: &Typed) -> Form {
    let now: Vec<Field> =
        form.fields.iter().filter(|field| field.kind == Kind::Hidden).cloned().collect();
    let mut form = form.filled(typed);
    for field in &mut form.fields {
        if let Some(shown) = now.iter().find(|shown| shown.name == field.name) {
            field.values.clone_from(&shown.values);
        }
    }
    form
}

/// Somebody else signed or opened the night meanwhile: there is no form to send any more.
fn too_late(typed: &Typed) -> Trouble {
    let mut says = vec!["This report cannot be signed now.".to_owned()];
    let words = ["comment", "interpretation"].map(|name| typed.get(name));
    if let Some(words) = words.into_iter().find(|words| !words.is_empty()) {
        says.push("Nothing was signed. What you had written:".to_owned());
        says.extend(words.lines().map(str::to_owned));
    }
    Trouble { says, status: StatusCode::CONFLICT, ..Trouble::refused(&[]) }
}

/// Makes the paper and signs it with the password typed.
async fn signed(
    visit: &Visit,
    reading: &Reading,
    typed: &Typed,
    physician: bool,
) -> Result<Result<Report, StoreError>, Trouble> {
    let (store, by, night) = (visit.app.store(), visit.author(), &reading.night);
    let proved =
        store.confirm_in(visit.open_session()?, typed.raw("password"), &visit.station).await;
    if let Err(error) = proved {
        return Ok(Err(error));
    }
    // Each signs their own words and no others: the rest is the record's.
    let words = wording(night, typed.get(if physician { "interpretation" } else { "comment" }));
    let changed = typed.get("changed");
    let mut conn = store.read().await?;
    let content = match conn.to_sign(night, &by, store.now(), &words, changed).await {
        Ok(content) => content,
        Err(error) => return Ok(Err(error)),
    };
    drop(conn);
    let pdf = printed(visit, reading, &content).await?;
    let paper = signing::Paper { content: &content, shown: typed.get("shown"), changed, pdf: &pdf };
    Ok(if physician {
        store.interpret_report(&by, night.id, night.act, &paper).await
    } else {
        store.sign_report(&by, night.id, night.act, &paper).await
    })
}

/// The paper that is signed.
async fn printed(visit: &Visit, reading: &Reading, content: &Content) -> Result<Vec<u8>, Trouble> {
    let of = crate::printer::Report {
        report: reading.opened.report.clone(),
        heading: content.heading(),
    };
    let made = paper::print(visit, Paper::Report(Box::new(of))).await?;
    made.map_err(|says| Trouble {
        status: StatusCode::CONFLICT,
        says: vec![sentence(&says), "Nothing was signed.".to_owned()],
        ..Trouble::refused(&[])
    })
}

/// `POST /nights/{id}/reopen`.
pub(super) async fn reopen(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    taken(&visit, id, &typed, "reopen").await
}

/// `POST /nights/{id}/withdraw`.
pub(super) async fn withdraw(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    taken(&visit, id, &typed, "withdraw").await
}

/// A report opened again or withdrawn, with its reason and the password; or the page again with what was wrong.
async fn taken(visit: &Visit, id: i64, typed: &Typed, act: &str) -> Answer {
    let (store, by) = (visit.app.store(), visit.author());
    let (seen, reason) = (typed.number("seen").unwrap_or(0), typed.get("reason"));
    let proved =
        store.confirm_in(visit.open_session()?, typed.raw("password"), &visit.station).await;
    let done = match (proved, act) {
        (Err(error), _) => Err(error),
        (Ok(()), "withdraw") => store.withdraw_report(&by, id, seen, reason).await.map(|_| ()),
        (Ok(()), _) => store.reopen_night(&by, id, seen, reason).await.map(|_| ()),
    };
    match (done, act) {
        (Ok(()), "withdraw") => {
            Ok(visit.done("The report is withdrawn.", &format!("/nights/{id}/report")))
        }
        (Ok(()), _) => Ok(visit.done("The night is open again.", &format!("/nights/{id}"))),
        (Err(error), _) => {
            let reading = Reading::open(visit, id).await?;
            let mut page = made(visit, &reading).await?;
            let to = format!("/nights/{id}/{act}");
            let Some(at) = page.acts.iter().position(|(_, form)| form.action == to) else {
                return Err(error.into());
            };
            let (title, form) = page.acts.remove(at);
            let mut form = form.filled(typed).checked();
            form.refused(error, AT)?;
            page.acts.insert(at, (title, form));
            visit.again(&format!("Report of {}", page.name), &page)
        }
    }
}
