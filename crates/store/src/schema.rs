//! The tables, step by step. A step once released is never changed: the next one expands, moves, and only
//! a later release contracts, so that the version before can still run beside it.

use sqlx::AssertSqlSafe;

use crate::chain::sha256;
use crate::db::Conn;
use crate::error::Result;
use crate::error::StoreError;

struct Step {
    name: &'static str,
    both: &'static str,
    sqlite: &'static str,
    postgres: &'static str,
}

const STEPS: &[Step] = &[
    Step {
        name: "0001_record",
        both: include_str!("../migrations/0001_record.sql"),
        sqlite: include_str!("../migrations/0001_guard.sqlite.sql"),
        postgres: include_str!("../migrations/0001_guard.postgres.sql"),
    },
    Step {
        name: "0002_reading",
        both: include_str!("../migrations/0002_reading.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0003_repeat",
        both: include_str!("../migrations/0003_repeat.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0004_second",
        both: include_str!("../migrations/0004_second.sql"),
        sqlite: "",
        postgres: "",
    },
    Step {
        name: "0008_look",
        both: include_str!("../migrations/0008_look.sql"),
        sqlite: "",
        postgres: "",
    },
];

/// Names of the steps this release knows, in order.
pub(crate) fn steps() -> Vec<String> {
    STEPS.iter().map(|step| step.name.to_owned()).collect()
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
