//! The paper of a version: as it was signed while it stands, and with what became of it across every page since.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use engine::print::Stamp;
use serde_json::json;
use store::reading::remake::Remade;
use store::record::tables::Night;

use crate::form::sentence;
use crate::page::Answer;
use crate::page::Trouble;
use crate::printer::Marked;
use crate::printer::Paper;
use crate::visit::Visit;

/// `GET /nights/{id}/reports/{version}`: the paper of a version. The bytes that were signed are kept untouched, and
/// are given as they are only while nothing has taken their place.
pub(crate) async fn paper(visit: Visit, Path((id, number)): Path<(i64, i64)>) -> Answer {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let night: Night = conn.get(id).await?;
    conn.not_blind(&visit.author().login, id).await?;
    let reports = conn.reports(id).await?;
    let report = reports.into_iter().find(|report| report.version == number);
    let report = report.ok_or_else(Trouble::not_found)?;
    let sha256 = report.pdf_sha256.clone().ok_or_else(Trouble::not_found)?;
    let stamp = conn.stamp(&report).await?;
    // A report stays with the patient it was signed for, whoever the night is given to afterwards.
    let person = conn.report_person(&report).await?.or(night.person);
    let kept = conn.bytes(&sha256).await?;
    let remade = match &stamp {
        Some(_) => conn.remade(id, Some(number)).await.ok(),
        None => None,
    };
    drop(conn);
    let word = stamp.as_ref().map(|stamp| stamp.word.to_lowercase());
    let facts = json!({"report": number, "marked": word});
    visit.looks(format!("night {id}"), person, facts);
    let name = match &word {
        Some(word) => format!("report-{id}-{number}-{word}.pdf"),
        None => format!("report-{id}-{number}.pdf"),
    };
    let bytes = match stamp {
        Some(stamp) => marked(&visit, remade, kept, stamp).await?,
        None => kept,
    };
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (header::CONTENT_DISPOSITION, format!("inline; filename=\"{name}\"")),
    ];
    Ok::<Response, Trouble>((headers, bytes).into_response())
}

/// The same paper with a mark across every page. It is printed again where that gives what was signed, byte for byte,
/// without the mark; where another release made it, the mark is laid over the kept pages themselves.
async fn marked(
    visit: &Visit,
    remade: Option<Remade>,
    kept: Vec<u8>,
    stamp: Stamp,
) -> Result<Vec<u8>, Trouble> {
    if let Some(remade) = remade {
        let of = |heading| {
            let report = remade.report.clone();
            Paper::Report(Box::new(crate::printer::Report { report, heading }))
        };
        let same = print(visit, of(remade.heading.clone())).await?;
        if same.is_ok_and(|pdf| remade.is_signed(&pdf))
            && let Ok(pdf) = print(visit, of(remade.marked())).await?
        {
            return Ok(pdf);
        }
    }
    let laid = print(visit, Paper::Marked(Marked { pdf: kept, stamp: stamp.clone() })).await?;
    laid.map_err(|says| Trouble {
        status: StatusCode::CONFLICT,
        says: vec![
            format!("{}: {}", stamp.word, stamp.says),
            sentence(&format!("the mark cannot be printed across it here: {says}")),
            "The bytes that were signed are kept; the command gives them with `matins report --data … --kept`."
                .to_owned(),
        ],
        ..Trouble::refused(&[])
    })
}

/// What the printer says to a paper; setting one takes a while, so not on a thread that serves others.
pub(super) async fn print(visit: &Visit, paper: Paper) -> Result<Result<Vec<u8>, String>, Trouble> {
    let desk = visit.app.store().read().await?.desk_settings().await?;
    let app = visit.app.clone();
    let run = tokio::task::spawn_blocking(move || app.printer().print(&paper, &desk));
    run.await.map_err(|error| Trouble::broken(error.to_string()))
}
