//! Whether a version of a report still stands, and what is printed across it when it does not.
//!
//! The bytes that were signed are never changed. Whoever reads a version that was replaced or withdrawn reads a
//! copy of it that says so on every page.

use engine::print::Stamp;
use sqlx::AssertSqlSafe;

use crate::error::Result;
use crate::login::account::name_of;
use crate::reading::beside::Beside;
use crate::reading::content::kept;
use crate::record::db::Conn;
use crate::record::db::among;
use crate::record::tables::Night;
use crate::record::tables::Report;
use crate::when::local_minute;
use crate::words::NightStatus;

/// One version of a report, without its content.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub(crate) struct ReportLine {
    pub(crate) night: i64,
    version: i64,
    withdrawn_at: Option<i64>,
    because: Option<String>,
    signed_at: Option<i64>,
    /// The act that wrote it last, whose data it touched, by whom, and when.
    pub(crate) act: i64,
    pub(crate) person: Option<i64>,
    who: String,
    pub(crate) at: i64,
}

/// What can become of a report that was signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// It was withdrawn, and none stands.
    Withdrawn,
    /// Its night is read again; it stands until another is signed.
    OpenAgain,
    /// Another stands in the place of one that somebody may have acted upon.
    Replaced,
    /// One was withdrawn, and another stands now.
    SignedAnew,
}

impl Turn {
    /// The same in two or three words.
    pub const fn says(self) -> &'static str {
        match self {
            Self::Withdrawn => "report withdrawn",
            Self::OpenAgain => "report open again",
            Self::Replaced => "report replaced",
            Self::SignedAnew => "report withdrawn, then replaced",
        }
    }
}

/// What became of the report of a night, where that must be known before anybody acts upon it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Became {
    /// What it is.
    pub what: Turn,
    /// The same as a sentence without its full stop.
    pub says: String,
    /// Why; empty when no reason is kept.
    pub because: String,
}

/// What became of a report, given the versions that are of the patient the night belongs to now, the first first.
pub(crate) fn became(all: &[&ReportLine], night: &Night, beside: &Beside) -> Option<Became> {
    let last = all.last()?;
    let zone = beside.desk.zone();
    let told = |line: &ReportLine| {
        format!("on {} by {}", local_minute(line.at, &zone), beside.name_of(&line.who))
    };
    let before = |version: i64| all.iter().rev().find(|line| line.version < version);
    let number = |line: &ReportLine| before(line.version).map_or(line.version, |one| one.version);
    let because = |line: &ReportLine| line.because.clone().unwrap_or_default();
    if last.withdrawn_at.is_some() {
        let (version, told) = (number(last), told(last));
        let says =
            format!("version {version} of the report was withdrawn {told}, and none stands now");
        return Some(Became { what: Turn::Withdrawn, says, because: because(last) });
    }
    let (stands, version) = (last.signed_at, last.version);
    if night.status != NightStatus::Signed {
        let says = format!(
            "the night is open again; version {version} of its report stands until a new one is signed"
        );
        return Some(Became { what: Turn::OpenAgain, says, because: String::new() });
    }
    // A physician's interpretation is a version too, of what was signed before it: nothing is taken back by it.
    let withdrawn = all.iter().rev().find(|line| line.withdrawn_at.is_some());
    let (what, was, because) = if let Some(line) = withdrawn {
        let was = format!("version {} was withdrawn {}", number(line), told(line));
        (Turn::SignedAnew, was, because(line))
    } else {
        let taken_back = all.iter().rev().find(|line| line.signed_at != stands)?;
        let first = all.iter().find(|line| line.signed_at == stands)?;
        let was = format!("it replaced version {} {}", taken_back.version, told(first));
        (Turn::Replaced, was, because(first))
    };
    let says = format!("version {version} of the report stands; {was}");
    Some(Became { what, says, because })
}

impl Conn {
    /// Every version of the reports of some nights, the first first.
    pub(crate) async fn report_lines(&mut self, nights: &[i64]) -> Result<Vec<ReportLine>> {
        if nights.is_empty() {
            return Ok(Vec::new());
        }
        let sql = format!(
            "SELECT r.night, r.version, r.withdrawn_at, r.because, r.signed_at, r.act, a.person, a.who, a.at FROM report r JOIN act a ON a.seq = r.act WHERE r.night IN ({}) ORDER BY r.night, r.version",
            among(nights)
        );
        Ok(on!(self, c => {
            sqlx::query_as(AssertSqlSafe(sql)).persistent(false).fetch_all(c).await
        })?)
    }

    /// The versions of a night's report, the latest first, whoever's they were.
    pub async fn reports(&mut self, night: i64) -> Result<Vec<Report>> {
        self.find("WHERE night = $1 ORDER BY version DESC", &[night.into()]).await
    }

    /// The versions that are of the patient the night belongs to now, the latest first. A report stays with the
    /// patient it was signed for, also when its night is settled anew.
    pub async fn own_reports(&mut self, night: &Night) -> Result<Vec<Report>> {
        self.reports_of(night.id, night.person).await
    }

    async fn reports_of(&mut self, night: i64, person: Option<i64>) -> Result<Vec<Report>> {
        let Some(person) = person else { return Ok(Vec::new()) };
        let clause = "WHERE night = $1 AND act IN (SELECT seq FROM act WHERE person = $2) ORDER BY version DESC";
        self.find(clause, &[night.into(), person.into()]).await
    }

    /// The versions of a night's report that were withdrawn, of the patient it belongs to now, the first first: which,
    /// and when and why. No name: on a paper that nobody has signed yet it would stand like a signature.
    pub(crate) async fn withdrawn_of(&mut self, night: &Night) -> Result<Vec<(String, String)>> {
        let zone = self.desk_settings().await?.zone();
        let mut lines = self.report_lines(&[night.id]).await?;
        lines.retain(|line| night.person.is_some() && line.person == night.person);
        let mut all = Vec::new();
        for pair in lines.windows(2) {
            let [was, gone] = pair else { continue };
            if gone.withdrawn_at.is_none() {
                continue;
            }
            let why = gone.because.as_deref().unwrap_or_default().trim_end_matches('.');
            let why = if why.is_empty() { String::new() } else { format!(": {why}") };
            let on = local_minute(gone.at, &zone);
            all.push((format!("version {}", was.version), format!("on {on}{why}")));
        }
        Ok(all)
    }

    /// Whose report a version is: of the patient it was signed for.
    pub async fn report_person(&mut self, report: &Report) -> Result<Option<i64>> {
        let act = self.entries(report.act - 1, 1).await?;
        Ok(act.first().and_then(|act| act.person))
    }

    /// What is printed across a version that does not stand any more; `None` while it does.
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
    /// next one to begin from: neither is lost when a version is made without it. What a physician wrote on a version
    /// that was withdrawn since is nothing to begin from.
    ///
    /// # Errors
    /// When the database breaks off, or what is kept cannot be read.
    pub async fn words_so_far(&mut self, night: &Night) -> Result<(String, Option<(i64, String)>)> {
        let all = self.own_reports(night).await?;
        let comment = match all.first() {
            Some(last) => kept(last)?.comment.join("\n"),
            None => String::new(),
        };
        let mut standing = all.iter().take_while(|one| one.withdrawn_at.is_none());
        let read = standing.find_map(|one| Some((one.version, one.interpretation.clone()?)));
        Ok((comment, read))
    }
}
