//! Whether the database is made as this release makes it: tables, indices and guards.
//!
//! Rows are proved by the chain; what keeps rows unique and acts unchanged is not in it. Whoever owns the
//! database can take a guard away, put an empty one of the same name in its place, or plant a trigger.

use std::collections::BTreeMap;

use sqlx::sqlite::SqlitePoolOptions;

use crate::db::Conn;
use crate::error::Result;
use crate::schema;

const GUARD_GONE: &str = "the guard that keeps acts from being changed is gone";

/// What is made otherwise than this release makes it, each as a sentence.
pub(crate) async fn faults(conn: &mut Conn) -> Result<Vec<String>> {
    match conn {
        Conn::Sqlite(_) => of_a_folder(conn).await,
        Conn::Postgres(_) => of_a_server(conn).await,
    }
}

// ---- A folder: held against a database made for it in memory ----------------------------------------

/// Kind, name, table and text of everything a database is made of.
type Made = BTreeMap<(String, String), (String, String)>;

async fn of_a_folder(conn: &mut Conn) -> Result<Vec<String>> {
    let found = made(conn).await?;
    let pool = SqlitePoolOptions::new().max_connections(1).connect("sqlite::memory:").await?;
    let mut fresh = Conn::Sqlite(pool.begin().await?);
    schema::migrate(&mut fresh).await?;
    let expected = made(&mut fresh).await?;
    drop(fresh);
    pool.close().await;
    let mut faults = Vec::new();
    let guards = ["act_kept", "act_unchanged"];
    if guards.iter().any(|name| !found.contains_key(&("trigger".to_owned(), (*name).to_owned()))) {
        faults.push(GUARD_GONE.to_owned());
    }
    for ((kind, name), (table, text)) in &expected {
        match found.get(&(kind.clone(), name.clone())) {
            None if guards.contains(&name.as_str()) => {}
            None => faults.push(format!("the {kind} {name} of {table} is gone")),
            Some(one) if *one == (table.clone(), text.clone()) => {}
            Some(_) => faults.push(format!("the {kind} {name} is not as this release makes it")),
        }
    }
    for (kind, name) in found.keys().filter(|key| !expected.contains_key(key)) {
        faults.push(format!("a {kind} {name} stands in the database, and no release made it"));
    }
    Ok(faults)
}

async fn made(conn: &mut Conn) -> Result<Made> {
    let sql = "SELECT type, name, tbl_name, COALESCE(sql, '') FROM sqlite_master WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'";
    let rows: Vec<(String, String, String, String)> =
        on!(conn, c => sqlx::query_as(sql).fetch_all(c).await)?;
    let one = |(kind, name, table, text): (String, String, String, String)| {
        // Columns added by steps that came in another order stand in another order.
        let mut parts: Vec<String> = text
            .trim_end_matches(')')
            .split(',')
            .map(|part| part.split_ascii_whitespace().collect::<Vec<_>>().join(" "))
            .collect();
        if kind == "table" {
            parts.sort();
        }
        ((kind, name), (table, parts.join(", ")))
    };
    Ok(rows.into_iter().map(one).collect())
}

// ---- A server: held against the names in the text of the steps --------------------------------------

async fn of_a_server(conn: &mut Conn) -> Result<Vec<String>> {
    let expected = Named::of(&schema::texts(true).join("\n"));
    let mut faults = guards(conn, &expected).await?;
    let indices = "SELECT c.relname::text, i.indisunique FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid WHERE c.relnamespace = current_schema()::regnamespace";
    let indices: Vec<(String, bool)> = on!(conn, c => sqlx::query_as(indices).fetch_all(c).await)?;
    for (name, unique) in &expected.indices {
        if !indices.contains(&(name.clone(), *unique)) {
            faults.push(format!("the index {name} is gone, or is not as this release makes it"));
        }
    }
    let rules = "SELECT COUNT(*) FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r'";
    let rules = conn.number(rules, &[]).await?;
    if rules > 0 {
        faults.push(format!(
            "{rules} rules rewrite statements in the database, and no release made them"
        ));
    }
    Ok(faults)
}

/// The triggers and the functions they run.
async fn guards(conn: &mut Conn, expected: &Named) -> Result<Vec<String>> {
    let mut faults = Vec::new();
    let found = "SELECT tgname::text, tgenabled::text FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid WHERE NOT tgisinternal AND c.relnamespace = current_schema()::regnamespace";
    let found: Vec<(String, String)> = on!(conn, c => sqlx::query_as(found).fetch_all(c).await)?;
    let is_on =
        |name: &str| found.iter().any(|(one, on)| one == name && matches!(on.as_str(), "O" | "A"));
    if expected.triggers.iter().any(|name| !is_on(name)) {
        faults.push(GUARD_GONE.to_owned());
    }
    let bodies = "SELECT proname::text, prosrc FROM pg_proc WHERE pronamespace = current_schema()::regnamespace";
    let bodies: Vec<(String, String)> = on!(conn, c => sqlx::query_as(bodies).fetch_all(c).await)?;
    for (name, body) in &expected.functions {
        let same = |(one, found): &(String, String)| one == name && squeezed(found) == *body;
        if !bodies.iter().any(same) {
            faults.push(format!("the function {name} is not as this release makes it"));
        }
    }
    for (name, _) in found.iter().filter(|(name, _)| !expected.triggers.contains(name)) {
        faults.push(format!("a trigger {name} stands in the database, and no release made it"));
    }
    Ok(faults)
}

/// What the steps name.
#[derive(Debug, Default, PartialEq, Eq)]
struct Named {
    /// Indices, and whether each is unique: also those that a table's own columns bring along.
    indices: Vec<(String, bool)>,
    triggers: Vec<String>,
    /// Functions with their bodies.
    functions: Vec<(String, String)>,
}

impl Named {
    fn of(text: &str) -> Self {
        let mut named = Self::default();
        let mut table = String::new();
        for line in text.lines() {
            let words: Vec<&str> = line.split_ascii_whitespace().collect();
            match words.as_slice() {
                ["CREATE", "TABLE", name, ..] => (*name).clone_into(&mut table),
                ["CREATE", "INDEX", name, ..] => named.indices.push(((*name).to_owned(), false)),
                ["CREATE", "UNIQUE", "INDEX", name, ..] => {
                    named.indices.push(((*name).to_owned(), true));
                }
                ["CREATE", "TRIGGER", name, ..] => named.triggers.push((*name).to_owned()),
                [");"] => table.clear(),
                [column, _, rest @ ..] if !table.is_empty() => {
                    let rest = rest.join(" ");
                    if rest.contains("PRIMARY KEY") {
                        named.indices.push((format!("{table}_pkey"), true));
                    }
                    if rest.contains("UNIQUE") {
                        named.indices.push((format!("{table}_{column}_key"), true));
                    }
                }
                _ => {}
            }
        }
        let functions = text.split("CREATE FUNCTION ").skip(1).filter_map(|rest| {
            let name = rest.split('(').next()?.trim().to_owned();
            Some((name, squeezed(rest.split("$$").nth(1)?)))
        });
        named.functions = functions.collect();
        named
    }
}

fn squeezed(text: &str) -> String {
    text.split_ascii_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_steps_name_is_read_from_their_text() {
        let named = Named::of(&schema::texts(true).join("\n"));
        let has = |name: &str, unique| named.indices.contains(&(name.to_owned(), unique));
        assert!(has("person_mrn", true) && has("account_login_key", true) && has("act_pkey", true));
        assert!(has("act_person", false));
        assert!(named.triggers.contains(&"act_guarded".to_owned()));
        assert!(named.functions[0].1.contains("acts are never deleted"));
    }
}
