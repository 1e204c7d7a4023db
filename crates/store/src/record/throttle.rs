//! How fast passwords may be tried, and who is held up by whom.
//!
//! A stranger may hold up strangers only. A browser in which somebody has logged in before has its own count,
//! and so has a session in which the password is asked again; nothing that is tried from elsewhere touches them.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::steady_clock::Steady;

/// After how long without a failure it is forgotten, s.
const FORGET_S: i64 = 24 * 3600;
/// The same for a login, s: who waits a day must not begin anew.
const FORGET_LOGIN_S: i64 = 30 * 24 * 3600;
/// The longest delay there is, s. A stored one that reaches further was written under a wrong clock.
const LONGEST_S: i64 = 24 * 3600;
/// Rows of strangers that are kept; the oldest go first. Rows of accounts are not among them.
const STRANGERS: i64 = 20_000;

/// How failures slow down the next attempt.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Throttle {
    /// Failures that cost nothing: people mistype.
    free: i64,
    /// The longest delay, s.
    longest_s: i64,
    /// After so many failures only one a day. NIST SP 800-63B wants no more than 100 in a row on one account
    /// (from memory).
    most: i64,
}

/// One login from one address, in a browser that is not known.
const PAIR: Throttle = Throttle { free: 5, longest_s: 900, most: i64::MAX };
/// One address with any login, in browsers that are not known. Short: a hospital may sit behind one.
const ADDRESS: Throttle = Throttle { free: 20, longest_s: 60, most: i64::MAX };
/// One login from all browsers that are not known.
const LOGIN: Throttle = Throttle { free: 20, longest_s: 900, most: 100 };
/// One account in a browser, or in a session, that knows it.
const KNOWN: Throttle = Throttle { free: 5, longest_s: 60, most: i64::MAX };
/// After so many failures a known browser is one like any other, and a session ends.
pub(crate) const KNOWN_MOST: i64 = 20;

/// What is counted, and how it slows down.
#[derive(Clone, Debug)]
pub(crate) struct Key {
    pub(crate) id: String,
    throttle: Throttle,
}

impl Key {
    /// The keys of somebody unknown: pair, address and login.
    pub(crate) fn strangers(login: &str, account: Option<i64>, station: &str) -> [Self; 3] {
        // A typed login may be a password in the wrong box: kept is only its hash.
        let typed = &sha256(login.as_bytes())[..32];
        let address = network(station);
        let login = match account {
            Some(id) => format!("login:a{id}"),
            None => format!("login:x{typed}"),
        };
        [
            Self { id: format!("pair:{typed}:{address}"), throttle: PAIR },
            Self { id: format!("address:{address}"), throttle: ADDRESS },
            Self { id: login, throttle: LOGIN },
        ]
    }

    /// An account in a browser that knows it.
    pub(crate) fn known(device_sha256: &str, account: i64) -> Self {
        Self { id: format!("known:{}:{account}", &device_sha256[..32]), throttle: KNOWN }
    }

    /// An account whose password is asked again at a place of its own: a session, or a station in somebody's.
    pub(crate) fn confirming(place: &str, account: i64) -> Self {
        Self {
            id: format!("confirm:{}:{account}", &sha256(place.as_bytes())[..32]),
            throttle: KNOWN,
        }
    }
}

/// The network an address belongs to: whoever has one address of IPv6 has its whole /64.
pub(crate) fn network(station: &str) -> String {
    match station.parse::<IpAddr>().map(|ip| ip.to_canonical()) {
        Ok(IpAddr::V6(ip)) => {
            let [a, b, c, d, ..] = ip.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
        }
        Ok(IpAddr::V4(ip)) => ip.to_string(),
        Err(_) => station.chars().take(64).collect(),
    }
}

/// The delay after so many failures, s: none at first, then doubling, and a day beyond the most.
fn delay_s(failures: i64, throttle: Throttle) -> i64 {
    if failures >= throttle.most {
        return LONGEST_S;
    }
    match failures - throttle.free {
        over if over <= 0 => 0,
        over => (1_i64 << over.min(20)).min(throttle.longest_s),
    }
}

/// Whether the so manieth failure in a row is an act of its own: the first five, then ever fewer, so that a
/// stranger cannot fill the record.
pub(crate) fn is_told(failures: i64) -> bool {
    failures <= 5 || (failures % 10 == 0 && (failures / 10).count_ones() == 1)
}

/// What all who knock share: the time, and whose turn it is.
#[derive(Debug)]
pub(crate) struct Door {
    steady: Mutex<Steady>,
    turns: Mutex<BTreeMap<String, Arc<tokio::sync::Mutex<()>>>>,
}

impl Door {
    pub(crate) fn new(wall_s: i64) -> Self {
        Self { steady: Mutex::new(Steady::following(wall_s)), turns: Mutex::default() }
    }

    pub(crate) fn steady(&self) -> MutexGuard<'_, Steady> {
        self.steady.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The turn of a key: tries with it come one after the other.
    fn turn(&self, key: &str) -> Arc<tokio::sync::Mutex<()>> {
        let mut turns = self.turns.lock().unwrap_or_else(PoisonError::into_inner);
        turns.retain(|_, turn| Arc::strong_count(turn) > 1);
        turns.entry(key.to_owned()).or_default().clone()
    }
}

impl Store {
    /// Waits for the turn of a key.
    pub(crate) async fn turn_of(&self, key: &Key) -> tokio::sync::OwnedMutexGuard<()> {
        self.door.turn(&key.id).lock_owned().await
    }

    /// How long a key must wait, s; `None` when it need not.
    pub(crate) async fn must_wait(&self, key: &Key) -> Result<Option<i64>> {
        let now = self.steady_now();
        let (_, until) = failures(&mut self.read().await?, &key.id, now).await?;
        Ok((until > now).then_some(until - now))
    }

    /// Counts one failure; gives how many there are in a row.
    pub(crate) async fn count_failure(&self, key: &Key) -> Result<i64> {
        let now = self.steady_now();
        let mut conn = self.begin_write().await?;
        let count = count(&mut conn, key, now).await?;
        conn.commit().await?;
        Ok(count)
    }

    /// Counts an attempt as failed before it is looked at, so that many at once gain nothing; unless one of
    /// its keys must wait: then says how long, s. Gives the failures of the last key.
    pub(crate) async fn count_attempt(&self, keys: &[Key]) -> Result<Result<i64, i64>> {
        let now = self.steady_now();
        let mut conn = self.begin_write().await?;
        if let Conn::Postgres(tx) = &mut conn {
            // Attempts at once are counted one after the other.
            sqlx::raw_sql("SELECT pg_advisory_xact_lock(5176840178)").execute(&mut **tx).await?;
        }
        for key in keys {
            let (_, until) = failures(&mut conn, &key.id, now).await?;
            if until > now {
                return Ok(Err(until - now));
            }
        }
        let mut last = 0;
        for key in keys {
            last = count(&mut conn, key, now).await?;
        }
        sweep(&mut conn, now).await?;
        conn.commit().await?;
        Ok(Ok(last))
    }

    /// After a success of a stranger: the pair and the login begin anew, the address gets its attempt back.
    pub(crate) async fn forget_attempt(&self, [pair, address, login]: &[Key; 3]) -> Result<()> {
        self.forget(&pair.id).await?;
        self.forget(&login.id).await?;
        self.write("UPDATE failed_login SET failures = failures - 1, until_at = $2 WHERE id = $1 AND failures > 0", &address.id, Some(self.steady_now())).await
    }

    /// A key begins anew.
    pub(crate) async fn forget(&self, key: &str) -> Result<()> {
        self.write("DELETE FROM failed_login WHERE id = $1", key, None).await
    }

    /// Counts what is tried with logins that are nobody's, all together.
    pub(crate) async fn count_nobody(&self) -> Result<i64> {
        let throttle = Throttle { free: i64::MAX, longest_s: 0, most: i64::MAX };
        self.count_failure(&Key { id: "nobody".to_owned(), throttle }).await
    }

    /// One statement on what is no record: sessions and failures come and go.
    pub(crate) async fn write(
        &self,
        sql: &'static str,
        key: &str,
        number: Option<i64>,
    ) -> Result<()> {
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

async fn count(conn: &mut Conn, key: &Key, now: i64) -> Result<i64> {
    let (failed, until) = failures(conn, &key.id, now).await?;
    let forget = if key.id.starts_with("login:") { FORGET_LOGIN_S } else { FORGET_S };
    let failed = if until + forget < now { 1 } else { failed + 1 };
    let until = now + delay_s(failed, key.throttle);
    let sql = "INSERT INTO failed_login (id, failures, until_at) VALUES ($1, $2, $3) ON CONFLICT (id) DO UPDATE SET failures = excluded.failures, until_at = excluded.until_at";
    on!(conn, c => sqlx::query(sql).bind(key.id.clone()).bind(failed).bind(until).execute(c).await.map(|_| ()))?;
    Ok(failed)
}

/// What is old goes, and of strangers what is too much.
async fn sweep(conn: &mut Conn, now: i64) -> Result<()> {
    let old =
        "DELETE FROM failed_login WHERE until_at < $1 AND (id NOT LIKE 'login:%' OR until_at < $2)";
    on!(conn, c => sqlx::query(old).bind(now - FORGET_S).bind(now - FORGET_LOGIN_S).execute(c).await.map(|_| ()))?;
    let many = format!(
        "DELETE FROM failed_login WHERE id IN (SELECT id FROM failed_login WHERE id LIKE 'pair:%' OR id LIKE 'address:%' OR id LIKE 'login:x%' ORDER BY until_at DESC LIMIT {} OFFSET {STRANGERS})",
        i64::MAX
    );
    on!(conn, c => sqlx::query(sqlx::AssertSqlSafe(many)).execute(c).await.map(|_| ()))?;
    Ok(())
}

/// Failures in a row and until when to wait. What reaches further than the longest delay was written by a
/// server whose clock was wrong, and holds nobody up.
async fn failures(conn: &mut Conn, key: &str, now: i64) -> Result<(i64, i64)> {
    let sql = "SELECT failures, until_at FROM failed_login WHERE id = $1";
    let found: Option<(i64, i64)> =
        on!(conn, c => sqlx::query_as(sql).bind(key.to_owned()).fetch_optional(c).await)
            .map_err(StoreError::from)?;
    let (failed, until) = found.unwrap_or((0, 0));
    Ok((failed, if until > now + LONGEST_S { now } else { until }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_delay_grows_and_never_locks_out() {
        let delays: Vec<_> = (4..=9).map(|failures| delay_s(failures, PAIR)).collect();
        assert_eq!(delays, [0, 0, 2, 4, 8, 16]);
        assert_eq!(delay_s(1_000_000, PAIR), 900);
        assert_eq!(delay_s(1_000_000, ADDRESS), 60);
        assert_eq!(delay_s(1_000_000, KNOWN), 60);
        assert_eq!(delay_s(1_000_000, LOGIN), 86_400);
    }

    /// Tries an attacker has against one account within so long, from as many addresses as they like.
    fn tries_within(seconds: i64) -> i64 {
        let (mut at, mut tried) = (0, 0);
        while at <= seconds {
            tried += 1;
            at += delay_s(tried, LOGIN).max(1);
        }
        tried
    }

    /// NIST SP 800-63B: no more than 100 failures in a row on one account (from memory).
    #[test]
    fn guessing_one_account_from_everywhere_is_slow() {
        assert_eq!(tries_within(3_600), 32, "in the first hour");
        assert!(tries_within(24 * 3_600) <= 101, "{} in the first day", tries_within(24 * 3_600));
        assert!(
            tries_within(30 * 24 * 3_600) <= 131,
            "{} in a month",
            tries_within(30 * 24 * 3_600)
        );
    }

    /// One that holds a session or a known browser has twenty more tries, and no more.
    #[test]
    fn a_known_browser_gives_an_attacker_little() {
        let waits: i64 = (1..KNOWN_MOST).map(|failures| delay_s(failures, KNOWN)).sum();
        assert!(waits > 500, "{waits}");
    }

    #[test]
    fn who_has_one_address_of_ipv6_has_its_64() {
        assert_eq!(network("2001:db8:1:2:3:4:5:6"), network("2001:db8:1:2:ffff::1"));
        assert_ne!(network("2001:db8:1:2::1"), network("2001:db8:1:3::1"));
        assert_eq!(network("::ffff:192.0.2.7"), "192.0.2.7");
        assert_eq!(network("192.0.2.7"), "192.0.2.7");
    }

    #[test]
    fn failures_in_a_row_are_few_acts() {
        let told = (1..=1_000_000).filter(|failures| is_told(*failures)).count();
        assert!(told <= 25, "{told}");
    }
}
