//! The text of a backup: `matins-backup/1`, the same from both databases.
//!
//! The first line is a header in the clear, as JSON. Then come frames (module `seal`), and in them, deflated,
//! lines: `{"table":"act"}` begins a table, each of its rows is one line of JSON, and
//! `{"end":"act","rows":6,"sha256":"…"}` ends it, the hash being over the lines of its rows. Kept bytes are
//! lines of `{"sha256":…,"length":…,"deflated":…}`, each followed by so many bytes and a newline. The last
//! line is `{"end":"backup","sha256":"…"}`, over every line before.

use std::collections::BTreeMap;
use std::io;
use std::io::BufRead as _;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;

use argon2::Algorithm;
use argon2::Argon2;
use argon2::Params;
use argon2::Version;
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use serde::Deserialize;
use serde::Serialize;
use sha2::Digest as _;
use sha2::Sha256;

use crate::record::all_tables;
use crate::record::bytes::KeptBytes;
use crate::record::chain::sha256;
use crate::record::entry::Entry;
use crate::safekeeping::seal::FrameReader;
use crate::safekeeping::seal::FrameWriter;
use crate::safekeeping::seal::NONCE;
use crate::safekeeping::seal::Seal;

/// Name and version of the format.
pub const FORMAT: &str = "matins-backup/1";

/// No line of a backup is longer, bytes: a damaged length may not fill the memory.
const LINE_MOST: u64 = 1 << 30;
/// No header is longer, bytes.
const HEADER_MOST: u64 = 1 << 16;

/// Memory of the key's derivation, KiB: the second recommended option of RFC 9106 (section 4).
const MEMORY_KIB: u32 = 64 * 1024;
/// Passes of the key's derivation (RFC 9106, section 4).
const PASSES: u32 = 3;
/// Lanes of the key's derivation (RFC 9106, section 4).
const LANES: u32 = 4;
/// A header that asks for more memory than this is not one of ours, KiB.
const MEMORY_MOST_KIB: u32 = 1024 * 1024;

/// The fewest signs a passphrase may have (common practice, no source).
const PASSPHRASE_LEAST: usize = 12;

/// What encrypts a backup. It is never shown.
#[derive(Clone)]
pub struct Passphrase(Vec<u8>);

impl std::fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Passphrase")
    }
}

impl Passphrase {
    /// The first line of a text.
    ///
    /// # Errors
    /// When it is shorter than twelve signs.
    pub fn read(text: &str) -> Result<Self, String> {
        let line = text.lines().next().unwrap_or("");
        match line.chars().count() {
            found if found < PASSPHRASE_LEAST => Err(format!(
                "the passphrase is too short: expected at least {PASSPHRASE_LEAST} signs, found {found}"
            )),
            _ => Ok(Self(line.as_bytes().to_vec())),
        }
    }

    /// Whether it may encrypt a new backup, which leaves the house: it is held to the rules of a password. Older
    /// backups are opened with what they were made with.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn good(&self) -> Result<(), String> {
        let text = String::from_utf8_lossy(&self.0);
        crate::login::password::choose(&text, &["matins"])
            .map_err(|error| error.to_string().replace("the password", "the passphrase"))
    }
}

/// The first line of a backup, in the clear.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// [`FORMAT`].
    pub format: String,
    /// When it was made.
    pub made_at: String,
    /// The software that made it.
    pub software: String,
    /// The steps the tables had gone through.
    pub steps: Vec<String>,
    /// Number of the last act.
    pub seq: i64,
    /// When it was done, seconds since 1970.
    pub at: i64,
    /// Its hash.
    pub hash: String,
    /// Rows of each table.
    pub rows: BTreeMap<String, u64>,
    /// How the key is made from the passphrase; `None` when the backup is not encrypted.
    pub sealed: Option<Sealed>,
}

/// How a backup is encrypted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sealed {
    /// `argon2id`.
    pub kdf: String,
    /// Its memory, KiB.
    pub memory_kib: u32,
    /// Its passes.
    pub passes: u32,
    /// Its lanes.
    pub lanes: u32,
    /// Its salt, hexadecimal.
    pub salt: String,
    /// `xchacha20-poly1305-stream`.
    pub cipher: String,
    /// Random part of the nonces, hexadecimal.
    pub nonce: String,
    /// Tells a wrong passphrase from a damaged file: the start of SHA-256 over the key.
    pub check: String,
}

impl Sealed {
    /// Fresh salt and nonce, and the key they make of a passphrase.
    pub(crate) fn new(passphrase: &Passphrase) -> io::Result<(Self, [u8; 32])> {
        let mut sealed = Self {
            kdf: "argon2id".to_owned(),
            memory_kib: MEMORY_KIB,
            passes: PASSES,
            lanes: LANES,
            salt: engine::hex(&rand::random::<[u8; 16]>()),
            cipher: "xchacha20-poly1305-stream".to_owned(),
            nonce: engine::hex(&std::array::from_fn::<u8, NONCE, _>(|_| rand::random())),
            check: String::new(),
        };
        let key = sealed.derive(passphrase)?;
        sealed.check = check(&key);
        Ok((sealed, key))
    }

    fn derive(&self, passphrase: &Passphrase) -> io::Result<[u8; 32]> {
        let known = self.kdf == "argon2id" && self.cipher == "xchacha20-poly1305-stream";
        if !known || self.memory_kib > MEMORY_MOST_KIB || self.passes > 64 || self.lanes > 64 {
            return Err(invalid("the header asks for an encryption this release does not know"));
        }
        let salt = unhex(&self.salt).ok_or_else(|| invalid("the header is damaged"))?;
        let params = Params::new(self.memory_kib, self.passes, self.lanes, Some(32));
        let params = params.map_err(|_| invalid("the header is damaged"))?;
        let mut key = [0; 32];
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
            .hash_password_into(&passphrase.0, &salt, &mut key)
            .map_err(|error| io::Error::other(format!("the key cannot be made: {error}")))?;
        Ok(key)
    }

    fn open(&self, passphrase: &Passphrase) -> io::Result<([u8; 32], [u8; NONCE])> {
        let key = self.derive(passphrase)?;
        if check(&key) != self.check {
            return Err(invalid("this is not the passphrase it was encrypted with"));
        }
        let nonce = unhex(&self.nonce).and_then(|nonce| nonce.try_into().ok());
        Ok((key, nonce.ok_or_else(|| invalid("the header is damaged"))?))
    }
}

fn check(key: &[u8; 32]) -> String {
    sha256(&[b"matins-backup key check ".as_slice(), key].concat())[..16].to_owned()
}

pub(crate) fn unhex(text: &str) -> Option<Vec<u8>> {
    let pairs = text.as_bytes().chunks(2);
    pairs.map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()).collect()
}

pub(crate) fn invalid(says: impl Into<String>) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, says.into())
}

/// Writes a backup.
pub(crate) struct Dump<W: Write> {
    to: DeflateEncoder<FrameWriter<W>>,
    all: Sha256,
    table: Sha256,
    rows: u64,
}

impl<W: Write> Dump<W> {
    pub(crate) fn new(mut to: W, header: &Header, key: Option<[u8; 32]>) -> io::Result<Self> {
        let line = line_of(header)?;
        to.write_all(line.as_bytes())?;
        let nonce = header.sealed.as_ref().and_then(|sealed| unhex(&sealed.nonce)?.try_into().ok());
        let seal = Seal { header: Sha256::digest(&line).into(), key: key.zip(nonce) };
        let to = DeflateEncoder::new(FrameWriter::new(to, seal), Compression::default());
        Ok(Self { to, all: Sha256::new(), table: Sha256::new(), rows: 0 })
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.all.update(bytes);
        self.to.write_all(bytes)
    }

    pub(crate) fn begin(&mut self, table: &str) -> io::Result<()> {
        (self.table, self.rows) = (Sha256::new(), 0);
        self.write(line_of(&serde_json::json!({"table": table}))?.as_bytes())
    }

    pub(crate) fn row<T: Serialize>(&mut self, row: &T) -> io::Result<()> {
        let line = line_of(row)?;
        self.rows += 1;
        self.table.update(&line);
        self.write(line.as_bytes())
    }

    pub(crate) fn bytes(&mut self, kept: &KeptBytes) -> io::Result<()> {
        let (sha256, length) = (&kept.sha256, kept.length);
        self.row(&Described {
            sha256: sha256.clone(),
            length,
            deflated: kept.deflated.len() as u64,
        })?;
        for bytes in [&*kept.deflated, b"\n"] {
            self.table.update(bytes);
            self.write(bytes)?;
        }
        Ok(())
    }

    pub(crate) fn end(&mut self, table: &str) -> io::Result<()> {
        let sha256 = engine::hex(&std::mem::take(&mut self.table).finalize());
        let end = End { of: table.to_owned(), rows: Some(self.rows), sha256 };
        self.write(line_of(&end)?.as_bytes())
    }

    pub(crate) fn finish(mut self) -> io::Result<W> {
        let sha256 = engine::hex(&std::mem::take(&mut self.all).finalize());
        let end = End { of: "backup".to_owned(), rows: None, sha256 };
        self.write(line_of(&end)?.as_bytes())?;
        self.to.finish()?.finish()
    }
}

#[derive(Serialize, Deserialize)]
struct Described {
    sha256: String,
    length: i64,
    deflated: u64,
}

#[derive(Serialize, Deserialize)]
struct End {
    #[serde(rename = "end")]
    of: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    rows: Option<u64>,
    sha256: String,
}

fn line_of<T: Serialize>(value: &T) -> io::Result<String> {
    Ok(serde_json::to_string(value)? + "\n")
}

/// One thing a backup holds.
pub(crate) enum Item {
    Act(Box<Entry>),
    Row(&'static str, String),
    Bytes(KeptBytes),
}

/// Reads a backup from its beginning to its end.
pub(crate) struct DumpReader<R: Read> {
    from: BufReader<DeflateDecoder<FrameReader<R>>>,
    all: Sha256,
    table: Option<(String, Sha256, u64)>,
    ended: bool,
}

/// The header of a backup, and its line as it stands in the file.
pub(crate) fn read_header(from: &mut impl io::BufRead) -> io::Result<(Header, String)> {
    let mut line = Vec::new();
    from.take(HEADER_MOST).read_until(b'\n', &mut line)?;
    let not_ours = || invalid("it is not a backup of matins, or its header is damaged");
    let line = String::from_utf8(line).map_err(|_| not_ours())?;
    let header: Header = serde_json::from_str(&line).map_err(|_| not_ours())?;
    if header.format != FORMAT {
        return Err(invalid(format!("expected the format {FORMAT}, found {}", header.format)));
    }
    Ok((header, line))
}

impl<R: Read> DumpReader<R> {
    pub(crate) fn new(
        from: R,
        header: &Header,
        line: &str,
        passphrase: Option<&Passphrase>,
    ) -> io::Result<Self> {
        let key = match (&header.sealed, passphrase) {
            (None, None) => None,
            (Some(sealed), Some(passphrase)) => Some(sealed.open(passphrase)?),
            (Some(_), None) => return Err(invalid("it is encrypted, and no passphrase was given")),
            (None, Some(_)) => {
                return Err(invalid("it is not encrypted, but a passphrase was given"));
            }
        };
        let seal = Seal { header: Sha256::digest(line).into(), key };
        let from = BufReader::new(DeflateDecoder::new(FrameReader::new(from, seal)));
        Ok(Self { from, all: Sha256::new(), table: None, ended: false })
    }

    /// The next thing; `None` after the last, when all of it was found whole.
    pub(crate) fn next(&mut self) -> io::Result<Option<Item>> {
        while !self.ended {
            let before = self.all.clone();
            let line = self.line()?;
            let Some((table, ..)) = &self.table else {
                self.between(&line, before)?;
                continue;
            };
            if line.starts_with("{\"end\"") {
                self.end_table(&line)?;
                continue;
            }
            let table = table.clone();
            return self.item(&table, line).map(Some);
        }
        Ok(None)
    }

    fn item(&mut self, table: &str, line: String) -> io::Result<Item> {
        self.in_table(line.as_bytes());
        if let Some((.., rows)) = &mut self.table {
            *rows += 1;
        }
        match table {
            "act" => Ok(Item::Act(serde_json::from_str(&line)?)),
            "bytes" => self.kept(&line).map(Item::Bytes),
            other => match all_tables::tables().into_iter().find(|known| *known == other) {
                Some(known) => Ok(Item::Row(known, line)),
                None => {
                    Err(invalid(format!("it holds a table this release does not know: {other}")))
                }
            },
        }
    }

    fn kept(&mut self, line: &str) -> io::Result<KeptBytes> {
        let about: Described = serde_json::from_str(line)?;
        let mut deflated = Vec::new();
        self.from.by_ref().take(about.deflated.min(LINE_MOST) + 1).read_to_end(&mut deflated)?;
        self.all.update(&deflated);
        self.in_table(&deflated);
        if deflated.len() as u64 != about.deflated + 1 || deflated.pop() != Some(b'\n') {
            return Err(invalid("kept bytes are broken off"));
        }
        Ok(KeptBytes { sha256: about.sha256, length: about.length, deflated })
    }

    fn in_table(&mut self, bytes: &[u8]) {
        if let Some((_, hash, _)) = &mut self.table {
            hash.update(bytes);
        }
    }

    fn end_table(&mut self, line: &str) -> io::Result<()> {
        let end: End = serde_json::from_str(line)?;
        let Some((table, hash, rows)) = self.table.take() else { return Ok(()) };
        if end.of != table || end.rows != Some(rows) || end.sha256 != engine::hex(&hash.finalize())
        {
            return Err(invalid(format!("the rows of {table} are not those that were written")));
        }
        Ok(())
    }

    /// A line outside a table: the beginning of one, or the end of all.
    fn between(&mut self, line: &str, before: Sha256) -> io::Result<()> {
        #[derive(Deserialize)]
        struct Begin {
            table: String,
        }
        if let Ok(begin) = serde_json::from_str::<Begin>(line) {
            self.table = Some((begin.table, Sha256::new(), 0));
            return Ok(());
        }
        let end: End = serde_json::from_str(line)?;
        if end.of != "backup" || end.sha256 != engine::hex(&before.finalize()) {
            return Err(invalid("what it holds is not what was written"));
        }
        self.ended = true;
        // The frames are read to their end, so that nothing may be missing or stand behind it.
        let mut rest = Vec::new();
        self.from.by_ref().take(1).read_to_end(&mut rest)?;
        self.from.get_mut().get_mut().take(1).read_to_end(&mut rest)?;
        if rest.is_empty() { Ok(()) } else { Err(invalid("something follows its end")) }
    }

    fn line(&mut self) -> io::Result<String> {
        let mut line = Vec::new();
        self.from.by_ref().take(LINE_MOST).read_until(b'\n', &mut line)?;
        self.all.update(&line);
        if line.pop() != Some(b'\n') {
            return Err(invalid("it is broken off"));
        }
        String::from_utf8(line).map(|line| line + "\n").map_err(|_| invalid("a line is not text"))
    }
}
