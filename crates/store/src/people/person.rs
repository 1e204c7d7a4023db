//! People, what was asked about them, and the studies that answer it.

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::ident;
use crate::people::identity::plain;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Study;
use crate::when;
use crate::words::StudyStatus;
use crate::words::Urgency;

/// Why the row of somebody whose data were destroyed is void. That is not taken back.
pub(crate) const DESTROYED: &str = "destroyed when its time was over";

/// A patient as somebody writes them down.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Deserialize)]
pub struct PersonForm {
    /// The hospital's own number.
    pub mrn: String,
    /// NHS number, blank where it is not used.
    #[serde(default)]
    pub nhs_number: String,
    /// Family name.
    pub family: String,
    /// Given names.
    pub given: String,
    /// Day of birth, `1951-05-02`.
    pub born_on: String,
    /// Telephone, blank when not known.
    #[serde(default)]
    pub telephone: String,
    /// Postal address, blank when not known.
    #[serde(default)]
    pub address: String,
    /// What the desk must know.
    #[serde(default)]
    pub needs: String,
}

/// A referral as somebody writes it down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReferralForm {
    /// The patient.
    pub person: i64,
    /// Who asked.
    pub asked_by: String,
    /// When the letter came.
    pub received_on: String,
    /// Id of the question.
    pub question: String,
    /// The question in the clinician's words.
    pub words: String,
    /// Support in use, or air; blank is not told.
    pub support: String,
    /// How soon.
    pub urgency: Urgency,
    /// The criteria set.
    pub criteria: String,
}

/// A text, or nothing when it is blank.
pub(crate) fn some(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

impl PersonForm {
    /// The row this makes over another, with every fault found.
    fn row(&self, over: Option<&Person>, today: &str) -> Result<Person> {
        let mut wrong = Vec::new();
        let mut must = |code, text: &str, says: &str| {
            if text.trim().is_empty() {
                wrong.push(Refusal::new(
                    code,
                    says,
                    "it is one of the identifiers a night is filed by",
                ));
            }
        };
        must("mrn_missing", &self.mrn, "the hospital number is missing");
        must("family_missing", &self.family, "the family name is missing");
        must("given_missing", &self.given, "the given name is missing");
        let nhs_number =
            match some(&self.nhs_number).map(|text| ident::nhs_number(&text)).transpose() {
                Ok(number) => number,
                Err(says) => {
                    wrong.push(Refusal::new(
                        "nhs_number_wrong",
                        says,
                        "read it again from the letter; leave it empty when it is not known",
                    ));
                    None
                }
            };
        match when::date(self.born_on.trim()) {
            Some(born) if born.to_string().as_str() <= today && born.year() >= 1900 => {}
            _ => wrong.push(Refusal::new(
                "born_wrong",
                "the day of birth is no day between 1900 and today",
                "write it as 1951-05-02",
            )),
        }
        if !wrong.is_empty() {
            return Err(StoreError::Refused(wrong));
        }
        let (id, act) = over.map_or((0, 0), |row| (row.id, row.act));
        Ok(Person {
            id,
            act,
            mrn: self.mrn.trim().to_owned(),
            nhs_number,
            family: self.family.trim().to_owned(),
            given: self.given.trim().to_owned(),
            born_on: self.born_on.trim().to_owned(),
            telephone: some(&self.telephone),
            address: some(&self.address),
            needs: some(&self.needs),
            voided_at: None,
            voided_because: None,
            same_as: None,
        })
    }
}

impl Person {
    /// `PILLOW, Petra`, as lists show a name.
    pub fn listed(&self) -> String {
        format!("{}, {}", self.family.to_uppercase(), self.given)
    }
}

impl Conn {
    /// People whose family name or a number begins with the text, or given name and family name do; at most 50.
    pub async fn find_people(&mut self, text: &str) -> Result<Vec<Person>> {
        let plain = text.trim().to_lowercase().replace(['%', '_', '\\'], "");
        if plain.is_empty() {
            return Ok(Vec::new());
        }
        let (digits, begins) = (plain.replace([' ', '-'], ""), format!("{plain}%"));
        self.find(
            "WHERE voided_at IS NULL AND (LOWER(family) LIKE $1 OR LOWER(given) LIKE $1 OR LOWER(mrn) LIKE $1 OR nhs_number = $2 \
             OR LOWER(given || ' ' || family) LIKE $1 OR LOWER(family || ', ' || given) LIKE $1) \
             ORDER BY family, given, born_on LIMIT 50",
            &[begins.into(), digits.into()],
        )
        .await
    }

    /// The void rows that point to somebody as the right one.
    pub async fn pointing_to(&mut self, id: i64) -> Result<Vec<Person>> {
        self.find("WHERE same_as = $1 AND voided_at IS NOT NULL ORDER BY id", &[id.into()]).await
    }

    /// A row is not voided from under a night: it would be nobody's, and could be signed all the same.
    async fn no_night_hangs_on(&mut self, id: i64) -> Result<()> {
        let nights = "SELECT COUNT(*) FROM night WHERE person = $1 AND status <> 'set_aside'";
        let nights = self.number(nights, &[id.into()]).await?;
        if nights > 0 {
            return Err(StoreError::refused(
                "night_tied",
                format!("nights of this person are in the record: {nights}"),
                "where only its particulars are wrong, correct this row; else withdraw what is signed, untie the nights and settle them by a loan of the right row, and void it then",
            ));
        }
        let ties = "SELECT COUNT(*) FROM night_tie WHERE status = 'proposed' \
                    AND loan IN (SELECT id FROM loan WHERE person = $1)";
        if self.number(ties, &[id.into()]).await? > 0 {
            return Err(StoreError::refused(
                "tie_proposed",
                "a night was proposed to be this person's and waits for a second person",
                "agree to it or decline it first",
            ));
        }
        Ok(())
    }
}

impl Store {
    /// Enters a patient.
    ///
    /// # Errors
    /// With everything that is wrong in the form, or the number that is taken.
    pub async fn add_person(&self, by: &Author, form: &PersonForm) -> Result<Person> {
        let mut act = self.act(by, "person.add").await?;
        let mut row = form.row(None, &today(act.at()))?;
        free_numbers(act.conn(), &row).await?;
        act.put(&mut row).await?;
        act.on(format!("person {}", row.id), Some(row.id));
        act.close().await?;
        Ok(row)
    }

    /// Corrects a patient's particulars. The image before stays in the chain.
    ///
    /// # Errors
    /// As [`Store::add_person`]; also when somebody else changed the row since `seen`.
    pub async fn correct_person(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        form: &PersonForm,
        reason: &str,
    ) -> Result<Person> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "person.correct").await?;
        let old: Person = act.get_as_seen(id, seen).await?;
        still_valid(&old)?;
        let mut row = form.row(Some(&old), &today(act.at()))?;
        free_numbers(act.conn(), &row).await?;
        act.because(reason);
        act.put(&mut row).await?;
        act.on(format!("person {id}"), Some(id));
        act.close().await?;
        Ok(row)
    }

    /// Voids a row entered in error. It stays, and points to the right one if there is one.
    ///
    /// # Errors
    /// When it is void already, a loan is open, nights hang on it, the right row is void too, or no reason is given.
    pub async fn void_person(
        &self,
        by: &Author,
        id: i64,
        same_as: Option<i64>,
        reason: &str,
    ) -> Result<Person> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "person.void").await?;
        let mut row: Person = act.get(id).await?;
        if row.voided_at.is_some() {
            return Err(StoreError::refused(
                "person_voided",
                "this person's row was voided already",
                "nothing was changed; take the void back first where it points to the wrong row",
            ));
        }
        act.conn().no_night_hangs_on(id).await?;
        let open = act
            .conn()
            .number(
                "SELECT COUNT(*) FROM loan WHERE person = $1 AND status IN ('booked', 'out')",
                &[id.into()],
            )
            .await?;
        if open > 0 {
            return Err(StoreError::refused(
                "loan_open",
                "a loan of this person is booked or out",
                "take the monitor back or cancel the loan first",
            ));
        }
        if same_as == Some(id) {
            return Err(StoreError::refused(
                "same_as_itself",
                "a person cannot stand in for themselves",
                "name the other row",
            ));
        }
        if let Some(right) = same_as {
            let right: Person = act.get(right).await?;
            still_valid(&right)?;
            let lent = "SELECT COUNT(*) FROM loan WHERE person = $1 AND out_at IS NOT NULL";
            if act.conn().number(lent, &[id.into()]).await? > 0 {
                one_person(&row, &right)?;
            }
        }
        row.voided_at = Some(act.at());
        row.voided_because = Some(reason.clone());
        row.same_as = same_as;
        act.because(reason);
        act.put(&mut row).await?;
        act.on(format!("person {id}"), Some(id));
        act.close().await?;
        Ok(row)
    }

    /// Takes the void of a row back: its loans and referrals are somebody's again.
    ///
    /// # Errors
    /// When it is not void or was destroyed, a number of it is another row's now, or no reason is given.
    pub async fn restore_person(&self, by: &Author, id: i64, reason: &str) -> Result<Person> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "person.restore").await?;
        let mut row: Person = act.get(id).await?;
        if row.voided_at.is_none() {
            let says = "this person's row is not void";
            return Err(StoreError::refused("person_not_voided", says, "nothing was changed"));
        }
        if row.voided_because.as_deref() == Some(DESTROYED) {
            let says = "what this row held was destroyed when its time was over";
            return Err(StoreError::refused("destroyed", says, "enter the patient anew"));
        }
        (row.voided_at, row.voided_because, row.same_as) = (None, None, None);
        free_numbers(act.conn(), &row).await?;
        act.because(reason);
        act.put(&mut row).await?;
        act.on(format!("person {id}"), Some(id));
        act.close().await?;
        Ok(row)
    }

    /// Enters a referral and opens the study that will answer it.
    ///
    /// # Errors
    /// When the patient is voided, the criteria or the question is not known.
    pub async fn add_referral(&self, by: &Author, form: ReferralForm) -> Result<(Referral, Study)> {
        known_question(&mut self.read().await?, &form).await?;
        let mut act = self.act(by, "referral.add").await?;
        let person: Person = act.get(form.person).await?;
        still_valid(&person)?;
        let mut referral = Referral {
            id: 0,
            act: 0,
            person: person.id,
            asked_by: some(&form.asked_by).ok_or_else(|| {
                StoreError::refused(
                    "asked_by_missing",
                    "who asked is missing",
                    "write the referrer's name",
                )
            })?,
            received_on: when::date(&form.received_on)
                .ok_or_else(|| {
                    StoreError::refused(
                        "received_wrong",
                        "the day the letter came is no day",
                        "write it as 2026-11-25",
                    )
                })?
                .to_string(),
            question: form.question,
            words: some(&form.words),
            support: some(&form.support),
            urgency: form.urgency,
            criteria: form.criteria,
            voided_at: None,
            voided_because: None,
        };
        act.put(&mut referral).await?;
        let mut study = Study {
            id: 0,
            act: 0,
            person: person.id,
            referral: referral.id,
            status: StudyStatus::Waiting,
            closed_because: None,
        };
        act.put(&mut study).await?;
        act.on(format!("study {}", study.id), Some(person.id));
        act.close().await?;
        Ok((referral, study))
    }

    /// Closes a study without a report.
    ///
    /// # Errors
    /// When a loan of it is booked or out, or no reason is given.
    pub async fn close_study(&self, by: &Author, id: i64, reason: &str) -> Result<Study> {
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "study.close").await?;
        let mut row: Study = act.get(id).await?;
        if row.status == StudyStatus::OnLoan {
            return Err(StoreError::refused(
                "loan_open",
                "a loan of this study is booked or out",
                "take the monitor back or cancel the loan first",
            ));
        }
        row.status = StudyStatus::Closed;
        row.closed_because = Some(reason.clone());
        act.because(reason);
        act.put(&mut row).await?;
        act.on(format!("study {id}"), Some(row.person));
        act.close().await?;
        Ok(row)
    }
}

/// Nothing new is hung on a row that was entered in error.
pub(crate) fn still_valid(person: &Person) -> Result<()> {
    if person.voided_at.is_none() {
        return Ok(());
    }
    Err(StoreError::refused(
        "person_voided",
        "this person's row was voided",
        "use the row it points to, or take the void back on this row's page, with a reason",
    ))
}

/// A row that a monitor was lent under is the same person's as another only where both are written so: its night
/// may still come in.
fn one_person(row: &Person, right: &Person) -> Result<()> {
    if row.born_on == right.born_on && plain(&row.family) == plain(&right.family) {
        return Ok(());
    }
    Err(StoreError::refused(
        "rows_differ",
        "a monitor was lent under this row, and its family name or day of birth is not that of the right row",
        "where it is one person, correct the wrong particulars first, with a reason; else leave the right row empty",
    ))
}

/// The reason, which must be more than blanks.
pub(crate) fn reason_given(reason: &str) -> Result<String> {
    some(reason).ok_or_else(|| {
        StoreError::refused(
            "reason_missing",
            "a reason is missing",
            "say in a few words why; it stands in the record",
        )
    })
}

fn today(at: i64) -> String {
    // A day of birth is right in any zone of the world one day later.
    when::rfc3339(at + 86_400)[..10].to_owned()
}

/// The question must be one of the set's, which may be the department's own.
async fn known_question(conn: &mut Conn, form: &ReferralForm) -> Result<()> {
    let criteria = conn.criteria(&form.criteria).await?;
    if criteria.question(Some(&form.question)).is_none_or(|found| found.id != form.question) {
        return Err(StoreError::refused(
            "question_unknown",
            format!("{} asks no question {}", form.criteria, form.question),
            "choose one of the set's questions",
        ));
    }
    Ok(())
}

async fn free_numbers(conn: &mut Conn, row: &Person) -> Result<()> {
    let taken: Option<Person> = conn
        .first(
            "WHERE voided_at IS NULL AND id <> $1 AND (mrn = $2 OR nhs_number = $3)",
            &[
                row.id.into(),
                row.mrn.clone().into(),
                row.nhs_number.clone().unwrap_or_default().into(),
            ],
        )
        .await?;
    match taken {
        None => Ok(()),
        Some(other) => {
            let which = if other.mrn == row.mrn { "hospital number" } else { "NHS number" };
            Err(StoreError::refused(
                "number_taken",
                format!("this {which} belongs to another person of the record"),
                "search for it; two rows of one person are joined by voiding one",
            ))
        }
    }
}
