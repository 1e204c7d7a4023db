//! Whether a version of a report still stands, and what is printed across it when it does not.
//!
//! The bytes that were signed are never changed. Whoever reads a version that was replaced or withdrawn reads a
//! copy of it that says so on every page.

use engine::print::Stamp;

use crate::content::kept;
use crate::db::Conn;
use crate::error::Result;
use crate::tables::Account;
use crate::tables::Night;
use crate::tables::Report;
use crate::when::local_minute;

/// The name behind a login; the login itself when nobody has it.
pub(crate) async fn name_of(conn: &mut Conn, login: &str) -> Result<String> {
    let account: Option<Account> = conn.first("WHERE login = $1", &[login.into()]).await?;
    Ok(account.map_or_else(|| login.to_owned(), |account| account.name))
}

impl Conn {
    /// The versions of a night's report, the latest first, whoever's they were.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn reports(&mut self, night: i64) -> Result<Vec<Report>> {
        self.find("WHERE night = $1 ORDER BY version DESC", &[night.into()]).await
    }

    /// The versions that are of the patient the night belongs to now, the latest first. A report stays with the
    /// patient it was signed for, also when its night is settled anew.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn own_reports(&mut self, night: &Night) -> Result<Vec<Report>> {
        self.reports_of(night.id, night.person).await
    }

    async fn reports_of(&mut self, night: i64, person: Option<i64>) -> Result<Vec<Report>> {
        let Some(person) = person else { return Ok(Vec::new()) };
        let clause = "WHERE night = $1 AND act IN (SELECT seq FROM act WHERE person = $2) ORDER BY version DESC";
        self.find(clause, &[night.into(), person.into()]).await
    }

    /// Whose report a version is: of the patient it was signed for.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn report_person(&mut self, report: &Report) -> Result<Option<i64>> {
        let act = self.entries(report.act - 1, 1).await?;
        Ok(act.first().and_then(|act| act.person))
    }

    /// What is printed across a version that does not stand any more; `None` while it does.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn stamp(&mut self, report: &Report) -> Result<Option<Stamp>> {
        let person = self.report_person(report).await?;
        let mut later = self.reports_of(report.night, person).await?;
        later.retain(|other| other.version > report.version);
        later.reverse();
        let Some(next) = later.first() else { return Ok(None) };
        let zone = self.desk_settings().await?.zone();
        let mut says = Vec::new();
        let mut withdrawn = false;
        for (at, one) in later.iter().enumerate() {
            let first = one.version == next.version;
            if !first && one.withdrawn_at.is_none() {
                continue;
            }
            let act = self.entries(one.act - 1, 1).await?.into_iter().next();
            let who = act.as_ref().map_or("", |act| act.who.as_str());
            let who = name_of(self, who).await?;
            let on = act.as_ref().map(|act| local_minute(act.at, &zone)).unwrap_or_default();
            let why = one.because.as_deref().unwrap_or_default().trim_end_matches('.');
            let why = if why.is_empty() { String::new() } else { format!(": {why}") };
            says.push(if one.withdrawn_at.is_some() {
                withdrawn = true;
                let before = if at == 0 { report.version } else { later[at - 1].version };
                format!("Version {before} was withdrawn on {on} by {who}{why}.")
            } else {
                let by = one.version;
                format!("Replaced by version {by} on {on}, signed by {who}{why}.")
            });
        }
        says.push(match later.last() {
            Some(last) if last.withdrawn_at.is_none() => {
                format!("Version {} stands in its place.", last.version)
            }
            _ => "No version stands in its place.".to_owned(),
        });
        let word = if withdrawn { "WITHDRAWN" } else { "REPLACED" };
        let says = format!("Version {}, not to be acted upon. {}", report.version, says.join(" "));
        Ok(Some(Stamp { word: word.to_owned(), says }))
    }

    /// The comment and the interpretation that this patient's report of the night last had, for whoever writes the
    /// next one to begin from: neither is lost when a version is made without it.
    ///
    /// # Errors
    /// When the database breaks off, or what is kept cannot be read.
    pub async fn words_so_far(&mut self, night: &Night) -> Result<(String, Option<(i64, String)>)> {
        let all = self.own_reports(night).await?;
        let comment = match all.first() {
            Some(last) => kept(last)?.comment.join("\n"),
            None => String::new(),
        };
        let read = all.iter().find_map(|one| Some((one.version, one.interpretation.clone()?)));
        Ok((comment, read))
    }
}
