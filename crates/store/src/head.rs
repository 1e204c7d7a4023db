//! The record's head, written down outside the database so that a cut at the end of the chain is seen.
//!
//! A chain proves everything but its own length: who takes the last acts away, with every row they wrote,
//! leaves a shorter chain that is whole. So the number and hash of the last act are appended to `heads.txt`
//! whenever the record is opened, closed or backed up, and checking compares every line. The file lies
//! beside the database; a copy kept elsewhere, or printed, also sees who changes both.

use std::fmt;
use std::io::Read as _;
use std::io::Seek as _;
use std::io::SeekFrom;
use std::io::Write as _;
use std::path::Path;

use crate::db::Conn;
use crate::db::Store;
use crate::error::Result;
use crate::error::StoreError;
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
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn head(&mut self) -> Result<Head> {
        let sql = "SELECT seq, at, hash FROM gate WHERE id = 1";
        let (seq, at, hash) = on!(self, c => sqlx::query_as(sql).fetch_one(c).await)?;
        Ok(Head { seq, at, hash })
    }
}

impl Store {
    /// The head as the database holds it.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn head(&self) -> Result<Head> {
        self.read().await?.head().await
    }

    /// Reads the head and appends it to `heads.txt` of an embedded record, when it is a new one.
    ///
    /// # Errors
    /// When the database or the file cannot be used.
    pub async fn export_head(&self) -> Result<Head> {
        let head = self.head().await?;
        if let Some(folder) = self.folder() {
            append(folder, &head).map_err(|error| StoreError::Unusable {
                what: folder.join(HEADS).display().to_string(),
                says: format!("the head of the record cannot be written: {error}"),
                hint: "free some room, and see that the folder may be written".to_owned(),
            })?;
        }
        Ok(head)
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

fn append(folder: &Path, head: &Head) -> std::io::Result<()> {
    if head.seq == 0 {
        return Ok(());
    }
    let path = folder.join(HEADS);
    let mut file = std::fs::OpenOptions::new().read(true).append(true).create(true).open(path)?;
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
        append(folder.path(), &head(1)).unwrap();
        append(folder.path(), &head(1)).unwrap();
        let path = folder.path().join(HEADS);
        std::fs::write(&path, std::fs::read_to_string(&path).unwrap() + "2 abab").unwrap();
        append(folder.path(), &head(3)).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(read_heads(&text), [head(1), head(3)]);
        assert!(text.ends_with("2024-10-27T07:30:00Z\n"), "{text}");
    }
}
