//! What the patient wrote about a night: entered by the desk, corrected by an entry that points back.

use engine::notes::diary::QUESTIONS;
use engine::notes::tells_of_harm;

use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Loan;
use crate::when;
use crate::words::Representative;

/// A diary as somebody copies it: one answer a question, in their order, blank where the patient wrote nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DiaryForm {
    /// Evening of the night.
    pub night_on: String,
    /// The answers.
    pub answers: Vec<String>,
}

impl Conn {
    /// The diary of a loan as it stands: for each night its latest entry.
    pub async fn diary(&mut self, loan: i64) -> Result<Vec<DiaryEntry>> {
        let all: Vec<DiaryEntry> =
            self.find("WHERE loan = $1 ORDER BY night_on, id", &[loan.into()]).await?;
        let replaced: Vec<i64> = all.iter().filter_map(|entry| entry.replaces).collect();
        Ok(all.into_iter().filter(|entry| !replaced.contains(&entry.id)).collect())
    }
}

impl Conn {
    /// What diaries entered since some time tell of skin that was harmed: loan, and in the patient's words.
    pub async fn skin_told(&mut self, since: i64) -> Result<Vec<(i64, String)>> {
        let Some(at) = QUESTIONS.iter().position(|question| question.key == "skin") else {
            return Ok(Vec::new());
        };
        let clause = "WHERE at > $1 AND id NOT IN (SELECT replaces FROM diary_entry WHERE replaces IS NOT NULL) ORDER BY at DESC, id DESC";
        let all: Vec<DiaryEntry> = self.find(clause, &[since.into()]).await?;
        let told = all.into_iter().filter_map(|entry| {
            let answer = entry.lines.lines().nth(at).unwrap_or_default().trim().to_owned();
            tells_of_harm(&answer).then_some((entry.loan, answer))
        });
        Ok(told.collect())
    }
}

impl Store {
    /// Enters the diary of a night, or corrects it. Nights of the loan that wait to be read are scored anew.
    ///
    /// # Errors
    /// When an answer is not understood: the question and what was expected. When the loan never went out.
    pub async fn enter_diary(
        &self,
        by: &Author,
        loan: i64,
        form: &DiaryForm,
    ) -> Result<DiaryEntry> {
        let faults = faults(form);
        if !faults.is_empty() {
            return Err(StoreError::Refused(faults));
        }
        let mut act = self.act(by, "diary.enter").await?;
        let row: Loan = act.get(loan).await?;
        if row.out_at.is_none() {
            return Err(StoreError::refused(
                "loan_not_out",
                format!("the monitor of loan {} never went out", row.mark),
                "choose the loan the diary came with",
            ));
        }
        let old = act.conn().diary(loan).await?;
        let old = old.into_iter().find(|entry| entry.night_on == form.night_on);
        let mut entry = DiaryEntry {
            id: 0,
            act: 0,
            loan,
            night_on: form.night_on.clone(),
            lines: form
                .answers
                .iter()
                .map(|line| line.replace(['\r', '\n'], " "))
                .collect::<Vec<_>>()
                .join("\n"),
            representative: representative(form),
            at: act.at(),
            who: by.login.clone(),
            replaces: old.map(|entry| entry.id),
        };
        act.put(&mut entry).await?;
        act.on(format!("loan {loan}"), Some(row.person));
        act.close().await?;
        self.score_waiting(by, loan).await?;
        Ok(entry)
    }
}

fn faults(form: &DiaryForm) -> Vec<Refusal> {
    let mut all = Vec::new();
    if when::date(&form.night_on).is_none() {
        all.push(Refusal::new(
            "day_wrong",
            format!("{} is no day", form.night_on),
            "choose the night",
        ));
    }
    for (question, answer) in QUESTIONS.iter().zip(&form.answers) {
        if let Err(error) = question.lines(answer.trim()) {
            all.push(Refusal::new(
                question.key,
                format!("{} {error}", question.asks),
                format!("for instance {}", question.example),
            ));
        }
    }
    all
}

fn representative(form: &DiaryForm) -> Representative {
    let at = QUESTIONS.iter().position(|question| question.key == "representative");
    let answer = at.and_then(|at| form.answers.get(at)).map(|answer| answer.trim().to_lowercase());
    match answer.as_deref() {
        Some("yes" | "y") => Representative::Yes,
        Some("no" | "n") => Representative::No,
        _ => Representative::NotKnown,
    }
}
