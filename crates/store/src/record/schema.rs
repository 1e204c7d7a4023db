//! The tables, step by step. A step once released is never changed: the next one expands, moves, and only
//! a later release contracts, so that the version before can still run beside it.

use std::sync::LazyLock;

use serde_json::Value;
use sqlx::AssertSqlSafe;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::chain::sha256;
use crate::record::db::Conn;

struct Step {
    name: &'static str,
    both: &'static str,
    sqlite: &'static str,
    postgres: &'static str,
}

const STEPS: &[Step] = &[
    Step {
        name: "0001_record",
        both: include_str!("../../migrations/0001_record.sql"),
        sqlite: include_str!("../../migrations/0001_guard.sqlite.sql"),
        postgres: include_str!("../../migrations/0001_guard.postgres.sql"),
    },
    Step {
        name: "0002_reading",
        both: include_str!("../../migrations/0002_reading.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0003_repeat",
        both: include_str!("../../migrations/0003_repeat.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0004_second",
        both: include_str!("../../migrations/0004_second.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0005_identity",
        both: include_str!("../../migrations/0005_identity.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0007_guard",
        both: include_str!("../../migrations/0007_guard.sql"),
        sqlite: "",
        postgres: include_str!("../../migrations/0007_guard.postgres.sql"),
    },
    Step {
        name: "0008_look",
        both: include_str!("../../migrations/0008_look.sql"),
        sqlite: "",
        postgres: "",
    },
];

/// Names of the steps this release knows, in order.
pub(crate) fn steps() -> Vec<String> {
    STEPS.iter().map(|step| step.name.to_owned()).collect()
}

/// A column that a later step added to a table: rows and images written before do not know it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Younger {
    /// Which step, counted from the first.
    pub(crate) step: usize,
    pub(crate) table: String,
    pub(crate) field: String,
    /// What rows of before hold in it: nothing, or the text of its default.
    default: Option<String>,
}

impl Younger {
    /// What rows of before may hold, as JSON: a text, or the JSON that the text is.
    pub(crate) fn defaults(&self) -> Vec<Value> {
        let Some(text) = &self.default else { return vec![Value::Null] };
        let quoted = text.strip_prefix('\'').and_then(|text| text.strip_suffix('\''));
        let plain = quoted.unwrap_or(text).replace("''", "'");
        let read = serde_json::from_str(&plain.to_lowercase()).ok();
        quoted.map(|_| Value::from(plain)).into_iter().chain(read).collect()
    }
}

/// Every column that a later step added, the latest step first; read from the steps once.
pub(crate) fn younger() -> &'static [Younger] {
    static YOUNGER: LazyLock<Vec<Younger>> = LazyLock::new(|| {
        let all = STEPS.iter().enumerate().rev();
        all.flat_map(|(step, one)| added(step, one.both)).collect()
    });
    &YOUNGER
}

/// The columns that the text of a step adds to tables that were there before it.
fn added(step: usize, text: &str) -> Vec<Younger> {
    let lines = text.lines().filter(|line| !line.trim_start().starts_with("--"));
    let text = lines.collect::<Vec<_>>().join("\n");
    let statements = text.split(';').filter_map(|statement| {
        let words: Vec<&str> = statement.split_ascii_whitespace().collect();
        let ["ALTER", "TABLE", table, "ADD", "COLUMN", field, rest @ ..] = words.as_slice() else {
            return None;
        };
        let at = rest.iter().position(|word| *word == "DEFAULT");
        let default = at.map(|at| {
            let after = rest[at + 1..].join(" ");
            match after.strip_prefix('\'').and_then(|text| text.find("' ")) {
                Some(end) => after[..end + 2].to_owned(),
                None if after.starts_with('\'') => after,
                None => rest.get(at + 1).map_or_else(String::new, |word| (*word).to_owned()),
            }
        });
        Some(Younger { step, table: (*table).to_owned(), field: (*field).to_owned(), default })
    });
    statements.collect()
}

/// Brings the tables up to this release, inside the transaction given.
pub(crate) async fn migrate(conn: &mut Conn) -> Result<()> {
    if let Conn::Postgres(tx) = conn {
        // Two servers may start at once: the second waits here.
        sqlx::raw_sql("SELECT pg_advisory_xact_lock(5176840177)").execute(&mut **tx).await?;
    }
    let table =
        "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, sha256 TEXT NOT NULL)";
    on!(conn, c => sqlx::raw_sql(table).execute(c).await.map(|_| ()))?;
    let done: Vec<(String, String)> = on!(conn, c => sqlx::query_as("SELECT name, sha256 FROM migration ORDER BY name").fetch_all(c).await)?;
    newer_than_this(&done)?;
    for step in STEPS {
        let sum = sha256(step.both.as_bytes());
        match done.iter().find(|(name, _)| name == step.name) {
            Some((_, kept)) if *kept == sum => {}
            Some(_) => {
                return Err(StoreError::Damaged {
                    says: format!(
                        "the step {} of the tables is not the one this release knows",
                        step.name
                    ),
                });
            }
            None => run(conn, step, &sum).await?,
        }
    }
    Ok(())
}

async fn run(conn: &mut Conn, step: &Step, sum: &str) -> Result<()> {
    let (bytes, own) = match conn {
        Conn::Sqlite(_) => ("BLOB", step.sqlite),
        Conn::Postgres(_) => ("BYTEA", step.postgres),
    };
    for text in [step.both.replace("{bytes}", bytes), own.to_owned()] {
        on!(conn, c => sqlx::raw_sql(AssertSqlSafe(text)).execute(c).await.map(|_| ()))?;
    }
    on!(conn, c => sqlx::query("INSERT INTO migration (name, sha256) VALUES ($1, $2)").bind(step.name).bind(sum).execute(c).await.map(|_| ()))?;
    Ok(())
}

fn newer_than_this(done: &[(String, String)]) -> Result<()> {
    match done.iter().find(|(name, _)| STEPS.iter().all(|step| step.name != name)) {
        None => Ok(()),
        Some((name, _)) => Err(StoreError::Unusable {
            what: "the record".to_owned(),
            says: format!("it was written by a later release (step {name})"),
            hint: "use that release or a later one".to_owned(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn columns_of_later_steps_are_found_with_what_older_rows_hold() {
        let text = "-- ALTER TABLE no ADD COLUMN none TEXT;\nALTER TABLE loan ADD COLUMN a TEXT;\nALTER TABLE loan ADD COLUMN b BIGINT NOT NULL DEFAULT 3;ALTER TABLE night ADD COLUMN c TEXT NOT NULL DEFAULT '[]';\nALTER TABLE night ADD COLUMN d TEXT DEFAULT 'it''s so' NOT NULL;\nALTER TABLE night ADD COLUMN e BOOLEAN NOT NULL DEFAULT FALSE;";
        let found: Vec<_> =
            added(7, text).iter().map(|one| (one.field.clone(), one.defaults())).collect();
        let expected = [
            ("a", vec![json!(null)]),
            ("b", vec![json!(3)]),
            ("c", vec![json!("[]"), json!([])]),
            ("d", vec![json!("it's so")]),
            ("e", vec![json!(false)]),
        ];
        assert_eq!(found, expected.map(|(field, values)| (field.to_owned(), values)));
        assert!(younger().iter().any(|one| one.table == "loan" && one.field == "repeats_because"));
    }
}
