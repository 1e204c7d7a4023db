//! The session as the page's script sees it: how long it holds, and how to go on in place.

use axum::Json;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use serde_json::json;

use crate::page::Answer;
use crate::page::set_cookie;
use crate::pages::login::attempt;
use crate::routes::Routes;
use crate::typed::Typed;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/session", show).post("/session/stay", stay).post("/session/again", again)
}

/// How long the session holds. Asked in the background it does not lengthen it.
async fn show(visit: Visit) -> Answer {
    Ok(Json(json!({"ends_in_s": visit.ends_in_s()})).into_response())
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
        Ok(token) => {
            let visit = Visit { secret: token.clone(), ..visit };
            let body = json!({"csrf": visit.csrf(), "ends_in_s": visit.department.idle_s});
            let mut response = Json(body).into_response();
            set_cookie(response.headers_mut(), visit.app.cookie(), &token, visit.app.tls());
            Ok(response)
        }
    }
}
