//! Backing a record up into one file, checking such a file, and restoring it into an empty place.
//!
//! A backup is the record at one moment, taken while work goes on. It is written under another name, brought
//! to the disk, read back whole and checked like a record, and only then given its name.

use std::fs::File;
use std::io;
use std::io::BufReader;
use std::io::BufWriter;
use std::path::Path;
use std::path::PathBuf;

use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Author;
use crate::record::all_tables::every_table;
use crate::record::bytes;
use crate::record::chain_head::Head;
use crate::record::db::Conn;
use crate::record::db::Place;
use crate::record::db::Reach;
use crate::record::db::Store;
use crate::record::entry::Entry;
use crate::record::own;
use crate::record::row::Record;
use crate::record::row::put_sql;
use crate::record::schema;
use crate::record::tables::Account;
use crate::safekeeping::dump::Dump;
use crate::safekeeping::dump::DumpReader;
use crate::safekeeping::dump::FORMAT;
use crate::safekeeping::dump::Header;
use crate::safekeeping::dump::Item;
use crate::safekeeping::dump::Passphrase;
use crate::safekeeping::dump::Sealed;
use crate::safekeeping::dump::invalid;
use crate::safekeeping::dump::read_header;
use crate::safekeeping::proof::Proof;
use crate::safekeeping::proof::Verified;
use crate::safekeeping::verify::Progress;
use crate::safekeeping::verify::Step;
use crate::safekeeping::verify::in_silence;
use crate::safekeeping::verify::verify;
use crate::when::Clock;
use crate::when::rfc3339;

/// So many acts or rows are read at a time.
const PAGE: i64 = 500;

/// A backup that was made or checked.
#[derive(Clone, Debug)]
pub struct Backup {
    /// What its first line tells.
    pub header: Header,
    /// What reading it whole found.
    pub verified: Verified,
}

/// Writes the record of this moment to a new file, while work goes on.
///
/// # Errors
/// When the file stands already or cannot be written, the database breaks off, or what was written does not
/// agree with the chain. Then no file is left.
pub async fn backup(
    store: &Store,
    to: &Path,
    passphrase: Option<&Passphrase>,
    progress: Progress<'_>,
) -> Result<Backup> {
    if to.exists() {
        return Err(unusable(
            to,
            "it stands already, and a backup is never replaced",
            "name another file",
        ));
    }
    let part = Part::beside(to)?;
    write(store, &part.0, passphrase, progress).await?;
    let (from, with) = (part.0.clone(), passphrase.cloned());
    let read = tokio::task::spawn_blocking(move || check(&from, with.as_ref(), &in_silence)).await;
    let made = read.map_err(|error| unusable(to, error, ""))??;
    if let Some(wrong) = made.verified.wrong.first() {
        return Err(unusable(
            to,
            format!("the record does not agree with its chain, and no backup was made: {wrong}"),
            "run `matins verify`, and keep the last good backup",
        ));
    }
    part.named(to)?;
    store.export_head().await?;
    let mut act = store.act(&Author::program(), "backup").await?;
    act.on("record", None);
    act.note(json!({"seq": made.header.seq, "hash": made.header.hash, "encrypted": made.header.sealed.is_some()}));
    act.close().await?;
    Ok(made)
}

/// Reads a backup whole and checks it as a record is checked.
///
/// # Errors
/// When it cannot be read, is damaged, or the passphrase is not its own. What is wrong with the record in
/// it is part of the answer.
pub fn check(
    from: &Path,
    passphrase: Option<&Passphrase>,
    progress: Progress<'_>,
) -> Result<Backup> {
    let failed = |error: io::Error| unreadable(from, &error);
    let (header, mut items) = open(from, passphrase).map_err(failed)?;
    let head = Head { seq: header.seq, at: header.at, hash: header.hash.clone() };
    let mut proof = Proof::new(std::slice::from_ref(&head));
    let of = header.rows.values().sum();
    let mut done = 0;
    while let Some(item) = items.next().map_err(failed)? {
        match item {
            Item::Act(entry) => proof.act(&entry),
            Item::Row(table, line) => {
                let row = image(table, &line).map_err(failed)?;
                let id = row["id"].as_i64().unwrap_or(0);
                if let Some(differs) = proof.row(table, id, row) {
                    proof.differs(&differs, None);
                }
            }
            Item::Bytes(kept) => proof.bytes(&kept),
        }
        done += 1;
        progress(Step { what: "backup", done, of });
    }
    Ok(Backup { header, verified: proof.finish(Some(&head)) })
}

/// Restores a backup into a place that holds nothing, checks what stands there, and notes it in the record.
///
/// # Errors
/// When the backup is damaged or does not agree with its chain, the passphrase is not its own, or the place
/// is not empty. Then nothing is left in the place.
pub async fn restore(
    from: &Path,
    to: &Place,
    passphrase: Option<&Passphrase>,
    clock: Clock,
    progress: Progress<'_>,
) -> Result<Verified> {
    let verified = match to {
        Place::Folder(folder) => {
            empty_folder(folder)?;
            let part = Part::beside(folder)?;
            let place = Place::Folder(part.0.clone());
            let store = Store::connect(&place, clock.clone(), Reach::Owner).await?;
            let done = fill(&store, from, passphrase, progress).await;
            store.close().await;
            let verified = done?;
            part.named(folder)?;
            verified
        }
        Place::Url(_) => {
            let store = Store::connect(to, clock.clone(), Reach::Owner).await?;
            let done = fill(&store, from, passphrase, progress).await;
            store.close().await;
            done?
        }
    };
    note(to, clock, &verified).await.map_err(|error| StoreError::Unusable {
        what: "the record".to_owned(),
        says: format!("it is restored, but that could not be noted in it: {error}"),
        hint: error.hint(),
    })?;
    Ok(verified)
}

async fn note(to: &Place, clock: Clock, verified: &Verified) -> Result<()> {
    let store = Store::open(to, clock).await?;
    let mut act = store.act(&Author::program(), "restore").await?;
    act.on("record", None);
    act.note(json!({"seq": verified.seq, "hash": verified.hash}));
    act.close().await?;
    store.close().await;
    Ok(())
}

// ---- Writing ---------------------------------------------------------------------------------------

async fn write(
    store: &Store,
    path: &Path,
    passphrase: Option<&Passphrase>,
    progress: Progress<'_>,
) -> Result<()> {
    let failed = |error: io::Error| unwritable(path, &error);
    let (sealed, key) = sealed(passphrase).await.map_err(failed)?.unzip();
    let mut conn = store.read().await?;
    let header = header(store, &mut conn, sealed).await?;
    let file = BufWriter::new(own::new_file(path).map_err(failed)?);
    let mut dump = Dump::new(file, &header, key).map_err(failed)?;
    let of = header.rows.values().sum();
    let mut done = 0;
    let mut tell = |rows: usize| {
        done += rows as u64;
        progress(Step { what: "backup", done, of });
    };
    dump.begin("act").map_err(failed)?;
    let mut last = 0;
    loop {
        let page = conn.entries(last, PAGE).await?;
        let Some(end) = page.last() else { break };
        last = end.seq;
        for entry in &page {
            dump.row(entry).map_err(failed)?;
        }
        tell(page.len());
    }
    dump.end("act").map_err(failed)?;
    every_table!(Row => { rows::<Row, _>(&mut conn, &mut dump, &mut tell, &failed).await?; });
    dump.begin("bytes").map_err(failed)?;
    let mut last = String::new();
    while let Some(kept) = conn.bytes_after(&last).await? {
        dump.bytes(&kept).map_err(failed)?;
        last = kept.sha256;
        tell(1);
    }
    dump.end("bytes").map_err(failed)?;
    let file = dump.finish().map_err(failed)?;
    let file = file.into_inner().map_err(|error| failed(error.into_error()))?;
    file.sync_all().map_err(failed)
}

/// A row with everything its table holds: acts and pages see the fingerprint of a password only, but
/// whoever is restored must be able to log in.
fn whole<R: Record + PartialEq + 'static>(row: &R) -> io::Result<serde_json::Value> {
    let mut value = serde_json::to_value(row)?;
    if let Some(account) = (row as &dyn std::any::Any).downcast_ref::<Account>() {
        value["password"] = json!(account.password);
    }
    // A kind of row that hides something more would be noticed at the restore only, when it is too late.
    let back: R = serde_json::from_value(value.clone())?;
    if back == *row {
        Ok(value)
    } else {
        Err(invalid(format!("{} cannot be written whole", R::name(row.id()))))
    }
}

/// The image of a row that stands in a backup, as its act holds it.
fn image(table: &str, line: &str) -> io::Result<serde_json::Value> {
    every_table!(Row => {
        if table == Row::TABLE {
            return Ok(serde_json::to_value(row_of::<Row>(line)?)?);
        }
    });
    Ok(serde_json::Value::Null)
}

/// A row as a line of a backup tells it. One made before a column was added does not tell it: it holds what
/// the step that added it gave to every row.
fn row_of<R: Record>(line: &str) -> io::Result<R> {
    let read = serde_json::from_str::<R>(line);
    let Err(error) = read else { return Ok(read?) };
    let told: serde_json::Value = serde_json::from_str(line)?;
    let younger = schema::younger();
    // A default that is text may be meant as text or as the JSON it is.
    for last in [false, true] {
        let mut row = told.clone();
        for added in younger.iter().filter(|added| added.table == R::TABLE) {
            let mut defaults = added.defaults();
            let default = if last { defaults.pop() } else { defaults.into_iter().next() };
            if row.get(&added.field).is_none() {
                row[&added.field] = default.unwrap_or_default();
            }
        }
        if let Ok(row) = serde_json::from_value(row) {
            return Ok(row);
        }
    }
    Err(error.into())
}

async fn rows<R: Record + PartialEq + 'static, W: io::Write>(
    conn: &mut Conn,
    dump: &mut Dump<W>,
    tell: &mut impl FnMut(usize),
    failed: &impl Fn(io::Error) -> StoreError,
) -> Result<()> {
    dump.begin(R::TABLE).map_err(failed)?;
    let mut last = 0;
    loop {
        let page: Vec<R> = conn.find("WHERE id > $1 ORDER BY id LIMIT 500", &[last.into()]).await?;
        let Some(end) = page.last() else { break };
        last = end.id();
        for row in &page {
            dump.row(&whole(row).map_err(failed)?).map_err(failed)?;
        }
        tell(page.len());
    }
    dump.end(R::TABLE).map_err(failed)
}

async fn sealed(passphrase: Option<&Passphrase>) -> io::Result<Option<(Sealed, [u8; 32])>> {
    let Some(passphrase) = passphrase.cloned() else { return Ok(None) };
    let made = tokio::task::spawn_blocking(move || Sealed::new(&passphrase)).await;
    made.map_err(io::Error::other)?.map(Some)
}

async fn header(store: &Store, conn: &mut Conn, sealed: Option<Sealed>) -> Result<Header> {
    let head = conn.head().await?;
    let mut header = Header {
        format: FORMAT.to_owned(),
        made_at: rfc3339(store.now()),
        software: engine::ENGINE.to_owned(),
        steps: schema::steps(),
        seq: head.seq,
        at: head.at,
        hash: head.hash,
        rows: std::collections::BTreeMap::new(),
        sealed,
    };
    let mut tables = crate::record::all_tables::tables();
    tables.extend(["act", "bytes"]);
    for table in tables {
        let sql = sqlx::AssertSqlSafe(format!("SELECT COUNT(*) FROM {table}"));
        let count = on!(conn, c => sqlx::query_scalar::<_, i64>(sql).fetch_one(c).await)?;
        header.rows.insert(table.to_owned(), count.unsigned_abs());
    }
    Ok(header)
}

// ---- Restoring -------------------------------------------------------------------------------------

type Items = DumpReader<BufReader<File>>;

fn open(from: &Path, passphrase: Option<&Passphrase>) -> io::Result<(Header, Items)> {
    let mut file = BufReader::new(File::open(from)?);
    let (header, line) = read_header(&mut file)?;
    let items = DumpReader::new(file, &header, &line, passphrase)?;
    Ok((header, items))
}

/// Everything in one transaction, checked before it is committed.
async fn fill(
    store: &Store,
    from: &Path,
    passphrase: Option<&Passphrase>,
    progress: Progress<'_>,
) -> Result<Verified> {
    let failed = |error: io::Error| unreadable(from, &error);
    let (header, mut items) = open(from, passphrase).map_err(failed)?;
    if let Some(step) = header.steps.iter().find(|step| !schema::steps().contains(step)) {
        let says = format!("it was made by a later release, {} (step {step})", header.software);
        return Err(unusable(from, says, "use that release or a later one"));
    }
    // Before anything is written here: on a server it waits for whoever makes tables.
    let expected = store.as_made().await?;
    let mut conn = store.begin_write().await?;
    references_wait(&mut conn).await?;
    schema::migrate(&mut conn).await?;
    references_of_new_tables_wait(&mut conn).await?;
    let of = header.rows.values().sum();
    let (mut done, mut head) = (0, None);
    while let Some(item) = items.next().map_err(failed)? {
        match item {
            Item::Act(entry) => {
                put_act(&mut conn, &entry).await?;
                head = Some(Head { seq: entry.seq, at: entry.at, hash: entry.hash.clone() });
            }
            Item::Row(table, line) => put_row(&mut conn, table, &line, &failed).await?,
            Item::Bytes(kept) => bytes::write(&mut conn, &kept).await?,
        }
        done += 1;
        progress(Step { what: "restore", done, of });
    }
    if let Some(head) = head {
        on!(&mut conn, c => sqlx::query("UPDATE gate SET seq = $1, at = $2, hash = $3 WHERE id = 1")
            .bind(head.seq).bind(head.at).bind(&head.hash).execute(c).await.map(|_| ()))?;
    }
    references_hold(&mut conn).await?;
    let exported = Head { seq: header.seq, at: header.at, hash: header.hash };
    let verified = verify(&mut conn, &expected, &[exported], progress).await?;
    if let Some(wrong) = verified.wrong.first() {
        return Err(unusable(
            from,
            format!("what it holds does not agree with its chain: {wrong}"),
            "restore an older backup",
        ));
    }
    conn.commit().await.map_err(|error| store.explain(error))?;
    Ok(verified)
}

async fn put_act(conn: &mut Conn, entry: &Entry) -> Result<()> {
    let sql = "INSERT INTO act (seq, at, who, role, station, verb, object, person, software, body, body_sha256, prev, hash) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)";
    on!(conn, c => sqlx::query(sql)
        .bind(entry.seq).bind(entry.at).bind(&entry.who).bind(&entry.role).bind(&entry.station)
        .bind(&entry.verb).bind(&entry.object).bind(entry.person).bind(&entry.software)
        .bind(&entry.body).bind(&entry.body_sha256).bind(&entry.prev).bind(&entry.hash)
        .execute(c).await.map(|_| ()))?;
    Ok(())
}

async fn put_row(
    conn: &mut Conn,
    table: &str,
    line: &str,
    failed: &impl Fn(io::Error) -> StoreError,
) -> Result<()> {
    every_table!(Row => {
        if table == Row::TABLE {
            let mut row = row_of::<Row>(line).map_err(failed)?;
            // A text that the new place cannot hold is refused by it, with words; the old place held it.
            let _ = row.fit();
            return put(conn, &row).await;
        }
    });
    Ok(())
}

async fn put<R: Record>(conn: &mut Conn, row: &R) -> Result<()> {
    let sql = sqlx::AssertSqlSafe(put_sql::<R>());
    match conn {
        Conn::Sqlite(tx) => {
            row.bind_sqlite(sqlx::query(sql)).execute(&mut **tx).await?;
        }
        Conn::Postgres(tx) => {
            row.bind_postgres(sqlx::query(sql)).execute(&mut **tx).await?;
        }
    }
    Ok(())
}

/// A row may refer to one that comes after it, so references are looked at when all rows are in. On a
/// server this is also where a database that holds something is refused.
async fn references_wait(conn: &mut Conn) -> Result<()> {
    match conn {
        Conn::Sqlite(tx) => {
            sqlx::raw_sql("PRAGMA defer_foreign_keys = ON").execute(&mut **tx).await?;
        }
        Conn::Postgres(_) => {
            let sql = "SELECT COUNT(*) FROM information_schema.tables WHERE table_schema = current_schema()";
            let tables = conn.number(sql, &[]).await?;
            if tables > 0 {
                return Err(StoreError::Unusable {
                    what: "the database".to_owned(),
                    says: format!("it is not empty: it holds {tables} tables"),
                    hint: "make a new database and restore into it".to_owned(),
                });
            }
        }
    }
    Ok(())
}

const EACH_REFERENCE: &str = "DO $$ DECLARE one record; BEGIN FOR one IN SELECT conrelid::regclass AS of_table, conname FROM pg_constraint WHERE contype = 'f' AND connamespace = current_schema()::regnamespace LOOP EXECUTE format('ALTER TABLE %s ALTER CONSTRAINT %I {how}', one.of_table, one.conname); END LOOP; END $$";

async fn references_of_new_tables_wait(conn: &mut Conn) -> Result<()> {
    if let Conn::Postgres(tx) = conn {
        let sql = EACH_REFERENCE.replace("{how}", "DEFERRABLE INITIALLY DEFERRED");
        sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(&mut **tx).await?;
    }
    Ok(())
}

async fn references_hold(conn: &mut Conn) -> Result<()> {
    if let Conn::Postgres(tx) = conn {
        sqlx::raw_sql("SET CONSTRAINTS ALL IMMEDIATE").execute(&mut **tx).await?;
        let sql = EACH_REFERENCE.replace("{how}", "NOT DEFERRABLE");
        sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(&mut **tx).await?;
    }
    Ok(())
}

// ---- Files and folders -----------------------------------------------------------------------------

/// A file or folder that is being made under another name, and goes away unless it is given its own.
struct Part(PathBuf);

impl Part {
    fn beside(path: &Path) -> Result<Self> {
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let Some(name) = name else {
            return Err(unusable(path, "it has no name of its own", "name it in full"));
        };
        Ok(Self(path.with_file_name(format!(".{name}.{}.part", std::process::id()))))
    }

    /// Gives it its name, and brings the name to the disk.
    fn named(self, path: &Path) -> Result<()> {
        let named = std::fs::rename(&self.0, path).and_then(|()| sync_folder_of(path));
        named.map_err(|error| unwritable(path, &error))
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        // After it got its name there is nothing under the other one; that is no failure.
        let _ = if self.0.is_dir() {
            std::fs::remove_dir_all(&self.0)
        } else {
            std::fs::remove_file(&self.0)
        };
    }
}

#[cfg(unix)]
fn sync_folder_of(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new(".")))?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder_of(_: &Path) -> io::Result<()> {
    // A folder cannot be opened here, and the system writes names through.
    Ok(())
}

fn empty_folder(folder: &Path) -> Result<()> {
    let empty = match std::fs::read_dir(folder) {
        Ok(mut found) => found.next().is_none(),
        Err(error) if error.kind() == io::ErrorKind::NotFound => true,
        Err(error) => return Err(unwritable(folder, &error)),
    };
    if empty {
        return Ok(());
    }
    Err(unusable(folder, "the folder is not empty", "name a folder that is empty or not there yet"))
}

fn unusable(what: &Path, says: impl std::fmt::Display, hint: &str) -> StoreError {
    StoreError::Unusable {
        what: what.display().to_string(),
        says: says.to_string(),
        hint: hint.to_owned(),
    }
}

fn unwritable(path: &Path, error: &io::Error) -> StoreError {
    let hint = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::FileTooLarge | io::ErrorKind::QuotaExceeded => {
            "free some room or name another disk; nothing was left there"
        }
        _ => "name a place that may be written",
    };
    unusable(path, format!("it cannot be written: {error}"), hint)
}

fn unreadable(path: &Path, error: &io::Error) -> StoreError {
    let hint = match error.kind() {
        io::ErrorKind::NotFound => "name a file that is there",
        io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => {
            "nothing was changed; use another backup if this one is damaged"
        }
        _ => "",
    };
    match error.kind() {
        io::ErrorKind::NotFound => unusable(path, "there is no such file", hint),
        _ => unusable(path, error, hint),
    }
}
