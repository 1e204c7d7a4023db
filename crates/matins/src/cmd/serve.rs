//! `matins serve`: the department's record and the workbench, until it is told to end.

use std::sync::Arc;

use store::db::Place;
use store::db::Store;
use store::error::StoreError;
use web::error::ServeError;
use web::printer::NoPrinter;
use web::serve::Tls;

use crate::args::ServeArgs;
use crate::exit::Exit;
use crate::message::Trouble;
use crate::message::Voice;

pub(crate) fn run(args: ServeArgs, voice: Voice) -> Result<Exit, Trouble> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| Trouble::machine(format!("the server cannot start: {error}")))?;
    runtime.block_on(serve(args, voice))?;
    Ok(Exit::Done)
}

async fn serve(args: ServeArgs, voice: Voice) -> Result<(), Trouble> {
    let place = Place::read(&args.data);
    let store = Store::open(&place, store::when::wall_clock()).await.map_err(record)?;
    // Before it listens: whoever takes the link may open it at once.
    let first = store.first_administrator().await.map_err(record)?;
    let config = web::Config {
        store,
        printer: Arc::new(NoPrinter),
        listen: args.listen,
        tls: args.tls_cert.zip(args.tls_key).map(|(cert, key)| Tls { cert, key }),
        names: args.names,
        log: Arc::new(move |line| voice.tell(line)),
        ready: Arc::new(move |address| welcome(voice, address, first.as_deref())),
    };
    web::serve(config, told_to_end()).await.map_err(trouble)
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

fn record(error: StoreError) -> Trouble {
    trouble(ServeError::Record(error))
}

fn trouble(error: ServeError) -> Trouble {
    let trouble = match &error {
        ServeError::Refused { .. } => Trouble::usage(error.to_string()),
        ServeError::Listen { .. } | ServeError::Certificate { .. } => {
            Trouble::machine(error.to_string())
        }
        ServeError::Record(_) => Trouble::record(error.to_string()),
    };
    match error.hint() {
        hint if hint.is_empty() => trouble,
        hint => trouble.hint(hint),
    }
}
