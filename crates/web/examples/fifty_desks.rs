//! Fifty desks at once against one server with twenty thousand loans in its record.
//!
//! `cargo run --release -p web --example fifty_desks -- 60` runs for sixty seconds and prints how long each
//! page took, in milliseconds from the request's first byte to the answer's last. It ends with exit code 1 when
//! any monitor was lent twice. The figures stand in `benches/runs`.

#![expect(clippy::unwrap_used, reason = "a bench that cannot go on has nothing to say")]
#![expect(clippy::print_stdout, reason = "it prints its figures")]

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use std::time::Instant;

use store::record::act::Author;
use store::record::db::Place;
use store::record::db::Store;
use store::record::row::Kept;
use store::record::tables::Loan;
use store::record::tables::Monitor;
use store::record::tables::Person;
use store::record::tables::Referral;
use store::record::tables::Study;
use store::when;
use store::words::LoanStatus;
use store::words::MonitorStatus;
use store::words::Role;
use store::words::StudyStatus;
use store::words::Urgency;
use tokio::io::AsyncReadExt as _;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use tokio::sync::oneshot;

const DESKS: i64 = 50;
const LOANS: i64 = 20_000;
const MONITORS: i64 = 60;
const PASSWORD: &str = "seven quiet lanterns";

#[tokio::main]
async fn main() -> std::process::ExitCode {
    let seconds = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(60);
    let folder = std::env::temp_dir().join(format!("fifty-desks-{}", std::process::id()));
    let store = Store::open(&Place::Folder(folder.clone()), when::wall_clock()).await.unwrap();
    fill(&store).await;
    let (told, address) = oneshot::channel();
    let (end, ended) = oneshot::channel::<()>();
    let server = tokio::spawn(serve(store.clone(), told, ended));
    let address: SocketAddr = address.await.unwrap();
    // One after the other: fifty at once would look like somebody trying passwords, and be slowed down.
    let mut lines = Vec::new();
    for _ in 0..DESKS {
        let mut line = Line::open(address).await;
        line.log_in().await;
        lines.push(line);
    }
    let until = Instant::now() + Duration::from_secs(seconds);
    let desks = (0..).zip(lines).map(|(desk, line)| tokio::spawn(work(line, desk, until)));
    let mut times: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    for desk in desks.collect::<Vec<_>>() {
        for (page, took) in desk.await.unwrap() {
            times.entry(page).or_default().push(took);
        }
    }
    for (page, took) in &mut times {
        tell(page, took);
    }
    tell("all", &mut times.values().flatten().copied().collect::<Vec<f64>>());
    let twice = lent_twice(&store).await;
    println!("monitors lent twice: {twice}");
    let _ = end.send(());
    server.await.unwrap();
    let _ = std::fs::remove_dir_all(folder);
    std::process::ExitCode::from(u8::from(twice > 0))
}

async fn serve(store: Store, told: oneshot::Sender<SocketAddr>, ended: oneshot::Receiver<()>) {
    let told = std::sync::Mutex::new(Some(told));
    let ready = move |address: &str| {
        let address = address.trim_start_matches("http://").trim_end_matches('/').parse().unwrap();
        if let Some(told) = told.lock().unwrap().take() {
            let _ = told.send(address);
        }
    };
    let config = web::Config {
        store,
        printer: Arc::new(web::printer::NoPrinter),
        listen: "127.0.0.1:0".parse().unwrap(),
        tls: None,
        names: Vec::new(),
        log: Arc::new(|_| {}),
        ready: Arc::new(ready),
    };
    let until = async {
        let _ = ended.await;
    };
    web::serve(config, until).await.unwrap();
}

fn tell(page: &str, took: &mut [f64]) {
    took.sort_by(f64::total_cmp);
    let at = |percent: usize| took[(took.len() - 1) * percent / 100];
    println!(
        "{page:<12} {:>7} times   median {:>6.1} ms   p99 {:>6.1} ms   most {:>6.1} ms",
        took.len(),
        at(50),
        at(99),
        at(100)
    );
}

async fn lent_twice(store: &Store) -> i64 {
    let (monitors, nights) = store.read().await.unwrap().lent_twice().await.unwrap();
    monitors + nights
}

// ---- One desk ---------------------------------------------------------------------------------------

/// What a desk does in a row, again and again, a click a second: looks about, books for one of its patients,
/// gives it up again.
async fn work(mut line: Line, desk: i64, until: Instant) -> Vec<(&'static str, f64)> {
    let mut times = Vec::new();
    // Desks do not click in step.
    tokio::time::sleep(Duration::from_millis(u64::try_from(desk * 20).unwrap_or(0))).await;
    let mut turn = 0;
    while Instant::now() < until {
        turn += 1;
        let person = 1 + (desk * 397 + turn * 31) % LOANS;
        times.push(("morning", line.get("/morning").await));
        read_it(turn).await;
        times.push(("calendar", line.get("/calendar").await));
        read_it(turn).await;
        times.push((
            "monitor",
            line.get(&format!("/monitors/{}", 1 + (desk + turn) % MONITORS)).await,
        ));
        read_it(turn).await;
        times.push(("person", line.get(&format!("/people/{person}")).await));
        read_it(turn).await;
        times.push(("search", line.post("/people", &format!("find=family{}", person % 500)).await));
        let study = LOANS + 1 + desk;
        let tonight = when::local_date(when::wall_clock()(), &jiff::tz::TimeZone::UTC);
        let night = when::days_later(tonight, 1 + turn % 3);
        read_it(turn).await;
        times.push((
            "book",
            line.post(
                &format!("/studies/{study}/book"),
                &format!("first_night_on={night}&nights=1&monitor="),
            )
            .await,
        ));
        if let Some(loan) = line.led_to.take() {
            times.push(("cancel", line.post(&format!("{loan}/cancel"), "reason=bench").await));
        }
    }
    times
}

/// A person reads a page, about a second, before the next click.
async fn read_it(turn: i64) {
    tokio::time::sleep(Duration::from_millis(800 + u64::try_from(turn * 37 % 400).unwrap_or(0)))
        .await;
}

/// One connection that stays open, as a browser's does.
struct Line {
    stream: TcpStream,
    address: SocketAddr,
    jar: BTreeMap<String, String>,
    csrf: String,
    led_to: Option<String>,
}

impl Line {
    async fn open(address: SocketAddr) -> Self {
        let stream = TcpStream::connect(address).await.unwrap();
        Self { stream, address, jar: BTreeMap::new(), csrf: String::new(), led_to: None }
    }

    async fn log_in(&mut self) {
        self.get("/login").await;
        self.post("/login", &format!("login=desk&password={}", PASSWORD.replace(' ', "+"))).await;
        self.get("/monitors").await;
        assert!(!self.csrf.is_empty(), "not logged in");
    }

    async fn get(&mut self, path: &str) -> f64 {
        self.ask(&format!("GET {path} HTTP/1.1"), "").await
    }

    async fn post(&mut self, path: &str, form: &str) -> f64 {
        let form = format!("{form}&csrf={}", self.csrf);
        self.ask(&format!("POST {path} HTTP/1.1"), &form).await
    }

    async fn ask(&mut self, line: &str, form: &str) -> f64 {
        let host = self.address;
        let cookies: Vec<String> =
            self.jar.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let request = format!(
            "{line}\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
            cookies.join("; "),
            form.len()
        );
        let began = Instant::now();
        self.stream.write_all(request.as_bytes()).await.unwrap();
        let answer = self.answer().await;
        let took = began.elapsed().as_secs_f64() * 1000.0;
        self.learn(&answer);
        took
    }

    /// The whole answer: head, and a body of known length or in chunks.
    async fn answer(&mut self) -> String {
        let mut got = Vec::new();
        let mut piece = vec![0; 65_536];
        loop {
            let read = self.stream.read(&mut piece).await.unwrap();
            assert!(read > 0, "the server hung up");
            got.extend_from_slice(&piece[..read]);
            let text = String::from_utf8_lossy(&got);
            let Some((head, body)) = text.split_once("\r\n\r\n") else { continue };
            let length = head.lines().find_map(|line| {
                line.to_ascii_lowercase().strip_prefix("content-length: ")?.parse::<usize>().ok()
            });
            let whole = match length {
                Some(length) => body.len() >= length,
                None => {
                    body.ends_with("0\r\n\r\n")
                        || !head.to_ascii_lowercase().contains("transfer-encoding")
                }
            };
            if whole {
                return text.into_owned();
            }
        }
    }

    fn learn(&mut self, answer: &str) {
        let status = answer.get(9..12).unwrap_or_default();
        // A page, an act done, or an act refused in words: anything else would be measured for nothing.
        assert!(matches!(status, "200" | "303" | "422"), "{}", &answer[..answer.len().min(400)]);
        for line in answer.lines().take_while(|line| !line.is_empty()) {
            let Some((name, value)) = line.split_once(": ") else { continue };
            match name.to_ascii_lowercase().as_str() {
                "set-cookie" => {
                    let pair = value.split(';').next().unwrap_or_default();
                    if let Some((name, value)) = pair.split_once('=') {
                        self.jar.insert(name.to_owned(), value.to_owned());
                    }
                }
                "location" if value.starts_with("/loans/") => self.led_to = Some(value.to_owned()),
                _ => {}
            }
        }
        let token = answer
            .split_once("name=\"csrf\" content=\"")
            .or_else(|| answer.split_once("name=\"csrf\" value=\""));
        if let Some((_, rest)) = token {
            rest.split('"').next().unwrap_or_default().clone_into(&mut self.csrf);
        }
    }
}

// ---- The record -------------------------------------------------------------------------------------

/// Twenty thousand loans that came back, and a waiting study for each desk, written a thousand at a time.
async fn fill(store: &Store) {
    let by = Author::program();
    store.make_account_with(&by, "desk", "Dora Desk", Role::Desk, PASSWORD).await.unwrap();
    let mut act = store.act(&by, "bench.fill").await.unwrap();
    for n in 1..=MONITORS {
        act.put(&mut monitor(n)).await.unwrap();
    }
    act.close().await.unwrap();
    for thousand in 0..=LOANS / 1000 {
        let mut act = store.act(&by, "bench.fill").await.unwrap();
        let last = if thousand == LOANS / 1000 { DESKS } else { 1000 };
        for n in thousand * 1000 + 1..=thousand * 1000 + last {
            act.put(&mut person(n)).await.unwrap();
            act.put(&mut referral(n)).await.unwrap();
            let over = n <= LOANS;
            let status = if over { StudyStatus::Reported } else { StudyStatus::Waiting };
            act.put(&mut Study {
                id: 0,
                act: 0,
                person: n,
                referral: n,
                status,
                closed_because: None,
            })
            .await
            .unwrap();
            if over {
                act.put(&mut loan(n)).await.unwrap();
            }
        }
        act.close().await.unwrap();
    }
}

fn monitor(n: i64) -> Monitor {
    Monitor {
        id: 0,
        act: 0,
        mark: store::ident::monitor_mark(n),
        serial: format!("B{n:04}"),
        kind: "monitor".to_owned(),
        value_pence: 650_000,
        bought_on: None,
        in_use_since_on: None,
        firmware: None,
        service_due_on: Some("2099-01-01".to_owned()),
        electrical_due_on: Some("2099-01-01".to_owned()),
        membrane_on: Some("2026-01-01".to_owned()),
        gas: None,
        status: MonitorStatus::Ready,
        because: None,
        loan: None,
        returned_at: None,
        cleaned_at: Some(1),
        checked_at: Some(1),
    }
}

fn person(n: i64) -> Person {
    Person {
        id: 0,
        act: 0,
        mrn: format!("B{n:06}"),
        nhs_number: None,
        family: format!("Family{}", n % 500),
        given: format!("Given{}", n % 40),
        born_on: "1970-01-01".to_owned(),
        telephone: None,
        address: None,
        needs: None,
        voided_at: None,
        voided_because: None,
        same_as: None,
    }
}

fn referral(n: i64) -> Referral {
    Referral {
        id: 0,
        act: 0,
        person: n,
        asked_by: "Dr Bench".to_owned(),
        received_on: "2026-01-01".to_owned(),
        question: "night_gas_exchange".to_owned(),
        words: None,
        support: None,
        urgency: Urgency::Routine,
        criteria: "adult-air".to_owned(),
        voided_at: None,
        voided_because: None,
    }
}

fn loan(n: i64) -> Loan {
    Loan {
        id: 0,
        act: 0,
        mark: store::ident::loan_mark(n),
        study: n,
        person: n,
        monitor: 1 + n % MONITORS,
        first_night_on: "2026-02-01".to_owned(),
        nights: 1,
        due_at: 1_770_000_000,
        status: LoanStatus::Back,
        booked_by: "desk".to_owned(),
        booked_at: 1_769_000_000,
        out_at: Some(1_769_900_000),
        out_by: Some("desk".to_owned()),
        out: Kept(None),
        back_at: Some(1_770_000_000),
        back_by: Some("desk".to_owned()),
        back: Kept(None),
        because: None,
        repeats_night: None,
        repeats_because: None,
    }
}
