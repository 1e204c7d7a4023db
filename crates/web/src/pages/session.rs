//! The session as the page's script sees it: how long it holds, and how to go on in place.

use axum::Json;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use serde_json::json;

use crate::page::Answer;
use crate::pages::login::attempt;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new()
        .get("/session", show)
        .post("/session/stay", stay)
        .post("/session/again", again)
        .post("/session/elsewhere", elsewhere)
}

/// How long the session holds, whose it is, and the proof for the forms of its pages: another page of this browser
/// may have logged in anew. Asked in the background it does not lengthen it.
async fn show(visit: Visit) -> Answer {
    let login = &visit.account()?.login;
    let told = json!({"ends_in_s": visit.ends_in_s(), "login": login, "csrf": visit.csrf()});
    Ok(Json(told).into_response())
}

/// Somebody is there: the guard has lengthened the session already.
async fn stay(visit: Visit) -> Answer {
    Ok(Json(json!({"ends_in_s": visit.ends_in_s()})).into_response())
}

/// A new session in place of the one that ended, while the page stays as it is. The answer holds the new
/// proof for the forms on the page.
async fn again(visit: Visit, typed: Typed) -> Answer {
    match attempt(&visit, &typed).await? {
        Err(words) => {
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Json(json!({"says": words}))).into_response())
        }
        Ok(entered) => {
            let (login, idle_s) = (entered.account.login.clone(), visit.department.idle_s);
            let body = json!({"csrf": entered.csrf(&visit), "ends_in_s": idle_s, "login": login});
            let mut response = Json(body).into_response();
            entered.keep(&visit, &mut response);
            Ok(response)
        }
    }
}

/// Ends every other session of whoever asks.
async fn elsewhere(visit: Visit) -> Answer {
    let ended = visit.app.store().log_out_elsewhere(visit.open_session()?, &visit.station).await?;
    let words = match ended {
        0 => "There was no other session.".to_owned(),
        1 => "The other session has ended.".to_owned(),
        n => format!("{n} other sessions have ended."),
    };
    Ok(visit.done(&words, "/password"))
}
