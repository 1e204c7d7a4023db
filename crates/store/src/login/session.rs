//! Sessions: who is logged in where, until when, and in which browsers they are known.
//!
//! A session's token is 256 random bits; only its SHA-256 is kept. It ends when nobody touched it for the
//! department's idle time, when 12 hours have passed, at log-out, when somebody logs in anew in its browser, and
//! when its account is closed or changes. A browser in which somebody has logged in is known by a token of its
//! own, so that what strangers try elsewhere does not hold its owner up.

use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::login::account::author;
use crate::login::password;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Account;
use crate::record::throttle::KNOWN_MOST;
use crate::record::throttle::Key;
use crate::record::throttle::is_told;
use crate::text;
use crate::words::Role;

/// The longest a session lasts, s.
pub const LONGEST_S: i64 = 12 * 3600;
/// How long a browser stays known after the last log-in, s.
pub const KNOWN_S: i64 = 180 * 24 * 3600;
/// How far the time a session was last seen may lag, s: a row is not written for every click.
const SEEN_STEP_S: i64 = 5;
/// How far ahead another server of the same record may see a session, s. One seen later than that was written
/// under a wrong clock and is over.
const CLOCK_SLACK_S: i64 = 120;

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

/// The browser somebody logs in with.
#[derive(Clone, Copy, Debug, Default)]
pub struct Browser<'a> {
    /// Its address.
    pub station: &'a str,
    /// The token it is known by, if it has one.
    pub known: Option<&'a str>,
    /// The token of the session it has now; a new one takes its place.
    pub session: Option<&'a str>,
}

/// One session as its owner sees it.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct OwnSession {
    /// SHA-256 of its token.
    pub token_sha256: String,
    /// Where it began.
    pub station: String,
    /// When it began.
    pub began_at: i64,
    /// When it was last touched.
    pub seen_at: i64,
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
        /// The token by which this browser is known from now on.
        known: String,
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
    /// Tries to log in from a station, in a browser nobody knows.
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
        self.log_in_with(login, typed, Browser { station, ..Browser::default() }, idle_s).await
    }

    /// Tries to log in. Success is an act, and so are failures, the more there are the fewer of them; the password
    /// is in none of them, and a login is only when it is somebody's.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub async fn log_in_with(
        &self,
        login: &str,
        typed: &str,
        browser: Browser<'_>,
        idle_s: i64,
    ) -> Result<LogIn> {
        let login = login.trim().to_lowercase();
        // Nobody has such a login, and it is not asked for.
        if text::strange(&login, false).is_some() || text::too_long(&login, text::MARK).is_some() {
            return Ok(LogIn::Wrong);
        }
        let found: Option<Account> =
            self.read().await?.first("WHERE login = $1", &[login.as_str().into()]).await?;
        let found = found.filter(|account| account.closed_at.is_none());
        let known = self.known(browser.known, found.as_ref()).await?;
        let tried = match (&found, &known) {
            (Some(account), Some(key)) => {
                let tried = self.try_known(account, typed, key, browser.station).await?;
                if matches!(tried, (Tried::Wrong, KNOWN_MOST..)) {
                    self.unknow(browser.known, account).await?;
                }
                tried.0
            }
            _ => self.try_strange(&login, found, typed, browser.station).await?,
        };
        let account = match tried {
            Tried::Right(account) => account,
            Tried::Wrong => return Ok(LogIn::Wrong),
            Tried::Wait { wait_s } => return Ok(LogIn::Wait { wait_s }),
        };
        let outdated = account.password.as_deref().is_some_and(password::is_outdated);
        let better = if outdated { Some(password::hash(typed.to_owned()).await?) } else { None };
        self.begin_session(&account, better, browser, idle_s).await
    }

    /// Asks again for the password of whoever has this session, before an act that carries their name. Wrong
    /// ones are counted by session, after the password was looked at; after twenty the session ends.
    ///
    /// # Errors
    /// Refused as `password_wrong` when it is wrong, or was too often.
    pub async fn confirm_in(&self, session: &Session, typed: &str, station: &str) -> Result<()> {
        let key = Key::confirming(&session.token_sha256, session.account.id);
        // As it is kept now: it may have been changed in another session.
        let account: Account = self.read().await?.get(session.account.id).await?;
        let (tried, failures) = self.try_known(&account, typed, &key, station).await?;
        if failures >= KNOWN_MOST {
            let sql = "DELETE FROM session WHERE token_sha256 = $1";
            self.write(sql, &session.token_sha256, None).await?;
        }
        confirmed(&tried)
    }

    /// Asks for the password of somebody at a station where somebody else is logged in. Wrong ones are counted by
    /// account and station, and never with wrong log-ins.
    ///
    /// # Errors
    /// Refused as `password_wrong` when it is wrong, or was too often.
    pub async fn confirm(&self, account: &Account, typed: &str, station: &str) -> Result<()> {
        let key = Key::confirming(&format!("station {station}"), account.id);
        confirmed(&self.try_known(account, typed, &key, station).await?.0)
    }

    /// Holds a password against that of an account, at a place where it is known. Tries at once come one after the
    /// other; with a wrong one, how many there were in a row.
    async fn try_known(
        &self,
        account: &Account,
        typed: &str,
        key: &Key,
        station: &str,
    ) -> Result<(Tried, i64)> {
        let _turn = self.turn_of(key).await;
        if let Some(wait_s) = self.must_wait(key).await? {
            return Ok((Tried::Wait { wait_s }, 0));
        }
        if password::is_right(typed.to_owned(), account.password.clone()).await? {
            self.forget(&key.id).await?;
            return Ok((Tried::Right(Box::new(account.clone())), 0));
        }
        let failures = self.count_failure(key).await?;
        self.failed(Some(account), station, failures).await?;
        Ok((Tried::Wrong, failures))
    }

    /// Holds a password against a login's, in a browser nobody knows.
    async fn try_strange(
        &self,
        login: &str,
        found: Option<Account>,
        typed: &str,
        station: &str,
    ) -> Result<Tried> {
        let keys = Key::strangers(login, found.as_ref().map(|account| account.id), station);
        let failures = match self.count_attempt(&keys).await? {
            Ok(failures) => failures,
            Err(wait_s) => return Ok(Tried::Wait { wait_s }),
        };
        let kept = found.as_ref().and_then(|account| account.password.clone());
        let right = password::is_right(typed.to_owned(), kept).await?;
        let Some(account) = found.as_ref().filter(|_| right) else {
            let failures = if found.is_some() { failures } else { self.count_nobody().await? };
            self.failed(found.as_ref(), station, failures).await?;
            return Ok(Tried::Wrong);
        };
        self.forget_attempt(&keys).await?;
        Ok(Tried::Right(Box::new(account.clone())))
    }

    /// The count of a browser that knows this account.
    async fn known(&self, token: Option<&str>, account: Option<&Account>) -> Result<Option<Key>> {
        let (Some(token), Some(account)) = (token, account) else { return Ok(None) };
        let hash = sha256(token.as_bytes());
        let least = self.steady_now() - KNOWN_S;
        let sql =
            "SELECT COUNT(*) FROM device WHERE token_sha256 = $1 AND account = $2 AND seen_at > $3";
        let mut conn = self.read().await?;
        let there =
            conn.number(sql, &[hash.as_str().into(), account.id.into(), least.into()]).await?;
        Ok((there > 0).then(|| Key::known(&hash, account.id)))
    }

    /// A browser in which too much was tried is one like any other.
    async fn unknow(&self, token: Option<&str>, account: &Account) -> Result<()> {
        let hash = sha256(token.unwrap_or_default().as_bytes());
        let sql = "DELETE FROM device WHERE token_sha256 = $1 AND account = $2";
        self.write(sql, &hash, Some(account.id)).await
    }

    /// The session of a token, if it still holds. `touch` says somebody is there: its idle time begins anew.
    pub async fn session(&self, token: &str, idle_s: i64, touch: bool) -> Result<Option<Session>> {
        let now = self.steady_now();
        let hash = sha256(token.as_bytes());
        let mut conn = self.read().await?;
        let found: Option<(i64, i64, i64)> = on!(&mut conn, c => sqlx::query_as("SELECT account, began_at, seen_at FROM session WHERE token_sha256 = $1").bind(&hash).fetch_optional(c).await)?;
        let Some((account, began_at, seen_at)) = found else { return Ok(None) };
        let account: Account = conn.get(account).await?;
        drop(conn);
        let over = now >= ends_at(began_at, seen_at, idle_s)
            || seen_at > now + CLOCK_SLACK_S
            || account.closed_at.is_some();
        if over {
            self.write("DELETE FROM session WHERE token_sha256 = $1", &hash, None).await?;
            let wrote = async {
                let mut act = self.act(&Author::program(), "session.over").await?;
                act.on(format!("account {}", account.id), None);
                act.close().await
            };
            // It is over also where that cannot be written, for instance under a clock that runs behind.
            let _ = wrote.await;
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

    /// Ends every session of an account but this one; gives how many.
    ///
    /// # Errors
    /// When the record cannot be written.
    pub async fn log_out_elsewhere(&self, session: &Session, station: &str) -> Result<u64> {
        let (keep, id) = (session.token_sha256.clone(), session.account.id);
        let mut act = self.act(&author(&session.account, station), "logout.elsewhere").await?;
        act.on(format!("account {id}"), None);
        let sql = "DELETE FROM session WHERE account = $1 AND token_sha256 <> $2";
        let ended = on!(act.conn(), c => sqlx::query(sql).bind(id).bind(keep).execute(c).await.map(|done| done.rows_affected()))?;
        act.note(json!({"ended": ended}));
        act.close().await.map(|_| ended)
    }

    async fn begin_session(
        &self,
        account: &Account,
        better: Option<String>,
        browser: Browser<'_>,
        idle_s: i64,
    ) -> Result<LogIn> {
        let token = new_token()?;
        let hash = sha256(token.as_bytes());
        let now = self.steady_now();
        let mut act = self.act(&author(account, browser.station), "login").await?;
        act.on(format!("account {}", account.id), None);
        let sql = "INSERT INTO session (token_sha256, account, station, began_at, seen_at) VALUES ($1, $2, $3, $4, $4)";
        let station = browser.station.to_owned();
        on!(act.conn(), c => sqlx::query(sql).bind(&hash).bind(account.id).bind(station).bind(now).execute(c).await.map(|_| ()))?;
        // The session this browser had ends, and those nobody came back to are swept where one begins anyway.
        let old = "DELETE FROM session WHERE began_at < $1 OR token_sha256 = $2";
        let before = sha256(browser.session.unwrap_or_default().as_bytes());
        on!(act.conn(), c => sqlx::query(old).bind(now - LONGEST_S).bind(before).execute(c).await.map(|_| ()))?;
        let known = know(&mut act, account.id, browser.known, now).await?;
        // Read again inside the act: the account may have been closed while the password was hashed.
        let mut account: Account = act.get_as_seen(account.id, account.act).await?;
        // Under a clock that cannot be right nothing is changed; the next log-in does it.
        if let Some(better) = better.filter(|_| !act.is_in_doubt()) {
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
        Ok(LogIn::Done { session: Box::new(session), token, known })
    }

    async fn failed(&self, account: Option<&Account>, station: &str, failures: i64) -> Result<()> {
        if !is_told(failures) {
            return Ok(());
        }
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
        act.note(json!({"known": account.is_some(), "in_a_row": failures}));
        act.close().await.map(|_| ())
    }
}

impl Conn {
    /// The sessions of an account, the latest first.
    pub async fn sessions_of(&mut self, account: i64) -> Result<Vec<OwnSession>> {
        let sql = "SELECT token_sha256, station, began_at, seen_at FROM session WHERE account = $1 ORDER BY seen_at DESC, token_sha256";
        Ok(on!(self, c => sqlx::query_as(sql).bind(account).fetch_all(c).await)?)
    }
}

/// Keeps that somebody logged in in this browser; gives the token it is known by. A token nobody gave out is
/// not taken up.
pub(crate) async fn know(
    act: &mut Act,
    account: i64,
    token: Option<&str>,
    now: i64,
) -> Result<String> {
    let hash = sha256(token.unwrap_or_default().as_bytes());
    let sql = "SELECT COUNT(*) FROM device WHERE token_sha256 = $1";
    let there = act.conn().number(sql, &[hash.into()]).await? > 0;
    let token = match token {
        Some(token) if there => token.to_owned(),
        _ => new_token()?,
    };
    let hash = sha256(token.as_bytes());
    let sql = "INSERT INTO device (token_sha256, account, since_at, seen_at) VALUES ($1, $2, $3, $3) ON CONFLICT (token_sha256, account) DO UPDATE SET seen_at = excluded.seen_at";
    on!(act.conn(), c => sqlx::query(sql).bind(hash).bind(account).bind(now).execute(c).await.map(|_| ()))?;
    let old = "DELETE FROM device WHERE seen_at < $1";
    on!(act.conn(), c => sqlx::query(old).bind(now - KNOWN_S).execute(c).await.map(|_| ()))?;
    Ok(token)
}

fn confirmed(tried: &Tried) -> Result<()> {
    let says = match tried {
        Tried::Right(_) => return Ok(()),
        Tried::Wrong => "the password is wrong".to_owned(),
        Tried::Wait { wait_s } => format!("too many wrong passwords; wait {wait_s} s"),
    };
    Err(StoreError::refused("password_wrong", says, "nothing was done"))
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
