//! One act as it is kept: what is read when the chain is checked or shown.

use crate::error::Result;
use crate::record::act::Head;
use crate::record::act::head;
use crate::record::chain;
use crate::record::db::Conn;

/// The act that takes bodies away; its facts list them under `acts`.
pub(crate) const DESTROY: &str = "person.destroy";

/// One act of the chain.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, sqlx::FromRow)]
pub struct Entry {
    /// Its number; the first is 1, and no number is left out.
    pub seq: i64,
    /// When it was done, seconds since 1970.
    pub at: i64,
    /// Who did it, by login.
    pub who: String,
    /// Their role at that time.
    pub role: String,
    /// Where they sat.
    pub station: String,
    /// What was done: `monitor.hand_out`.
    pub verb: String,
    /// What it was done to: `loan 12`.
    pub object: String,
    /// The person whose data it touched.
    pub person: Option<i64>,
    /// The software that did it.
    pub software: String,
    /// Reason, facts and the image of every row written, as canonical JSON; `None` once destroyed.
    pub body: Option<String>,
    /// SHA-256 of the body, which outlives it.
    pub body_sha256: String,
    /// Hash of the act before.
    pub prev: String,
    /// Hash of this act's head.
    pub hash: String,
}

impl Entry {
    /// The hash its head gives, to be compared with the one that is kept.
    pub fn link(&self) -> String {
        chain::link(&head(&Head {
            seq: self.seq,
            at: self.at,
            who: &self.who,
            role: &self.role,
            station: &self.station,
            verb: &self.verb,
            object: &self.object,
            person: self.person,
            software: &self.software,
            body_sha256: &self.body_sha256,
            prev: &self.prev,
        }))
    }
}

impl Conn {
    /// The acts after a number, at most so many, in order.
    ///
    /// # Errors
    /// When the database breaks off, or an act holds what no act can hold.
    pub async fn entries(&mut self, after: i64, most: i64) -> Result<Vec<Entry>> {
        let sql = "SELECT seq, at, who, role, station, verb, object, person, software, body, body_sha256, prev, hash FROM act WHERE seq > $1 ORDER BY seq LIMIT $2";
        Ok(on!(self, c => sqlx::query_as(sql).bind(after).bind(most).fetch_all(c).await)?)
    }
}
