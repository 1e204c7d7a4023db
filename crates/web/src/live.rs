//! Pages that keep themselves up to date: a stream that tells what kind of thing was just changed.
//!
//! Only the kind is told, never a number: a page that shows such things asks again, with its own right.

use std::convert::Infallible;
use std::time::Duration;

use axum::response::IntoResponse;
use axum::response::Response;
use axum::response::sse::Event;
use axum::response::sse::KeepAlive;
use axum::response::sse::Sse;
use store::record::db::Closed;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

use crate::visit::Visit;

/// How often a stream looks whether its session still holds.
const LOOK: Duration = Duration::from_secs(20);

/// `GET /live`.
pub async fn live(visit: Visit) -> Response {
    let (to, events) = mpsc::channel::<Result<Event, Infallible>>(32);
    tokio::spawn(tell(visit, to));
    Sse::new(ReceiverStream::new(events)).keep_alive(KeepAlive::default()).into_response()
}

async fn tell(visit: Visit, to: mpsc::Sender<Result<Event, Infallible>>) {
    let mut acts = visit.app.store().acts();
    let mut stop = visit.app.stopping();
    let mut drawn = visit.app.nights().drawn();
    let mut look = tokio::time::interval(LOOK);
    loop {
        let event = tokio::select! {
            act = acts.recv() => match act {
                Ok(act) => kind_of(&act),
                // More happened than the stream could keep: everything may have changed.
                Err(RecvError::Lagged(_)) => "*".to_owned(),
                Err(RecvError::Closed) => return,
            },
            _ = look.tick() => {
                if !still_holds(&visit).await {
                    return;
                }
                continue;
            }
            Ok(()) = drawn.changed() => "night".to_owned(),
            _ = stop.changed() => return,
        };
        if to.send(Ok(Event::default().event("act").data(event))).await.is_err() {
            return;
        }
    }
}

async fn still_holds(visit: &Visit) -> bool {
    let held = visit.app.store().session(&visit.secret, visit.department.idle_s, false).await;
    matches!(held, Ok(Some(_)))
}

fn kind_of(act: &Closed) -> String {
    act.object.split(' ').next().unwrap_or("*").to_owned()
}
