//! A workbench on a fresh record, and a browser that has no screen.

use std::sync::Arc;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::Ordering;

use axum::Router;
use axum::body::Body;
use axum::body::to_bytes;
use axum::http::HeaderMap;
use axum::http::Request;
use axum::http::StatusCode;
use store::login::session::LogIn;
use store::record::act::Author;
use store::record::chain::sha256;
use store::record::db::Place;
use store::record::db::Store;
use store::words::Role;
use tower::ServiceExt as _;
use web::App;
use web::printer::NoPrinter;
use web::printer::Printer;

pub(crate) const PASSWORD: &str = "seven quiet lanterns";
/// 2026-11-25T08:00:00Z.
const MORNING: i64 = 1_795_593_600;

pub(crate) struct Bench {
    pub(crate) store: Store,
    pub(crate) router: Router,
    pub(crate) clock: Arc<AtomicI64>,
    folder: Arc<tempfile::TempDir>,
}

/// What came back.
#[derive(Debug)]
pub(crate) struct Got {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) text: String,
}

impl Got {
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The value of a cookie that is set.
    pub(crate) fn cookie(&self, name: &str) -> Option<String> {
        let start = format!("{name}=");
        let all = self.headers.get_all("set-cookie").iter().map(|value| value.to_str().unwrap());
        all.filter_map(|set| set.strip_prefix(&start))
            .map(|set| set.split(';').next().unwrap().to_owned())
            .next_back()
    }
}

pub(crate) async fn bench() -> Bench {
    bench_with(false).await
}

pub(crate) async fn bench_with(tls: bool) -> Bench {
    bench_on(tls, Arc::new(NoPrinter)).await
}

pub(crate) async fn bench_on(tls: bool, printer: Arc<dyn Printer>) -> Bench {
    let folder = tempfile::tempdir().unwrap();
    let clock = Arc::new(AtomicI64::new(MORNING));
    let told = clock.clone();
    let place = Place::Folder(folder.path().join("record"));
    let store = Store::open(&place, Arc::new(move || told.load(Ordering::SeqCst))).await.unwrap();
    let listen = "127.0.0.1:8417".parse().unwrap();
    let names = ["desk.example".to_owned()];
    let app = App::new(store.clone(), printer, tls, listen, &names, Arc::new(|_| {}));
    Bench { store, router: web::app(app), clock, folder: Arc::new(folder) }
}

impl Bench {
    /// The same record behind another workbench.
    pub(crate) fn with(&self, router: Router) -> Self {
        let (store, clock) = (self.store.clone(), self.clock.clone());
        Self { store, router, clock, folder: self.folder.clone() }
    }

    pub(crate) fn wait_s(&self, seconds: i64) {
        self.clock.fetch_add(seconds, Ordering::SeqCst);
    }

    /// Makes an account whose login is the role's word.
    pub(crate) async fn account(&self, role: Role) {
        let (by, name) = (Author::program(), format!("Bo {role}"));
        let made = self.store.make_account_with(&by, role.text(), &name, role, PASSWORD);
        made.await.unwrap();
    }

    /// A session's token.
    pub(crate) async fn token(&self, role: Role) -> String {
        match self.store.log_in(role.text(), PASSWORD, "192.0.2.1", 900).await.unwrap() {
            LogIn::Done { token, .. } => token,
            other => panic!("{other:?}"),
        }
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> Got {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        // A stream that stays open is not waited for.
        let streams = parts
            .headers
            .get("content-type")
            .is_some_and(|kind| kind.as_bytes().starts_with(b"text/event-stream"));
        let bytes =
            if streams { Vec::new() } else { to_bytes(body, 1 << 24).await.unwrap().to_vec() };
        Got {
            status: parts.status,
            headers: parts.headers,
            text: String::from_utf8_lossy(&bytes).into_owned(),
        }
    }

    pub(crate) async fn get(&self, path: &str, token: &str) -> Got {
        let request = Request::get(path).header("host", "127.0.0.1:8417");
        self.send(request.header("cookie", format!("matins={token}")).body(Body::empty()).unwrap())
            .await
    }

    /// Sends a form as the browser does that got it with this token.
    pub(crate) async fn post(&self, path: &str, token: &str, fields: &str) -> Got {
        self.send(post(path, token, &format!("csrf={}&{fields}", csrf(token)))).await
    }
}

/// The proof in the forms of a browser with this token.
pub(crate) fn csrf(token: &str) -> String {
    sha256(format!("form:{token}").as_bytes())
}

/// A form that is sent, with the headers a browser gives it.
pub(crate) fn post(path: &str, token: &str, body: &str) -> Request<Body> {
    Request::post(path)
        .header("host", "127.0.0.1:8417")
        .header("origin", "http://127.0.0.1:8417")
        .header("sec-fetch-site", "same-origin")
        .header("cookie", format!("matins={token}"))
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(body.to_owned()))
        .unwrap()
}
