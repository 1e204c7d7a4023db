//! A diary that came when its night had been judged: nothing is rewritten behind the reader's back, so it is told.

use engine::notes::diary::DiaryLines;
use engine::notes::diary::QUESTIONS;

use crate::error::Result;
use crate::intake::scoring::answer_to;
use crate::intake::scoring::is_of_desk;
use crate::intake::scoring::lines_for;
use crate::intake::scoring::one_line;
use crate::reading::edit::Entry;
use crate::reading::edit::entries;
use crate::reading::edit::head_key;
use crate::reading::edit::minute;
use crate::record::db::Conn;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Night;
use crate::words::NightStatus;

impl Conn {
    /// The diary of a night that came after it was judged, and its answers that do not stand in the night's notes,
    /// in words; `None` when there are none.
    pub async fn late_diary(&mut self, night: &Night) -> Result<Option<(DiaryEntry, String)>> {
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
            if late.is_none_or(|(one, _)| one.id != entry.id) {
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

/// An entry with its answers that do not stand in the notes of its night, when it came after the act that judged
/// it. An entry before the notes the reader began with was in them: what is not is the reader's own word.
pub(crate) fn late(entry: &DiaryEntry, night: &Night, judged: i64) -> Option<(DiaryEntry, String)> {
    if entry.act <= judged {
        return None;
    }
    let answers = untaken(entry, &night.notes);
    (!answers.is_empty()).then(|| (entry.clone(), answers.join("; ")))
}

/// The answers of a diary that do not stand in notes, in words.
fn untaken(entry: &DiaryEntry, notes: &str) -> Vec<String> {
    let there = entries(notes);
    let answers = QUESTIONS.iter().enumerate().filter_map(|(at, question)| {
        let answer = answer_to(entry, at);
        let taken = answer.is_empty() || stands(&lines_for(question, answer), notes, &there);
        (!taken).then(|| format!("{} {}", label(question.key), one_line(answer)))
    });
    answers.collect()
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

/// Whether an answer stands in notes, whoever wrote it there.
fn stands(answer: &DiaryLines, notes: &str, there: &[Entry]) -> bool {
    let in_head = |line: &str| {
        let key = line.split('=').next().unwrap_or_default().trim();
        let asked = head_key(&answer.keys, key).unwrap_or_default();
        head_key(notes, key).is_some_and(|found| agree(key, &asked, &found))
    };
    let same = |asked: &Entry, found: &Entry| {
        asked.table == found.table
            && asked.fields.iter().all(|(key, value)| agree(key, value, found.get(key)))
    };
    answer.keys.lines().all(in_head)
        && entries(&answer.marks).iter().all(|asked| there.iter().any(|found| same(asked, found)))
}

/// Whether two values of a key say the same: a time may be written with its date or without.
fn agree(key: &str, asked: &str, found: &str) -> bool {
    let is_time = matches!(key, "lights_out" | "lights_on" | "at" | "until");
    asked == found || (is_time && minute(asked).is_some() && minute(asked) == minute(found))
}
