//! How many nights must be repeated, and why.

use engine::judge::Cause;
use engine::judge::causes;
use engine::stats::Interval;
use engine::stats::wilson;

use super::Period;
use crate::error::Result;
use crate::record::db::Conn;

/// The quantile of 95 %, two-sided.
const Z95: f64 = 1.959_964;

/// A share of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// Wilson's 95 % interval, from 0 to 1; `None` of nothing.
    ///
    /// # Sources
    /// `newcombe-1998`
    pub interval: Option<Interval>,
}

impl Share {
    /// So many of so many.
    pub fn new(count: u64, of: u64) -> Self {
        Self { count, of, interval: wilson(count, of, Z95) }
    }

    /// The share, %; `None` of nothing.
    pub fn percent(&self) -> Option<f64> {
        (self.of > 0).then(|| 100.0 * self.count as f64 / self.of as f64)
    }
}

/// The nights of a period that were read, and those that do not answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Repeats {
    /// Nights whose verdict is `repeat`, of those being read or signed.
    pub repeat: Share,
    /// Nights with each kind of reason, of those being read or signed, the most frequent first. A night may
    /// have several, so they can add up to more.
    pub causes: Vec<(Cause, Share)>,
    /// Nights that another loan was booked to repeat, whatever their verdict.
    pub again: Share,
    /// Nights that wait: not yet read, or whose they are is not settled. They are in none of the shares.
    pub waiting: u64,
}

#[derive(Default, serde::Deserialize)]
struct Scores {
    verdict: Verdict,
}

#[derive(Default, serde::Deserialize)]
struct Verdict {
    reasons: Vec<String>,
}

/// SQL of nights: those that the login $3 does not read blind.
macro_rules! not_blind {
    () => {
        " AND night.id NOT IN (SELECT night FROM second_reading WHERE reader = $3 AND finished_at IS NULL AND withdrawn_at IS NULL)"
    };
}

impl Conn {
    /// The nights that began in the period and were read, and which of them must be repeated. Those that whoever
    /// asks reads blind are left out: of a single day it would tell what the first reader found.
    pub async fn repeat_rate(&mut self, period: &Period, asks: &str) -> Result<Repeats> {
        let mut binds = period.binds().to_vec();
        binds.push(asks.into());
        let read = self.nights_counted(concat!("SELECT COUNT(*) FROM night WHERE start_at >= $1 AND start_at < $2 AND status IN ('reading', 'signed') AND result IS NOT NULL", not_blind!()), &binds).await?;
        let waiting = self.nights_counted("SELECT COUNT(*) FROM night WHERE start_at >= $1 AND start_at < $2 AND status IN ('waiting', 'untied')", &binds[..2]).await?;
        let again = self.nights_counted(concat!("SELECT COUNT(*) FROM night WHERE start_at >= $1 AND start_at < $2 AND status IN ('reading', 'signed') AND result IS NOT NULL AND id IN (SELECT repeats_night FROM loan WHERE repeats_night IS NOT NULL AND status <> 'cancelled')", not_blind!()), &binds).await?;
        let sql = concat!(
            "SELECT outcome.scores FROM night JOIN outcome ON outcome.id = night.result WHERE night.start_at >= $1 AND night.start_at < $2 AND night.status IN ('reading', 'signed') AND outcome.verdict = 'repeat'",
            not_blind!()
        );
        let scores: Vec<(String,)> = self.rows(sql, &binds).await?;
        let kinds: Vec<Cause> = scores.iter().flat_map(|(text,)| causes(&reasons(text))).collect();
        Ok(Repeats {
            repeat: Share::new(scores.len() as u64, read),
            causes: counted(&kinds, read),
            again: Share::new(again, read),
            waiting,
        })
    }

    async fn nights_counted(
        &mut self,
        sql: &'static str,
        with: &[crate::record::db::Bind],
    ) -> Result<u64> {
        Ok(u64::try_from(self.number(sql, with).await?).unwrap_or(0))
    }
}

/// The reasons a result was kept with; none when they cannot be read.
fn reasons(scores: &str) -> Vec<String> {
    serde_json::from_str::<Scores>(scores).unwrap_or_default().verdict.reasons
}

fn counted(kinds: &[Cause], read: u64) -> Vec<(Cause, Share)> {
    let mut all = kinds.to_vec();
    all.sort_unstable();
    all.dedup();
    let count = |cause: &Cause| kinds.iter().filter(|one| *one == cause).count() as u64;
    let mut counted: Vec<(Cause, Share)> =
        all.into_iter().map(|cause| (cause, Share::new(count(&cause), read))).collect();
    counted.sort_by_key(|(cause, share)| (std::cmp::Reverse(share.count), *cause));
    counted
}
