//! The database: where it lies, how it is opened, and one connection's reading.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use sqlx::AssertSqlSafe;
use sqlx::Connection as _;
use sqlx::Postgres;
use sqlx::Sqlite;
use sqlx::Transaction;
use sqlx::postgres::PgConnectOptions;
use sqlx::postgres::PgPoolOptions;
use sqlx::postgres::PgSslMode;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::sqlite::SqliteJournalMode;
use sqlx::sqlite::SqlitePoolOptions;
use sqlx::sqlite::SqliteSynchronous;
use tokio::sync::Mutex;
use tokio::sync::broadcast;

use crate::error::RECORD;
use crate::error::Result;
use crate::error::StoreError;
use crate::record::chain_head::HEADS;
use crate::record::chain_head::Heads;
use crate::record::network_share;
use crate::record::own;
use crate::record::row::Record;
use crate::record::schema;
use crate::record::throttle::Door;
use crate::text;
use crate::when::Clock;

/// Name of the database file in the record's folder.
pub const FILE: &str = "matins.db";

/// Where a record lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A folder of this machine, with an embedded database.
    Folder(PathBuf),
    /// A `PostgreSQL` database, `postgres://…`.
    Url(String),
}

impl Place {
    /// A `postgres://` address, or else a folder.
    pub fn read(text: &str) -> Self {
        if text.starts_with("postgres://") || text.starts_with("postgresql://") {
            Self::Url(text.to_owned())
        } else {
            Self::Folder(PathBuf::from(text))
        }
    }
}

/// Who else of the machine may reach into the folder of a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Reach {
    /// Nobody but the account that runs the program: a wider folder is refused.
    #[default]
    Owner,
    /// Whoever the folder's own rights let in; the operator said so.
    Shared,
}

/// The record of a department. Cheap to clone; all clones share the same connections.
#[derive(Clone)]
pub struct Store {
    pool: Pool,
    place: Place,
    pub(crate) clock: Clock,
    /// Acts of this process queue here, in order of arrival, before they queue at the database.
    pub(crate) gate: Arc<Mutex<()>>,
    /// The time that sessions and delays run by, and whose turn it is to try a password.
    pub(crate) door: Arc<Door>,
    /// Acts that changed something are told here once they are closed.
    pub(crate) told: broadcast::Sender<Closed>,
    /// Where heads of the chain go.
    pub(crate) heads: Heads,
    /// What this release makes on a server of a version, once that was asked.
    pub(crate) made: Arc<Mutex<Option<(i64, Fabric)>>>,
    /// How far the time of an invented department lies from the clock that was given, s.
    pub(crate) invented_s: Option<i64>,
}

/// Kind, table and name of everything a database is made of, each with its definition.
pub(crate) type Fabric = BTreeMap<(String, String, String), String>;

/// An act that changed something and is in the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Closed {
    /// Its sequence number.
    pub seq: i64,
    /// What it was about, for instance `loan 12`.
    pub object: String,
}

#[derive(Clone)]
enum Pool {
    Sqlite(sqlx::SqlitePool),
    Postgres(sqlx::PgPool),
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // The address may hold a password.
        let kind = match self.pool {
            Pool::Sqlite(_) => "folder",
            Pool::Postgres(_) => "PostgreSQL",
        };
        f.debug_struct("Store").field("kind", &kind).finish_non_exhaustive()
    }
}

impl Store {
    /// Opens a record, makes it if it is not there, and brings its tables up to this release.
    ///
    /// # Errors
    /// When the folder is a network share, may be read by others, cannot be written or is damaged, or the server cannot be reached.
    pub async fn open(place: &Place, clock: Clock) -> Result<Self> {
        Self::open_within(place, clock, Reach::Owner).await
    }

    /// The same, the folder reached by those who may.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub async fn open_within(place: &Place, clock: Clock, reach: Reach) -> Result<Self> {
        let store = Self::connect(place, clock, reach).await?;
        let mut conn = store.begin_write().await.map_err(|error| store.explain(error))?;
        let made = schema::migrate(&mut conn).await;
        made.map_err(|error| store.explain(error))?;
        conn.commit().await.map_err(|error| store.explain(error))?;
        store.set_heads().await?;
        store.tell_head().await;
        store.at_its_own_time().await
    }

    /// Opens a record that is there; a mistyped place may not become a new one.
    ///
    /// # Errors
    /// When there is none, and as [`Store::open`].
    pub async fn open_existing(place: &Place, clock: Clock, reach: Reach) -> Result<Self> {
        let (what, there) = match place {
            Place::Folder(folder) => (folder.display().to_string(), holds_record(folder)?),
            Place::Url(_) => {
                let store = Self::connect(place, clock.clone(), reach).await?;
                let sql = "SELECT COUNT(*) FROM information_schema.tables WHERE table_schema = current_schema() AND table_name = 'migration'";
                let tables = store.read().await?.number(sql, &[]).await?;
                store.close_quietly().await;
                ("the database".to_owned(), tables > 0)
            }
        };
        if there {
            return Self::open_within(place, clock, reach).await;
        }
        Err(StoreError::Unusable {
            what,
            says: "there is no record here".to_owned(),
            hint: "name the folder or database the workbench was started with".to_owned(),
        })
    }

    /// Connects, and leaves the tables as they are: there may be none.
    pub(crate) async fn connect(place: &Place, clock: Clock, reach: Reach) -> Result<Self> {
        let pool = match place {
            Place::Folder(folder) => Pool::Sqlite(open_folder(folder, reach).await?),
            Place::Url(url) => Pool::Postgres(open_url(url).await?),
        };
        let door = Arc::new(Door::new(clock()));
        Ok(Self {
            pool,
            place: place.clone(),
            clock,
            door,
            gate: Arc::default(),
            told: broadcast::Sender::new(256),
            heads: Heads::new(match place {
                Place::Folder(folder) => Some(folder),
                Place::Url(_) => None,
            }),
            made: Arc::default(),
            invented_s: None,
        })
    }

    /// The folder of an embedded record.
    pub fn folder(&self) -> Option<&Path> {
        match &self.place {
            Place::Folder(folder) => Some(folder),
            Place::Url(_) => None,
        }
    }

    /// Seconds since 1970 by the clock the record was given, or by the time of the invented department it is of.
    pub fn now(&self) -> i64 {
        (self.clock)()
    }

    /// Acts that change something, as they are closed, from now on.
    pub fn acts(&self) -> broadcast::Receiver<Closed> {
        self.told.subscribe()
    }

    /// On a server, tells also of acts that other programs closed, two seconds late at most. Never ends there;
    /// an embedded record has no other writer and this ends at once.
    pub async fn follow(&self) {
        let Pool::Postgres(pool) = &self.pool else { return };
        let mut seen: i64 = i64::MAX;
        loop {
            let sql = "SELECT seq, object FROM act WHERE seq > $1 AND verb NOT IN ('look', 'login', 'login.failed', 'logout', 'logout.elsewhere', 'session.over', 'access.refused', 'access.foreign') ORDER BY seq LIMIT 200";
            let head = sqlx::query_scalar::<_, i64>("SELECT seq FROM gate WHERE id = 1")
                .fetch_one(pool)
                .await;
            if let Ok(head) = head
                && seen < head
                && let Ok(acts) =
                    sqlx::query_as::<_, (i64, String)>(sql).bind(seen).fetch_all(pool).await
            {
                for (seq, object) in acts {
                    let _ = self.told.send(Closed { seq, object });
                }
            }
            // A server that is away now is asked again.
            seen = head.unwrap_or(seen);
            tokio::time::sleep(Duration::from_secs(2)).await;
        }
    }

    /// A connection that reads one moment of the record: later acts are not seen through it.
    ///
    /// # Errors
    /// When the database cannot be reached.
    pub async fn read(&self) -> Result<Conn> {
        Ok(match &self.pool {
            Pool::Sqlite(pool) => Conn::Sqlite(pool.begin().await?),
            Pool::Postgres(pool) => {
                let mut tx = pool.begin().await?;
                sqlx::raw_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
                    .execute(&mut *tx)
                    .await?;
                Conn::Postgres(tx)
            }
        })
    }

    /// A connection that writes. Outside an act only what is no record is written: sessions, failed logins, bytes.
    pub(crate) async fn begin_write(&self) -> Result<Conn> {
        Ok(match &self.pool {
            Pool::Sqlite(pool) => Conn::Sqlite(pool.begin_with("BEGIN IMMEDIATE").await?),
            Pool::Postgres(pool) => Conn::Postgres(pool.begin().await?),
        })
    }

    /// Brings what was written into the database file itself and empties the log beside it.
    pub(crate) async fn checkpoint(&self) -> Result<()> {
        if let Pool::Sqlite(pool) = &self.pool {
            sqlx::raw_sql("PRAGMA wal_checkpoint(TRUNCATE)").execute(pool).await?;
        }
        Ok(())
    }

    /// Closes every connection; what was acknowledged is on the disk already.
    pub async fn close(&self) {
        self.tell_head().await;
        self.close_quietly().await;
    }

    async fn close_quietly(&self) {
        match &self.pool {
            Pool::Sqlite(pool) => pool.close().await,
            Pool::Postgres(pool) => pool.close().await,
        }
    }

    /// Writes the head down beside the database. A record that cannot write it can still be read, and what
    /// checking compares is what was written before, so a failure here stops nothing.
    async fn tell_head(&self) {
        let _ = self.export_head().await;
    }

    /// The same with the file it is about, where the database's own words were known.
    pub(crate) fn explain(&self, error: StoreError) -> StoreError {
        match (error, &self.place) {
            (StoreError::Unusable { what, says, hint }, Place::Folder(folder))
                if what == RECORD =>
            {
                StoreError::Unusable { what: folder.join(FILE).display().to_string(), says, hint }
            }
            (error, _) => error,
        }
    }
}

async fn open_folder(folder: &Path, reach: Reach) -> Result<sqlx::SqlitePool> {
    stands(folder)?;
    if reach == Reach::Owner {
        only_its_owners(folder)?;
    }
    let options = SqliteConnectOptions::new()
        .filename(folder.join(FILE))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(20))
        .pragma("trusted_schema", "OFF")
        .pragma("cell_size_check", "ON")
        // What is destroyed is overwritten in the file, wherever the database had moved it.
        .pragma("secure_delete", "ON");
    let pool = SqlitePoolOptions::new()
        .max_connections(6)
        // A commit that a full disk refused leaves the driver counting a transaction that the database has
        // ended already, and every later one would fail: such a connection is closed and another is made.
        .before_acquire(|conn, _| Box::pin(async move { Ok(!conn.is_in_transaction()) }))
        .connect_with(options)
        .await;
    pool.map_err(|error| match StoreError::from(error) {
        StoreError::Unusable { says, hint, .. } => unusable(folder, says, &hint),
        error => error,
    })
}

/// Makes the folder where it is not there, and refuses one on a network share.
fn stands(folder: &Path) -> Result<()> {
    if let Err(error) = std::fs::metadata(folder) {
        if error.kind() != std::io::ErrorKind::NotFound {
            return Err(unusable(folder, format!("the folder cannot be reached: {error}"), ""));
        }
        own::new_folder(folder).map_err(|error| {
            let says = format!("the folder cannot be made: {error}");
            unusable(folder, says, "name a folder that may be written")
        })?;
    }
    let Some(kind) = network_share::network_share(folder) else { return Ok(()) };
    let says = format!(
        "the folder lies on a network share ({kind}), where an embedded database loses what was written"
    );
    let hint = "name a folder on a disk of this machine, or use a PostgreSQL server";
    Err(unusable(folder, says, hint))
}

fn unusable(folder: &Path, says: String, hint: &str) -> StoreError {
    StoreError::Unusable { what: folder.display().to_string(), says, hint: hint.to_owned() }
}

/// Refuses a folder that others of the machine may look into, and sees that every file of the record is its
/// owner's alone, whatever the umask says. An empty folder is closed instead: nothing was in it to be seen.
fn only_its_owners(folder: &Path) -> Result<()> {
    let failed = |error: std::io::Error| {
        unusable(folder, format!("its rights cannot be read or set: {error}"), "")
    };
    if let Some(mode) = own::wider(folder).map_err(failed)? {
        if std::fs::read_dir(folder).map_err(failed)?.next().is_some() {
            return Err(unusable(
                folder,
                format!("others of this machine may look into the folder (its rights are {mode})"),
                &format!(
                    "`chmod -R go= {}` closes it to all but its owner; --shared-folder leaves it open",
                    folder.display()
                ),
            ));
        }
        own::close_folder(folder).map_err(failed)?;
    }
    // Made here, so that the database does not make it with the rights of its own; the files beside it
    // take theirs from it.
    // Where it cannot be made, the database says why in words that are known.
    let _ = own::new_file(&folder.join(FILE));
    for name in [FILE.to_owned(), format!("{FILE}-wal"), format!("{FILE}-shm"), HEADS.to_owned()] {
        let path = folder.join(name);
        let is_wider = own::wider(&path).ok().flatten().is_some();
        if is_wider {
            own::close_file(&path).map_err(failed)?;
        }
    }
    Ok(())
}

async fn open_url(url: &str) -> Result<sqlx::PgPool> {
    let mut options: PgConnectOptions = url.parse()?;
    // Patients' data do not cross a network in the clear unless the address says that they may.
    let said = url.contains("sslmode=") || url.contains("ssl-mode=");
    let here = ["localhost", "127.0.0.1", "::1", "[::1]"].contains(&options.get_host());
    if !said && !here && options.get_socket().is_none() && !options.get_host().starts_with('/') {
        options = options.ssl_mode(PgSslMode::Require);
    }
    let pool = PgPoolOptions::new()
        .max_connections(12)
        .acquire_timeout(Duration::from_secs(20))
        .connect_with(options)
        .await;
    Ok(pool?)
}

/// One connection in one transaction. Dropped without a commit, it leaves nothing behind.
#[derive(Debug)]
pub enum Conn {
    /// Of an embedded record.
    Sqlite(Transaction<'static, Sqlite>),
    /// Of a server.
    Postgres(Transaction<'static, Postgres>),
}

/// A value given to a query.
#[derive(Clone, Debug)]
pub enum Bind {
    /// A number.
    Int(i64),
    /// A text.
    Text(String),
}

impl From<i64> for Bind {
    fn from(value: i64) -> Self {
        Self::Int(value)
    }
}

impl From<&str> for Bind {
    fn from(value: &str) -> Self {
        Self::Text(value.to_owned())
    }
}

impl From<String> for Bind {
    fn from(value: String) -> Self {
        Self::Text(value)
    }
}

/// Whether a folder holds a record, provided this account may look.
fn holds_record(folder: &Path) -> Result<bool> {
    match std::fs::metadata(folder.join(FILE)) {
        Ok(found) => Ok(found.is_file()),
        Err(error) if error.kind() == std::io::ErrorKind::PermissionDenied => {
            Err(StoreError::Unusable {
                what: folder.display().to_string(),
                says: "this account may not read it".to_owned(),
                hint: "run the command as the account that runs the workbench".to_owned(),
            })
        }
        Err(_) => Ok(false),
    }
}

/// Numbers as SQL lists them, each once.
pub(crate) fn among(ids: &[i64]) -> String {
    let once: BTreeSet<i64> = ids.iter().copied().collect();
    once.iter().map(i64::to_string).collect::<Vec<_>>().join(", ")
}

tokio::task_local! {
    static ASKED: Cell<u64>;
}

/// How often a piece of work asks the database, beside what it gives: a page of many rows may ask no more often
/// than a page of one. What it hands to other tasks is not counted.
pub async fn counted<T>(work: impl Future<Output = T>) -> (T, u64) {
    let told = async {
        let done = work.await;
        (done, ASKED.with(Cell::get))
    };
    ASKED.scope(Cell::new(0), told).await
}

/// One statement more; nothing where nobody counts.
pub(crate) fn asked() {
    let _ = ASKED.try_with(|count| count.set(count.get() + 1));
}

/// Refuses a text that no database can be asked for: one holds no NUL, the other compares no longer ones.
fn can_be_asked(with: &[Bind]) -> Result<()> {
    let cannot = |value: &Bind| matches!(value, Bind::Text(text) if text.contains('\0') || text.len() > text::LINES);
    if !with.iter().any(cannot) {
        return Ok(());
    }
    let says = format!(
        "the record cannot be asked for a text of more than {} characters, or with a sign that cannot be seen",
        text::LINES
    );
    Err(StoreError::refused("text_unasked", says, "type less"))
}

impl Conn {
    pub(crate) async fn commit(self) -> Result<()> {
        match self {
            Self::Sqlite(tx) => tx.commit().await?,
            Self::Postgres(tx) => tx.commit().await?,
        }
        Ok(())
    }

    /// Ends the transaction as if it had not been: what it made is gone, and what it held is free at once.
    pub(crate) async fn take_back(self) -> Result<()> {
        match self {
            Self::Sqlite(tx) => tx.rollback().await?,
            Self::Postgres(tx) => tx.rollback().await?,
        }
        Ok(())
    }

    /// The rows of a kind that a clause picks, for instance `WHERE monitor = $1 ORDER BY at`.
    pub async fn find<R: Record>(&mut self, clause: &'static str, with: &[Bind]) -> Result<Vec<R>> {
        can_be_asked(with)?;
        let text = format!("SELECT {} FROM {} {clause}", R::COLUMNS.join(", "), R::TABLE);
        Ok(on!(self, c => {
            let mut query = sqlx::query_as::<_, R>(AssertSqlSafe(text));
            for value in with {
                query = match value {
                    Bind::Int(number) => query.bind(*number),
                    Bind::Text(text) => query.bind(text.clone()),
                };
            }
            query.fetch_all(c).await
        })?)
    }

    /// The rows whose column holds one of some numbers, in the order they were entered.
    pub async fn find_among<R: Record>(
        &mut self,
        column: &'static str,
        ids: &[i64],
    ) -> Result<Vec<R>> {
        if ids.is_empty() {
            return Ok(Vec::new());
        }
        self.picked(column, &among(ids)).await
    }

    /// The same with values as SQL writes them. They are made here and never typed by anybody.
    pub(crate) async fn find_named<R: Record>(
        &mut self,
        column: &'static str,
        names: &[String],
    ) -> Result<Vec<R>> {
        self.picked(column, &names.join(", ")).await
    }

    async fn picked<R: Record>(&mut self, column: &'static str, of: &str) -> Result<Vec<R>> {
        let text = format!(
            "SELECT {} FROM {} WHERE {column} IN ({of}) ORDER BY id",
            R::COLUMNS.join(", "),
            R::TABLE
        );
        Ok(on!(self, c => {
            sqlx::query_as::<_, R>(AssertSqlSafe(text)).persistent(false).fetch_all(c).await
        })?)
    }

    /// The first row a clause picks.
    pub async fn first<R: Record>(
        &mut self,
        clause: &'static str,
        with: &[Bind],
    ) -> Result<Option<R>> {
        Ok(self.find(clause, with).await?.into_iter().next())
    }

    /// The row of a number.
    ///
    /// # Errors
    /// [`StoreError::Missing`] when there is none.
    pub async fn get<R: Record>(&mut self, id: i64) -> Result<R> {
        let found = self.first("WHERE id = $1", &[id.into()]).await?;
        found.ok_or_else(|| StoreError::Missing { what: R::name(id) })
    }

    /// One whole number a query gives: a count, a sum.
    pub async fn number(&mut self, sql: &'static str, with: &[Bind]) -> Result<i64> {
        can_be_asked(with)?;
        Ok(on!(self, c => {
            let mut query = sqlx::query_scalar::<_, i64>(sql);
            for value in with {
                query = match value {
                    Bind::Int(number) => query.bind(*number),
                    Bind::Text(text) => query.bind(text.clone()),
                };
            }
            query.fetch_one(c).await
        })?)
    }
}
