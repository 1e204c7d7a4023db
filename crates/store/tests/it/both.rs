//! One test on both databases.
//!
//! `MATINS_POSTGRES` is the address of a server whose user may make databases; `./check` starts one. Without
//! it only the embedded database is tried.

use std::sync::Arc;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::AtomicU32;
use std::sync::atomic::Ordering;

use sqlx::Connection as _;
use store::record::db::Place;
use store::record::db::Store;

static DATABASES: AtomicU32 = AtomicU32::new(0);

/// A fresh record with a clock that stands still until the test moves it.
pub(crate) struct Desk {
    pub(crate) store: Store,
    pub(crate) place: Place,
    pub(crate) clock: Arc<AtomicI64>,
    folder: tempfile::TempDir,
}

/// 2026-11-25T08:00:00Z.
pub(crate) const MORNING: i64 = 1_795_593_600;

impl Desk {
    pub(crate) async fn sqlite() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let place = Place::Folder(folder.path().join("record"));
        Self::at(place, folder).await
    }

    pub(crate) async fn postgres() -> Option<Self> {
        Some(Self::at(new_database().await?, tempfile::tempdir().unwrap()).await)
    }

    /// Another place of the same kind that holds nothing.
    pub(crate) async fn another_place(&self) -> Place {
        match &self.place {
            Place::Folder(_) => {
                let n = DATABASES.fetch_add(1, Ordering::Relaxed);
                Place::Folder(self.folder.path().join(format!("another{n}")))
            }
            Place::Url(_) => new_database().await.unwrap(),
        }
    }

    async fn at(place: Place, folder: tempfile::TempDir) -> Self {
        let clock = Arc::new(AtomicI64::new(MORNING));
        let told = clock.clone();
        let store =
            Store::open(&place, Arc::new(move || told.load(Ordering::SeqCst))).await.unwrap();
        Self { store, place, clock, folder }
    }

    pub(crate) fn wait_s(&self, seconds: i64) {
        self.clock.fetch_add(seconds, Ordering::SeqCst);
    }
}

impl Desk {
    /// Years go by, and somebody says that the clock is right.
    pub(crate) async fn years_later(&self, seconds: i64) {
        self.wait_s(seconds);
        let by = store::record::act::Author::program();
        self.store.accept_clock(&by, "the test says that time went by").await.unwrap();
    }
}

/// A database that holds nothing, on the server that is there for tests.
pub(crate) async fn new_database() -> Option<Place> {
    let Ok(server) = std::env::var("MATINS_POSTGRES") else {
        return None;
    };
    let name = format!("t{}_{}", std::process::id(), DATABASES.fetch_add(1, Ordering::Relaxed));
    let mut admin = sqlx::PgConnection::connect(&format!("{server}/postgres")).await.unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!("CREATE DATABASE {name}")))
        .execute(&mut admin)
        .await
        .unwrap();
    Some(Place::Url(format!("{server}/{name}")))
}

/// Makes of one `async fn(Desk)` two tests, one on each database.
macro_rules! on_both {
    ($($(#[$doc:meta])* async fn $name:ident($desk:ident) $body:block)+) => {
        $(
            mod $name {
                use super::*;

                $(#[$doc])*
                async fn on($desk: $crate::both::Desk) $body

                #[tokio::test(flavor = "multi_thread")]
                async fn sqlite() {
                    on($crate::both::Desk::sqlite().await).await;
                }

                #[tokio::test(flavor = "multi_thread")]
                async fn postgres() {
                    if let Some(desk) = $crate::both::Desk::postgres().await {
                        on(desk).await;
                    }
                }
            }
        )+
    };
}

/// Runs SQL straight in the database, as somebody would who goes round the program.
pub(crate) async fn straight(place: &Place, sql: impl Into<String>) -> Result<u64, sqlx::Error> {
    let sql = sqlx::AssertSqlSafe(sql.into());
    match place {
        Place::Folder(folder) => {
            let mut conn = sqlx::SqliteConnection::connect(&format!(
                "sqlite://{}",
                folder.join("matins.db").display()
            ))
            .await?;
            Ok(sqlx::raw_sql(sql).execute(&mut conn).await?.rows_affected())
        }
        Place::Url(url) => {
            let mut conn = sqlx::PgConnection::connect(url).await?;
            Ok(sqlx::raw_sql(sql).execute(&mut conn).await?.rows_affected())
        }
    }
}
