//! What every request shares.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;

use store::criteria::rerun::Rerun;
use store::error::Result;
use store::record::db::Store;
use tokio::sync::watch;

use crate::door::Door;
use crate::limits::Limits;
use crate::look::Looked;
use crate::opened::Nights;
use crate::printer::Printer;
use crate::uploads::Uploads;

/// Where the operator's log goes, one line at a time.
pub type Log = Arc<dyn Fn(&str) + Send + Sync>;

/// What every request shares. Cheap to clone.
#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    store: Store,
    printer: Arc<dyn Printer>,
    tls: bool,
    hosts: Vec<String>,
    log: Log,
    stop: watch::Sender<bool>,
    /// What the next page of a session says, by its token's hash.
    said: Mutex<BTreeMap<String, String>>,
    nights: Nights,
    door: Door,
    uploads: Uploads,
    /// What every session has looked at in the last minutes.
    looked: Looked,
    /// Whose pages carried a proof, by proof: a form of an older session is theirs alone.
    proofs: Mutex<BTreeMap<String, i64>>,
    /// What the operator was told of lately, and how often it happened since.
    warned: Mutex<BTreeMap<&'static str, (i64, u64)>>,
    /// What drafts of criteria would change, by the set's name. Forgotten when the program ends.
    reruns: Mutex<BTreeMap<String, Arc<Rerun>>>,
}

impl std::fmt::Debug for App {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("App").field("store", &self.0.store).finish_non_exhaustive()
    }
}

/// What pages need to know of the department.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Department {
    /// Name of the hospital; empty when not set.
    pub hospital: String,
    /// Name of the department.
    pub name: String,
    /// Zone of its wall clock.
    pub zone: jiff::tz::TimeZone,
    /// After what time without a touch a session ends, s.
    pub idle_s: i64,
}

impl App {
    /// Shares a record and a printer. `names` are the hosts under which browsers may ask; those of the
    /// address listened at come by themselves.
    pub fn new(
        store: Store,
        printer: Arc<dyn Printer>,
        tls: bool,
        listen: SocketAddr,
        names: &[String],
        log: Log,
    ) -> Self {
        let limits = Limits::default();
        Self::within(store, printer, tls, listen, (names, log), limits)
    }

    /// As [`App::new`], within limits of one's own.
    pub fn within(
        store: Store,
        printer: Arc<dyn Printer>,
        tls: bool,
        listen: SocketAddr,
        (names, log): (&[String], Log),
        limits: Limits,
    ) -> Self {
        let mut hosts: Vec<String> = names.iter().map(|name| name.to_ascii_lowercase()).collect();
        match listen.ip() {
            ip if ip.is_loopback() => {
                hosts.extend(["localhost", "127.0.0.1", "[::1]"].map(str::to_owned));
            }
            ip if ip.is_unspecified() => {}
            IpAddr::V4(ip) => hosts.push(ip.to_string()),
            IpAddr::V6(ip) => hosts.push(format!("[{ip}]")),
        }
        let stop = watch::Sender::new(false);
        let (said, nights, reruns) = (Mutex::default(), Nights::default(), Mutex::default());
        let (door, uploads) = (Door::new(limits), Uploads::new(limits));
        let (looked, proofs, warned) = (Looked::default(), Mutex::default(), Mutex::default());
        Self(Arc::new(Inner {
            store,
            printer,
            tls,
            hosts,
            log,
            stop,
            said,
            nights,
            door,
            uploads,
            looked,
            proofs,
            warned,
            reruns,
        }))
    }

    /// The connections, and what they are held to.
    pub fn door(&self) -> &Door {
        &self.0.door
    }

    /// The files on their way in.
    pub fn uploads(&self) -> &Uploads {
        &self.0.uploads
    }

    /// What sessions have looked at.
    pub(crate) fn looked(&self) -> &Looked {
        &self.0.looked
    }

    /// Keeps whose pages carry a proof.
    pub(crate) fn remember_proof(&self, proof: &str, account: i64) {
        let mut proofs = self.0.proofs.lock().unwrap_or_else(PoisonError::into_inner);
        if proofs.len() > 10_000 {
            proofs.clear();
        }
        proofs.insert(proof.to_owned(), account);
    }

    /// Whose pages carried a proof; `None` when this server gave it to nobody who was logged in.
    pub(crate) fn proof_of(&self, proof: &str) -> Option<i64> {
        self.0.proofs.lock().unwrap_or_else(PoisonError::into_inner).get(proof).copied()
    }

    /// Tells the operator of what an attack looks like, once a minute of each kind and then how often.
    pub(crate) fn warn(&self, kind: &'static str, line: &str) {
        let minute = self.0.store.steady_now().div_euclid(60);
        let mut warned = self.0.warned.lock().unwrap_or_else(PoisonError::into_inner);
        let (last, more) = warned.get(kind).copied().unwrap_or((i64::MIN, 0));
        if last == minute {
            warned.insert(kind, (minute, more + 1));
            return;
        }
        warned.insert(kind, (minute, 0));
        drop(warned);
        let since =
            if more > 0 { format!(" ({more} more since it was last told)") } else { String::new() };
        self.log(&format!("{kind}: {line}{since}"));
    }

    /// The record.
    pub fn store(&self) -> &Store {
        &self.0.store
    }

    /// Whoever puts things on paper.
    pub fn printer(&self) -> &dyn Printer {
        &*self.0.printer
    }

    /// The nights that are open.
    pub fn nights(&self) -> &Nights {
        &self.0.nights
    }

    /// The last run over past nights with a draft of this set, since the program began.
    pub fn rerun(&self, name: &str) -> Option<Arc<Rerun>> {
        let reruns = self.0.reruns.lock().unwrap_or_else(PoisonError::into_inner);
        reruns.get(name).cloned()
    }

    /// Keeps a run, unless another is under way: they would take each other's time. Then `false`.
    pub fn keep_rerun(&self, name: &str, rerun: &Arc<Rerun>) -> bool {
        let mut reruns = self.0.reruns.lock().unwrap_or_else(PoisonError::into_inner);
        if reruns.values().any(|one| one.state().ended.is_none()) {
            return false;
        }
        reruns.insert(name.to_owned(), rerun.clone());
        true
    }

    /// Tells the operator; without names and numbers of patients.
    pub fn log(&self, line: &str) {
        (self.0.log)(line);
    }

    /// Whether connections are encrypted.
    pub fn tls(&self) -> bool {
        self.0.tls
    }

    /// Name of the session's cookie.
    pub fn cookie(&self) -> &'static str {
        if self.0.tls { "__Host-matins" } else { "matins" }
    }

    /// Name of the cookie that ties a form filled in before logging in to its browser.
    pub fn visitor_cookie(&self) -> &'static str {
        if self.0.tls { "__Host-matins-visitor" } else { "matins-visitor" }
    }

    /// Name of the cookie a browser is known by in which somebody has logged in.
    pub fn known_cookie(&self) -> &'static str {
        if self.0.tls { "__Host-matins-known" } else { "matins-known" }
    }

    /// Whether this is a host browsers may ask, whatever the port: a foreign name that resolves to this
    /// machine is refused.
    pub fn answers_to(&self, host: &str) -> bool {
        let host = host.to_ascii_lowercase();
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
            _ => &host,
        };
        self.0.hosts.iter().any(|known| known == name)
    }

    /// The department, as it is set now.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn department(&self) -> Result<Department> {
        let desk = self.0.store.read().await?.desk_settings().await?;
        Ok(Department {
            zone: desk.zone(),
            idle_s: desk.idle_min.clamp(2, 240) * 60,
            hospital: desk.hospital,
            name: desk.department,
        })
    }

    /// Keeps words for the next page of a session.
    pub(crate) fn say(&self, session: &str, words: &str) {
        let mut said = self.0.said.lock().unwrap_or_else(PoisonError::into_inner);
        if said.len() > 1_000 {
            said.clear();
        }
        said.insert(session.to_owned(), words.to_owned());
    }

    /// The words kept for a session's next page, once.
    pub(crate) fn said(&self, session: &str) -> Option<String> {
        self.0.said.lock().unwrap_or_else(PoisonError::into_inner).remove(session)
    }

    /// Ends every open stream, so that the server can end.
    pub fn stop(&self) {
        self.0.stop.send_replace(true);
    }

    /// Changes when the server ends.
    pub fn stopping(&self) -> watch::Receiver<bool> {
        self.0.stop.subscribe()
    }
}
