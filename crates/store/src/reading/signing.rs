//! Reports: signed technically, interpreted and signed, made anew, withdrawn.
//!
//! Each is a version that takes the place of the one before it and says why; none is changed afterwards.
//! The signed paper is kept whole by its hash.

use crate::error::Result;
use crate::error::StoreError;
use crate::people::person::DESTROYED;
use crate::people::person::reason_given;
use crate::reading::content::Content;
use crate::reading::content::Wording;
use crate::reading::content::because;
use crate::reading::content::no_report;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::bytes::Packed;
use crate::record::db::Store;
use crate::record::row::Record as _;
use crate::record::tables::Loan;
use crate::record::tables::Night;
use crate::record::tables::Person;
use crate::record::tables::Report;
use crate::record::tables::Study;
use crate::words::NightStatus;
use crate::words::Role;
use crate::words::StudyStatus;

/// A paper that is to be signed.
#[derive(Clone, Copy, Debug)]
pub struct Paper<'a> {
    /// What stands on it, by [`Conn::to_sign`](crate::record::db::Conn::to_sign).
    pub content: &'a Content,
    /// What the page was made from that whoever signs has looked at, by [`Content::shown`].
    pub shown: &'a str,
    /// What changed since the version before; empty where there is none.
    pub changed: &'a str,
    /// The paper itself.
    pub pdf: &'a [u8],
}

impl Store {
    /// Signs a night technically: a physiologist says that it was read and the figures stand. When there is a
    /// report already it is replaced, and what changed must be said.
    ///
    /// # Errors
    /// When the night is not as it was seen, is signed already, what changed is not said, or the paper is not the
    /// one that was shown.
    pub async fn sign_report(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        paper: &Paper<'_>,
    ) -> Result<Report> {
        role(by, Role::Physiologist, "a report is signed technically by a physiologist")?;
        let packed = Packed::new(paper.pdf)?;
        let mut act = self.act(by, "report.sign").await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        act.patient_stands(&night).await?;
        if !matches!(night.status, NightStatus::Waiting | NightStatus::Reading) {
            let says = "this night does not wait for a technical sign-off";
            return Err(StoreError::refused("night_not_open", says, "open the night again"));
        }
        let words = Wording::Comment(paper.content.comment.join("\n"));
        let mut report = act.version(&night, paper, &words).await?;
        act.keep(&packed).await?;
        report.pdf_sha256 = Some(packed.sha256);
        report.signed_by = Some(by.login.clone());
        report.signed_at = Some(act.at());
        night.status = NightStatus::Signed;
        act.close_report(night, report, None).await
    }

    /// A physician interprets a signed night and signs for the answer. Nothing else of the report is the physician's
    /// to write: the comment stays the physiologist's.
    ///
    /// # Errors
    /// When the night is not as it was seen, is not signed technically, no interpretation is given, it was
    /// interpreted before and what changed is not said, or the paper is not the one that was shown.
    pub async fn interpret_report(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        paper: &Paper<'_>,
    ) -> Result<Report> {
        role(by, Role::Physician, "a report is interpreted by a physician")?;
        if paper.content.interpretation.is_empty() {
            let says = "the interpretation is empty";
            return Err(StoreError::refused("interpretation_missing", says, "say what it means"));
        }
        let packed = Packed::new(paper.pdf)?;
        let mut act = self.act(by, "report.interpret").await?;
        let night: Night = act.get_as_seen(id, seen).await?;
        act.not_blind(id).await?;
        act.patient_stands(&night).await?;
        let last = act.conn().signed_now(&night).await?;
        let words = Wording::Interpretation(paper.content.interpretation.join("\n"));
        let mut report = act.version(&night, paper, &words).await?;
        act.keep(&packed).await?;
        report.pdf_sha256 = Some(packed.sha256);
        (report.signed_by, report.signed_at) = (last.signed_by, last.signed_at);
        report.interpretation = Some(paper.content.interpretation.join("\n"));
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
        act.conn().signed_now(&night).await?;
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
        let newest = act.conn().reports(id).await?.first().map_or(0, |report| report.version);
        let last = act.conn().own_reports(&night).await?.into_iter().next();
        let last = last.filter(|report| report.withdrawn_at.is_none()).ok_or_else(no_report)?;
        let mut report = Report {
            id: 0,
            version: newest + 1,
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
    /// Refuses whoever has a blind second reading of the night open.
    async fn not_blind(&mut self, night: i64) -> Result<()> {
        let login = self.author().login.clone();
        self.conn().not_blind(&login, night).await
    }

    /// Refuses a night that is tied to another person than its loan: whatever the cause, a report would go to the
    /// wrong one.
    async fn is_of_its_loan(&mut self, night: &Night) -> Result<()> {
        let Some(loan) = night.loan else { return Ok(()) };
        let loan: Loan = self.get(loan).await?;
        if night.person == Some(loan.person) {
            return Ok(());
        }
        let says = "the night is tied to another person than its loan was booked for";
        let hint = "untie it and settle it anew; have the record checked";
        Err(StoreError::refused("night_not_the_loans", says, hint))
    }

    /// A night whose patient's row was voided is signed for nobody.
    async fn patient_stands(&mut self, night: &Night) -> Result<()> {
        let Some(person) = night.person else { return Ok(()) };
        let person: Person = self.get(person).await?;
        // What was destroyed is refused in its own words.
        match person.voided_because.filter(|because| because != DESTROYED) {
            None => Ok(()),
            Some(because) => Err(StoreError::refused(
                "person_voided",
                format!("the row of this patient was voided: {because}"),
                "untie the night and settle it by a loan of the right row, or take the void back on the patient's page",
            )),
        }
    }

    /// The next version of a report, not yet signed, when the paper is what the record holds now and what was shown.
    async fn version(
        &mut self,
        night: &Night,
        paper: &Paper<'_>,
        words: &Wording,
    ) -> Result<Report> {
        self.is_of_its_loan(night).await?;
        let author = self.author().clone();
        let given = paper.content;
        let last = self.conn().own_reports(night).await?.into_iter().next();
        let because = last.as_ref().map(|last| because(words, last, paper.changed));
        let because = because.map(|because| changed_said(&because)).transpose()?;
        let moment = (given.made_at, given.head.clone());
        let now = self.conn().signed_content(night, &author, words, paper.changed, moment).await?;
        same(&now, paper, words)?;
        if now != *given || !self.conn().is_head(&given.head).await? {
            let says = "the paper is not the one that this act signs";
            return Err(StoreError::refused("paper_wrong", says, "nothing was signed; try again"));
        }
        let content = serde_json::to_string(given)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        Ok(Report {
            id: 0,
            act: 0,
            night: night.id,
            version: given.version,
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

/// Whether what the record holds now is what was shown, and what the paper was made from before the act began.
fn same(now: &Content, paper: &Paper<'_>, words: &Wording) -> Result<()> {
    let mut changed = now.changed_since(paper.shown, words);
    changed.extend(now.changed_since(&paper.content.shown(words), words));
    changed.sort();
    changed.dedup();
    if changed.is_empty() {
        return Ok(());
    }
    Err(StoreError::refused(
        "paper_changed",
        format!("changed since this page was opened: {}", changed.join(", ")),
        "read the report again as it prints now; nothing was signed, and what you wrote is kept",
    ))
}

fn changed_said(changed: &str) -> Result<String> {
    reason_given(changed).map_err(|_| {
        let says = "what changed since the last version is not said";
        StoreError::refused(
            "change_not_said",
            says,
            "say it in a sentence; it is printed on the paper",
        )
    })
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
