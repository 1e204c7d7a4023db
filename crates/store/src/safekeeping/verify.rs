//! Checking a record: the database itself, the chain, every row and every kept byte.

use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Author;
use crate::record::all_tables::every_table;
use crate::record::chain_head::Head;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::entry::Entry;
use crate::record::row::Record;
use crate::safekeeping::fabric;
use crate::safekeeping::fabric::Expected;
use crate::safekeeping::proof::Differs;
use crate::safekeeping::proof::Proof;
use crate::safekeeping::proof::Verified;

/// So many acts or rows are read at a time.
const PAGE: i64 = 500;

/// How far a long piece of work has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// What is being looked at: `acts`, or the name of a table.
    pub what: &'static str,
    /// How many are done.
    pub done: u64,
    /// How many there are.
    pub of: u64,
}

/// Whoever is told of the steps.
pub type Progress<'a> = &'a (dyn Fn(Step) + Send + Sync);

/// Nobody is told.
pub fn in_silence(_: Step) {}

impl Store {
    /// Checks everything the record holds, at one moment, while work goes on. `heads` are those exported
    /// elsewhere; those in the record's own folder are compared too.
    ///
    /// # Errors
    /// When the database breaks off. What is wrong with the record is no error but part of the answer.
    pub async fn verify(&self, heads: &[Head], progress: Progress<'_>) -> Result<Verified> {
        let mut all = self.exported_heads()?;
        all.extend_from_slice(heads);
        let expected = self.as_made().await.map_err(|error| self.explain(error))?;
        let mut conn = self.read().await.map_err(|error| self.explain(error))?;
        let found = verify(&mut conn, &expected, &all, progress).await;
        found.map_err(|error| self.explain(error))
    }

    /// Writes down that the record was checked and found sound.
    ///
    /// # Errors
    /// When it cannot be written.
    pub async fn note_verified(&self, found: &Verified) -> Result<()> {
        let mut act = self.act(&Author::program(), "verify").await?;
        act.on("record", None);
        act.note(json!({"seq": found.seq, "hash": found.hash}));
        act.close().await.map(|_| ())
    }
}

/// Checks everything that is seen through one connection, made as is expected.
pub(crate) async fn verify(
    conn: &mut Conn,
    expected: &Expected,
    heads: &[Head],
    progress: Progress<'_>,
) -> Result<Verified> {
    let mut proof = Proof::new(heads);
    database(conn, expected, &mut proof).await?;
    acts(conn, &mut proof, progress).await?;
    every_table!(Row => { table::<Row>(conn, &mut proof, progress).await?; });
    files(conn, &mut proof, progress).await?;
    let gates = conn.number("SELECT COUNT(*) FROM gate", &[]).await?;
    if gates != 1 {
        proof.wrong(format!("the gate has {gates} rows, and has one in every record"));
    }
    if gates == 0 {
        return Ok(proof.finish(None));
    }
    let gate = conn.head().await?;
    Ok(proof.finish(Some(&gate)))
}

/// The database itself: its pages, its references, and whether tables, indices and guards are as they were made.
async fn database(conn: &mut Conn, expected: &Expected, proof: &mut Proof) -> Result<()> {
    match conn {
        Conn::Sqlite(tx) => {
            let said: Vec<String> =
                sqlx::query_scalar("PRAGMA integrity_check(50)").fetch_all(&mut **tx).await?;
            for line in said.iter().filter(|line| *line != "ok") {
                proof.wrong(format!("the database file is damaged: {line}"));
            }
            let loose: Vec<(String, Option<i64>, String, i64)> =
                sqlx::query_as("PRAGMA foreign_key_check").fetch_all(&mut **tx).await?;
            for (table, _, parent, _) in loose {
                proof.wrong(format!("a row of {table} refers to a row of {parent} that is gone"));
            }
        }
        Conn::Postgres(tx) => {
            let loose: Vec<String> = sqlx::query_scalar(
                "SELECT conname::text FROM pg_constraint WHERE NOT convalidated AND connamespace = current_schema()::regnamespace UNION ALL SELECT indexrelid::regclass::text FROM pg_index WHERE NOT indisvalid",
            )
            .fetch_all(&mut **tx)
            .await?;
            for name in loose {
                proof.wrong(format!("the database does not hold the rule {name}"));
            }
            let role: String =
                sqlx::query_scalar("SELECT current_setting('session_replication_role')")
                    .fetch_one(&mut **tx)
                    .await?;
            if role != "origin" {
                proof.wrong(format!("the guards do not act: session_replication_role is {role}"));
            }
        }
    }
    match expected {
        Expected::Known(expected) => {
            for fault in fabric::faults(conn, expected).await? {
                proof.wrong(fault);
            }
        }
        Expected::Unknown(why) => proof.tell(why.clone()),
    }
    Ok(())
}

async fn acts(conn: &mut Conn, proof: &mut Proof, progress: Progress<'_>) -> Result<()> {
    let count = conn.number("SELECT COUNT(*) FROM act", &[]).await?.unsigned_abs();
    let (mut last, mut seen) = (i64::MIN, 0);
    loop {
        let page = match conn.entries(last, PAGE).await {
            Err(error) if is_unreadable(&error) => one_by_one(conn, proof, last).await?,
            page => page?,
        };
        let Some(end) = page.last() else { break };
        last = end.seq;
        seen += page.len() as u64;
        for entry in &page {
            proof.act(entry);
        }
        progress(Step { what: "acts", done: seen, of: count });
    }
    if seen != count {
        proof.wrong(format!("{count} acts are kept, of which {seen} can be read in their order"));
    }
    Ok(())
}

/// The acts up to and after one that holds what no act can hold.
async fn one_by_one(conn: &mut Conn, proof: &mut Proof, mut last: i64) -> Result<Vec<Entry>> {
    let mut page = Vec::new();
    let sql = "SELECT COALESCE(MIN(seq), 0) FROM act WHERE seq > $1";
    for _ in 0..PAGE {
        match conn.entries(last, 1).await {
            Ok(one) => match one.into_iter().next() {
                Some(entry) => {
                    last = entry.seq;
                    page.push(entry);
                }
                None => break,
            },
            Err(error) if is_unreadable(&error) => {
                let next = conn.number(sql, &[last.into()]).await?;
                if next <= last {
                    break;
                }
                proof.wrong(format!("act {next} cannot be read"));
                last = next;
            }
            Err(error) => return Err(error),
        }
    }
    Ok(page)
}

async fn table<R: Record>(
    conn: &mut Conn,
    proof: &mut Proof,
    progress: Progress<'_>,
) -> Result<()> {
    let count = count::<R>(conn).await?;
    let (mut last, mut seen) = (i64::MIN, 0);
    loop {
        let ids = ids::<R>(conn, last).await?;
        let Some(end) = ids.last().copied() else { break };
        match conn
            .find::<R>("WHERE id > $1 AND id <= $2 ORDER BY id", &[last.into(), end.into()])
            .await
        {
            Ok(rows) => {
                for row in rows {
                    check_row(conn, proof, &row).await?;
                }
            }
            Err(error) if is_unreadable(&error) => {
                for id in &ids {
                    match conn.get::<R>(*id).await {
                        Ok(row) => check_row(conn, proof, &row).await?,
                        Err(error) if is_unreadable(&error) => proof.unreadable(R::TABLE, *id),
                        Err(error) => return Err(error),
                    }
                }
            }
            Err(error) => return Err(error),
        }
        last = end;
        seen += ids.len() as u64;
        progress(Step { what: R::TABLE, done: seen, of: count });
    }
    if seen != count {
        proof.wrong(format!("{} holds {count} rows, of which {seen} have a number", R::TABLE));
    }
    Ok(())
}

async fn check_row<R: Record>(conn: &mut Conn, proof: &mut Proof, row: &R) -> Result<()> {
    let value = serde_json::to_value(row)
        .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
    if let Some(differs) = proof.row(R::TABLE, row.id(), value) {
        tell(conn, proof, &differs).await?;
    }
    Ok(())
}

async fn tell(conn: &mut Conn, proof: &mut Proof, differs: &Differs) -> Result<()> {
    let written = conn.entries(differs.act - 1, 1).await.unwrap_or_default();
    proof.differs(differs, written.first().and_then(|entry| entry.body.as_deref()));
    Ok(())
}

async fn files(conn: &mut Conn, proof: &mut Proof, progress: Progress<'_>) -> Result<()> {
    let count = conn.number("SELECT COUNT(*) FROM bytes", &[]).await?.unsigned_abs();
    let (mut last, mut seen) = (String::new(), 0);
    while let Some(kept) = conn.bytes_after(&last).await? {
        last.clone_from(&kept.sha256);
        seen += 1;
        proof.bytes(&kept);
        // Inflating and hashing a long file has held this thread; others go first now.
        tokio::task::yield_now().await;
        progress(Step { what: "files", done: seen, of: count });
    }
    if seen != count {
        proof.wrong(format!("{count} files are kept, of which {seen} have a hash"));
    }
    Ok(())
}

async fn count<R: Record>(conn: &mut Conn) -> Result<u64> {
    let sql = sqlx::AssertSqlSafe(format!("SELECT COUNT(*) FROM {}", R::TABLE));
    let count = on!(conn, c => sqlx::query_scalar::<_, i64>(sql).fetch_one(c).await)?;
    Ok(count.unsigned_abs())
}

async fn ids<R: Record>(conn: &mut Conn, after: i64) -> Result<Vec<i64>> {
    let sql = sqlx::AssertSqlSafe(format!(
        "SELECT id FROM {} WHERE id > $1 ORDER BY id LIMIT {PAGE}",
        R::TABLE
    ));
    let ids = on!(conn, c => sqlx::query_scalar::<_, i64>(sql).bind(after).fetch_all(c).await);
    match ids.map_err(StoreError::from) {
        // A number that is no number: the count tells that it is there.
        Err(error) if is_unreadable(&error) => Ok(Vec::new()),
        ids => ids,
    }
}

/// Whether a value was found that its column cannot hold, which is the record's fault and not the database's.
fn is_unreadable(error: &StoreError) -> bool {
    use sqlx::Error::ColumnDecode;
    use sqlx::Error::Decode;
    matches!(error, StoreError::Database(ColumnDecode { .. } | Decode(_)))
}
