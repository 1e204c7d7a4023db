//! The report: as it will print, signed technically, interpreted, made anew, withdrawn.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use serde_json::json;
use store::error::StoreError;
use store::signing::Content;
use store::signing::Wording;
use store::tables::Night;
use store::tables::Report;
use store::words::NightStatus;

use super::Reading;
use crate::access::Right;
use crate::form::Field;
use crate::form::Form;
use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::printer::Paper;
use crate::typed::Typed;
use crate::visit::Visit;

/// What the preview may do: it carries its own style, and is shown in our own pages only.
const PREVIEW: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'self'; base-uri 'none'; form-action 'none'";

#[derive(Template)]
#[template(path = "night/report.html")]
struct Page {
    id: i64,
    name: String,
    stands: String,
    form: Option<Form>,
    acts: Vec<(&'static str, Form)>,
    phrases: Vec<String>,
    /// Name of the field that phrases go into.
    field: &'static str,
    versions: Vec<Version>,
    assets: &'static str,
}

struct Version {
    number: i64,
    says: String,
    because: String,
    stands: bool,
    paper: bool,
}

/// `GET /nights/{id}/report`.
pub(super) async fn page(visit: Visit, Path(id): Path<i64>) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let page = made(&visit, &reading).await?;
    visit.page(&format!("Report of {}", page.name), &page)
}

async fn made(visit: &Visit, reading: &Reading) -> Result<Page, Trouble> {
    let id = reading.night.id;
    let mut conn = visit.app.store().read().await?;
    let reports = conn.reports(id).await?;
    let phrases = conn.setting("phrases").await?.map(|kept| kept.value).unwrap_or_default();
    drop(conn);
    let standing = reports.first().filter(|report| report.withdrawn_at.is_none());
    let (form, field) = form(visit, &reading.night, &reports);
    Ok(Page {
        id,
        name: reading.person.listed(),
        stands: stands(&reading.night, standing),
        acts: standing.map(|_| acts(visit, &reading.night)).unwrap_or_default(),
        form,
        phrases: phrases
            .lines()
            .map(str::trim)
            .filter(|line| !line.is_empty())
            .map(str::to_owned)
            .collect(),
        field,
        versions: reports
            .iter()
            .enumerate()
            .map(|(at, one)| version(visit, one, at == 0))
            .collect(),
        assets: crate::assets::FOLDER.as_str(),
    })
}

fn stands(night: &Night, standing: Option<&Report>) -> String {
    match (night.status, standing) {
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
fn form(visit: &Visit, night: &Night, reports: &[Report]) -> (Option<Form>, &'static str) {
    let id = night.id;
    let seen = Field::hidden("seen", night.act.to_string());
    let last = reports.first();
    let content = last.and_then(|last| serde_json::from_str::<Content>(&last.content).ok());
    let comment = content.map(|content| content.comment.join("\n")).unwrap_or_default();
    if night.status == NightStatus::Signed {
        if !visit.may(Right::Interpret) {
            return (None, "");
        }
        let words = last.and_then(|last| last.interpretation.clone()).unwrap_or_default();
        let form = visit
            .form(format!("/nights/{id}/interpret"), "Sign the interpretation")
            .field(seen)
            .field(
                Field::lines("interpretation", "Interpretation", 6)
                    .needed()
                    .value(words)
                    .hint("What it means and what is advised. One paragraph a line."),
            )
            .field(password("I have looked at this report and answer for its interpretation"));
        return (Some(form), "interpretation");
    }
    if !visit.may(Right::Read) {
        return (None, "");
    }
    let mut form = visit.form(format!("/nights/{id}/sign"), "Sign technically").field(seen).field(
        Field::lines("comment", "Comment", 4)
            .value(comment)
            .hint("On the recording and what was judged by hand. One paragraph a line."),
    );
    if let Some(last) = last {
        let label = format!("What changed since version {}", last.version);
        form = form.field(Field::text("changed", label).needed());
    }
    (Some(form.field(password("I have read this night and answer for its figures"))), "comment")
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
    let act = |name: &str, button: &str, label: &str| {
        visit
            .form(format!("/nights/{}/{name}", night.id), button)
            .field(Field::hidden("seen", night.act.to_string()))
            .field(Field::text("reason", label).needed())
    };
    let mut acts = Vec::new();
    if night.status == NightStatus::Signed {
        let form = act("reopen", "Open the night again", "Why it must be amended");
        acts.push(("Amend", form));
    }
    let form = act("withdraw", "Withdraw the report", "Why it is withdrawn").grave();
    acts.push(("Withdraw", form));
    acts
}

fn version(visit: &Visit, report: &Report, latest: bool) -> Version {
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
        because: report.because.clone().unwrap_or_default(),
        stands: latest && report.withdrawn_at.is_none(),
        paper: report.pdf_sha256.is_some(),
    }
}

/// `GET /nights/{id}/report/preview?comment=…`: the report as it would print now.
pub(super) async fn preview(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let reading = Reading::open(&visit, id).await?;
    let content = content(&visit, &reading, &typed).await?;
    let page = engine::print::html(&reading.opened.report, &content.heading());
    Ok(([(header::CONTENT_SECURITY_POLICY, PREVIEW)], axum::response::Html(page)).into_response())
}

/// What would be signed now. A word that was not typed stays as the last version has it.
async fn content(visit: &Visit, reading: &Reading, typed: &Typed) -> Result<Content, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let last = conn.reports(reading.night.id).await?.into_iter().next();
    let last = last.and_then(|last| serde_json::from_str::<Content>(&last.content).ok());
    let last = last.unwrap_or_default();
    let given = |name: &str, old: &[String]| {
        let sent = typed.fields().iter().any(|(known, _)| known == name);
        if sent { typed.get(name).to_owned() } else { old.join("\n") }
    };
    let interpreted = reading.night.status == NightStatus::Signed;
    let words = Wording {
        comment: given("comment", &last.comment),
        interpretation: if interpreted {
            given("interpretation", &last.interpretation)
        } else {
            String::new()
        },
    };
    let now = visit.app.store().now();
    Ok(conn.draft(&reading.night, &visit.author(), now, &words).await?)
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
    let Some(form) = page.form.take() else {
        return Err(Trouble::not_understood("This report cannot be signed now."));
    };
    let mut form = form.filled(typed).checked();
    if form.has_faults() {
        page.form = Some(form);
        return visit.again(&format!("Report of {}", page.name), &page);
    }
    let seen = typed.number("seen").unwrap_or(0);
    if seen != reading.night.act {
        return Err(StoreError::Changed { what: format!("night {id}") }.into());
    }
    match signed(visit, &reading, typed, physician).await? {
        Ok(report) => {
            let words =
                format!("Signed: version {} of the report of {}.", report.version, page.name);
            Ok(visit.done(&words, "/nights"))
        }
        Err(error) => {
            form.refused(error, &[("change_not_said", "changed"), ("password_wrong", "password")])?;
            page.form = Some(form);
            visit.again(&format!("Report of {}", page.name), &page)
        }
    }
}

/// Makes the paper and signs it with the password typed.
async fn signed(
    visit: &Visit,
    reading: &Reading,
    typed: &Typed,
    physician: bool,
) -> Result<Result<Report, StoreError>, Trouble> {
    let (store, by) = (visit.app.store(), visit.author());
    let proved =
        store.confirm_in(visit.open_session()?, typed.raw("password"), &visit.station).await;
    if let Err(error) = proved {
        return Ok(Err(error));
    }
    let content = content(visit, reading, typed).await?;
    let pdf = printed(visit, reading, &content).await?;
    let (id, seen) = (reading.night.id, reading.night.act);
    Ok(if physician {
        store.interpret_report(&by, id, seen, &content, &pdf).await
    } else {
        store.sign_report(&by, id, seen, &content, typed.get("changed"), &pdf).await
    })
}

/// The paper that is signed.
async fn printed(visit: &Visit, reading: &Reading, content: &Content) -> Result<Vec<u8>, Trouble> {
    let mut conn = visit.app.store().read().await?;
    let desk = conn.desk_settings().await?;
    drop(conn);
    let of = crate::printer::Report {
        report: reading.opened.report.clone(),
        heading: content.heading(),
    };
    let app = visit.app.clone();
    let run = tokio::task::spawn_blocking(move || {
        app.printer().print(&Paper::Report(Box::new(of)), &desk)
    });
    let made = run.await.map_err(|error| Trouble::broken(error.to_string()))?;
    made.map_err(|says| Trouble {
        status: StatusCode::CONFLICT,
        says: vec![sentence(&says), "Nothing was signed.".to_owned()],
        ..Trouble::refused(&[])
    })
}

/// `POST /nights/{id}/reopen`.
pub(super) async fn reopen(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let seen = typed.number("seen").unwrap_or(0);
    visit.app.store().reopen_night(&visit.author(), id, seen, typed.get("reason")).await?;
    Ok(visit.done("The night is open again.", &format!("/nights/{id}")))
}

/// `POST /nights/{id}/withdraw`.
pub(super) async fn withdraw(visit: Visit, Path(id): Path<i64>, typed: Typed) -> Answer {
    let seen = typed.number("seen").unwrap_or(0);
    visit.app.store().withdraw_report(&visit.author(), id, seen, typed.get("reason")).await?;
    Ok(visit.done("The report is withdrawn.", &format!("/nights/{id}/report")))
}

/// `GET /nights/{id}/reports/{version}`: the signed paper of a version, as it was signed.
pub(super) async fn paper(visit: Visit, Path((id, number)): Path<(i64, i64)>) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let night: Night = conn.get(id).await?;
    conn.not_blind(&visit.author().login, id).await?;
    let reports = conn.reports(id).await?;
    let report = reports.into_iter().find(|report| report.version == number);
    let sha256 = report.and_then(|report| report.pdf_sha256).ok_or_else(Trouble::not_found)?;
    let bytes = conn.bytes(&sha256).await?;
    drop(conn);
    visit.looks(format!("night {id}"), night.person, json!({"report": number}));
    let name = format!("inline; filename=\"report-{id}-{number}.pdf\"");
    let kind = "application/pdf".to_owned();
    let headers = [(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, name)];
    Ok::<Response, Trouble>((headers, bytes).into_response())
}
