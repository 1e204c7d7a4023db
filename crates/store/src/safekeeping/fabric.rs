//! Whether the database is made as this release makes it: tables, columns, indices, references and guards.
//!
//! Rows are proved by the chain; what keeps rows unique and acts unchanged is not in it. Whoever owns the
//! database can take a guard away, put an empty one of the same name in its place, or plant a trigger. So the
//! whole definition of everything is held against what the steps make when they are run anew on a database of
//! the same kind: one in memory, or on a server a schema of its own that is taken back at once. A server prints
//! definitions in its own words, which no text kept here could foresee for every release of it.

use sqlx::AssertSqlSafe;
use sqlx::sqlite::SqlitePoolOptions;

use crate::error::Result;
use crate::record::db::Conn;
use crate::record::db::Fabric;
use crate::record::db::Store;
use crate::record::schema;

const GUARD_GONE: &str = "the guard that keeps acts from being changed is gone";

/// How the definition ends of what stands there and does nothing.
const OFF: &str = " (switched off)";

/// What everything of a server's database is, in one statement.
const OF_A_SERVER: &str = include_str!("fabric.sql");

/// Of a folder's database. Names that begin so are the database's own, but only of tables and indices.
const OF_A_FOLDER: &str = "SELECT type, tbl_name, name, COALESCE(sql, '') FROM sqlite_master WHERE NOT (name LIKE 'sqlite\\_%' ESCAPE '\\' AND type IN ('table', 'index'))";

/// What this release makes.
pub(crate) enum Expected {
    /// Of a database as this one is.
    Known(Fabric),
    /// It cannot be made here, and why.
    Unknown(String),
}

impl Store {
    /// What this release makes on a database of this kind.
    pub(crate) async fn as_made(&self) -> Result<Expected> {
        if self.folder().is_some() {
            return in_memory().await.map(Expected::Known);
        }
        let mut conn = self.begin_write().await?;
        let sql = "SELECT CAST(current_setting('server_version_num') AS BIGINT)";
        let server = conn.number(sql, &[]).await?;
        // One program makes the same on one server however often it is asked.
        if let Some((_, made)) = self.made.lock().await.as_ref().filter(|made| made.0 == server) {
            return Ok(Expected::Known(made.clone()));
        }
        let made = in_a_schema_of_its_own(&mut conn).await;
        conn.take_back().await?;
        let Some(made) = made? else { return Ok(Expected::Unknown(NOT_COMPARED.to_owned())) };
        *self.made.lock().await = Some((server, made.clone()));
        Ok(Expected::Known(made))
    }
}

const NOT_COMPARED: &str = "how the database is made was not compared with this release: the account may not make a schema to compare with (GRANT CREATE ON DATABASE lets it)";

async fn in_memory() -> Result<Fabric> {
    let pool = SqlitePoolOptions::new().max_connections(1).connect("sqlite::memory:").await?;
    let mut fresh = Conn::Sqlite(pool.begin().await?);
    schema::migrate(&mut fresh).await?;
    let made = made(&mut fresh).await?;
    drop(fresh);
    pool.close().await;
    Ok(made)
}

/// `None` when the server does not let this account make a schema.
async fn in_a_schema_of_its_own(conn: &mut Conn) -> Result<Option<Fabric>> {
    // Two who check at once do not wait for each other's name.
    let own = conn.number("SELECT CAST(pg_backend_pid() AS BIGINT)", &[]).await?;
    let sql = format!(
        "CREATE SCHEMA matins_as_made_{own}; SET LOCAL search_path TO matins_as_made_{own}"
    );
    let begun =
        on!(&mut *conn, c => sqlx::raw_sql(AssertSqlSafe(sql)).execute(c).await.map(|_| ()));
    match begun {
        Err(sqlx::Error::Database(said)) if is_not_let(said.code().as_deref()) => Ok(None),
        begun => {
            begun?;
            schema::migrate(conn).await?;
            made(conn).await.map(Some)
        }
    }
}

/// Insufficient privilege, or a server that only reads (`PostgreSQL`, appendix A, error codes).
fn is_not_let(code: Option<&str>) -> bool {
    matches!(code, Some("42501" | "25006"))
}

async fn made(conn: &mut Conn) -> Result<Fabric> {
    let sql = match conn {
        Conn::Sqlite(_) => OF_A_FOLDER,
        Conn::Postgres(_) => OF_A_SERVER,
    };
    let rows: Vec<(String, String, String, String)> =
        on!(conn, c => sqlx::query_as(sql).fetch_all(c).await)?;
    let one = |(kind, table, name, text): (String, String, String, String)| {
        let text = if kind == "table" { in_any_order(&text) } else { squeezed(&text) };
        ((kind, table, name), text)
    };
    Ok(rows.into_iter().map(one).collect())
}

/// Columns added by steps that came in another order stand in another order.
fn in_any_order(text: &str) -> String {
    let mut parts: Vec<String> = text.trim_end_matches(')').split(',').map(squeezed).collect();
    parts.sort();
    parts.join(", ")
}

fn squeezed(text: &str) -> String {
    text.split_ascii_whitespace().collect::<Vec<_>>().join(" ")
}

/// What is made otherwise than this release makes it, each as a sentence.
pub(crate) async fn faults(conn: &mut Conn, expected: &Fabric) -> Result<Vec<String>> {
    Ok(differences(&made(conn).await?, expected))
}

fn differences(found: &Fabric, expected: &Fabric) -> Vec<String> {
    let mut faults = Vec::new();
    let is_on = |key| found.get(key).is_some_and(|text: &String| !text.ends_with(OFF));
    if expected.keys().any(|key| key.0 == "trigger" && !is_on(key)) {
        faults.push(GUARD_GONE.to_owned());
    }
    for (key, text) in expected.iter().filter(|(key, _)| key.0 != "trigger" || is_on(key)) {
        match found.get(key) {
            None => faults.push(format!("the {} is gone", called(key))),
            Some(one) if one == text => {}
            Some(_) => {
                faults.push(format!("the {} is not as this release makes it", called(key)));
            }
        }
    }
    for key in found.keys().filter(|key| !expected.contains_key(key)) {
        let a = if key.0 == "index" { "an" } else { "a" };
        let says = format!("{a} {} stands in the database, and no release made it", called(key));
        faults.push(says);
    }
    faults
}

/// What a thing is called: those whose name tells nothing alone with their table.
fn called((kind, table, name): &(String, String, String)) -> String {
    match kind.as_str() {
        "column" | "constraint" | "rule" | "policy" => format!("{kind} {name} of {table}"),
        _ => format!("{kind} {name}"),
    }
}
