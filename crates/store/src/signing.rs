//! Reports: signed technically, interpreted and signed, made anew, withdrawn.
//!
//! Each is a version that takes the place of the one before it and says why; none is changed afterwards.
//! The signed paper is kept whole by its hash.

use engine::print::Heading;
use engine::print::Slot;
use serde::Deserialize;
use serde::Serialize;

use crate::act::Act;
use crate::act::Author;
use crate::bytes::Packed;
use crate::db::Conn;
use crate::db::Store;
use crate::error::Result;
use crate::error::StoreError;
use crate::person::reason_given;
use crate::record::Record as _;
use crate::setting::DeskSettings;
use crate::tables::Account;
use crate::tables::Night;
use crate::tables::Outcome;
use crate::tables::Person;
use crate::tables::Referral;
use crate::tables::Report;
use crate::tables::Study;
use crate::when::local_date;
use crate::words::NightStatus;
use crate::words::Role;
use crate::words::StudyStatus;

/// Everything that is printed beside the engine's own report, and what that was made from.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    /// Hospital and department.
    pub hospital: Vec<String>,
    /// The patient: label and words.
    pub patient: Vec<(String, String)>,
    /// The study: label and words.
    pub study: Vec<(String, String)>,
    /// The study's id, on every page.
    pub study_id: String,
    /// The physiologist's comment, a paragraph each.
    pub comment: Vec<String>,
    /// The physician's interpretation, a paragraph each.
    pub interpretation: Vec<String>,
    /// Who signs: label and words.
    pub signature: Vec<(String, String)>,
    /// What must be known beside the figures: how the night found its patient, what was learnt of its monitor.
    #[serde(default)]
    pub reservations: Vec<String>,
    /// The notes the night was scored with.
    pub notes: String,
    /// Name of the criteria set.
    pub criteria: String,
    /// SHA-256 of its text.
    pub criteria_sha256: String,
    /// The engine.
    pub engine: String,
    /// SHA-256 of the original.
    pub original_sha256: String,
}

impl Content {
    /// The words around the report when it is printed.
    pub fn heading(&self) -> Heading {
        let slots = |of: &[(String, String)]| -> Vec<Slot> {
            of.iter().map(|(label, words)| Slot::new(label, words)).collect()
        };
        Heading {
            hospital: self.hospital.clone(),
            patient: slots(&self.patient),
            study: slots(&self.study),
            study_id: self.study_id.clone(),
            comment: self.comment.iter().chain(&self.interpretation).cloned().collect(),
            signature: slots(&self.signature),
            reservations: self.reservations.clone(),
            ..Heading::default()
        }
    }
}

/// What a report says in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wording {
    /// The physiologist's comment, a paragraph a line.
    pub comment: String,
    /// The physician's interpretation; empty for a technical sign-off.
    pub interpretation: String,
}

fn paragraphs(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

impl Conn {
    /// The versions of a night's report, the latest first. A version made for another study, of a night that was
    /// moved before a night with a report could not be moved any more, is not among them.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn reports(&mut self, night: i64) -> Result<Vec<Report>> {
        let study = self.get::<Night>(night).await?.study;
        let clause = "WHERE night = $1 ORDER BY version DESC";
        let all: Vec<Report> = self.find(clause, &[night.into()]).await?;
        Ok(all.into_iter().filter(|report| is_of(report, study)).collect())
    }

    /// What a report of this night would hold if it were signed now by `by`.
    ///
    /// # Errors
    /// When the night is not tied or not scored.
    pub async fn draft(
        &mut self,
        night: &Night,
        by: &Author,
        now: i64,
        words: &Wording,
    ) -> Result<Content> {
        let (Some(person), Some(study), Some(result)) = (night.person, night.study, night.result)
        else {
            let says = "this night is not tied to a patient or not scored";
            return Err(StoreError::refused("night_not_ready", says, "settle whose it is first"));
        };
        let desk = self.desk_settings().await?;
        let person: Person = self.get(person).await?;
        let study: Study = self.get(study).await?;
        let referral: Referral = self.get(study.referral).await?;
        let outcome: Outcome = self.get(result).await?;
        let original: crate::tables::Original = self.get(night.original).await?;
        let signed = self.reports(night.id).await?.into_iter().next();
        let signed = signed
            .filter(|report| night.status == NightStatus::Signed && report.withdrawn_at.is_none());
        Ok(Content {
            hospital: vec![desk.hospital.clone(), desk.department.clone()],
            patient: patient(&person),
            study: self.asked(night, &study, &referral).await?,
            study_id: format!("study {}", study.id),
            comment: paragraphs(&words.comment),
            interpretation: paragraphs(&words.interpretation),
            signature: self.signature(by, now, signed.as_ref(), &desk).await?,
            reservations: self.reservations(night).await?,
            notes: night.notes.clone(),
            criteria: outcome.criteria,
            criteria_sha256: outcome.criteria_sha256,
            engine: outcome.engine,
            original_sha256: original.sha256,
        })
    }

    async fn asked(
        &mut self,
        night: &Night,
        study: &Study,
        referral: &Referral,
    ) -> Result<Vec<(String, String)>> {
        let monitor = self.monitor_says(night).await?;
        Ok(vec![
            slot("Study", format!("{}, monitor {monitor}", study.id)),
            slot("Asked by", referral.asked_by.clone()),
            slot("Reason", referral.words.clone().unwrap_or_default()),
        ])
    }

    /// Who signs technically, who interprets, and when.
    async fn signature(
        &mut self,
        by: &Author,
        now: i64,
        signed: Option<&Report>,
        desk: &DeskSettings,
    ) -> Result<Vec<(String, String)>> {
        let zone = desk.zone();
        let day = |at: i64| local_date(at, &zone).strftime("%-d %B %Y").to_string();
        let own = format!("{}, {}", by.name, day(now));
        let Some(report) = signed else {
            return Ok(vec![slot("Scored and signed", own), slot("Interpreted", String::new())]);
        };
        let login = report.signed_by.clone().unwrap_or_default();
        let account: Option<Account> =
            self.first("WHERE login = $1", &[login.as_str().into()]).await?;
        let name = account.map_or(login, |account| account.name);
        let scored = format!("{name}, {}", day(report.signed_at.unwrap_or(now)));
        Ok(vec![slot("Scored and signed", scored), slot("Interpreted and signed", own)])
    }
}

/// Whether a version was made for a study; one that does not say which counts as its night's.
fn is_of(report: &Report, study: Option<i64>) -> bool {
    let content = serde_json::from_str::<Content>(&report.content).unwrap_or_default();
    match (content.study_id.strip_prefix("study "), study) {
        (Some(made_for), Some(study)) => made_for == study.to_string(),
        _ => true,
    }
}

fn slot(label: &str, words: String) -> (String, String) {
    (label.to_owned(), words)
}

fn patient(person: &Person) -> Vec<(String, String)> {
    let mut slots = vec![
        slot("Name", person.listed()),
        slot("Date of birth", person.born_on.clone()),
        slot("Number", person.mrn.clone()),
    ];
    slots.extend(person.nhs_number.clone().map(|number| slot("NHS number", number)));
    slots
}

impl Store {
    /// Signs a night technically: a physiologist says that it was read and the figures stand. When there is a
    /// report already it is replaced, and what changed must be said.
    ///
    /// # Errors
    /// When the night is not as it was seen, is signed already, or what changed is not said.
    pub async fn sign_report(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        content: &Content,
        changed: &str,
        pdf: &[u8],
    ) -> Result<Report> {
        role(by, Role::Physiologist, "a report is signed technically by a physiologist")?;
        let packed = Packed::new(pdf)?;
        let mut act = self.act(by, "report.sign").await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        if !matches!(night.status, NightStatus::Waiting | NightStatus::Reading) {
            let says = "this night does not wait for a technical sign-off";
            return Err(StoreError::refused("night_not_open", says, "open the night again"));
        }
        let last = act.conn().reports(id).await?.into_iter().next();
        let because = last.as_ref().map(|_| changed_said(changed)).transpose()?;
        let mut report = version(&night, last.as_ref(), content, because)?;
        report.version = act.next_version(id).await?;
        act.keep(&packed).await?;
        report.pdf_sha256 = Some(packed.sha256);
        report.signed_by = Some(by.login.clone());
        report.signed_at = Some(act.at());
        night.status = NightStatus::Signed;
        act.close_report(night, report, None).await
    }

    /// A physician interprets a signed night and signs for the answer.
    ///
    /// # Errors
    /// When the night is not as it was seen, is not signed technically, or no interpretation is given.
    pub async fn interpret_report(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        content: &Content,
        pdf: &[u8],
    ) -> Result<Report> {
        role(by, Role::Physician, "a report is interpreted by a physician")?;
        if content.interpretation.is_empty() {
            let says = "the interpretation is empty";
            return Err(StoreError::refused("interpretation_missing", says, "say what it means"));
        }
        let packed = Packed::new(pdf)?;
        let mut act = self.act(by, "report.interpret").await?;
        let night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        let last = act.standing(&night).await?;
        let because =
            if last.interpreted_by.is_some() { "interpreted anew" } else { "interpreted" };
        let mut report = version(&night, Some(&last), content, Some(because.to_owned()))?;
        act.keep(&packed).await?;
        report.pdf_sha256 = Some(packed.sha256);
        (report.signed_by, report.signed_at) = (last.signed_by, last.signed_at);
        report.interpretation = Some(content.interpretation.join("\n"));
        report.interpreted_by = Some(by.login.clone());
        report.interpreted_at = Some(act.at());
        act.close_report(night, report, Some(StudyStatus::Reported)).await
    }

    /// Opens a signed night again, to make a new version of its report. Until that is signed the old one stands.
    ///
    /// # Errors
    /// When the night is not as it was seen, is not signed, or no reason is given.
    pub async fn reopen_night(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        reason: &str,
    ) -> Result<Night> {
        either(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "report.amend").await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        act.standing(&night).await?;
        night.status = NightStatus::Reading;
        act.because(reason);
        act.put(&mut night).await?;
        act.on(Night::name(id), night.person);
        act.close().await?;
        Ok(night)
    }

    /// Withdraws the report of a night: a version without paper, which says why, takes its place.
    ///
    /// # Errors
    /// When the night is not as it was seen, has no report that stands, or no reason is given.
    pub async fn withdraw_report(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        reason: &str,
    ) -> Result<Report> {
        either(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "report.withdraw").await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        let last = act.conn().reports(id).await?.into_iter().next();
        let last = last.filter(|report| report.withdrawn_at.is_none()).ok_or_else(no_report)?;
        let mut report = Report {
            id: 0,
            version: last.version + 1,
            pdf_sha256: None,
            replaces: Some(last.id),
            because: Some(reason.clone()),
            withdrawn_at: Some(act.at()),
            ..last
        };
        report.act = 0;
        night.status = NightStatus::Reading;
        act.because(reason);
        act.close_report(night, report, Some(StudyStatus::ToRead)).await
    }
}

impl Act {
    /// The number of a night's next version, after all there are, whosever they are.
    async fn next_version(&mut self, night: i64) -> Result<i64> {
        let sql = "SELECT COALESCE(MAX(version), 0) + 1 FROM report WHERE night = $1";
        self.conn().number(sql, &[night.into()]).await
    }

    /// Refuses whoever has a blind second reading of the night open.
    async fn not_blind(&mut self, night: i64) -> Result<()> {
        let login = self.author().login.clone();
        self.conn().not_blind(&login, night).await
    }

    /// The report of a signed night.
    async fn standing(&mut self, night: &Night) -> Result<Report> {
        let last = self.conn().reports(night.id).await?.into_iter().next();
        let stands =
            |report: &Report| night.status == NightStatus::Signed && report.withdrawn_at.is_none();
        last.filter(stands).ok_or_else(no_report)
    }

    /// Ends an act on a report: its night, and where its study stands.
    async fn close_report(
        mut self,
        mut night: Night,
        mut report: Report,
        status: Option<StudyStatus>,
    ) -> Result<Report> {
        self.put(&mut report).await?;
        // Written also when it stays as it is, so that another reader sees that something happened.
        self.put(&mut night).await?;
        if let (Some(study), Some(status)) = (night.study, status) {
            let mut study: Study = self.get(study).await?;
            // While a loan of it is booked or out, that is where the study stands.
            if !matches!(study.status, StudyStatus::Closed | StudyStatus::OnLoan) {
                study.status = status;
                self.put(&mut study).await?;
            }
        }
        self.on(Night::name(night.id), night.person);
        self.close().await?;
        Ok(report)
    }
}

/// The next version of a report, not yet signed.
fn version(
    night: &Night,
    last: Option<&Report>,
    content: &Content,
    because: Option<String>,
) -> Result<Report> {
    let content = serde_json::to_string(content)
        .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
    Ok(Report {
        id: 0,
        act: 0,
        night: night.id,
        version: last.map_or(1, |last| last.version + 1),
        outcome: night.result.unwrap_or(0),
        content,
        pdf_sha256: None,
        signed_by: None,
        signed_at: None,
        interpretation: None,
        interpreted_by: None,
        interpreted_at: None,
        replaces: last.map(|last| last.id),
        because,
        withdrawn_at: None,
    })
}

fn changed_said(changed: &str) -> Result<String> {
    reason_given(changed).map_err(|_| {
        let says = "what changed since the last version is not said";
        StoreError::refused(
            "change_not_said",
            says,
            "say it in a sentence; it is printed nowhere else",
        )
    })
}

fn no_report() -> StoreError {
    let says = "this night has no report that stands";
    StoreError::refused("no_report", says, "it must be signed technically first")
}

fn role(by: &Author, wanted: Role, says: &str) -> Result<()> {
    if by.role == wanted {
        return Ok(());
    }
    Err(StoreError::refused("not_yours_to_sign", says, ""))
}

fn either(by: &Author) -> Result<()> {
    match by.role {
        Role::Physiologist | Role::Physician => Ok(()),
        _ => role(by, Role::Physiologist, "a report is amended by a physiologist or a physician"),
    }
}
