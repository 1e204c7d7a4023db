//! What pages list: whole kinds of rows, each in the one order that it is read in.

use crate::error::Result;
use crate::record::db::Conn;
use crate::record::tables::Chase;
use crate::record::tables::Consumable;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Movement;
use crate::record::tables::Night;
use crate::record::tables::Person;
use crate::record::tables::Report;
use crate::record::tables::Setting;
use crate::record::tables::Study;
use crate::record::tables::Tie;

impl Conn {
    /// Every monitor, by mark.
    pub async fn monitors(&mut self) -> Result<Vec<Monitor>> {
        self.find("ORDER BY mark", &[]).await
    }

    /// The monitors that are not retired, by mark.
    pub async fn monitors_kept(&mut self) -> Result<Vec<Monitor>> {
        self.find("WHERE status <> 'retired' ORDER BY mark", &[]).await
    }

    /// The monitors that can be booked: neither lost nor retired, by mark.
    pub async fn monitors_to_book(&mut self) -> Result<Vec<Monitor>> {
        self.find("WHERE status NOT IN ('lost', 'retired') ORDER BY mark", &[]).await
    }

    /// The loan that each monitor is on now, where it is on one.
    pub async fn loans_on_monitors(&mut self) -> Result<Vec<Loan>> {
        self.find("WHERE id IN (SELECT loan FROM monitor WHERE loan IS NOT NULL)", &[]).await
    }

    /// Every lot: those in use first, then by the day until which they may be used.
    pub async fn lots(&mut self) -> Result<Vec<Consumable>> {
        self.find("ORDER BY closed_at IS NOT NULL, expires_on, id", &[]).await
    }

    /// Membranes and gases in use, what may be used shortest first.
    pub async fn lots_for_monitors(&mut self) -> Result<Vec<Consumable>> {
        let clause = "WHERE closed_at IS NULL AND kind IN ('membrane', 'gas') ORDER BY expires_on";
        self.find(clause, &[]).await
    }

    /// What was done to have a loan's monitor back, the first first.
    pub async fn chases(&mut self, loan: i64) -> Result<Vec<Chase>> {
        self.find("WHERE loan = $1 ORDER BY id", &[loan.into()]).await
    }

    /// What happened to a loan's monitor during the loan, the first first.
    pub async fn movements(&mut self, loan: i64) -> Result<Vec<Movement>> {
        self.find("WHERE loan = $1 ORDER BY id", &[loan.into()]).await
    }

    /// A person's latest loans, the last first.
    pub async fn loans_of(&mut self, person: i64) -> Result<Vec<Loan>> {
        self.find("WHERE person = $1 ORDER BY id DESC LIMIT 40", &[person.into()]).await
    }

    /// A person's studies, the last first.
    pub async fn studies_of(&mut self, person: i64) -> Result<Vec<Study>> {
        self.find("WHERE person = $1 ORDER BY id DESC", &[person.into()]).await
    }

    /// The loan that was booked last.
    pub async fn last_loan(&mut self) -> Result<Option<Loan>> {
        self.first("ORDER BY id DESC LIMIT 1", &[]).await
    }

    /// Every night, as they came in.
    pub async fn nights(&mut self) -> Result<Vec<Night>> {
        self.find("ORDER BY id", &[]).await
    }

    /// The latest nights tied to a person, the last first.
    pub async fn nights_of_person(&mut self, person: i64) -> Result<Vec<Night>> {
        let clause = "WHERE person = $1 ORDER BY start_at DESC, id DESC LIMIT 60";
        self.find(clause, &[person.into()]).await
    }

    /// The latest nights tied to a loan, the last first.
    pub async fn nights_of_loan(&mut self, loan: i64) -> Result<Vec<Night>> {
        let clause = "WHERE loan = $1 ORDER BY start_at DESC, id DESC LIMIT 60";
        self.find(clause, &[loan.into()]).await
    }

    /// The ties that wait for a second person.
    pub async fn ties_proposed(&mut self) -> Result<Vec<Tie>> {
        self.find("WHERE status = 'proposed'", &[]).await
    }

    /// Who has this hospital number and is not voided.
    pub async fn person_numbered(&mut self, mrn: &str) -> Result<Option<Person>> {
        self.first("WHERE mrn = $1 AND voided_at IS NULL", &[mrn.into()]).await
    }

    /// The latest versions of a setting, the last first.
    pub async fn versions_of(&mut self, setting: &str) -> Result<Vec<Setting>> {
        self.find("WHERE name = $1 ORDER BY id DESC LIMIT 50", &[setting.into()]).await
    }

    /// Signed reports, the latest version of each night, that nobody has interpreted; the oldest first.
    pub async fn reports_to_interpret(&mut self) -> Result<Vec<Report>> {
        let clause = "WHERE withdrawn_at IS NULL AND interpreted_at IS NULL AND version = \
                      (SELECT MAX(version) FROM report AS last WHERE last.night = report.night) \
                      ORDER BY signed_at";
        self.find(clause, &[]).await
    }

    /// When the last act of a kind was; `None` when there was none.
    pub async fn last_of(&mut self, verb: &str) -> Result<Option<i64>> {
        let sql = "SELECT COALESCE(MAX(at), 0) FROM act WHERE verb = $1";
        let at = self.number(sql, &[verb.into()]).await?;
        Ok((at != 0).then_some(at))
    }

    /// How many acts of a kind there were, on one thing or on all.
    pub async fn acts_of(&mut self, verb: &str, object: Option<&str>) -> Result<i64> {
        match object {
            None => self.number("SELECT COUNT(*) FROM act WHERE verb = $1", &[verb.into()]).await,
            Some(object) => {
                let sql = "SELECT COUNT(*) FROM act WHERE verb = $1 AND object = $2";
                self.number(sql, &[verb.into(), object.into()]).await
            }
        }
    }

    /// How many monitors are lent to two people at once, and how many of their nights are promised twice: none,
    /// or the record is broken.
    pub async fn lent_twice(&mut self) -> Result<(i64, i64)> {
        let out = "SELECT COUNT(*) FROM (SELECT monitor FROM loan WHERE status = 'out' \
                   GROUP BY monitor HAVING COUNT(*) > 1) AS twice";
        let nights = "SELECT COUNT(*) FROM (SELECT monitor, night_on FROM loan_night \
                      WHERE NOT freed GROUP BY monitor, night_on HAVING COUNT(*) > 1) AS twice";
        Ok((self.number(out, &[]).await?, self.number(nights, &[]).await?))
    }
}
