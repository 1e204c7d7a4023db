//! The server: where it listens, and how it ends.

use std::net::SocketAddr;
use std::net::TcpListener;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::http::Uri;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum_server::Handle;
use axum_server::tls_rustls::RustlsAcceptor;
use axum_server::tls_rustls::RustlsConfig;
use store::record::db::Store;
use tokio::task::JoinHandle;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;

use crate::app::App;
use crate::app::Log;
use crate::door::Doorkeeper;
use crate::error::ServeError;
use crate::guard::guard;
use crate::guard::nothing_here;
use crate::limits;
use crate::limits::Limits;
use crate::page::Trouble;
use crate::pages;
use crate::printer::Printer;

/// How long open requests may take when the server is told to end.
const GRACE: Duration = Duration::from_secs(10);

/// How often the head of the chain is written down while the server runs.
const HEADS: Duration = Duration::from_hours(1);

/// A certificate and its key, both PEM.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tls {
    /// The certificate with its chain.
    pub cert: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// What the server needs.
#[derive(Clone)]
pub struct Config {
    /// The record.
    pub store: Store,
    /// Whoever puts things on paper.
    pub printer: Arc<dyn Printer>,
    /// Where to listen; port 0 takes a free one.
    pub listen: SocketAddr,
    /// The certificate; without it only this machine is listened to.
    pub tls: Option<Tls>,
    /// Host names under which browsers may ask.
    pub names: Vec<String>,
    /// Where the operator's log goes.
    pub log: Log,
    /// Told the server's own address once it listens.
    pub ready: Arc<dyn Fn(&str) + Send + Sync>,
}

impl std::fmt::Debug for Config {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Config")
            .field("listen", &self.listen)
            .field("tls", &self.tls)
            .finish_non_exhaustive()
    }
}

/// The workbench as a service that takes requests; a test gives it one at a time.
pub fn app(state: App) -> Router {
    pages::routes()
        .into_router()
        .fallback(nothing_here)
        .layer(CatchPanicLayer::custom(panicked))
        .layer(from_fn_with_state(state.clone(), guard))
        .layer(CompressionLayer::new())
        .with_state(state)
}

/// From here on, what breaks in this process is told by its place alone: its words may quote a text.
pub fn tell_places_only(log: Log) {
    std::panic::set_hook(Box::new(move |broke| {
        let place = broke.location().map_or_else(String::new, ToString::to_string);
        log(&format!("the program broke at {place}"));
    }));
}

/// The words of what broke are not handed on: they may quote what somebody typed, and the operator's log holds
/// no names. The place it broke at is told by the program itself.
fn panicked(_cause: Box<dyn std::any::Any + Send>) -> axum::response::Response {
    Trouble::broken("the program broke while it answered").into_response()
}

/// Serves until `until` ends, then lets open requests finish.
///
/// # Errors
/// When what is asked for is unsafe, the address is taken, the certificate is unusable, or the record breaks.
pub async fn serve(config: Config, until: impl Future<Output = ()>) -> Result<(), ServeError> {
    serve_within(config, Limits::default(), until).await
}

/// As [`serve`], within limits of one's own.
///
/// # Errors
/// As [`serve`].
pub async fn serve_within(
    config: Config,
    limits: Limits,
    until: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    safe(&config)?;
    let listen = config.listen;
    let refused = move |error| ServeError::Listen { listen, error };
    let listener = TcpListener::bind(listen).map_err(refused)?;
    listener.set_nonblocking(true).map_err(refused)?;
    let listen = listener.local_addr().map_err(refused)?;
    let tls = match &config.tls {
        Some(tls) => Some(certificate(tls).await?),
        None => None,
    };
    // Sessions and delays run by the process's own clock.
    config.store.keep_own_time();
    let state = App::within(
        config.store.clone(),
        config.printer,
        tls.is_some(),
        listen,
        (&config.names, config.log.clone()),
        limits.as_the_system_allows(),
    );
    let handle = Handle::new();
    let running = run(&state, listener, tls.as_ref(), handle.clone()).map_err(refused)?;
    (config.ready)(&address(listen, tls.is_some(), &config.names));
    let following = config.store.clone();
    let follow = tokio::spawn(async move { following.follow().await });
    let (heads, log) = (config.store.clone(), config.log.clone());
    let heads = tokio::spawn(async move {
        heads.keep_heads(HEADS, |error| log(&error.to_string())).await;
    });
    until.await;
    state.stop();
    handle.graceful_shutdown(Some(GRACE));
    let ended = running.await;
    follow.abort();
    heads.abort();
    config.store.close().await;
    match ended {
        Ok(Err(error)) => Err(refused(error)),
        Ok(Ok(())) | Err(_) => Ok(()),
    }
}

/// Begins to answer, through the door.
fn run(
    state: &App,
    listener: TcpListener,
    tls: Option<&RustlsConfig>,
    handle: Handle<SocketAddr>,
) -> std::io::Result<JoinHandle<std::io::Result<()>>> {
    let service = app(state.clone()).into_make_service_with_connect_info::<SocketAddr>();
    let headers = state.door().limits().headers;
    let keeper = Doorkeeper { door: state.door().clone(), plain: tls.is_none() };
    let mut server = axum_server::from_tcp(listener)?
        .acceptor(keeper.clone())
        .handle(handle)
        .first_request_timeout(headers);
    let builder = server.http_builder();
    builder.http1().header_read_timeout(headers).max_buf_size(limits::HEADERS);
    let list = u32::try_from(limits::HEADERS).unwrap_or(u32::MAX);
    builder.http2().max_concurrent_streams(64).max_header_list_size(list);
    Ok(match tls {
        Some(tls) => {
            let encrypted = RustlsAcceptor::new(tls.clone()).acceptor(keeper);
            tokio::spawn(server.acceptor(encrypted).serve(service))
        }
        None => tokio::spawn(server.serve(service)),
    })
}

/// Refuses what would send passwords and patients' data through a network unencrypted.
fn safe(config: &Config) -> Result<(), ServeError> {
    let ip = config.listen.ip();
    if config.tls.is_none() && !ip.is_loopback() {
        return Err(ServeError::Refused {
            what: format!("without a certificate only this machine is listened to, not {ip}"),
            hint: "--tls-cert and --tls-key name a certificate and its key, or leave --listen at 127.0.0.1",
        });
    }
    if ip.is_unspecified() && config.names.is_empty() {
        return Err(ServeError::Refused {
            what: format!("listening at {ip} needs the name under which browsers will ask"),
            hint: "--name gives it, for instance --name desk.example",
        });
    }
    Ok(())
}

async fn certificate(tls: &Tls) -> Result<RustlsConfig, ServeError> {
    // Refused only when a provider stands already, which is as good.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let loaded = RustlsConfig::from_pem_file(&tls.cert, &tls.key).await;
    loaded.map_err(|error| ServeError::Certificate {
        file: format!("{} and {}", tls.cert.display(), tls.key.display()),
        says: error.to_string(),
    })
}

/// The server's own address, as a browser takes it.
fn address(listen: SocketAddr, tls: bool, names: &[String]) -> String {
    let scheme = if tls { "https" } else { "http" };
    let host = names.first().cloned().unwrap_or_else(|| listen.ip().to_string());
    let written = format!("{scheme}://{host}:{}", listen.port());
    // An IPv6 address stands in brackets; what the parser does not take is one.
    if written.parse::<Uri>().is_ok_and(|uri| uri.host().is_some()) && !host.contains(':') {
        written
    } else {
        format!("{scheme}://[{host}]:{}", listen.port())
    }
}
