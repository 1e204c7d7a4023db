//! What the door lets through: each limit is reached, refused in words, and leaves the server answering.

use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::Request;
use axum::http::StatusCode;
use store::record::act::Author;
use store::record::tables::Night;
use store::text;
use store::words::Role;
use tokio::io::AsyncReadExt as _;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use web::App;
use web::limits;
use web::limits::Limits;
use web::printer::NoPrinter;

use crate::ask::Bench;
use crate::ask::bench;
use crate::ask::csrf;
use crate::ask::post;
use crate::night::night;

/// Longer than any test waits for what it expects.
const LONG: Duration = Duration::from_mins(10);

/// Limits that no test reaches but by what it does.
fn wide() -> Limits {
    Limits {
        headers: LONG,
        body: LONG,
        upload: LONG,
        answer: LONG,
        idle: LONG,
        ..Limits::default()
    }
}

// ---- Forms -----------------------------------------------------------------------------------------

#[tokio::test(flavor = "multi_thread")]
async fn r018_a_form_of_a_stranger_is_small_and_never_comes_back_larger_than_it_was_sent() {
    let bench = bench().await;
    let stranger = "d".repeat(64);
    for body in ["a&".repeat(1 << 19), "a&".repeat(1 << 15), "a&".repeat(501), "x".repeat(65 << 10)]
    {
        let got = bench.send(post("/people/new", &stranger, &body)).await;
        assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE, "{} bytes", body.len());
        assert!(got.text.len() < 10_000, "{} bytes for {}", got.text.len(), body.len());
        assert!(got.text.contains("at most"), "{}", got.text);
    }
    let long = format!("{}=1", "n".repeat(limits::NAME + 1));
    let got = bench.send(post("/people/new", &stranger, &long)).await;
    assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE);
    // What nobody sent from a page of ours is not shown again (`a_strangers_form_is_not_echoed`).
    let kept = bench.send(post("/people/new", &stranger, "family=Pillow&given=Petra")).await;
    assert_eq!(kept.status, StatusCode::UNAUTHORIZED);
    assert!(!kept.text.contains("Pillow"), "{}", kept.text);
}

/// The most that the widest form of a stranger can make of itself.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_kept_of_a_strangers_form_is_bounded() {
    let bench = bench().await;
    let fields: Vec<String> = (0..499).map(|at| format!("f{at}={}", "\"".repeat(120))).collect();
    let body = fields.join("&");
    assert!(body.len() <= limits::FORM_OF_NOBODY, "{}", body.len());
    let got = bench.send(post("/people/new", &"d".repeat(64), &body)).await;
    assert_eq!(got.status, StatusCode::UNAUTHORIZED);
    assert!(got.text.len() < 8 * limits::FORM_OF_NOBODY, "{} bytes", got.text.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_text_too_long_or_with_a_hidden_sign_is_told_at_its_field() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let form = |family: &str| format!("family={family}&given=Petra&born_on=1951-05-02&mrn=LM+1");
    for (family, says) in [
        ("x".repeat(900_000), "This is too long: at most 200 characters, found 900000."),
        ("x".repeat(text::NAME + 1), "This is too long: at most 200 characters, found 201."),
        ("Pil%00low".to_owned(), "This holds a sign that cannot be seen, U+0000."),
        ("Pil%E2%80%AElow".to_owned(), "This holds a sign that cannot be seen, U+202E."),
        ("Pil%1Blow".to_owned(), "This holds a sign that cannot be seen, U+001B."),
    ] {
        let got = bench.post("/people/new", &token, &form(&family)).await;
        assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY, "{says}");
        assert!(got.text.contains("id=\"people-new-family-fault\""), "{says}");
        assert!(got.text.contains(says), "{says}");
    }
    let search = bench.post("/people", &token, &format!("find={}", "%25".repeat(100_000))).await;
    assert!(search.text.contains("This is too long"), "{} {}", search.status, search.text.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_that_names_two_hosts_is_for_nobody() {
    let bench = bench().await;
    let request = Request::get("/health").header("host", "127.0.0.1:8417").header("host", "other");
    let got = bench.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!(got.status, StatusCode::MISDIRECTED_REQUEST);
}

// ---- Files -----------------------------------------------------------------------------------------

/// A form with a file, as a browser sends it.
pub(crate) fn upload(token: &str, name: &str, bytes: &[u8]) -> Request<Body> {
    let mut body = format!("--b\r\ncontent-disposition: form-data; name=\"monitor\"\r\n\r\n1\r\n--b\r\ncontent-disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n").into_bytes();
    body.extend_from_slice(bytes);
    body.extend_from_slice(b"\r\n--b--\r\n");
    Request::post("/receive")
        .header("host", "127.0.0.1:8417")
        .header("origin", "http://127.0.0.1:8417")
        .header("cookie", format!("matins={token}"))
        .header("x-csrf", csrf(token))
        .header("content-type", "multipart/form-data; boundary=b")
        .body(Body::from(body))
        .unwrap()
}

/// The workbench of a bench within limits of its own, and what its requests share.
fn within(bench: &Bench, limits: Limits) -> (Bench, App) {
    let listen = "127.0.0.1:8417".parse().unwrap();
    let (names, log) = ([], Arc::new(|_: &str| {}));
    let app =
        App::within(bench.store.clone(), Arc::new(NoPrinter), false, listen, (&names, log), limits);
    (bench.with(web::app(app.clone())), app)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_beyond_64_mib_is_refused_with_its_size() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let got = bench.send(upload(&token, "night.csv", &vec![b','; limits::UPLOAD + 1])).await;
    assert_eq!(got.status, StatusCode::PAYLOAD_TOO_LARGE);
    let says = "at most 64 MiB are taken in, and it has 65 MiB";
    assert!(got.text.contains(says) && got.text.contains("Nothing of it was kept"), "{}", got.text);
}

#[tokio::test(flavor = "multi_thread")]
async fn one_file_is_read_at_a_time_and_the_one_too_many_is_told_to_come_again() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let (bench, app) = within(&bench, Limits { uploads: 2, ..wide() });
    let turn = app.uploads().turn().await.unwrap();
    let waits = tokio::spawn({
        let (router, request) = (bench.router.clone(), upload(&token, "a.csv", b"no night\n"));
        async move { tower::ServiceExt::oneshot(router, request).await.unwrap() }
    });
    while app.uploads().taken() == 0 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let last = app.uploads().place().unwrap();
    let got = bench.send(upload(&token, "b.csv", b"no night\n")).await;
    assert_eq!(got.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(got.text.contains("2 files are being taken in already"), "{}", got.text);
    assert!(!waits.is_finished());
    drop((turn, last));
    assert_eq!(waits.await.unwrap().status(), StatusCode::UNPROCESSABLE_ENTITY);
    let got = bench.send(upload(&token, "b.csv", b"no night\n")).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_turn_is_not_waited_for_without_end() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let (bench, app) = within(&bench, Limits { turn: Duration::from_millis(50), ..wide() });
    let turn = app.uploads().turn().await.unwrap();
    let got = bench.send(upload(&token, "a.csv", b"no night\n")).await;
    assert_eq!(got.status, StatusCode::SERVICE_UNAVAILABLE);
    assert!(got.text.contains("Nothing of yours was kept"), "{}", got.text);
    assert_eq!(app.uploads().taken(), 0, "the place was not given back");
    drop(turn);
    let got = bench.send(upload(&token, "a.csv", b"no night\n")).await;
    assert_eq!(got.status, StatusCode::UNPROCESSABLE_ENTITY);
}

/// A browser that goes away while it waits, or while its file is read, leaves nothing behind: neither a place
/// nor the turn nor a file in the record.
#[tokio::test(flavor = "multi_thread")]
async fn a_client_that_is_gone_gives_its_place_and_its_turn_back() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let (bench, app) = within(&bench, wide());
    let send = || {
        let (router, file) = (bench.router.clone(), long_night());
        let request = upload(&token, "night.csv", &file);
        tokio::spawn(async move { tower::ServiceExt::oneshot(router, request).await.unwrap() })
    };
    let turn = app.uploads().turn().await.unwrap();
    let waits = send();
    while app.uploads().taken() == 0 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    waits.abort();
    assert!(waits.await.unwrap_err().is_cancelled());
    assert_eq!(app.uploads().taken(), 0);
    drop(turn);
    // Now one that is being read.
    let read = send();
    while !app.uploads().reads() {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    read.abort();
    assert!(read.await.unwrap_err().is_cancelled());
    let turn = tokio::time::timeout(LONG, app.uploads().turn()).await.unwrap().unwrap();
    drop(turn);
    assert_eq!(app.uploads().taken(), 0);
    let kept: Vec<Night> = bench.store.read().await.unwrap().find("", &[]).await.unwrap();
    assert_eq!(kept.len(), 0, "a night was kept for somebody who had gone");
}

/// A night whose reading takes longer than a browser takes to go away.
fn long_night() -> Vec<u8> {
    let mut text = "time,SpO2 (%),Pulse (/min),tcPCO2 (kPa)\n".to_owned();
    for row in 0..400_000_i64 {
        let at = store::when::rfc3339(1_790_000_000 + row / 4);
        let _ =
            writeln!(text, "{},9{},6{},5.{}", at.trim_end_matches('Z'), row % 8, row % 9, row % 10);
    }
    text.into_bytes()
}

// ---- The list of nights ----------------------------------------------------------------------------

/// More nights than are kept open: the list once opened all of them for every look.
#[tokio::test(flavor = "multi_thread")]
async fn r021_a_list_of_nights_opens_each_once() {
    const WAITING: usize = 80;
    let bench = bench().await;
    let first = night(&bench).await;
    let mut act = bench.store.act(&Author::program(), "night.receive").await.unwrap();
    for later in 1..i64::try_from(WAITING).unwrap() {
        let mut other =
            Night { id: 0, from_s: later, start_at: first.start_at + later, ..first.clone() };
        act.put(&mut other).await.unwrap();
    }
    act.close().await.unwrap();
    let (bench, app) = within(&bench, wide());
    let token = bench.token(Role::Physician).await;
    let mut drawn = app.nights().drawn();
    // The first look does not wait for all of them; pages hear when the rest is there.
    let strips = |text: &str| text.matches("<svg class=\"little\"").count();
    assert_ne!(strips(&bench.get("/nights", &token).await.text), 0);
    drawn.changed().await.unwrap();
    assert_eq!(app.nights().made(), WAITING);
    for _ in 0..2 {
        assert_eq!(strips(&bench.get("/nights", &token).await.text), WAITING);
    }
    assert_eq!(app.nights().made(), WAITING, "a list opened nights that it had drawn already");
    // A night that is let go is drawn anew, and it alone.
    app.nights().forget(first.id);
    assert_eq!(strips(&bench.get("/nights", &token).await.text), WAITING);
    assert_eq!(app.nights().made(), WAITING + 1);
}

// ---- Sockets ---------------------------------------------------------------------------------------

/// A server that listens until it is dropped.
struct Served {
    at: String,
    _bench: Bench,
    _end: oneshot::Sender<()>,
}

async fn served(limits: Limits) -> Served {
    let bench = bench().await;
    let (told, address) = oneshot::channel();
    let told = std::sync::Mutex::new(Some(told));
    let (end, ended) = oneshot::channel::<()>();
    let config = web::Config {
        store: bench.store.clone(),
        printer: Arc::new(NoPrinter),
        listen: "127.0.0.1:0".parse().unwrap(),
        tls: None,
        names: Vec::new(),
        log: Arc::new(|_| {}),
        ready: Arc::new(move |at| {
            told.lock().unwrap().take().unwrap().send(at.to_owned()).unwrap();
        }),
    };
    tokio::spawn(web::serve::serve_within(config, limits, async {
        let _ = ended.await;
    }));
    let at = address.await.unwrap().trim_start_matches("http://").to_owned();
    Served { at, _bench: bench, _end: end }
}

impl Served {
    async fn connect(&self, send: &str) -> TcpStream {
        let mut stream = TcpStream::connect(&self.at).await.unwrap();
        stream.write_all(send.replace("HOST", &self.at).as_bytes()).await.unwrap();
        stream
    }

    /// What the server says until it closes the connection; it must do that.
    async fn all(&self, mut stream: TcpStream) -> String {
        let mut said = Vec::new();
        let read = tokio::time::timeout(LONG / 10, stream.read_to_end(&mut said)).await;
        let _ = read.expect("the connection is never closed");
        String::from_utf8_lossy(&said).into_owned()
    }

    async fn health(&self) -> String {
        let ask = "GET /health HTTP/1.1\r\nhost: HOST\r\nconnection: close\r\n\r\n";
        self.all(self.connect(ask).await).await
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn slow_headers_and_idle_connections_are_closed() {
    let served = served(Limits { headers: Duration::from_millis(300), ..wide() }).await;
    assert_eq!(served.all(served.connect("").await).await, "");
    assert_eq!(served.all(served.connect("GET / HTTP/1.1\r\nho").await).await, "");
    // A connection kept open after an answer waits for its next headers no longer than for the first.
    let kept = served.connect("GET /health HTTP/1.1\r\nhost: HOST\r\n\r\n").await;
    assert!(served.all(kept).await.ends_with("{\"well\":true}"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_slow_body_is_answered_with_a_time_out() {
    let served = served(Limits { body: Duration::from_millis(300), ..wide() }).await;
    let head = "POST /login HTTP/1.1\r\nhost: HOST\r\norigin: http://HOST\r\ncontent-type: application/x-www-form-urlencoded\r\ncontent-length: 100\r\n\r\nlogin=";
    let mut said = String::new();
    let mut stream = served.connect(head).await;
    while !said.contains("</html>") && !said.contains("in time") {
        let mut piece = [0; 4096];
        let read = tokio::time::timeout(LONG / 10, stream.read(&mut piece)).await.unwrap().unwrap();
        assert!(read > 0, "{said}");
        said.push_str(&String::from_utf8_lossy(&piece[..read]));
    }
    assert!(said.starts_with("HTTP/1.1 408") && said.contains("did not arrive in time"), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_without_a_byte_either_way_is_closed() {
    let served = served(Limits { idle: Duration::from_millis(300), ..wide() }).await;
    assert_eq!(served.all(served.connect("GET / HTTP/1.1\r\nho").await).await, "");
}

/// 300 connections that never say what they want, at the figures as they are shipped.
#[tokio::test(flavor = "multi_thread")]
async fn r018_three_hundred_silent_connections_leave_health_answering() {
    let served = served(wide()).await;
    let mut silent = Vec::new();
    for _ in 0..300 {
        silent.push(served.connect("GET / HTTP/1.1\r\nho").await);
    }
    assert!(served.health().await.ends_with("{\"well\":true}"));
    // Those that were silent longest made room.
    let first = silent.remove(0);
    assert_eq!(served.all(first).await, "");
    assert!(served.health().await.ends_with("{\"well\":true}"));
}

/// Headers beyond their limit are refused, not read on.
#[tokio::test(flavor = "multi_thread")]
async fn headers_beyond_their_limit_are_refused() {
    let served = served(wide()).await;
    let long =
        format!("GET /health HTTP/1.1\r\nhost: HOST\r\nx: {}\r\n\r\n", "y".repeat(limits::HEADERS));
    let mut stream = TcpStream::connect(&served.at).await.unwrap();
    // The server may have closed before all was sent.
    let _ = stream.write_all(long.replace("HOST", &served.at).as_bytes()).await;
    let mut start = [0; 12];
    if stream.read_exact(&mut start).await.is_ok() {
        assert_eq!(String::from_utf8_lossy(&start), "HTTP/1.1 431");
    }
    assert!(served.health().await.ends_with("{\"well\":true}"));
}

// ---- The page that says so -------------------------------------------------------------------------

#[test]
fn the_manual_prints_the_limits_as_they_are() {
    use engine::read::limits as read;

    let door = Limits::default();
    let mib = |bytes: usize| format!("{} MiB", bytes >> 20);
    let kib = |bytes: usize| format!("{} KiB", bytes >> 10);
    let s = |time: Duration| format!("{} s", time.as_secs());
    let rows = [
        ("a file taken in by the browser", mib(limits::UPLOAD)),
        ("files on their way in at once", door.uploads.to_string()),
        ("of them read at once", "1".to_owned()),
        ("files that wait to be told their columns", limits::HELD.to_string()),
        ("a form", mib(limits::FORM)),
        ("a form of somebody not logged in", kib(limits::FORM_OF_NOBODY)),
        ("fields of a form", limits::FIELDS.to_string()),
        ("fields of a form of somebody not logged in", limits::FIELDS_OF_NOBODY.to_string()),
        ("the name of a field", format!("{} bytes", limits::NAME)),
        ("headers of a request", kib(limits::HEADERS)),
        ("time for headers, and between two requests", s(door.headers)),
        ("time for a form, and for each piece of a file", s(door.body)),
        ("time for a file", s(door.upload)),
        ("time for a file to wait for its turn", s(door.turn)),
        ("time for a file to wait to be told its columns", s(door.held)),
        ("time for an answer", s(door.answer)),
        ("time without a byte either way", s(door.idle)),
        ("connections", door.connections.to_string()),
        ("connections of one address", door.of_one_address.to_string()),
        ("a name", format!("{} characters", text::NAME)),
        ("a number, a mark, a word", format!("{} characters", text::MARK)),
        ("a line", format!("{} characters", text::LINE)),
        ("a text of several lines", format!("{} characters", text::LINES)),
        ("a text of the department", format!("{} characters", text::PAPER)),
        ("columns of a text, signals of a file", read::COLUMNS.to_string()),
        ("a line of text", kib(read::LINE_BYTES)),
        ("a header of a WFDB record", mib(read::HEADER_BYTES)),
        ("marks of a file", read::MARKS.to_string()),
        ("bytes to a row, from a million rows on", read::ROW_BYTES.to_string()),
        ("samples to a byte, from four million samples on", "1".to_owned()),
        ("samples of a night", read::SAMPLES.to_string()),
    ];
    assert_eq!((read::ROWS_FREE, read::SAMPLES_FREE), (1_000_000, 4_000_000));
    let table = rows.iter().fold(String::new(), |mut table, (what, most)| {
        let _ = writeln!(table, "| {what} | {most} |");
        table
    });
    let manual = include_str!("../../../../docs/limits.md");
    let (_, rest) = manual.split_once("<!-- table -->\n\n| what | at most |\n|---|---|\n").unwrap();
    let (printed, _) = rest.split_once("\n<!-- end -->").unwrap();
    assert!(printed == table, "docs/limits.md should hold:\n{table}");
}
