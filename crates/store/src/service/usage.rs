//! How the monitors were used: where each stood on each evening.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::civil::Time;

use super::Named;
use super::Period;
use crate::error::Result;
use crate::record::db::Conn;
use crate::when;
use crate::words::MonitorStatus;

/// The local time at which a night is counted: where a monitor stands then is what it does that night.
pub const EVENING: Time = jiff::civil::time(22, 0, 0, 0);

/// Nights of one monitor in one month, or of several together, by where it stood.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Usage {
    /// With a patient, within the time of the loan.
    pub lent: u64,
    /// With a patient who should have brought it back.
    pub late: u64,
    /// Ready or set aside, and not lent.
    pub idle: u64,
    /// Back, waiting for cleaning or for its check.
    pub preparing: u64,
    /// Held, in repair or lost.
    pub away: u64,
}

impl Usage {
    /// Nights the department had it: all but those before it came and after it was retired.
    pub fn nights(&self) -> u64 {
        self.lent + self.late + self.idle + self.preparing + self.away
    }

    /// Nights lent of those the department had it, %; `None` when it never had.
    pub fn percent(&self) -> Option<f64> {
        (self.nights() > 0).then(|| 100.0 * self.lent as f64 / self.nights() as f64)
    }

    fn add(&mut self, other: &Self) {
        self.lent += other.lent;
        self.late += other.late;
        self.idle += other.idle;
        self.preparing += other.preparing;
        self.away += other.away;
    }

    /// Several together.
    pub fn sum<'a>(all: impl IntoIterator<Item = &'a Self>) -> Self {
        all.into_iter().fold(Self::default(), |mut sum, one| {
            sum.add(one);
            sum
        })
    }
}

/// One monitor in one month of the period.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MonthOf {
    /// The monitor.
    pub monitor: Named,
    /// The first day of the month.
    pub month: Date,
    /// Its nights of the month that lie in the period and have begun.
    pub usage: Usage,
}

/// Where a monitor came to stand: when, where, and in which loan.
type Step = (i64, MonitorStatus, Option<i64>);

impl Conn {
    /// Where each monitor stood on each evening of the period, by mark and month.
    pub async fn usage(&mut self, period: &Period) -> Result<Vec<MonthOf>> {
        let mut steps = self.steps(period).await?;
        let due = self.due(period).await?;
        let evenings = evenings(period);
        let mut all = Vec::new();
        for monitor in self.marks().await? {
            let own = steps.remove(&monitor.id).unwrap_or_default();
            for (month, usage) in months(&evenings, &own, &due) {
                all.push(MonthOf { monitor: monitor.clone(), month, usage });
            }
        }
        Ok(all)
    }

    /// Every step of each monitor in the period, after the last one before it, in their order.
    async fn steps(&mut self, period: &Period) -> Result<BTreeMap<i64, Vec<Step>>> {
        let sql = "SELECT monitor, at, after, loan FROM movement WHERE id IN (SELECT MAX(id) FROM movement WHERE at < $1 GROUP BY monitor) OR (at >= $1 AND at < $2) ORDER BY at, id";
        let rows: Vec<(i64, i64, MonitorStatus, Option<i64>)> =
            self.rows(sql, &period.binds()).await?;
        let mut steps: BTreeMap<i64, Vec<Step>> = BTreeMap::new();
        for (monitor, at, after, loan) in rows {
            steps.entry(monitor).or_default().push((at, after, loan));
        }
        Ok(steps)
    }

    /// When each loan that was out in the period was due.
    async fn due(&mut self, period: &Period) -> Result<BTreeMap<i64, i64>> {
        let sql =
            "SELECT id, due_at FROM loan WHERE out_at < $2 AND (back_at IS NULL OR back_at >= $1)";
        let rows: Vec<(i64, i64)> = self.rows(sql, &period.binds()).await?;
        Ok(rows.into_iter().collect())
    }
}

/// The evenings of the period that have come: their first of the month and instant.
fn evenings(period: &Period) -> Vec<(Date, i64)> {
    let days = i64::from((period.to - period.from).get_days());
    (0..=days)
        .map(|later| when::days_later(period.from, later))
        .map(|day| (day.first_of_month(), when::local_instant(day, EVENING, &period.zone)))
        .take_while(|(_, at)| *at < period.end_at)
        .collect()
}

fn months(
    evenings: &[(Date, i64)],
    steps: &[Step],
    due: &BTreeMap<i64, i64>,
) -> Vec<(Date, Usage)> {
    let mut months: BTreeMap<Date, Usage> = BTreeMap::new();
    for (month, at) in evenings {
        // The last step of the evening's past; before the first the department had no such monitor.
        let before = steps.partition_point(|step| step.0 <= *at);
        let Some((_, stands, loan)) = before.checked_sub(1).and_then(|last| steps.get(last)) else {
            continue;
        };
        let late = loan.and_then(|loan| due.get(&loan)).is_some_and(|due_at| due_at < at);
        let usage = months.entry(*month).or_default();
        match stands {
            MonitorStatus::Out if late => usage.late += 1,
            MonitorStatus::Out => usage.lent += 1,
            MonitorStatus::Ready | MonitorStatus::Booked => usage.idle += 1,
            MonitorStatus::Back | MonitorStatus::ToClean | MonitorStatus::ToCheck => {
                usage.preparing += 1;
            }
            MonitorStatus::Held | MonitorStatus::InRepair | MonitorStatus::Lost => usage.away += 1,
            MonitorStatus::Retired => {}
        }
    }
    months.retain(|_, usage| usage.nights() > 0);
    months.into_iter().collect()
}
