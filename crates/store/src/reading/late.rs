//! A diary that came when its night had been judged: nothing is rewritten behind the reader's back, so it is told, and
//! its reader takes it up or leaves it out.

use engine::notes::diary::QUESTIONS;

use crate::error::Result;
use crate::intake::scoring::answer_lines;
use crate::intake::scoring::answer_to;
use crate::intake::scoring::is_of_desk;
use crate::intake::scoring::one_line;
use crate::reading::edit::Change;
use crate::reading::edit::DiaryAnswer;
use crate::reading::edit::Word;
use crate::reading::edit::word_on;
use crate::record::db::Conn;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Night;
use crate::words::NightStatus;

/// A diary that came after its night was judged, with what of it does not stand in the notes of the night.
#[derive(Clone, Debug, PartialEq)]
pub struct Late {
    /// The diary.
    pub entry: DiaryEntry,
    /// Its answers that do not stand in the notes, in the order of its questions.
    pub answers: Vec<DiaryAnswer>,
    /// Where a person wrote something else into the notes, which stays when the diary is taken up.
    pub apart: Vec<String>,
    /// Why its reader left it out; `None` while nothing is said to it.
    pub left_out: Option<String>,
}

impl Late {
    /// Its answers that do not stand in the notes, in words.
    pub fn says(&self) -> String {
        self.answers.iter().map(DiaryAnswer::words).collect::<Vec<_>>().join("; ")
    }

    /// Takes it up. `when` tells when it was entered.
    pub fn take(&self, when: String) -> Change {
        Change::TakeDiary { entry: self.entry.id, when, answers: self.answers.clone() }
    }

    /// Leaves it out. `when` tells when it was entered.
    pub fn leave(&self, when: String, reason: String) -> Change {
        Change::LeaveDiary { entry: self.entry.id, when, reason }
    }
}

impl Conn {
    /// The diary of a night that came after it was judged and waits for its reader's word; `None` when there is none.
    pub async fn late_diary(&mut self, night: &Night) -> Result<Option<Late>> {
        Ok(self.beside(std::slice::from_ref(night)).await?.late_diary(night))
    }

    /// What a diary entry means for the nights that were judged before it, a sentence each without its full stop.
    pub async fn diary_says(&mut self, entry: &DiaryEntry) -> Result<Vec<String>> {
        let clause = "WHERE loan = $1 AND status <> 'set_aside' ORDER BY start_at, id";
        let nights: Vec<Night> = self.find(clause, &[entry.loan.into()]).await?;
        let mut says = Vec::new();
        let beside = self.beside(&nights).await?;
        for night in nights {
            let late = beside.late_diary(&night);
            if late.is_none_or(|late| late.entry.id != entry.id) {
                continue;
            }
            let what = if night.status == NightStatus::Signed {
                "is signed and was left as it is: the diary is told beside it"
            } else if is_of_desk(&night) {
                "cannot be scored with it, and was left as it is"
            } else {
                "was judged before it and was left as it is: its reader is told, and takes the diary up or not"
            };
            says.push(format!("night {} {what}", night.id));
        }
        Ok(says)
    }
}

/// An entry with its answers that do not stand in the notes of its night. `before` is the entry that does, of which
/// it is the correction; what is not in them of that is the reader's own word.
pub(crate) fn late(
    entry: &DiaryEntry,
    before: Option<&DiaryEntry>,
    support: Option<&str>,
    night: &Night,
) -> Option<Late> {
    let mut apart = Vec::new();
    let answers = QUESTIONS.iter().enumerate().filter_map(|(at, question)| {
        let answer = DiaryAnswer {
            about: label(question.key),
            says: one_line(answer_to(entry, at)),
            before: answer_lines(before, at, support),
            after: answer_lines(Some(entry), at, support),
        };
        let merged = answer.against(&night.notes);
        let differs = merged.done || !merged.apart.is_empty();
        apart.extend(merged.apart);
        differs.then_some(answer)
    });
    let answers: Vec<DiaryAnswer> = answers.collect();
    let left_out = match word_on(&night.notes, entry.id) {
        Some(Word::LeftOut(reason)) => Some(reason),
        _ => None,
    };
    (!answers.is_empty()).then(|| Late { entry: entry.clone(), answers, apart, left_out })
}

/// What an answer is about, in few words.
fn label(key: &str) -> String {
    match key {
        "up" => "out of bed".to_owned(),
        "awake" => "awake in bed".to_owned(),
        "refitted" => "sensor back on".to_owned(),
        "support" => "mask or ventilator".to_owned(),
        "representative" => "a night like most:".to_owned(),
        "taken" => "taken:".to_owned(),
        "skin" => "skin:".to_owned(),
        _ => key.replace('_', " "),
    }
}
