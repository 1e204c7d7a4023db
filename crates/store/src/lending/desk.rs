//! What the desk asks of the record: this morning, the calendar, one monitor's history, what was scanned.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::error::Result;
use crate::ident;
use crate::lending::loan::LATE_S;
use crate::lending::loan::evenings;
use crate::lending::setting::DeskSettings;
use crate::record::db::Conn;
use crate::record::tables::Chase;
use crate::record::tables::Check;
use crate::record::tables::Cleaning;
use crate::record::tables::Consumable;
use crate::record::tables::Loan;
use crate::record::tables::LoanNight;
use crate::record::tables::Monitor;
use crate::record::tables::Movement;
use crate::record::tables::Night;
use crate::record::tables::Outcome;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Study;
use crate::when;
use crate::words::Contact;
use crate::words::LoanStatus;
use crate::words::MonitorStatus;
use crate::words::Skin;
use crate::words::StudyStatus;

/// For how long a return or a diary that told of harmed skin stands in the morning, s (common practice, no source).
const SKIN_S: i64 = 14 * 86_400;

/// What to do next about a monitor that is not back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rung {
    /// It is due today and its time has not come.
    DueToday,
    /// Its time has passed today: it may be on its way.
    Late,
    /// Ring the borrower.
    Ring,
    /// Write to the borrower.
    Write,
    /// Tell the manager.
    TellManager,
}

impl Rung {
    /// What to do, in words.
    pub fn says(self) -> &'static str {
        match self {
            Self::DueToday => "due today",
            Self::Late => "past its time today",
            Self::Ring => "ring the borrower",
            Self::Write => "write to the borrower",
            Self::TellManager => "tell the manager",
        }
    }
}

/// The rung of a loan that is out; `None` when it is due on a later day.
pub fn rung(due_at: i64, now: i64, desk: &DeskSettings) -> Option<Rung> {
    let zone = desk.zone();
    let (due, today) = (when::local_date(due_at, &zone), when::local_date(now, &zone));
    let days = i64::from((today - due).get_days());
    let [ring, letter, manager] = desk.ladder_days;
    Some(match days {
        _ if days < 0 => return None,
        0 if now <= due_at => Rung::DueToday,
        _ if days >= manager => Rung::TellManager,
        _ if days >= letter => Rung::Write,
        _ if days >= ring => Rung::Ring,
        _ => Rung::Late,
    })
}

/// Whether a loan is out and its time has passed.
pub fn is_late(loan: &Loan, now: i64, desk: &DeskSettings) -> bool {
    let rung = rung(loan.due_at, now, desk);
    loan.status == LoanStatus::Out && rung.is_some_and(|rung| rung > Rung::DueToday)
}

/// Whether the borrower was written to since the time of a loan passed.
pub fn was_written_to(loan: &Loan, chases: &[Chase]) -> bool {
    chases.iter().any(|one| one.how == Contact::Letter && one.at > loan.due_at)
}

/// A loan with who has it and which monitor.
#[derive(Clone, Debug)]
pub struct LoanLine {
    /// The loan.
    pub loan: Loan,
    /// Who has it, or will.
    pub person: Person,
    /// The monitor.
    pub monitor: Monitor,
    /// What to do next, when it is out and due.
    pub rung: Option<Rung>,
    /// The last word with the borrower.
    pub chased: Option<Chase>,
    /// What a diary of it tells of skin that was harmed, in the patient's words; told in the morning.
    pub skin: Option<String>,
}

/// A night that waits, with whose it is and what the engine makes of it.
#[derive(Clone, Debug)]
pub struct NightLine {
    /// The night.
    pub night: Night,
    /// The patient; `None` while that is not settled.
    pub person: Option<Person>,
    /// Its latest result.
    pub outcome: Option<Outcome>,
    /// What is severe in it, whatever was asked.
    pub severe: Option<String>,
}

/// The desk's morning.
#[derive(Clone, Debug, Default)]
pub struct Morning {
    /// Out and due today, in order of their time.
    pub due: Vec<LoanLine>,
    /// Out and late, the longest first.
    pub missing: Vec<LoanLine>,
    /// Handed in, the night still on the monitor.
    pub back: Vec<LoanLine>,
    /// To be handed out today.
    pub tonight: Vec<LoanLine>,
    /// Booked loans whose monitor cannot go out as it is: it is late, held, away or lost.
    pub endangered: Vec<LoanLine>,
    /// Nights that wait to be tied or read.
    pub nights: Vec<NightLine>,
    /// Monitors that wait for cleaning or their check.
    pub to_do: Vec<Monitor>,
    /// Studies that have no night and no loan.
    pub waiting: Vec<(Study, Person)>,
    /// Loans of the last two weeks whose return or diary told of sore, blistered or otherwise harmed skin.
    pub skin: Vec<LoanLine>,
    /// What new monitors for all that are out would cost, pence.
    pub out_pence: i64,
    /// The same for those that are late or lost.
    pub at_risk_pence: i64,
}

/// One night of the calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NightCount {
    /// The evening.
    pub night_on: Date,
    /// Monitors in use that night, promised or out.
    pub taken: usize,
    /// Monitors that could go out that night.
    pub free: usize,
}

/// The booking calendar.
#[derive(Clone, Debug)]
pub struct Calendar {
    /// The nights shown.
    pub nights: Vec<NightCount>,
    /// A row for each monitor that is not retired: what it does each night.
    pub rows: Vec<(Monitor, Vec<Option<LoanNight>>)>,
    /// The loans that appear.
    pub loans: BTreeMap<i64, LoanLine>,
}

/// What is recorded of one monitor, the latest first; older entries are in the audit.
#[derive(Clone, Debug)]
pub struct History {
    /// The monitor.
    pub monitor: Monitor,
    /// Its cylinder.
    pub gas: Option<Consumable>,
    /// The last changes of where it stood, the latest first.
    pub movements: Vec<Movement>,
    /// The last checks, the latest first.
    pub checks: Vec<Check>,
    /// The last cleanings, the latest first.
    pub cleanings: Vec<Cleaning>,
    /// The last loans, the latest first.
    pub loans: Vec<LoanLine>,
}

/// What a scanned or typed text points to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scanned {
    /// A monitor, by mark or serial number.
    Monitor(i64),
    /// A loan, by its mark.
    Loan(i64),
    /// A person, by hospital or NHS number.
    Person(i64),
    /// A mark whose check character is wrong: it was misread.
    Misread,
    /// Nothing of the record.
    Nothing,
}

impl Conn {
    /// What a scanner or a person typed points to.
    pub async fn scanned(&mut self, text: &str) -> Result<Scanned> {
        let mark = ident::plain_mark(text);
        if mark.is_empty() {
            return Ok(Scanned::Nothing);
        }
        if let Some(found) = self
            .first::<Monitor>(
                "WHERE mark = $1 OR serial = $2",
                &[mark.as_str().into(), text.trim().into()],
            )
            .await?
        {
            return Ok(Scanned::Monitor(found.id));
        }
        if let Some(found) = self.first::<Loan>("WHERE mark = $1", &[mark.as_str().into()]).await? {
            return Ok(Scanned::Loan(found.id));
        }
        let nhs = ident::nhs_number(text).unwrap_or_default();
        if let Some(found) = self
            .first::<Person>(
                "WHERE voided_at IS NULL AND (mrn = $1 OR nhs_number = $2)",
                &[text.trim().into(), nhs.into()],
            )
            .await?
        {
            return Ok(Scanned::Person(found.id));
        }
        let ours = mark.starts_with("M-") || mark.starts_with("L-");
        Ok(if ours && !ident::is_checked(&mark) { Scanned::Misread } else { Scanned::Nothing })
    }

    /// A loan with who has it and which monitor.
    ///
    /// # Errors
    /// When the database breaks off or a row is missing.
    pub async fn loan_line(
        &mut self,
        loan: Loan,
        now: i64,
        desk: &DeskSettings,
    ) -> Result<LoanLine> {
        let rung = if loan.status == LoanStatus::Out { rung(loan.due_at, now, desk) } else { None };
        let chased = match rung {
            Some(_) => {
                self.first("WHERE loan = $1 ORDER BY id DESC LIMIT 1", &[loan.id.into()]).await?
            }
            None => None,
        };
        Ok(LoanLine {
            person: self.get(loan.person).await?,
            monitor: self.get(loan.monitor).await?,
            loan,
            rung,
            chased,
            skin: None,
        })
    }

    async fn lines(
        &mut self,
        loans: Vec<Loan>,
        now: i64,
        desk: &DeskSettings,
    ) -> Result<Vec<LoanLine>> {
        let mut lines = Vec::with_capacity(loans.len());
        for loan in loans {
            lines.push(self.loan_line(loan, now, desk).await?);
        }
        Ok(lines)
    }

    /// The desk's morning at this moment.
    pub async fn morning(&mut self, now: i64) -> Result<Morning> {
        let desk = self.desk_settings().await?;
        let today = when::local_date(now, &desk.zone()).to_string();
        let out = self.find("WHERE status = 'out' ORDER BY due_at", &[]).await?;
        let (missing, rest): (Vec<_>, Vec<_>) = self
            .lines(out, now, &desk)
            .await?
            .into_iter()
            .partition(|line| line.rung.is_some_and(|rung| rung > Rung::DueToday));
        let out_pence = rest.iter().chain(&missing).map(|line| line.monitor.value_pence).sum();
        let lost: i64 = self.number("SELECT CAST(COALESCE(SUM(value_pence), 0) AS BIGINT) FROM monitor WHERE status = 'lost'", &[]).await?;
        let late: Vec<i64> = missing.iter().map(|line| line.monitor.id).collect();
        let at_risk_pence = lost + missing.iter().map(|line| line.monitor.value_pence).sum::<i64>();
        let back = self.find("WHERE status = 'back' AND id IN (SELECT loan FROM monitor WHERE status = 'back') ORDER BY back_at", &[]).await?;
        let booked = self
            .find(
                "WHERE status = 'booked' AND first_night_on <= $1 ORDER BY first_night_on, id",
                &[today.as_str().into()],
            )
            .await?;
        let soon = self
            .find(
                "WHERE status = 'booked' AND first_night_on <= $1 ORDER BY first_night_on, id",
                &[when::days_later(when::local_date(now, &desk.zone()), 7).to_string().into()],
            )
            .await?;
        Ok(Morning {
            due: rest.into_iter().filter(|line| line.rung == Some(Rung::DueToday)).collect(),
            missing,
            back: self.lines(back, now, &desk).await?,
            tonight: self.lines(booked, now, &desk).await?,
            endangered: self
                .lines(soon, now, &desk)
                .await?
                .into_iter()
                .filter(|line| endangered(line, &late))
                .collect(),
            nights: self.nights_waiting().await?,
            to_do: self
                .find("WHERE status IN ('to_clean', 'to_check') ORDER BY returned_at, id", &[])
                .await?,
            waiting: self.studies_waiting().await?,
            skin: self.skin(now, &desk).await?,
            out_pence,
            at_risk_pence,
        })
    }

    /// Loans whose return or diary told of harmed skin, those that came back last first.
    async fn skin(&mut self, now: i64, desk: &DeskSettings) -> Result<Vec<LoanLine>> {
        let since = now - SKIN_S;
        let clause = "WHERE status = 'back' AND back_at > $1 ORDER BY back_at DESC";
        let back: Vec<Loan> = self.find(clause, &[since.into()]).await?;
        let sore = |loan: &Loan| {
            let back = loan.back.0.as_ref();
            back.is_some_and(|back| matches!(back.skin, Skin::Sore | Skin::Blister))
        };
        let mut loans: Vec<Loan> = back.into_iter().filter(sore).collect();
        let told = self.skin_told(since).await?;
        let only_told: Vec<i64> = told
            .iter()
            .map(|(loan, _)| *loan)
            .filter(|id| loans.iter().all(|loan| loan.id != *id))
            .collect();
        loans.extend(self.find_among::<Loan>("id", &only_told).await?);
        let mut lines = self.lines(loans, now, desk).await?;
        for line in &mut lines {
            let words = told.iter().find(|(loan, _)| *loan == line.loan.id);
            line.skin = words.map(|(_, words)| words.clone());
        }
        Ok(lines)
    }

    /// Nights that wait to be tied or read, the oldest first; not those that are being repeated.
    pub async fn nights_waiting(&mut self) -> Result<Vec<NightLine>> {
        let clause = concat!(
            "WHERE status IN ('untied', 'waiting', 'reading') AND ",
            not_repeated!(),
            " ORDER BY start_at, id"
        );
        let nights: Vec<Night> = self.find(clause, &[]).await?;
        let ids = |of: fn(&Night) -> Option<i64>| nights.iter().filter_map(of).collect::<Vec<_>>();
        let people: Vec<Person> = self.find_among("id", &ids(|night| night.person)).await?;
        let results: Vec<Outcome> = self.find_among("id", &ids(|night| night.result)).await?;
        let line = |night: Night| {
            let outcome = results.iter().find(|one| Some(one.id) == night.result).cloned();
            NightLine {
                person: people.iter().find(|one| Some(one.id) == night.person).cloned(),
                severe: outcome.as_ref().and_then(Outcome::severe),
                outcome,
                night,
            }
        };
        Ok(nights.into_iter().map(line).collect())
    }

    /// The referral behind each of some nights, by the number of its study.
    pub async fn asked_of(&mut self, nights: &[&Night]) -> Result<BTreeMap<i64, Referral>> {
        let studies: Vec<i64> = nights.iter().filter_map(|night| night.study).collect();
        let studies: Vec<Study> = self.find_among("id", &studies).await?;
        let referrals: Vec<i64> = studies.iter().map(|study| study.referral).collect();
        let referrals: Vec<Referral> = self.find_among("id", &referrals).await?;
        let pair = |study: &Study| {
            let referral = referrals.iter().find(|one| one.id == study.referral)?;
            Some((study.id, referral.clone()))
        };
        Ok(studies.iter().filter_map(pair).collect())
    }

    async fn studies_waiting(&mut self) -> Result<Vec<(Study, Person)>> {
        let studies: Vec<Study> = self.find("WHERE status = 'waiting' AND id NOT IN (SELECT study FROM loan WHERE status = 'back') ORDER BY id", &[]).await?;
        let mut waiting = Vec::with_capacity(studies.len());
        for study in studies.into_iter().filter(|study| study.status == StudyStatus::Waiting) {
            let person = self.get(study.person).await?;
            waiting.push((study, person));
        }
        Ok(waiting)
    }

    /// The booking calendar over some nights.
    pub async fn calendar(&mut self, from: Date, nights: i64, now: i64) -> Result<Calendar> {
        let desk = self.desk_settings().await?;
        let shown = evenings(from, nights.clamp(1, 62));
        let (first, last) = (from.to_string(), shown.last().unwrap_or(&from).to_string());
        let held: Vec<LoanNight> = self
            .find(
                "WHERE NOT freed AND night_on >= $1 AND night_on <= $2",
                &[first.as_str().into(), last.as_str().into()],
            )
            .await?;
        let by_place: BTreeMap<(i64, String), LoanNight> = held
            .into_iter()
            .map(|night| ((night.monitor, night.night_on.clone()), night))
            .collect();
        let monitors: Vec<Monitor> =
            self.find("WHERE status <> 'retired' ORDER BY mark", &[]).await?;
        let found = self.find("WHERE id IN (SELECT loan FROM loan_night WHERE NOT freed AND night_on >= $1 AND night_on <= $2)", &[first.as_str().into(), last.as_str().into()]).await?;
        let loans = self
            .lines(found, now, &desk)
            .await?
            .into_iter()
            .map(|line| (line.loan.id, line))
            .collect();
        let rows: Vec<(Monitor, Vec<Option<LoanNight>>)> = monitors
            .into_iter()
            .map(|monitor| {
                let row = shown
                    .iter()
                    .map(|night| by_place.get(&(monitor.id, night.to_string())).cloned())
                    .collect();
                (monitor, row)
            })
            .collect();
        let overdue: Vec<Loan> =
            self.find("WHERE status = 'out' AND due_at < $1", &[(now - LATE_S).into()]).await?;
        let late: Vec<i64> = overdue.iter().map(|loan| loan.monitor).collect();
        let counts =
            shown.iter().enumerate().map(|(at, night)| count(&rows, &late, at, *night)).collect();
        Ok(Calendar { nights: counts, rows, loans })
    }

    /// What is recorded of one monitor, the latest first; older entries are in the audit.
    ///
    /// # Errors
    /// When there is no such monitor.
    pub async fn history(&mut self, id: i64, now: i64) -> Result<History> {
        let desk = self.desk_settings().await?;
        let monitor: Monitor = self.get(id).await?;
        let gas = self.gas_of(&monitor).await?;
        let loans = self.find("WHERE monitor = $1 ORDER BY id DESC LIMIT 40", &[id.into()]).await?;
        Ok(History {
            gas,
            movements: self
                .find("WHERE monitor = $1 ORDER BY id DESC LIMIT 100", &[id.into()])
                .await?,
            checks: self
                .find("WHERE monitor = $1 ORDER BY id DESC LIMIT 100", &[id.into()])
                .await?,
            cleanings: self
                .find("WHERE monitor = $1 ORDER BY id DESC LIMIT 100", &[id.into()])
                .await?,
            loans: self.lines(loans, now, &desk).await?,
            monitor,
        })
    }
}

/// A booked loan whose monitor is late with somebody else, held, away or lost.
fn endangered(line: &LoanLine, missing: &[i64]) -> bool {
    match line.monitor.status {
        MonitorStatus::Held
        | MonitorStatus::InRepair
        | MonitorStatus::Lost
        | MonitorStatus::Retired => true,
        MonitorStatus::Out => missing.contains(&line.monitor.id),
        _ => false,
    }
}

fn count(
    rows: &[(Monitor, Vec<Option<LoanNight>>)],
    late: &[i64],
    at: usize,
    night_on: Date,
) -> NightCount {
    let taken = rows.iter().filter(|(_, row)| row[at].is_some()).count();
    let able = |monitor: &Monitor| {
        let gone = matches!(
            monitor.status,
            MonitorStatus::Held | MonitorStatus::InRepair | MonitorStatus::Lost
        );
        !gone && !late.contains(&monitor.id)
    };
    let free = rows.iter().filter(|(monitor, row)| row[at].is_none() && able(monitor)).count();
    NightCount { night_on, taken, free }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ladder_climbs_by_the_departments_days() {
        let desk = DeskSettings::default();
        // Due on 25 November 2026 at 10:00, London winter time is UTC.
        let due = 1_795_600_800;
        let days = |days: i64| rung(due, due + days * 86_400, &desk);
        assert_eq!(days(-1), None);
        assert_eq!(rung(due, due - 3_600, &desk), Some(Rung::DueToday));
        assert_eq!(rung(due, due + 3_600, &desk), Some(Rung::Late));
        assert_eq!(
            [days(1), days(2), days(3), days(6), days(7), days(40)].map(Option::unwrap),
            [
                Rung::Ring,
                Rung::Ring,
                Rung::Write,
                Rung::Write,
                Rung::TellManager,
                Rung::TellManager
            ]
        );
    }
}
