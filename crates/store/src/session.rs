//! Sessions: who is logged in where, until when, and how fast passwords may be tried.
//!
//! A session's token is 256 random bits; only its SHA-256 is kept. It ends when nobody touched it for the
//! department's idle time, when 12 hours have passed, at log-out, and when its account is closed or changes.

use serde_json::json;

use crate::account::author;
use crate::act::Author;
use crate::chain::sha256;
use crate::db::Conn;
use crate::db::Store;
use crate::error::Result;
use crate::error::StoreError;
use crate::password;
use crate::tables::Account;
use crate::words::Role;

/// The longest a session lasts, s.
pub const LONGEST_S: i64 = 12 * 3600;
/// How far the time a session was last seen may lag, s: a row is not written for every click.
const SEEN_STEP_S: i64 = 5;
/// After how long without a failure all is forgotten, s.
const FORGET_S: i64 = 24 * 3600;

/// How failures slow down the next attempt.
struct Throttle {
    /// Failures that cost nothing: people mistype.
    free: i64,
    /// The longest delay, s. It is never a lock-out.
    longest_s: i64,
}

/// One login from one address.
const PAIR: Throttle = Throttle { free: 5, longest_s: 900 };
/// One address, whatever login: a hospital may sit behind one.
const ADDRESS: Throttle = Throttle { free: 20, longest_s: 900 };
/// One login, from wherever. Short, so that an outsider cannot keep its owner out.
const LOGIN: Throttle = Throttle { free: 20, longest_s: 60 };

/// A session that holds.
#[derive(Clone, Debug)]
pub struct Session {
    /// Whose it is.
    pub account: Account,
    /// SHA-256 of its token.
    pub token_sha256: String,
    /// When it began.
    pub began_at: i64,
    /// When it ends if nothing is touched.
    pub ends_at: i64,
}

/// What came of an attempt to log in.
#[derive(Clone, Debug)]
pub enum LogIn {
    /// A new session and its token, for the cookie.
    Done {
        /// The session.
        session: Box<Session>,
        /// The token, kept nowhere else.
        token: String,
    },
    /// Login or password is wrong; which one is not told.
    Wrong,
    /// Too many failures; the attempt was not looked at.
    Wait {
        /// How long to wait, s.
        wait_s: i64,
    },
}

/// What came of a password.
enum Tried {
    /// It is right.
    Right(Box<Account>),
    /// Login or password is wrong.
    Wrong,
    /// Too many failures; it was not looked at.
    Wait {
        /// How long to wait, s.
        wait_s: i64,
    },
}

impl Store {
    /// Tries to log in from a station (the browser's address). Success, failure and delay are acts; the
    /// password is in none of them, and a login is only when it is somebody's.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub async fn log_in(
        &self,
        login: &str,
        typed: &str,
        station: &str,
        idle_s: i64,
    ) -> Result<LogIn> {
        let account = match self.try_password(login, typed, station).await? {
            Tried::Right(account) => account,
            Tried::Wrong => return Ok(LogIn::Wrong),
            Tried::Wait { wait_s } => return Ok(LogIn::Wait { wait_s }),
        };
        let outdated = account.password.as_deref().is_some_and(password::is_outdated);
        let better = if outdated { Some(password::hash(typed.to_owned()).await?) } else { None };
        let (session, token) = self.begin_session(&account, better, station, idle_s).await?;
        Ok(LogIn::Done { session: Box::new(session), token })
    }

    /// Asks again for the password of somebody who is logged in, before an act that carries their name.
    /// A wrong one is counted like a wrong log-in.
    ///
    /// # Errors
    /// Refused as `password_wrong` when it is wrong, or was too often.
    pub async fn confirm(&self, account: &Account, typed: &str, station: &str) -> Result<()> {
        let says = match self.try_password(&account.login, typed, station).await? {
            Tried::Right(_) => return Ok(()),
            Tried::Wrong => "the password is wrong".to_owned(),
            Tried::Wait { wait_s } => format!("too many wrong passwords; wait {wait_s} s"),
        };
        Err(StoreError::refused("password_wrong", says, "nothing was done"))
    }

    /// Holds a password against a login's, and writes a failure down.
    async fn try_password(&self, login: &str, typed: &str, station: &str) -> Result<Tried> {
        let login = login.trim().to_lowercase();
        let keys = keys(&login, station);
        // The failure is counted before the password is looked at, so that many at once gain nothing.
        if let Some(wait_s) = self.count_attempt(&keys).await? {
            return Ok(Tried::Wait { wait_s });
        }
        let found: Option<Account> =
            self.read().await?.first("WHERE login = $1", &[login.as_str().into()]).await?;
        let found = found.filter(|account| account.closed_at.is_none());
        let kept = found.as_ref().and_then(|account| account.password.clone());
        let right = password::is_right(typed.to_owned(), kept).await?;
        let Some(account) = found.as_ref().filter(|_| right) else {
            self.failed(found.as_ref(), station).await?;
            return Ok(Tried::Wrong);
        };
        self.forget_failures(&keys).await?;
        Ok(Tried::Right(Box::new(account.clone())))
    }

    /// The session of a token, if it still holds. `touch` says somebody is there: its idle time begins anew.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn session(&self, token: &str, idle_s: i64, touch: bool) -> Result<Option<Session>> {
        let now = self.now();
        let hash = sha256(token.as_bytes());
        let mut conn = self.read().await?;
        let found: Option<(i64, i64, i64)> = on!(&mut conn, c => sqlx::query_as("SELECT account, began_at, seen_at FROM session WHERE token_sha256 = $1").bind(&hash).fetch_optional(c).await)?;
        let Some((account, began_at, seen_at)) = found else { return Ok(None) };
        let account: Account = conn.get(account).await?;
        drop(conn);
        let over = now >= ends_at(began_at, seen_at, idle_s) || account.closed_at.is_some();
        if over {
            self.write("DELETE FROM session WHERE token_sha256 = $1", &hash, None).await?;
            let mut act = self.act(&Author::program(), "session.over").await?;
            act.on(format!("account {}", account.id), None);
            act.close().await?;
            return Ok(None);
        }
        let mut seen = seen_at;
        if touch && now - seen_at >= SEEN_STEP_S {
            self.write("UPDATE session SET seen_at = $2 WHERE token_sha256 = $1", &hash, Some(now))
                .await?;
            seen = now;
        }
        Ok(Some(Session {
            account,
            token_sha256: hash,
            began_at,
            ends_at: ends_at(began_at, seen, idle_s),
        }))
    }

    /// Ends a session.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub async fn log_out(&self, session: &Session, station: &str) -> Result<()> {
        self.write("DELETE FROM session WHERE token_sha256 = $1", &session.token_sha256, None)
            .await?;
        let mut act = self.act(&author(&session.account, station), "logout").await?;
        act.on(format!("account {}", session.account.id), None);
        act.close().await.map(|_| ())
    }

    async fn begin_session(
        &self,
        account: &Account,
        better: Option<String>,
        station: &str,
        idle_s: i64,
    ) -> Result<(Session, String)> {
        let token = new_token()?;
        let hash = sha256(token.as_bytes());
        let mut act = self.act(&author(account, station), "login").await?;
        act.on(format!("account {}", account.id), None);
        // By the clock that will end it, which is not the act's when the clock cannot be right.
        let now = self.now();
        let sql = "INSERT INTO session (token_sha256, account, station, began_at, seen_at) VALUES ($1, $2, $3, $4, $4)";
        on!(act.conn(), c => sqlx::query(sql).bind(&hash).bind(account.id).bind(station).bind(now).execute(c).await.map(|_| ()))?;
        // Sessions nobody came back to are swept here, where one begins anyway.
        let old = "DELETE FROM session WHERE began_at < $1";
        on!(act.conn(), c => sqlx::query(old).bind(now - LONGEST_S).execute(c).await.map(|_| ()))?;
        // Read again inside the act: the account may have been closed while the password was hashed.
        let mut account: Account = act.get_as_seen(account.id, account.act).await?;
        if let Some(better) = better {
            account.password = Some(better);
            act.put(&mut account).await?;
        }
        act.close().await?;
        let session = Session {
            account,
            token_sha256: hash,
            began_at: now,
            ends_at: ends_at(now, now, idle_s),
        };
        Ok((session, token))
    }

    async fn failed(&self, account: Option<&Account>, station: &str) -> Result<()> {
        let nobody = Author {
            login: "-".to_owned(),
            name: "nobody".to_owned(),
            role: Role::Program,
            station: station.to_owned(),
        };
        let mut act = self.act(&nobody, "login.failed").await?;
        // What was typed is not kept when it is no login: it may be a password in the wrong box.
        act.on(
            account.map_or_else(
                || "no account".to_owned(),
                |account| format!("account {}", account.id),
            ),
            None,
        );
        act.note(json!({"known": account.is_some()}));
        act.close().await.map(|_| ())
    }

    /// Counts an attempt as failed, unless one of its keys must wait: then says how long, s.
    async fn count_attempt(&self, keys: &[(String, Throttle)]) -> Result<Option<i64>> {
        let now = self.now();
        let mut conn = self.begin_write().await?;
        if let Conn::Postgres(tx) = &mut conn {
            // Attempts at once are counted one after the other.
            sqlx::raw_sql("SELECT pg_advisory_xact_lock(5176840178)").execute(&mut **tx).await?;
        }
        let mut counts = Vec::new();
        for (key, throttle) in keys {
            let (failures, until) = failures(&mut conn, key).await?;
            if until > now {
                return Ok(Some(until - now));
            }
            let failures = if until + FORGET_S < now { 1 } else { failures + 1 };
            counts.push((key, failures, now + delay_s(failures, throttle)));
        }
        for (key, failures, until) in counts {
            let sql = "INSERT INTO failed_login (id, failures, until_at) VALUES ($1, $2, $3) ON CONFLICT (id) DO UPDATE SET failures = excluded.failures, until_at = excluded.until_at";
            on!(&mut conn, c => sqlx::query(sql).bind(key).bind(failures).bind(until).execute(c).await.map(|_| ()))?;
        }
        let old = "DELETE FROM failed_login WHERE until_at < $1";
        on!(&mut conn, c => sqlx::query(old).bind(now - FORGET_S).execute(c).await.map(|_| ()))?;
        conn.commit().await?;
        Ok(None)
    }

    /// After a success: the pair and the login begin anew, the address gets its one attempt back.
    async fn forget_failures(&self, keys: &[(String, Throttle)]) -> Result<()> {
        let [pair, address, login] = keys else { return Ok(()) };
        for (key, _) in [pair, login] {
            self.write("DELETE FROM failed_login WHERE id = $1", key, None).await?;
        }
        self.write("UPDATE failed_login SET failures = failures - 1, until_at = $2 WHERE id = $1 AND failures > 0", &address.0, Some(self.now())).await
    }

    /// One statement on what is no record: sessions and failures come and go.
    async fn write(&self, sql: &'static str, key: &str, number: Option<i64>) -> Result<()> {
        let mut conn = self.begin_write().await?;
        on!(&mut conn, c => {
            let mut query = sqlx::query(sql).bind(key.to_owned());
            if let Some(number) = number {
                query = query.bind(number);
            }
            query.execute(c).await.map(|_| ())
        })?;
        conn.commit().await
    }
}

/// A fresh token of 256 random bits, as hexadecimal.
///
/// # Errors
/// When the operating system gives no random numbers.
pub fn new_token() -> Result<String> {
    Ok(engine::hex(&password::random::<32>()?))
}

fn ends_at(began_at: i64, seen_at: i64, idle_s: i64) -> i64 {
    (seen_at + idle_s).min(began_at + LONGEST_S)
}

fn keys(login: &str, station: &str) -> [(String, Throttle); 3] {
    // A typed login may be a password in the wrong box: kept is only its hash.
    let typed = &sha256(login.as_bytes())[..32];
    [
        (format!("pair:{typed}:{station}"), PAIR),
        (format!("address:{station}"), ADDRESS),
        (format!("login:{typed}"), LOGIN),
    ]
}

/// The delay after so many failures, s: none at first, then doubling.
fn delay_s(failures: i64, throttle: &Throttle) -> i64 {
    match failures - throttle.free {
        over if over <= 0 => 0,
        over => (1_i64 << over.min(20)).min(throttle.longest_s),
    }
}

async fn failures(conn: &mut Conn, key: &str) -> Result<(i64, i64)> {
    let sql = "SELECT failures, until_at FROM failed_login WHERE id = $1";
    let found: Option<(i64, i64)> =
        on!(conn, c => sqlx::query_as(sql).bind(key.to_owned()).fetch_optional(c).await)
            .map_err(StoreError::from)?;
    Ok(found.unwrap_or((0, 0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_delay_grows_and_never_locks_out() {
        let delays: Vec<_> = (4..=9).map(|failures| delay_s(failures, &PAIR)).collect();
        assert_eq!(delays, [0, 0, 2, 4, 8, 16]);
        assert_eq!(delay_s(1_000_000, &PAIR), 900);
        assert_eq!(delay_s(1_000_000, &LOGIN), 60);
    }
}
