//! What the record holds beside nights, read for all of them at once: a list of a hundred nights asks the database
//! no more often than the page of one.

use std::collections::BTreeMap;

use sqlx::AssertSqlSafe;

use crate::error::Result;
use crate::intake::check::NightCheck;
use crate::intake::check::SERVICE;
use crate::intake::check::beside_night;
use crate::intake::scoring::diaries_on;
use crate::intake::scoring::reading_in;
use crate::intake::scoring::reading_of;
use crate::lending::setting::DeskSettings;
use crate::reading::edit::Word;
use crate::reading::edit::word_on;
use crate::reading::late::Late;
use crate::reading::late::late;
use crate::reading::standing::Became;
use crate::reading::standing::ReportLine;
use crate::reading::standing::became;
use crate::reading::steps::Versions;
use crate::record::db::Conn;
use crate::record::db::among;
use crate::record::tables::Account;
use crate::record::tables::Check;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Loan;
use crate::record::tables::Night;
use crate::record::tables::NotesVersion;
use crate::record::tables::Original;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Setting;
use crate::record::tables::Study;
use crate::record::tables::Tie;
use crate::words::NightStatus;
use crate::words::TieStatus;

/// What stands beside some nights.
#[derive(Clone, Debug)]
pub struct Beside {
    pub(crate) desk: DeskSettings,
    loans: BTreeMap<i64, Loan>,
    /// What the referral behind a study tells of what is breathed.
    support: BTreeMap<i64, String>,
    /// Whose the nights are.
    people: BTreeMap<i64, Person>,
    /// Every night of their loans.
    of_loans: Vec<Night>,
    ties: Vec<Tie>,
    names: BTreeMap<String, String>,
    checks: Vec<Check>,
    /// When the sensor of a monitor was changed or worked on.
    service: BTreeMap<String, Vec<(i64, i64)>>,
    originals: BTreeMap<i64, Original>,
    /// How each original is read, by the name of its setting.
    readings: BTreeMap<String, String>,
    diaries: Vec<DiaryEntry>,
    versions: Vec<NotesVersion>,
    /// The act that wrote each result.
    judged: BTreeMap<i64, i64>,
    reports: Vec<ReportLine>,
}

impl Conn {
    /// Reads what stands beside some nights.
    pub async fn beside(&mut self, nights: &[Night]) -> Result<Beside> {
        let ids: Vec<i64> = nights.iter().map(|night| night.id).collect();
        let loans: Vec<i64> = nights.iter().filter_map(|night| night.loan).collect();
        let originals: Vec<i64> = nights.iter().map(|night| night.original).collect();
        let people: Vec<i64> = nights.iter().filter_map(|night| night.person).collect();
        let people: Vec<Person> = self.find_among("id", &people).await?;
        let lent: Vec<Loan> = self.find_among("id", &loans).await?;
        let monitors: Vec<i64> = lent.iter().map(|loan| loan.monitor).collect();
        let accounts: Vec<Account> = self.find("ORDER BY id", &[]).await?;
        let files: Vec<Original> = self.find_among("id", &originals).await?;
        let mut ties: Vec<Tie> = self.find_among("night", &ids).await?;
        ties.retain(|tie| tie.status == TieStatus::Tied);
        Ok(Beside {
            desk: self.desk_settings().await?,
            support: self.support(&lent).await?,
            loans: lent.into_iter().map(|loan| (loan.id, loan)).collect(),
            people: people.into_iter().map(|one| (one.id, one)).collect(),
            of_loans: self.find_among("loan", &loans).await?,
            ties,
            names: accounts.into_iter().map(|one| (one.login, one.name)).collect(),
            checks: self.find_among("loan", &loans).await?,
            service: self.services(&monitors).await?,
            originals: files.into_iter().map(|file| (file.id, file)).collect(),
            readings: self.readings(&originals).await?,
            diaries: self.find_among("loan", &loans).await?,
            versions: self.find_among("night", &ids).await?,
            judged: self.judged(&ids).await?,
            reports: self.report_lines(&ids).await?,
        })
    }

    async fn support(&mut self, loans: &[Loan]) -> Result<BTreeMap<i64, String>> {
        let studies: Vec<i64> = loans.iter().map(|loan| loan.study).collect();
        let studies: Vec<Study> = self.find_among("id", &studies).await?;
        let referrals: Vec<i64> = studies.iter().map(|study| study.referral).collect();
        let referrals: Vec<Referral> = self.find_among("id", &referrals).await?;
        let told = studies.iter().filter_map(|study| {
            let referral = referrals.iter().find(|one| one.id == study.referral)?;
            Some((study.id, referral.support.clone()?))
        });
        Ok(told.collect())
    }

    async fn services(&mut self, monitors: &[i64]) -> Result<BTreeMap<String, Vec<(i64, i64)>>> {
        let mut all: BTreeMap<String, Vec<(i64, i64)>> = BTreeMap::new();
        if monitors.is_empty() {
            return Ok(all);
        }
        let objects: Vec<String> = monitors.iter().map(|id| format!("'monitor {id}'")).collect();
        let objects = objects.join(", ");
        let sql = format!(
            "SELECT object, seq, at FROM act WHERE object IN ({objects}) AND {SERVICE} ORDER BY seq"
        );
        let rows: Vec<(String, i64, i64)> = on!(self, c => sqlx::query_as(AssertSqlSafe(sql)).persistent(false).fetch_all(c).await)?;
        for (object, seq, at) in rows {
            all.entry(object).or_default().push((seq, at));
        }
        Ok(all)
    }

    async fn readings(&mut self, originals: &[i64]) -> Result<BTreeMap<String, String>> {
        if originals.is_empty() {
            return Ok(BTreeMap::new());
        }
        let names: Vec<String> =
            originals.iter().map(|id| format!("'{}'", reading_of(*id))).collect();
        let all: Vec<Setting> = self.find_named("name", &names).await?;
        // The latest of a name holds.
        Ok(all.into_iter().map(|one| (one.name, one.value)).collect())
    }

    async fn judged(&mut self, nights: &[i64]) -> Result<BTreeMap<i64, i64>> {
        if nights.is_empty() {
            return Ok(BTreeMap::new());
        }
        let sql = format!("SELECT id, act FROM outcome WHERE night IN ({})", among(nights));
        let rows: Vec<(i64, i64)> = on!(self, c => sqlx::query_as(AssertSqlSafe(sql)).persistent(false).fetch_all(c).await)?;
        Ok(rows.into_iter().collect())
    }
}

impl Beside {
    /// The loan of a night.
    pub fn loan_of(&self, night: &Night) -> Option<&Loan> {
        self.loans.get(&night.loan?)
    }

    /// Whose a night is.
    pub(crate) fn person_of(&self, night: &Night) -> Option<&Person> {
        self.people.get(&night.person?)
    }

    /// Other nights of the same loan that lie at the same time: one of them at most is the patient's.
    pub(crate) fn doubles_of(&self, night: &Night) -> Vec<&Night> {
        let same = |one: &&Night| {
            one.id != night.id
                && one.loan == night.loan
                && one.status != NightStatus::SetAside
                && one.start_at < night.end_at
                && night.start_at < one.end_at
        };
        if night.loan.is_none() || night.status == NightStatus::SetAside {
            return Vec::new();
        }
        self.of_loans.iter().filter(same).collect()
    }

    /// The name behind a login; the login itself when nobody has it.
    pub(crate) fn name_of(&self, login: &str) -> String {
        self.names.get(login).cloned().unwrap_or_else(|| login.to_owned())
    }

    /// How a night was tied by hand; `None` when it found its loan by itself or is untied.
    pub(crate) fn tied_by_hand(&self, night: &Night) -> Option<&Tie> {
        let own = |tie: &&Tie| tie.night == night.id && Some(tie.loan) == night.loan;
        self.ties.iter().rev().find(own)
    }

    /// The checks of a night's loan and what each is to the night, the first first.
    pub fn checks_of(&self, night: &Night) -> Vec<NightCheck> {
        let Some(loan) = self.loan_of(night) else { return Vec::new() };
        let own = |check: &&Check| check.loan == Some(loan.id) && check.monitor == loan.monitor;
        let mut checks: Vec<Check> = self.checks.iter().filter(own).cloned().collect();
        checks.sort_by_key(|check| (check.at, check.id));
        let events = self.service.get(&format!("monitor {}", loan.monitor));
        let events = events.map_or(&[][..], Vec::as_slice);
        beside_night(checks, night, events, self.desk.gas_range_kpa)
    }

    /// The diary of a night that came after it was judged and waits for its reader's word; `None` when all of it
    /// stands in the night's notes, when its reader took it up or left it out, and of what was destroyed.
    pub fn late_diary(&self, night: &Night) -> Option<Late> {
        self.late_by(night, i64::MAX).filter(|late| late.left_out.is_none())
    }

    /// The same, also one that its reader left out, as it was when an act was the last.
    pub(crate) fn late_by(&self, night: &Night, act: i64) -> Option<Late> {
        let (result, file) = (night.result?, self.originals.get(&night.original)?);
        if file.destroyed_at.is_some() {
            return None;
        }
        let kept = self.readings.get(&reading_of(file.id)).map(String::as_str);
        let zone = reading_in(kept, file).ok()?.zone;
        let own = |entry: &&DiaryEntry| Some(entry.loan) == night.loan && entry.act <= act;
        let mut entries = diaries_on(night, &zone, self.diaries.iter().rev().filter(own));
        let entry = entries.next()?;
        let own = |version: &&NotesVersion| version.night == night.id;
        let versions = Versions::of(night, self.versions.iter().filter(own).cloned().collect());
        let began = versions.began().map_or(result, |version| version.outcome);
        let judged = *self.judged.get(&began)?;
        let word = word_on(&night.notes, entry.id);
        // An entry before the notes the reader began with was in them: what is not is the reader's own word.
        if entry.act <= judged || word == Some(Word::TakenUp) {
            return None;
        }
        let in_notes = |one: &&DiaryEntry| {
            one.act <= judged || word_on(&night.notes, one.id) == Some(Word::TakenUp)
        };
        let support = self.support.get(&self.loan_of(night)?.study).map(String::as_str);
        late(entry, entries.find(in_notes), support, night)
    }

    /// What became of the report of a night, where that must be known before anybody acts upon it.
    pub fn became(&self, night: &Night) -> Option<Became> {
        became(&self.own_reports(night), night, self)
    }

    /// The act that wrote the last version of the report a signed night has, and when.
    pub(crate) fn signed_by_act(&self, night: &Night) -> Option<(i64, i64)> {
        let gone = self.originals.get(&night.original).is_none_or(|one| one.destroyed_at.is_some());
        if night.status != NightStatus::Signed || gone {
            return None;
        }
        self.own_reports(night).last().map(|line| (line.act, line.at))
    }

    /// The versions that are of the patient the night belongs to now, the first first.
    fn own_reports(&self, night: &Night) -> Vec<&ReportLine> {
        let own = |line: &&ReportLine| {
            line.night == night.id && night.person.is_some() && line.person == night.person
        };
        self.reports.iter().filter(own).collect()
    }
}
