//! What failed, monitor by monitor.

use super::Named;
use super::Period;
use crate::error::Result;
use crate::record::db::Conn;

/// With fewer loans than this no rate per hundred is given. Common practice, no source.
pub const PER_HUNDRED_FROM: u64 = 10;

/// What failed of one monitor in a period.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MonitorFailures {
    /// The monitor.
    pub monitor: Named,
    /// Loans it went out on.
    pub loans: u64,
    /// Checks it did not pass.
    pub failed_checks: u64,
    /// Times it was held, other than by a check it did not pass.
    pub held: u64,
    /// Times it was sent away for repair or service.
    pub away: u64,
    /// Times it was given up as lost.
    pub lost: u64,
    /// Returns of which no night came.
    pub without_night: u64,
    /// Nights of which nothing is believed.
    pub nothing_believed: u64,
    /// Returns with a part missing.
    pub parts_missing: u64,
}

impl MonitorFailures {
    /// Everything that failed; the yearly service is no failure.
    pub fn failures(&self) -> u64 {
        self.failed_checks
            + self.held
            + self.lost
            + self.without_night
            + self.nothing_believed
            + self.parts_missing
    }

    /// A count for each hundred loans; `None` with fewer than [`PER_HUNDRED_FROM`] loans.
    pub fn per_hundred(&self, count: u64) -> Option<f64> {
        (self.loans >= PER_HUNDRED_FROM).then(|| 100.0 * count as f64 / self.loans as f64)
    }
}

/// What failed in a period.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failures {
    /// Each monitor that went out or failed, by mark.
    pub monitors: Vec<MonitorFailures>,
    /// All of them together.
    pub all: MonitorFailures,
}

/// The counts, each a monitor and how many.
const COUNTS: [&str; 8] = [
    "SELECT monitor, COUNT(*) FROM loan WHERE out_at >= $1 AND out_at < $2 GROUP BY monitor",
    "SELECT monitor, COUNT(*) FROM monitor_check WHERE at >= $1 AND at < $2 AND NOT passed AND voided_at IS NULL GROUP BY monitor",
    // A failed check holds the monitor in the same act: that is one failure, not two.
    "SELECT monitor, COUNT(*) FROM movement WHERE at >= $1 AND at < $2 AND after = 'held' AND NOT EXISTS (SELECT 1 FROM monitor_check WHERE monitor_check.monitor = movement.monitor AND monitor_check.at = movement.at AND (monitor_check.act = movement.act OR monitor_check.voided_at IS NOT NULL)) GROUP BY monitor",
    "SELECT monitor, COUNT(*) FROM movement WHERE at >= $1 AND at < $2 AND after = 'in_repair' GROUP BY monitor",
    "SELECT monitor, COUNT(*) FROM movement WHERE at >= $1 AND at < $2 AND after = 'lost' GROUP BY monitor",
    "SELECT monitor, COUNT(*) FROM movement WHERE at >= $1 AND at < $2 AND before = 'back' AND after = 'to_clean' AND loan IS NOT NULL AND NOT EXISTS (SELECT 1 FROM night WHERE night.loan = movement.loan AND night.status <> 'set_aside') GROUP BY monitor",
    "SELECT loan.monitor, COUNT(*) FROM night JOIN loan ON loan.id = night.loan JOIN outcome ON outcome.id = night.result WHERE night.start_at >= $1 AND night.start_at < $2 AND night.status <> 'set_aside' AND outcome.believed_h <= 0 GROUP BY loan.monitor",
    "SELECT monitor, COUNT(*) FROM loan WHERE back_at >= $1 AND back_at < $2 AND back LIKE '%\"missing\":[\"%' GROUP BY monitor",
];

impl Conn {
    /// What failed in the period, monitor by monitor.
    pub async fn failures(&mut self, period: &Period) -> Result<Failures> {
        let mut counts: Vec<Vec<(i64, i64)>> = Vec::with_capacity(COUNTS.len());
        for sql in COUNTS {
            counts.push(self.rows(sql, &period.binds()).await?);
        }
        let of = |which: usize, monitor: i64| {
            let found = counts[which].iter().find(|row| row.0 == monitor).map_or(0, |row| row.1);
            u64::try_from(found).unwrap_or(0)
        };
        let line = |monitor: Named| {
            let count = |which| of(which, monitor.id);
            MonitorFailures {
                loans: count(0),
                failed_checks: count(1),
                held: count(2),
                away: count(3),
                lost: count(4),
                without_night: count(5),
                nothing_believed: count(6),
                parts_missing: count(7),
                monitor,
            }
        };
        let mut monitors: Vec<MonitorFailures> =
            self.marks().await?.into_iter().map(line).collect();
        monitors.retain(|line| line.loans + line.failures() + line.away > 0);
        Ok(Failures { all: together(&monitors), monitors })
    }
}

fn together(monitors: &[MonitorFailures]) -> MonitorFailures {
    let sum = |of: fn(&MonitorFailures) -> u64| monitors.iter().map(of).sum();
    MonitorFailures {
        monitor: Named { id: 0, mark: String::new() },
        loans: sum(|line| line.loans),
        failed_checks: sum(|line| line.failed_checks),
        held: sum(|line| line.held),
        away: sum(|line| line.away),
        lost: sum(|line| line.lost),
        without_night: sum(|line| line.without_night),
        nothing_believed: sum(|line| line.nothing_believed),
        parts_missing: sum(|line| line.parts_missing),
    }
}
