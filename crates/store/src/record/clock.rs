//! A clock that cannot be right, told before it writes, and the recorded way on from one that was wrong.
//!
//! Rows carry the time of their act, and acts follow each other in time. So one act under a clock that ran
//! ahead would keep everybody from working until real time has caught up. What changes nothing (looking,
//! logging in) is never kept back by a clock: such an act is written under the time of the act before it,
//! with what the clock said.

use std::sync::Arc;

use serde_json::Value;
use serde_json::json;

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Setting;
use crate::record::throttle::Door;
use crate::when::rfc3339;
use crate::words::Role;

/// The act that goes on from a time before the last act, or far behind it.
pub const ACCEPTED: &str = "clock.accepted";

/// How far the clock may stand behind the last act and be carried on with, s: servers of one record differ a little.
const BEHIND_S: i64 = 120;
/// A gap so short is no question, s: the desk's setting need not be asked.
const NEAR_S: i64 = 86_400;
/// How far ahead of the last act a clock may be and be believed, days. A department closed from Christmas to
/// the new year is away for up to eleven days (common practice, no source); the desk's settings may say another.
pub const AHEAD_DAYS: i64 = 14;
/// The key of the desk's settings that says another.
const KEY: &str = "clock_ahead_days";

/// Name of the setting by which the record of an invented department tells how far its time lies from that of the
/// machine, s. Only the program writes it, when it makes such a record: whatever opens the record then lives at its
/// time, and nobody's act is dated outside it.
pub const INVENTED: &str = "invented_time_s";

/// What the clock of this machine and the record say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clocks {
    /// What the machine's clock says, seconds since 1970.
    pub now: i64,
    /// When the last act was; 0 in a record without any.
    pub last_at: i64,
    /// Why nothing may be changed under this clock; `None` when it may.
    pub doubt: Option<Refusal>,
    /// How far the time of an invented department lies from the machine's, s; `None` in every other record.
    pub invented_s: Option<i64>,
}

/// Why a clock that says `now` cannot be right after an act at `last_at`.
pub(crate) async fn doubt(
    conn: &mut Conn,
    now: i64,
    (seq, last_at): (i64, i64),
) -> Result<Option<Refusal>> {
    if seq == 0 || (last_at - BEHIND_S..=last_at + NEAR_S).contains(&now) {
        return Ok(None);
    }
    let said = format!(
        "the clock of this machine says {}, but the last act was at {}",
        rfc3339(now),
        rfc3339(last_at)
    );
    let way = "set the clock right; if it is right, whoever runs matins accepts it with `matins clock --data DIR --reason WHY`; nothing was written";
    if now < last_at {
        return Ok(Some(Refusal::new("clock_behind", said, way)));
    }
    let most = ahead_days(conn).await?;
    let days = (now - last_at) / 86_400;
    Ok((now > last_at + most * 86_400).then(|| {
        let says = format!("{said}, {days} days before; more than {most} are not believed unasked");
        Refusal::new("clock_ahead", says, way)
    }))
}

async fn ahead_days(conn: &mut Conn) -> Result<i64> {
    let desk: Option<Setting> =
        conn.first("WHERE name = 'desk' ORDER BY id DESC LIMIT 1", &[]).await?;
    let set = desk.and_then(|desk| serde_json::from_str::<Value>(&desk.value).ok()?[KEY].as_i64());
    Ok(set.unwrap_or(AHEAD_DAYS))
}

impl Store {
    /// What the clock of this machine and the record say.
    pub async fn clocks(&self) -> Result<Clocks> {
        let mut conn = self.read().await?;
        let (head, now) = (conn.head().await?, self.now());
        let doubt = doubt(&mut conn, now, (head.seq, head.at)).await?;
        Ok(Clocks { now, last_at: head.at, doubt, invented_s: self.invented_s })
    }

    /// Makes this the record of an invented department, whose time lies so far from the machine's from when it is
    /// opened next.
    ///
    /// # Errors
    /// When somebody else than the program asks, or it cannot be written.
    pub async fn live_at(&self, by: &Author, ahead_s: i64) -> Result<()> {
        if by.role != Role::Program {
            let says = "the time of an invented department is set by the program that makes it";
            return Err(StoreError::refused("not_yours_to_set", says, ""));
        }
        let mut act = self.act(by, "setting.put").await?;
        let (name, value) = (INVENTED.to_owned(), ahead_s.to_string());
        let (at, who) = (act.at(), by.login.clone());
        act.put(&mut Setting { id: 0, act: 0, name, value, at, who }).await?;
        act.close().await.map(|_| ())
    }

    /// Takes up the time the record lives at, where it is that of an invented department.
    pub(crate) async fn at_its_own_time(mut self) -> Result<Self> {
        let latest = "WHERE name = $1 ORDER BY id DESC LIMIT 1";
        let kept: Option<Setting> = self.read().await?.first(latest, &[INVENTED.into()]).await?;
        let Some(ahead_s) = kept.and_then(|kept| kept.value.parse::<i64>().ok()) else {
            return Ok(self);
        };
        let given = self.clock.clone();
        self.clock = Arc::new(move || given().saturating_add(ahead_s));
        self.door = Arc::new(Door::new(self.now()));
        self.invented_s = Some(ahead_s);
        Ok(self)
    }

    /// Takes the clock of this machine for right although it stands behind the last act, or far ahead of it:
    /// acts go on from here. Sessions end and waits after wrong passwords are over, for both are counted by
    /// the clock that was wrong. What was written under a wrong time stays as it is.
    ///
    /// # Errors
    /// When the clock needs no accepting, no reason is given, or somebody else than the program or an
    /// administrator asks.
    pub async fn accept_clock(&self, by: &Author, reason: &str) -> Result<Clocks> {
        if !matches!(by.role, Role::Administrator | Role::Program) {
            let says = "the clock is accepted by an administrator or by the command";
            return Err(StoreError::refused("not_yours_to_accept", says, ""));
        }
        let reason = reason.trim();
        if reason.is_empty() {
            let says = "no reason is given why this clock is right";
            return Err(StoreError::refused("reason_missing", says, "say how it was found right"));
        }
        let mut act = self.act(by, ACCEPTED).await?;
        let Some(clocks) = act.believe_the_clock() else {
            let says = "the clock agrees with the last act: nothing needs accepting";
            return Err(StoreError::refused("clock_in_order", says, ""));
        };
        for sql in ["DELETE FROM session", "DELETE FROM failed_login"] {
            on!(act.conn(), c => sqlx::query(sql).execute(c).await.map(|_| ()))?;
        }
        act.on("record", None);
        act.because(reason);
        act.note(
            json!({"clock_said": rfc3339(clocks.now), "last_act_at": rfc3339(clocks.last_at)}),
        );
        act.close().await?;
        Ok(clocks)
    }
}
