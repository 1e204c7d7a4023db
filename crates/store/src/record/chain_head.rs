//! The record's head, written down outside the database so that a cut at the end of the chain is seen.
//!
//! A chain proves everything but its own length: who takes the last acts away, with every row they wrote,
//! leaves a shorter chain that is whole. So the number and hash of the last act are appended to `heads.txt`
//! whenever the record is opened, closed or backed up, every hour while it is served, after every so many
//! acts, and at once after a report is signed or a person destroyed; checking compares every line. The file
//! lies beside the database; a copy kept elsewhere, or printed, also sees who changes both.

use std::fmt;
use std::io::Read as _;
use std::io::Seek as _;
use std::io::SeekFrom;
use std::io::Write as _;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::Ordering;
use std::time::Duration;

use serde_json::Value;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::entry::DESTROY;
use crate::record::own;
use crate::record::tables::Setting;
use crate::when::rfc3339;

/// Name of the file in the record's folder.
pub const HEADS: &str = "heads.txt";

/// The last act at some moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Its number; 0 before the first act.
    pub seq: i64,
    /// When it was done, seconds since 1970; 0 where a line did not tell.
    pub at: i64,
    /// Its hash.
    pub hash: String,
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.seq, self.hash, rfc3339(self.at))
    }
}

/// The heads a text holds, one a line. Lines of another shape, such as one broken off by a loss of power, are passed over.
pub fn read_heads(text: &str) -> Vec<Head> {
    text.lines().filter_map(read_line).collect()
}

fn read_line(line: &str) -> Option<Head> {
    let mut words = line.split_ascii_whitespace();
    let seq = words.next()?.parse().ok()?;
    let hash = words.next()?;
    let at = words.next().and_then(|at| at.parse::<jiff::Timestamp>().ok());
    let whole = hash.len() == 64 && hash.bytes().all(|byte| byte.is_ascii_hexdigit());
    whole.then(|| Head {
        seq,
        at: at.map_or(0, jiff::Timestamp::as_second),
        hash: hash.to_ascii_lowercase(),
    })
}

impl Conn {
    /// The head as the database holds it.
    pub async fn head(&mut self) -> Result<Head> {
        let sql = "SELECT seq, at, hash FROM gate WHERE id = 1";
        let (seq, at, hash) = on!(self, c => sqlx::query_as(sql).fetch_one(c).await)?;
        Ok(Head { seq, at, hash })
    }
}

/// After how many acts a head goes out, unless the desk's settings say another (common practice, no source).
pub const EVERY: i64 = 20;
/// The key of the desk's settings that says another.
const KEY: &str = "heads_every";

/// Where heads go, shared by every clone of a record.
#[derive(Clone, Debug)]
pub(crate) struct Heads(Arc<Places>);

#[derive(Debug)]
struct Places {
    /// The folder of an embedded record.
    folder: Option<PathBuf>,
    /// A second place the operator named.
    also: Mutex<Option<PathBuf>>,
    every: AtomicI64,
}

impl Heads {
    pub(crate) fn new(folder: Option<&Path>) -> Self {
        let folder = folder.map(Path::to_owned);
        Self(Arc::new(Places { folder, also: Mutex::default(), every: AtomicI64::new(EVERY) }))
    }

    fn also(&self) -> Option<PathBuf> {
        self.0.also.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Takes up the desk's settings, as they are kept.
    fn set(&self, value: &str) {
        let set = serde_json::from_str::<Value>(value).ok().and_then(|desk| desk[KEY].as_i64());
        self.0.every.store(set.unwrap_or(EVERY).max(1), Ordering::Relaxed);
    }

    /// Writes a head wherever heads go.
    fn write(&self, head: &Head) -> Result<()> {
        let failed = |path: &Path, error: &std::io::Error| StoreError::Unusable {
            what: path.display().to_string(),
            says: format!("the head of the record cannot be written: {error}"),
            hint: "free some room, and see that the place may be written".to_owned(),
        };
        if let Some(folder) = &self.0.folder {
            let path = folder.join(HEADS);
            append(&path, head).map_err(|error| failed(&path, &error))?;
        }
        if let Some(path) = self.also() {
            send(&path, head).map_err(|error| failed(&path, &error))?;
        }
        Ok(())
    }

    /// After an act is in the record: its head goes out when its turn has come. The act stands whether or
    /// not that can be done, so a failure here stops nothing; the next one is tried again.
    pub(crate) fn after(&self, head: &Head, verb: &str, rows: &[Value]) {
        for row in rows.iter().filter(|row| row["table"] == "setting") {
            if row["row"]["name"] == "desk" {
                self.set(row["row"]["value"].as_str().unwrap_or(""));
            }
        }
        let at_once = verb.starts_with("report.") || verb == DESTROY;
        if at_once || head.seq % self.0.every.load(Ordering::Relaxed) == 0 {
            let _ = self.write(head);
        }
    }
}

impl Store {
    /// The head as the database holds it.
    pub async fn head(&self) -> Result<Head> {
        self.read().await?.head().await
    }

    /// Reads the head and writes it wherever heads go, when it is a new one.
    ///
    /// # Errors
    /// When the database or a place cannot be used.
    pub async fn export_head(&self) -> Result<Head> {
        let head = self.head().await?;
        self.heads.write(&head)?;
        Ok(head)
    }

    /// Sends heads to a second place as well, from now on: a file that is appended to, or a socket that takes
    /// a line of the system's log, such as `/dev/log`.
    ///
    /// # Errors
    /// When the database or the place cannot be used.
    pub async fn send_heads_to(&self, path: &Path) -> Result<()> {
        *self.heads.0.also.lock().unwrap_or_else(PoisonError::into_inner) = Some(path.to_owned());
        self.export_head().await.map(|_| ())
    }

    /// Writes the head down again and again. It never ends; what cannot be written is told to `failed`.
    pub async fn keep_heads(&self, every: Duration, failed: impl Fn(&StoreError)) {
        loop {
            tokio::time::sleep(every).await;
            if let Err(error) = self.export_head().await {
                failed(&error);
            }
        }
    }

    /// Takes up after how many acts the desk wants heads.
    pub(crate) async fn set_heads(&self) -> Result<()> {
        let clause = "WHERE name = 'desk' ORDER BY id DESC LIMIT 1";
        if let Some(desk) = self.read().await?.first::<Setting>(clause, &[]).await? {
            self.heads.set(&desk.value);
        }
        Ok(())
    }

    /// The heads that were exported beside the database; none on a server.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn exported_heads(&self) -> Result<Vec<Head>> {
        let Some(folder) = self.folder() else { return Ok(Vec::new()) };
        match std::fs::read_to_string(folder.join(HEADS)) {
            Ok(text) => Ok(read_heads(&text)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Vec::new()),
            Err(error) => Err(StoreError::Unusable {
                what: folder.join(HEADS).display().to_string(),
                says: format!("it cannot be read: {error}"),
                hint: String::new(),
            }),
        }
    }
}

/// Sends a head to a place that is a file, or a socket of the system's log.
fn send(path: &Path, head: &Head) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt as _;
        if std::fs::metadata(path).is_ok_and(|about| about.file_type().is_socket()) {
            if head.seq > 0 {
                let socket = std::os::unix::net::UnixDatagram::unbound()?;
                // Facility "user", severity "notice" (RFC 3164, section 4.1.1).
                socket.send_to(format!("<13>matins: head {head}").as_bytes(), path)?;
            }
            return Ok(());
        }
    }
    append(path, head)
}

fn append(path: &Path, head: &Head) -> std::io::Result<()> {
    if head.seq == 0 {
        return Ok(());
    }
    let mut file = own::options().read(true).append(true).create(true).open(path)?;
    // The end is enough to know the last line, and whether it is whole.
    let length = file.metadata()?.len();
    file.seek(SeekFrom::Start(length.saturating_sub(256)))?;
    let mut end = Vec::new();
    file.read_to_end(&mut end)?;
    let end = String::from_utf8_lossy(&end);
    if end.ends_with('\n') && end.lines().last().and_then(read_line).as_ref() == Some(head) {
        return Ok(());
    }
    let broken_off = if end.is_empty() || end.ends_with('\n') { "" } else { "\n" };
    file.write_all(format!("{broken_off}{head}\n").as_bytes())?;
    file.sync_data()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head(seq: i64) -> Head {
        Head { seq, at: 1_730_014_200, hash: "ab".repeat(32) }
    }

    #[test]
    fn a_line_broken_off_is_passed_over_and_the_next_stands_on_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(HEADS);
        append(&path, &head(1)).unwrap();
        append(&path, &head(1)).unwrap();
        std::fs::write(&path, std::fs::read_to_string(&path).unwrap() + "2 abab").unwrap();
        append(&path, &head(3)).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(read_heads(&text), [head(1), head(3)]);
        assert!(text.ends_with("2024-10-27T07:30:00Z\n"), "{text}");
    }
}
