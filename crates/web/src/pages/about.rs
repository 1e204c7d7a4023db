//! What this is, what it is for, and whether it is well.

use askama::Template;
use axum::Json;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use serde_json::json;
use store::record::tables::Setting;

use crate::form::sentence;
use crate::page::Answer;
use crate::routes::Routes;
use crate::visit::Visit;

/// Its routes.
pub fn routes() -> Routes {
    Routes::new().get("/about", about).get("/health", health)
}

#[derive(Template)]
#[template(path = "about.html")]
struct Page {
    engine: &'static str,
    version: &'static str,
    department: String,
    /// Only for those logged in.
    inside: Option<Inside>,
}

struct Inside {
    clock: String,
    zone: String,
    kind: &'static str,
    encrypted: bool,
    acts: i64,
    head: String,
    backed_up: String,
    /// Why nothing can be changed under this clock, and what to do.
    doubt: Option<[String; 2]>,
}

async fn about(visit: Visit) -> Answer {
    let inside = if visit.session.is_some() { Some(inside(&visit).await?) } else { None };
    let page = Page {
        engine: engine::ENGINE,
        version: env!("CARGO_PKG_VERSION"),
        department: visit.department.name.clone(),
        inside,
    };
    visit.page("About", &page)
}

async fn inside(visit: &Visit) -> Result<Inside, crate::page::Trouble> {
    let store = visit.app.store();
    let mut conn = store.read().await?;
    let head = conn.last_act().await?;
    let backed_up = conn.last_of("backup").await?;
    drop(conn);
    let doubt = store.clocks().await?.doubt;
    Ok(Inside {
        clock: visit.local(store.now()),
        zone: visit.department.zone.iana_name().unwrap_or("UTC").to_owned(),
        kind: if store.folder().is_some() {
            "a folder of this machine"
        } else {
            "a PostgreSQL server"
        },
        encrypted: visit.app.tls(),
        acts: head.as_ref().map_or(0, |act| act.seq),
        head: head.map(|act| act.hash).unwrap_or_default(),
        backed_up: backed_up.map_or_else(|| "never".to_owned(), |at| visit.local(at)),
        doubt: doubt.map(|doubt| [sentence(&doubt.says), sentence(&doubt.hint)]),
    })
}

/// For whoever watches the server: whether the record answers. It tells nothing of what is in it.
async fn health(visit: Visit) -> Answer {
    let asked = async {
        let mut conn = visit.app.store().read().await?;
        conn.first::<Setting>("LIMIT 1", &[]).await
    };
    Ok(match asked.await {
        Ok(_) => Json(json!({"well": true})).into_response(),
        Err(_) => (StatusCode::SERVICE_UNAVAILABLE, Json(json!({"well": false}))).into_response(),
    })
}
