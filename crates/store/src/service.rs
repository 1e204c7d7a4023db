//! Figures for the service: what the department did between two days, counted from its record.
//!
//! Nothing here names a patient, a borrower or a member of staff. What is not over yet is counted and said,
//! never left out; every share carries what it is a share of.

mod chart;
mod drift;
mod failures;
mod repeats;
mod turnaround;
mod usage;

pub use chart::Chart;
pub use chart::FEWEST;
pub use chart::RUN;
pub use chart::Run;
pub use drift::Drift;
pub use drift::GasCheck;
pub use failures::Failures;
pub use failures::MonitorFailures;
pub use failures::PER_HUNDRED_FROM;
pub use repeats::Repeats;
pub use repeats::Share;
pub use turnaround::Leg;
pub use turnaround::Times;
pub use turnaround::Turnaround;
pub use usage::EVENING;
pub use usage::MonthOf;
pub use usage::Usage;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::db::Bind;
use crate::record::db::Conn;
use crate::when;

/// The longest period that is counted, days: ten years.
const LONGEST_DAYS: i64 = 3_660;

/// Two local days and everything between them, both included.
#[derive(Clone, Debug)]
pub struct Period {
    /// The first day.
    pub from: Date,
    /// The last day.
    pub to: Date,
    /// The zone the days are of.
    pub zone: TimeZone,
    /// Midnight before the first day, s since 1970.
    pub start_at: i64,
    /// Midnight after the last day, or now when that has not come; not included.
    pub end_at: i64,
}

impl Period {
    /// The period between two days, as far as it is over.
    ///
    /// # Errors
    /// When the first day lies after the last or in the future, or the period is longer than ten years.
    pub fn between(from: Date, to: Date, zone: &TimeZone, now: i64) -> Result<Self> {
        let wrong = |says: &str, hint: &str| Err(StoreError::refused("period_wrong", says, hint));
        if to < from {
            return wrong("the last day lies before the first", "change one of them");
        }
        if when::days_later(from, LONGEST_DAYS) < to {
            return wrong("the period is longer than ten years", "choose a shorter one");
        }
        let midnight = jiff::civil::time(0, 0, 0, 0);
        let start_at = when::local_instant(from, midnight, zone);
        if start_at >= now {
            return wrong("the first day lies in the future", "choose a day that has begun");
        }
        let end_at = when::local_instant(when::days_later(to, 1), midnight, zone).min(now + 1);
        Ok(Self { from, to, zone: zone.clone(), start_at, end_at })
    }

    /// Whether something happened in it.
    pub fn holds(&self, at: i64) -> bool {
        (self.start_at..self.end_at).contains(&at)
    }

    /// What happened by its end; what came later is as if it had not happened.
    fn by_its_end(&self, at: Option<i64>) -> Option<i64> {
        at.filter(|at| *at < self.end_at)
    }

    fn binds(&self) -> [Bind; 2] {
        [self.start_at.into(), self.end_at.into()]
    }
}

/// One monitor as it is named in the figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Its row.
    pub id: i64,
    /// Its mark.
    pub mark: String,
}

impl Conn {
    /// Every monitor there ever was, by its mark.
    async fn marks(&mut self) -> Result<Vec<Named>> {
        let sql = "SELECT id, mark FROM monitor ORDER BY mark";
        let rows: Vec<(i64, String)> = self.rows(sql, &[]).await?;
        Ok(rows.into_iter().map(|(id, mark)| Named { id, mark }).collect())
    }

    /// Rows of a query that are no rows of one table.
    async fn rows<T>(&mut self, sql: &'static str, with: &[Bind]) -> Result<Vec<T>>
    where
        T: Send
            + Unpin
            + for<'r> sqlx::FromRow<'r, sqlx::sqlite::SqliteRow>
            + for<'r> sqlx::FromRow<'r, sqlx::postgres::PgRow>,
    {
        Ok(on!(self, c => {
            let mut query = sqlx::query_as::<_, T>(sql);
            for value in with {
                query = match value {
                    Bind::Int(number) => query.bind(*number),
                    Bind::Text(text) => query.bind(text.clone()),
                };
            }
            query.fetch_all(c).await
        })?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_period_ends_at_the_midnight_after_its_last_day_or_now() {
        let london = TimeZone::get("Europe/London").unwrap();
        let day = |text: &str| text.parse::<Date>().unwrap();
        // The clocks went back on 25 October 2026: that day has 25 hours (IANA zone database).
        let now = 1_795_593_600;
        let one = Period::between(day("2026-10-25"), day("2026-10-25"), &london, now).unwrap();
        assert_eq!(one.end_at - one.start_at, 25 * 3_600);
        assert!(one.holds(one.start_at) && !one.holds(one.end_at));
        let today = Period::between(day("2026-11-25"), day("2026-12-24"), &london, now).unwrap();
        assert_eq!(today.end_at, now + 1);
        for (from, to) in [
            ("2026-11-25", "2026-11-24"),
            ("2026-11-26", "2026-11-27"),
            ("2000-01-01", "2026-01-01"),
        ] {
            assert!(
                Period::between(day(from), day(to), &london, now).unwrap_err().is("period_wrong")
            );
        }
    }
}
