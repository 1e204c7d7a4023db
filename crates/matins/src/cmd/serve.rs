//! `matins serve`: the department's record and the workbench, until it is told to end.

use std::net::SocketAddr;
use std::sync::Arc;

use store::error::StoreError;
use store::record::db::Place;
use store::record::db::Store;
use web::error::ServeError;
use web::serve::Tls;

use crate::args::ServeArgs;
use crate::exit::Exit;
use crate::message::Trouble;
use crate::message::Voice;
use crate::printer::printer;

pub(crate) fn run(args: ServeArgs, voice: Voice) -> Result<Exit, Trouble> {
    runtime()?.block_on(serve(args, voice))?;
    Ok(Exit::Done)
}

/// What the server's tasks run on.
pub(crate) fn runtime() -> Result<tokio::runtime::Runtime, Trouble> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| Trouble::machine(format!("the server cannot start: {error}")))
}

async fn serve(args: ServeArgs, voice: Voice) -> Result<(), Trouble> {
    let place = Place::read(&args.data);
    let reach = crate::cmd::record::within(args.reach);
    let opened = Store::open_within(&place, store::when::wall_clock(), reach).await;
    let store = opened.map_err(record)?;
    if let Some(path) = &args.heads_to {
        store.send_heads_to(path).await.map_err(record)?;
    }
    if let Some(doubt) = store.clocks().await.map_err(record)?.doubt {
        // It is served all the same: everything can be looked at, and whoever comes sees why no more.
        voice.tell(&format!("nothing can be changed: {}; {}", doubt.says, doubt.hint));
    }
    // Before it listens: whoever takes the link may open it at once.
    let first = store.first_administrator().await.map_err(record)?;
    let ready = move |address: &str| welcome(voice, address, first.as_deref());
    let config = web::Config {
        tls: args.tls_cert.zip(args.tls_key).map(|(cert, key)| Tls { cert, key }),
        names: args.names,
        ..on_this_machine(store, args.listen, Arc::new(ready), voice)
    };
    web::serve::tell_places_only(config.log.clone());
    web::serve(config, told_to_end()).await.map_err(trouble)
}

/// Serves a record that is open already, on this machine only.
pub(crate) async fn run_on(
    store: Store,
    listen: SocketAddr,
    ready: Arc<dyn Fn(&str) + Send + Sync>,
    voice: Voice,
) -> Result<(), Trouble> {
    let config = on_this_machine(store, listen, ready, voice);
    web::serve::tell_places_only(config.log.clone());
    web::serve(config, told_to_end()).await.map_err(trouble)
}

fn on_this_machine(
    store: Store,
    listen: SocketAddr,
    ready: Arc<dyn Fn(&str) + Send + Sync>,
    voice: Voice,
) -> web::Config {
    web::Config {
        store,
        printer: printer(),
        listen,
        tls: None,
        names: Vec::new(),
        log: Arc::new(move |line| voice.tell(line)),
        ready,
    }
}

fn welcome(voice: Voice, address: &str, first: Option<&str>) {
    voice.tell(&format!("the workbench is at {address}, Ctrl-C ends it"));
    if let Some(token) = first {
        // Also when quiet: without the link nobody can ever log in.
        crate::message::say(&format!(
            "matins: no administrator has a password yet; this link sets it, works once and ends after two days\n  {address}/first/{token}\n"
        ));
    }
}

/// Ends when the terminal or the service manager says so.
async fn told_to_end() {
    let interrupted = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::SignalKind;
        use tokio::signal::unix::signal;
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = interrupted => {}
                _ = terminated.recv() => {}
            }
            return;
        }
    }
    // A signal that cannot be waited for leaves only the machine's own end.
    if interrupted.await.is_err() {
        std::future::pending::<()>().await;
    }
}

pub(crate) fn record(error: StoreError) -> Trouble {
    trouble(ServeError::Record(error))
}

#[expect(clippy::needless_pass_by_value, reason = "the shape `map_err` asks for")]
fn trouble(error: ServeError) -> Trouble {
    let trouble = match &error {
        ServeError::Refused { .. } => Trouble::usage(error.to_string()),
        ServeError::Listen { .. } | ServeError::Certificate { .. } => {
            Trouble::machine(error.to_string())
        }
        ServeError::Record(_) => Trouble::store(error.to_string()),
    };
    match error.hint() {
        hint if hint.is_empty() => trouble,
        hint => trouble.hint(hint),
    }
}
