//! One act: the only way a record is changed.

use serde_json::Value;
use serde_json::json;
use tokio::sync::OwnedMutexGuard;
use tokio::sync::broadcast;

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::record::chain;
use crate::record::chain_head::Head as Last;
use crate::record::chain_head::Heads;
use crate::record::clock;
use crate::record::clock::Clocks;
use crate::record::db::Closed;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Record;
use crate::record::row::put_sql;
use crate::text;
use crate::when::rfc3339;
use crate::words::Role;

/// Who acts, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Author {
    /// The account's login.
    pub login: String,
    /// The person's name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Where they sit: the address of their browser, or `command`.
    pub station: String,
}

impl Author {
    /// The program itself.
    pub fn program() -> Self {
        Self {
            login: "matins".to_owned(),
            name: "the program".to_owned(),
            role: Role::Program,
            station: "command".to_owned(),
        }
    }
}

/// An act under way. It holds the only right to write; dropped without [`Act::close`], nothing happened.
#[derive(Debug)]
pub struct Act {
    conn: Conn,
    told: broadcast::Sender<Closed>,
    heads: Heads,
    _turn: OwnedMutexGuard<()>,
    author: Author,
    verb: &'static str,
    seq: i64,
    at: i64,
    now: i64,
    invented_s: Option<i64>,
    /// Why this clock may change nothing.
    doubt: Option<Refusal>,
    prev: String,
    object: String,
    person: Option<i64>,
    reason: Option<String>,
    facts: Value,
    rows: Vec<Value>,
}

impl Store {
    /// Begins an act, for instance `monitor.hand_out`, when those begun before have ended. Under a clock that
    /// cannot be right it writes no row, and is done at the time of the act before it.
    ///
    /// # Errors
    /// When the database cannot be written.
    pub async fn act(&self, author: &Author, verb: &'static str) -> Result<Act> {
        let turn = self.gate.clone().lock_owned().await;
        let mut conn = self.begin_write().await.map_err(|error| self.explain(error))?;
        let (seq, last_at, prev) = take_gate(&mut conn).await?;
        let now = self.now();
        let doubt = clock::doubt(&mut conn, now, (seq, last_at)).await?;
        Ok(Act {
            conn,
            told: self.told.clone(),
            heads: self.heads.clone(),
            _turn: turn,
            author: author.clone(),
            verb,
            seq: seq + 1,
            at: if doubt.is_some() { last_at } else { now.max(last_at) },
            now,
            invented_s: self.invented_s,
            doubt,
            prev,
            object: String::new(),
            person: None,
            reason: None,
            facts: Value::Null,
            rows: Vec::new(),
        })
    }

    /// Writes down that somebody looked at a person's data, or at a list of several.
    ///
    /// # Errors
    /// When it cannot be written; then the data must not be shown.
    pub async fn looked(
        &self,
        author: &Author,
        object: impl Into<String>,
        person: Option<i64>,
        facts: Value,
    ) -> Result<()> {
        let mut act = self.act(author, "look").await?;
        act.on(object, person);
        act.note(facts);
        act.close().await.map(|_| ())
    }
}

impl Act {
    /// When the act happens, seconds since 1970.
    pub fn at(&self) -> i64 {
        self.at
    }

    /// Who acts.
    pub fn author(&self) -> &Author {
        &self.author
    }

    /// What the act is about, and whose data it touches.
    pub fn on(&mut self, object: impl Into<String>, person: Option<i64>) {
        self.object = object.into();
        self.person = person.or(self.person);
    }

    /// The reason given for it.
    pub fn because(&mut self, reason: impl Into<String>) {
        self.reason = Some(reason.into());
    }

    /// Facts that stand in no row.
    pub fn note(&mut self, facts: Value) {
        self.facts = facts;
    }

    /// The connection, for reading inside the act.
    pub fn conn(&mut self) -> &mut Conn {
        &mut self.conn
    }

    /// The row of a number.
    ///
    /// # Errors
    /// [`StoreError::Missing`] when there is none.
    pub async fn get<R: Record>(&mut self, id: i64) -> Result<R> {
        self.conn.get(id).await
    }

    /// The row of a number, provided it is still as it was when act `seen` had written it.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when somebody else has changed it since.
    pub async fn get_as_seen<R: Record>(&mut self, id: i64, seen: i64) -> Result<R> {
        let row: R = self.conn.get(id).await?;
        if row.written() == seen { Ok(row) } else { Err(StoreError::Changed { what: R::name(id) }) }
    }

    /// Whether this act may change nothing, because its clock cannot be right.
    pub(crate) fn is_in_doubt(&self) -> bool {
        self.doubt.is_some()
    }

    /// Takes the clock for right from here on; gives what it and the record said, if that needed taking.
    pub(crate) fn believe_the_clock(&mut self) -> Option<Clocks> {
        let doubt = self.doubt.take()?;
        let last_at = std::mem::replace(&mut self.at, self.now);
        Some(Clocks { now: self.now, last_at, doubt: Some(doubt), invented_s: self.invented_s })
    }

    /// Writes a row whole: a new one when its number is 0.
    ///
    /// # Errors
    /// When the clock cannot be right, a value is one no database may keep, the row as it stands is not as its
    /// act wrote it, or the database refuses it.
    pub async fn put<R: Record>(&mut self, row: &mut R) -> Result<()> {
        if let Some(doubt) = &self.doubt {
            return Err(StoreError::Refused(vec![doubt.clone()]));
        }
        row.fit().map_err(|unfit| unfit.refused(R::TABLE))?;
        let old = match row.id() {
            0 => None,
            id => self.conn.find::<R>("WHERE id = $1", &[id.into()]).await?.pop(),
        };
        // A row that this act wrote before has no act to be compared with yet.
        if let Some(old) = old.as_ref().filter(|old| old.written() != self.seq) {
            Box::pin(self.conn.as_written(old)).await?;
        }
        let id = if row.id() == 0 { self.next_id::<R>().await? } else { row.id() };
        texts::<R>(row, old.as_ref())?;
        row.stamp(id, self.seq);
        let sql = sqlx::AssertSqlSafe(put_sql::<R>());
        match &mut self.conn {
            Conn::Sqlite(tx) => {
                row.bind_sqlite(sqlx::query(sql)).execute(&mut **tx).await?;
            }
            Conn::Postgres(tx) => {
                row.bind_postgres(sqlx::query(sql)).execute(&mut **tx).await?;
            }
        }
        let image = serde_json::to_value(&*row)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        if self.object.is_empty() {
            self.object = R::name(id);
        }
        self.rows.push(json!({"table": R::TABLE, "row": image}));
        Ok(())
    }

    /// Ends the act: its link is written with everything it did, or nothing is. Gives its sequence number.
    ///
    /// # Errors
    /// When the database refuses; then nothing was written.
    pub async fn close(mut self) -> Result<i64> {
        let reason = Value::from(self.reason.as_deref().unwrap_or_default());
        let of = [("reason", &reason), ("facts", &self.facts)];
        let wrong: Vec<_> =
            of.into_iter().filter_map(|(what, value)| text::refusal("act", what, value)).collect();
        if !wrong.is_empty() {
            return Err(StoreError::Refused(wrong));
        }
        if self.doubt.is_some() {
            // The time that stands in the act is not what the clock said.
            if !self.facts.is_object() {
                self.facts = json!({});
            }
            self.facts["clock_said"] = json!(rfc3339(self.now));
        }
        let body = chain::canonical(
            &json!({"reason": self.reason, "facts": self.facts, "rows": self.rows}),
        );
        let body_sha256 = chain::sha256(body.as_bytes());
        let hash = chain::link(&head(&Head {
            seq: self.seq,
            at: self.at,
            who: &self.author.login,
            role: self.author.role.text(),
            station: &self.author.station,
            verb: self.verb,
            object: &self.object,
            person: self.person,
            software: engine::ENGINE,
            body_sha256: &body_sha256,
            prev: &self.prev,
        }));
        on!(&mut self.conn, c => sqlx::query("INSERT INTO act (seq, at, who, role, station, verb, object, person, software, body, body_sha256, prev, hash) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)")
            .bind(self.seq).bind(self.at).bind(&self.author.login).bind(self.author.role.text()).bind(&self.author.station)
            .bind(self.verb).bind(&self.object).bind(self.person).bind(engine::ENGINE)
            .bind(&body).bind(&body_sha256).bind(&self.prev).bind(&hash)
            .execute(c).await.map(|_| ()))?;
        on!(&mut self.conn, c => sqlx::query("UPDATE gate SET seq = $1, at = $2, hash = $3 WHERE id = 1")
            .bind(self.seq).bind(self.at).bind(&hash).execute(c).await.map(|_| ()))?;
        self.conn.commit().await?;
        let head = Last { seq: self.seq, at: self.at, hash };
        self.heads.after(&head, self.verb, &self.rows);
        // Looking and logging in change nothing that a page shows.
        if !self.rows.is_empty() {
            // Nobody may be listening.
            let _ = self.told.send(Closed { seq: self.seq, object: self.object });
        }
        Ok(self.seq)
    }

    async fn next_id<R: Record>(&mut self) -> Result<i64> {
        let sql = sqlx::AssertSqlSafe(format!("SELECT COALESCE(MAX(id), 0) + 1 FROM {}", R::TABLE));
        Ok(on!(&mut self.conn, c => sqlx::query_scalar::<_, i64>(sql).fetch_one(c).await)?)
    }
}

/// Refuses texts that their columns are not for. What an earlier release took stands as it is: a row that
/// holds it can still be voided or moved on.
fn texts<R: Record>(row: &R, old: Option<&R>) -> Result<()> {
    let image = |row: &R| {
        serde_json::to_value(row).map_err(|error| StoreError::Damaged { says: error.to_string() })
    };
    let new = image(row)?;
    let old = old.map(image).transpose()?;
    let kept = |column: &str| old.as_ref().is_some_and(|old| old[column] == new[column]);
    let wrong = |column: &&'static str| text::refusal(R::TABLE, column, &new[*column]);
    let columns = R::COLUMNS.iter().filter(|column| !kept(column));
    let all: Vec<_> = columns.filter_map(wrong).collect();
    if all.is_empty() { Ok(()) } else { Err(StoreError::Refused(all)) }
}

/// The head of an act: what its link is made of.
pub(crate) struct Head<'a> {
    pub(crate) seq: i64,
    pub(crate) at: i64,
    pub(crate) who: &'a str,
    pub(crate) role: &'a str,
    pub(crate) station: &'a str,
    pub(crate) verb: &'a str,
    pub(crate) object: &'a str,
    pub(crate) person: Option<i64>,
    pub(crate) software: &'a str,
    pub(crate) body_sha256: &'a str,
    pub(crate) prev: &'a str,
}

/// The head as the JSON that is hashed. The person enters as a number only; what is kept of them is in the body.
pub(crate) fn head(of: &Head<'_>) -> Value {
    json!({
        "seq": of.seq, "at": rfc3339(of.at), "who": of.who, "role": of.role, "station": of.station, "act": of.verb,
        "obj": of.object, "person": of.person, "software": of.software, "body": of.body_sha256, "prev": of.prev,
    })
}

/// Takes the gate's row, for which other servers wait until this act has ended.
async fn take_gate(conn: &mut Conn) -> Result<(i64, i64, String)> {
    Ok(match conn {
        Conn::Sqlite(tx) => {
            sqlx::query_as("SELECT seq, at, hash FROM gate WHERE id = 1")
                .fetch_one(&mut **tx)
                .await?
        }
        Conn::Postgres(tx) => {
            sqlx::query_as("SELECT seq, at, hash FROM gate WHERE id = 1 FOR UPDATE")
                .fetch_one(&mut **tx)
                .await?
        }
    })
}
