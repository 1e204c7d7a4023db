//! What the patient wrote about a night: entered by the desk, corrected by an entry that points back.

use engine::notes::diary::QUESTIONS;
use engine::notes::diary::lights_contradict;
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
    /// What the diaries of a loan tell of the skin, in the patient's words: evening of the night, and the answer.
    pub async fn skin_of(&mut self, loan: i64) -> Result<Vec<(String, String)>> {
        let Some(at) = QUESTIONS.iter().position(|question| question.key == "skin") else {
            return Ok(Vec::new());
        };
        let told = self.diary(loan).await?.into_iter().filter_map(|entry| {
            let answer = entry.lines.lines().nth(at).unwrap_or_default().trim().to_owned();
            (!answer.is_empty()).then_some((entry.night_on, answer))
        });
        Ok(told.collect())
    }

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
    /// Enters the diary of a night, or corrects it. Nights of the loan that wait to be read are scored anew; one
    /// that the diary is not about stays as it is. What is refused is not kept.
    ///
    /// # Errors
    /// When an answer is not understood: the question and what was expected. When answers contradict each other.
    /// When the loan never went out.
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
        self.diary_fits(&entry_of(loan, form)).await?;
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
        let mut entry = entry_of(loan, form);
        (entry.at, entry.who) = (act.at(), by.login.clone());
        entry.replaces = old.map(|entry| entry.id);
        act.put(&mut entry).await?;
        act.on(format!("loan {loan}"), Some(row.person));
        act.close().await?;
        self.score_waiting(by, loan).await?;
        Ok(entry)
    }
}

/// The entry that a form becomes, before anybody enters it.
fn entry_of(loan: i64, form: &DiaryForm) -> DiaryEntry {
    let lines = form.answers.iter().map(|line| line.replace(['\r', '\n'], " "));
    DiaryEntry {
        id: 0,
        act: 0,
        loan,
        night_on: form.night_on.clone(),
        lines: lines.collect::<Vec<_>>().join("\n"),
        representative: representative(form),
        at: 0,
        who: String::new(),
        replaces: None,
    }
}

/// What is wrong with an entry's lights out and lights on, as a clause; `None` where they can be a night.
pub(crate) fn lights_wrong(entry: &DiaryEntry) -> Option<String> {
    lights_contradict(&entry.lines.split('\n').collect::<Vec<_>>())
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
    let answers: Vec<&str> = form.answers.iter().map(String::as_str).collect();
    if let Some(says) = lights_contradict(&answers) {
        let hint = "look at the paper again; leave empty what cannot be told";
        all.push(Refusal::new("lights_on", says, hint));
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
