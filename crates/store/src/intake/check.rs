//! Checks of a monitor with its gas, and the nights each speaks for.
//!
//! A check speaks for a night only while the sensor stayed as it was between the two: a new membrane, a repair,
//! a service, a release after it was held or a find ends that. A check that did not pass never corrects a night:
//! it is told as a reservation. One that comes after a night was scored waits for its reader to take it up. One
//! that was typed wrong is voided.

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::quoted;
use crate::lending::machine::Move;
use crate::lending::monitor::CheckForm;
use crate::people::person::reason_given;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Check;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Night;
use crate::when::local_minute;
use crate::when::rfc3339;
use crate::words::CheckWhen;
use crate::words::MonitorStatus;
use crate::words::NightStatus;

/// Acts after which a sensor is not the one it was, as a condition.
macro_rules! service {
    () => {
        "verb IN ('monitor.membrane', 'monitor.send_away', 'monitor.come_back', 'monitor.release', 'monitor.find', 'monitor.serviced')"
    };
}
pub(crate) const SERVICE: &str = service!();
const SERVICE_OF: &str =
    concat!("SELECT seq, at FROM act WHERE object = $1 AND ", service!(), " ORDER BY seq");

/// What a check is to one night.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Speaks {
    /// It is an anchor of the night's CO2.
    Anchor,
    /// It did not pass: a reservation.
    Failed,
    /// The sensor was changed or worked on between the two.
    Serviced,
    /// It holds no gas, or figures that cannot be.
    Nothing,
    /// It was voided.
    Voided,
}

/// A check beside a night.
#[derive(Clone, Debug, PartialEq)]
pub struct NightCheck {
    /// The check.
    pub check: Check,
    /// What it is to the night.
    pub speaks: Speaks,
    /// What it would be if nobody had voided it.
    pub unvoided: Speaks,
    /// Whether it stands in the night's notes.
    pub taken: bool,
}

impl NightCheck {
    /// Whether it came when the night was scored already and waits for its reader.
    pub fn is_pending(&self) -> bool {
        self.speaks == Speaks::Anchor && !self.taken
    }
}

/// The entry of a check in the notes of a night; `None` without both values.
pub fn entry_of(check: &Check) -> Option<[(&'static str, String); 3]> {
    let (expected, observed) = (check.expected_kpa?, check.observed_kpa?);
    Some([
        ("at", quoted(&rfc3339(check.at))),
        ("expected_kpa", format!("{expected:?}")),
        ("observed_kpa", format!("{observed:?}")),
    ])
}

/// The lines of a check in the notes of a night, without their heading.
pub(crate) fn lines_of(check: &Check) -> Option<String> {
    let entry = entry_of(check)?.map(|(key, value)| format!("{key} = {value}\n"));
    Some(entry.concat())
}

/// Whether a check is written in notes.
fn is_in(check: &Check, notes: &str) -> bool {
    lines_of(check).is_some_and(|lines| format!("{notes}\n").contains(&lines))
}

impl Conn {
    /// The checks of a night's loan and what each is to the night, the first first.
    pub async fn checks_of(&mut self, night: &Night) -> Result<Vec<NightCheck>> {
        let Some(loan) = night.loan else { return Ok(Vec::new()) };
        let loan: Loan = self.get(loan).await?;
        let clause = "WHERE loan = $1 AND monitor = $2 ORDER BY at, id";
        let checks: Vec<Check> = self.find(clause, &[loan.id.into(), loan.monitor.into()]).await?;
        let events = self.service_of(loan.monitor).await?;
        let range = self.desk_settings().await?.gas_range_kpa;
        Ok(beside_night(checks, night, &events, range))
    }

    /// When a monitor's sensor was changed or worked on: number of the act, and when.
    async fn service_of(&mut self, monitor: i64) -> Result<Vec<(i64, i64)>> {
        let object = format!("monitor {monitor}");
        Ok(on!(self, c => sqlx::query_as(SERVICE_OF).bind(&object).fetch_all(c).await)?)
    }

    /// The nights that hang on a check: of its monitor, since the check or the work on the sensor before it.
    pub async fn hangs_on_check(&mut self, check: &Check) -> Result<Vec<Night>> {
        let clause = "WHERE monitor = $1 AND passed AND voided_at IS NULL AND (at < $2 OR (at = $2 AND id < $3)) ORDER BY at DESC, id DESC LIMIT 1";
        let with = [check.monitor.into(), check.at.into(), check.id.into()];
        let before: Option<Check> = self.first(clause, &with).await?;
        let service = self.service_of(check.monitor).await?;
        let service =
            service.into_iter().filter(|event| happened(*event, check)).map(|event| event.1);
        let from = service.chain(before.map(|one| one.at)).max().unwrap_or(i64::MIN);
        let clause = "WHERE loan IN (SELECT id FROM loan WHERE monitor = $1) AND end_at > $2 AND start_at < $3 AND status <> 'set_aside' ORDER BY start_at";
        self.find(clause, &[check.monitor.into(), from.into(), check.at.into()]).await
    }

    /// What a check means for the nights before it, a sentence each: who is told, and which report is signed.
    pub async fn check_says(&mut self, check: &Check) -> Result<Vec<String>> {
        let mut says = Vec::new();
        let zone = self.desk_settings().await?.zone();
        for night in self.hangs_on_check(check).await? {
            let Some(loan) = night.loan else { continue };
            let loan: Loan = self.get(loan).await?;
            let name = format!(
                "night {} of loan {}, {}",
                night.id,
                loan.mark,
                &local_minute(night.start_at, &zone)[..10]
            );
            let one = match (night.status, night.result.is_some()) {
                (NightStatus::Signed, _) if self.told_and_voided(&night, check).await? => format!(
                    "{name}, is signed, and its report tells of this check as it was: its reader is told, and signs it anew or withdraws it"
                ),
                (NightStatus::Signed, _) if check.passed || check.voided_at.is_some() => format!(
                    "{name}, is signed and was left as it is: its report rests on this monitor"
                ),
                (NightStatus::Signed, _) if self.signed_since(&night, check).await? => {
                    format!("{name}, is signed, and its report was signed after this check")
                }
                (NightStatus::Signed, _) => format!(
                    "{name}, is signed, and its report does not tell of this check: its reader is told, and signs it anew or withdraws it"
                ),
                (_, true) => format!(
                    "{name}, was scored before it: its reader is told and takes it up or not"
                ),
                (_, false) => format!("{name}, is not scored yet"),
            };
            says.push(one);
        }
        Ok(says)
    }
}

impl Conn {
    /// Whether the last version of a night's report was signed after a check.
    async fn signed_since(&mut self, night: &Night, check: &Check) -> Result<bool> {
        let sql = "SELECT COALESCE(MAX(act), 0) FROM report WHERE night = $1";
        Ok(self.number(sql, &[night.id.into()]).await? > check.act)
    }

    /// Whether a check that did not pass was voided when the last version of a night's report told of it.
    async fn told_and_voided(&mut self, night: &Night, check: &Check) -> Result<bool> {
        if check.passed || check.voided_at.is_none() || self.signed_since(night, check).await? {
            return Ok(false);
        }
        let sql = "SELECT COALESCE(MAX(a.at), 0) FROM report r JOIN act a ON a.seq = r.act WHERE r.night = $1";
        Ok(self.number(sql, &[night.id.into()]).await? >= check.at)
    }
}

/// What each check is to a night, given what was done to the sensor.
pub(crate) fn beside_night(
    checks: Vec<Check>,
    night: &Night,
    events: &[(i64, i64)],
    range: [f64; 2],
) -> Vec<NightCheck> {
    let of = |check: Check| {
        let unvoided = speaks(&check, night, events, range);
        let speaks = if check.voided_at.is_some() { Speaks::Voided } else { unvoided };
        NightCheck { speaks, unvoided, taken: is_in(&check, &night.notes), check }
    };
    checks.into_iter().map(of).collect()
}

/// Whether an event lies before a check.
fn happened((seq, at): (i64, i64), check: &Check) -> bool {
    (at, seq) < (check.at, check.act)
}

/// What a check is to a night, whether it was voided or not.
fn speaks(check: &Check, night: &Night, events: &[(i64, i64)], [least, most]: [f64; 2]) -> Speaks {
    let (Some(expected), Some(observed)) = (check.expected_kpa, check.observed_kpa) else {
        return Speaks::Nothing;
    };
    let between = |event: &(i64, i64)| {
        if check.at <= night.start_at {
            !happened(*event, check) && event.1 < night.end_at
        } else {
            happened(*event, check) && event.1 > night.start_at
        }
    };
    if events.iter().any(between) {
        Speaks::Serviced
    } else if !(least..=most).contains(&expected) || !(0.0..=most * 2.0).contains(&observed) {
        Speaks::Nothing
    } else if check.passed {
        Speaks::Anchor
    } else {
        Speaks::Failed
    }
}

impl Store {
    /// Records a check of a monitor. No night is scored anew by it: the readers of those it speaks for are told,
    /// and take it up or not.
    ///
    /// # Errors
    /// As [`Store::check`].
    pub async fn check_and_tell(
        &self,
        by: &Author,
        id: i64,
        form: CheckForm,
    ) -> Result<(Monitor, Vec<String>)> {
        let monitor = self.check(by, id, form).await?;
        let mut conn = self.read().await?;
        let last: Option<Check> =
            conn.first("WHERE monitor = $1 ORDER BY id DESC LIMIT 1", &[id.into()]).await?;
        let says = match last {
            Some(check) => conn.check_says(&check).await?,
            None => Vec::new(),
        };
        Ok((monitor, says))
    }

    /// Voids a check that was typed wrong. It speaks for no night any more: unsigned nights that nobody judged
    /// by hand are scored again without it, the others' readers are told. A monitor that was ready by it waits
    /// for its check again.
    ///
    /// # Errors
    /// When there is no such check, it is voided already, or no reason is given.
    pub async fn void_check(&self, by: &Author, id: i64, reason: &str) -> Result<Check> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "monitor.void_check").await?;
        let mut check: Check = act.get(id).await?;
        if check.voided_at.is_some() {
            return Err(StoreError::refused("check_voided", "this check is voided already", ""));
        }
        (check.voided_at, check.voided_by) = (Some(act.at()), Some(by.login.clone()));
        check.voided_because = Some(reason.clone());
        act.put(&mut check).await?;
        act.unchecked(&check).await?;
        act.because(reason);
        act.on(format!("monitor {}", check.monitor), None);
        act.close().await?;
        if let Some(loan) = check.loan {
            self.score_waiting(by, loan).await?;
        }
        Ok(check)
    }
}

impl Act {
    /// A monitor whose last check is voided has not passed one.
    async fn unchecked(&mut self, check: &Check) -> Result<()> {
        let mut monitor: Monitor = self.get(check.monitor).await?;
        if !check.passed || monitor.checked_at != Some(check.at) {
            return Ok(());
        }
        monitor.checked_at = None;
        if monitor.status == MonitorStatus::Ready && check.made == CheckWhen::After {
            // The check that takes its place belongs to the same loan.
            monitor.loan = check.loan;
            return self.step(&mut monitor, Move::Uncheck, "its check was voided").await;
        }
        self.put(&mut monitor).await
    }
}
