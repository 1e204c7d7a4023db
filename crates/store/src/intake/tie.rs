//! Tying a night to its loan: what the record knows is laid beside what the file tells, and the rows are written.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;

use crate::error::Result;
use crate::intake::owner::Desk;
use crate::intake::owner::Evidence;
use crate::intake::owner::Span;
use crate::intake::owner::Weighed;
use crate::intake::owner::fit;
use crate::intake::owner::noted_ahead_s;
use crate::intake::owner::weigh;
use crate::lending::monitor::WITHOUT_NIGHT;
use crate::people::identity::Known;
use crate::people::identity::Spelt;
use crate::record::act::Act;
use crate::record::db::Conn;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Movement;
use crate::record::tables::Night;
use crate::record::tables::Person;
use crate::record::tables::Study;
use crate::when::local_minute;
use crate::words::NightStatus;
use crate::words::StudyStatus;

/// Everything of the record that a night is held against.
#[derive(Clone, Debug)]
pub struct Ground {
    /// Everybody.
    people: Vec<Spelt>,
    /// Every monitor.
    pub monitors: Vec<Monitor>,
    with_night: BTreeSet<i64>,
    without_night: BTreeSet<i64>,
    zone: TimeZone,
    pub(crate) clock_limit_s: i64,
    now: i64,
}

impl Ground {
    pub(crate) fn desk(&self) -> Desk<'_> {
        Desk {
            zone: &self.zone,
            now: self.now,
            clock_limit_s: self.clock_limit_s,
            known: Known { people: &self.people, monitors: &self.monitors },
            with_night: &self.with_night,
            without_night: &self.without_night,
        }
    }
}

/// The loan a night points to.
#[derive(Clone, Debug, Default)]
pub(crate) struct Found {
    pub(crate) loan: Option<Loan>,
    pub(crate) weighed: Weighed,
    pub(crate) doubts: Vec<String>,
}

impl Conn {
    /// Everything a night is held against now.
    pub(crate) async fn ground(&mut self, now: i64) -> Result<Ground> {
        let settings = self.desk_settings().await?;
        let with =
            "SELECT DISTINCT loan FROM night WHERE loan IS NOT NULL AND status <> 'set_aside'";
        let with: Vec<i64> = on!(&mut *self, c => sqlx::query_scalar(with).fetch_all(c).await)?;
        let current = "SELECT person FROM study WHERE status NOT IN ('closed', 'reported') \
            UNION SELECT person FROM loan WHERE status IN ('booked', 'out')";
        let current: Vec<i64> =
            on!(&mut *self, c => sqlx::query_scalar(current).fetch_all(c).await)?;
        let current: BTreeSet<i64> = current.into_iter().collect();
        let clause = "WHERE loan IS NOT NULL AND before = 'back' AND after = 'to_clean'";
        let moved: Vec<Movement> = self.find(clause, &[]).await?;
        let without = moved.iter().filter(|one| one.what.starts_with(WITHOUT_NIGHT));
        let people: Vec<Person> = self.find("ORDER BY id", &[]).await?;
        Ok(Ground {
            people: people
                .iter()
                .map(|one| Spelt::new(one).current(current.contains(&one.id)))
                .collect(),
            monitors: self.find("ORDER BY id", &[]).await?,
            with_night: with.into_iter().collect(),
            without_night: without.filter_map(|one| one.loan).collect(),
            zone: settings.zone(),
            clock_limit_s: settings.clock_limit_s,
            now,
        })
    }

    /// The loans of a monitor that ever went out, the first first.
    async fn loans_out(&mut self, monitor: i64) -> Result<Vec<Loan>> {
        let clause = "WHERE monitor = $1 AND out_at IS NOT NULL ORDER BY out_at, id";
        self.find(clause, &[monitor.into()]).await
    }

    /// The loan a night points to, with everything that does not agree. A night ties by itself when there are
    /// no doubts and a loan.
    pub(crate) async fn whose(
        &mut self,
        evidence: &Evidence,
        taken_off: Option<i64>,
        ground: &Ground,
    ) -> Result<Found> {
        let monitor = evidence.monitor(taken_off, &ground.monitors).ok().map(|one| one.id);
        let loans = match monitor {
            Some(monitor) => self.loans_out(monitor).await?,
            None => Vec::new(),
        };
        let (loan, mut doubts) = fit(evidence, taken_off, &loans, &ground.desk());
        let Some(loan) = loan.cloned() else {
            return Ok(Found { doubts, ..Found::default() });
        };
        let weighed = self.weighed(evidence, &loan, None, ground).await?;
        doubts.extend(weighed.doubts());
        doubts.extend(self.taken_away_at(&loan, weighed.span).await?);
        if doubts.is_empty() && !weighed.is_sure() {
            doubts.push("it is not sure whose night this is".to_owned());
        }
        Ok(Found { loan: Some(loan), weighed, doubts })
    }

    /// A night held against one loan. `but` is a night of that loan which it is to take the place of.
    pub(crate) async fn weighed(
        &mut self,
        evidence: &Evidence,
        loan: &Loan,
        but: Option<i64>,
        ground: &Ground,
    ) -> Result<Weighed> {
        let loans = self.loans_out(loan.monitor).await?;
        let person: Person = self.get(loan.person).await?;
        let mut weighed = weigh(evidence, (loan, &person), &loans, &ground.desk());
        if let Some(span) = weighed.span {
            for other in self.nights_at(loan.id, span).await? {
                if Some(other.id) != but {
                    weighed.against.push(format!(
                        "loan {} has a night of the same time already, from {}",
                        loan.mark,
                        local_minute(other.start_at, &ground.zone)
                    ));
                }
            }
        }
        Ok(weighed)
    }

    /// What is said of a night at whose time another was untied from the same borrower: the same night in another
    /// export is not theirs either.
    async fn taken_away_at(&mut self, loan: &Loan, span: Option<Span>) -> Result<Option<String>> {
        let Some(span) = span else { return Ok(None) };
        let acts = "SELECT COUNT(*) FROM act WHERE person = $1 AND verb = 'night.untie' \
             AND object IN (SELECT 'night ' || night.id FROM night \
             WHERE status IN ('untied', 'set_aside') AND start_at < $2 AND end_at > $3)";
        let times = self
            .number(acts, &[loan.person.into(), span.end_at.into(), span.start_at.into()])
            .await?;
        let says = "a night of the same time was untied from this patient before";
        Ok((times > 0).then(|| says.to_owned()))
    }

    /// Nights tied to a loan that lie at the same time: never one that is untied or set aside.
    pub(crate) async fn nights_at(&mut self, loan: i64, span: Span) -> Result<Vec<Night>> {
        let clause = "WHERE loan = $1 AND start_at < $2 AND end_at > $3 AND status <> 'set_aside' ORDER BY id";
        self.find(clause, &[loan.into(), span.end_at.into(), span.start_at.into()]).await
    }
}

/// What is said of a night whose monitor's clock was noted to be wrong by more than the limit: by which clock
/// what is told.
pub(crate) fn clock_told(loan: &Loan, limit_s: i64) -> Option<String> {
    let ahead_s = noted_ahead_s(loan);
    let (far, way) = (ahead_s.unsigned_abs(), if ahead_s > 0 { "ahead" } else { "behind" });
    (ahead_s.abs() > limit_s).then(|| {
        format!(
            "the monitor's clock was noted as {far} s {way}: whose night it is was told with that taken off and without; its times are the monitor's own"
        )
    })
}

impl Act {
    /// Ties a night to a loan, and lets its study wait for the reading.
    pub(crate) async fn tie(&mut self, night: &mut Night, loan: &Loan) -> Result<()> {
        (night.loan, night.person, night.study) =
            (Some(loan.id), Some(loan.person), Some(loan.study));
        night.status = NightStatus::Waiting;
        let mut study: Study = self.get(loan.study).await?;
        if matches!(study.status, StudyStatus::Waiting | StudyStatus::OnLoan) {
            study.status = StudyStatus::ToRead;
            self.put(&mut study).await?;
        }
        Ok(())
    }

    /// A study left without a night to read waits again.
    pub(crate) async fn unread(&mut self, night: &Night) -> Result<()> {
        let Some(study) = night.study else { return Ok(()) };
        let others =
            "SELECT COUNT(*) FROM night WHERE study = $1 AND id <> $2 AND status <> 'set_aside'";
        let left = self.conn().number(others, &[study.into(), night.id.into()]).await?;
        let mut study: Study = self.get(study).await?;
        if left == 0 && study.status == StudyStatus::ToRead {
            study.status = StudyStatus::Waiting;
            self.put(&mut study).await?;
        }
        Ok(())
    }
}
