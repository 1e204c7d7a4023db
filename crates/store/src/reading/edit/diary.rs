//! A diary joins notes that a person has judged by hand: what the diary changed is written, what the person wrote
//! stays, and where the two differ it is said.

use std::collections::BTreeSet;

use engine::notes::diary::DiaryLines;

use crate::intake::scoring::one_line;
use crate::reading::edit::Entry;
use crate::reading::edit::Parts;
use crate::reading::edit::entries;
use crate::reading::edit::head_key;
use crate::reading::edit::minute;

/// One answer of a diary: what the desk wrote into notes before it came, and what it would write now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DiaryAnswer {
    /// What it is about, in few words.
    pub about: String,
    /// The answer; empty where it is blank now.
    pub says: String,
    /// The lines before it.
    pub before: DiaryLines,
    /// The lines now.
    pub after: DiaryLines,
}

/// What came of an answer in notes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Merged {
    /// Whether the notes are others by it.
    pub(crate) done: bool,
    /// Where a person wrote something else, which stays.
    pub(crate) apart: Vec<String>,
}

impl DiaryAnswer {
    /// The answer in words.
    pub fn words(&self) -> String {
        if self.says.is_empty() {
            return format!("{} is told no more", self.about.trim_end_matches(':'));
        }
        format!("{} {}", self.about, self.says)
    }

    /// What would come of it in notes.
    pub(crate) fn against(&self, notes: &str) -> Merged {
        self.join(&mut Parts::of(notes))
    }

    fn join(&self, parts: &mut Parts) -> Merged {
        let mut merged = Merged::default();
        self.keys(parts, &mut merged);
        self.marks(parts, &mut merged);
        merged
    }

    fn keys(&self, parts: &mut Parts, merged: &mut Merged) {
        let (was, now) = (&self.before.keys, &self.after.keys);
        let key = |line: &str| Some(line.split_once('=')?.0.trim().to_owned());
        let keys: BTreeSet<String> = was.lines().chain(now.lines()).filter_map(key).collect();
        for key in &keys {
            let same = |one: &Option<String>, other: &Option<String>| match (one, other) {
                (Some(one), Some(other)) => agree(key, one, other),
                (one, other) => one == other,
            };
            let (before, after) = (head_key(was, key), head_key(now, key));
            let here = head_key(&parts.text(), key);
            if same(&here, &after) || same(&before, &after) {
                continue;
            }
            match &here {
                Some(here_says) if !same(&here, &before) => {
                    merged.apart.push(self.differs(here_says));
                }
                _ => {
                    parts.set_head(key, raw(now, key));
                    merged.done = true;
                }
            }
        }
    }

    fn marks(&self, parts: &mut Parts, merged: &mut Merged) {
        let (was, now) = (entries(&self.before.marks), entries(&self.after.marks));
        let gone: Vec<&Entry> = was.iter().filter(|one| !has(&now, one, alike)).collect();
        for one in &gone {
            // The places move with each that is taken out.
            let there = entries(&parts.text()).into_iter().find(|found| stands_as(one, found));
            if let Some(there) = there {
                parts.remove(there.index);
                merged.done = true;
            }
        }
        let here = entries(&parts.text());
        let fresh = |one: &&Entry| !has(&was, one, alike) && !has(&here, one, stands_as);
        let new: Vec<&Entry> = now.iter().filter(fresh).collect();
        for one in &new {
            parts.push_lines(one.alone.lines().map(str::to_owned).collect());
            merged.done = true;
        }
        if gone.is_empty() && new.is_empty() {
            return;
        }
        let kinds: BTreeSet<&str> = was.iter().chain(&now).filter_map(kind).collect();
        let own = here.iter().filter(|found| {
            let of_diary = |one: &Entry| stands_as(one, found);
            kind(found).is_some_and(|kind| kinds.contains(kind))
                && !was.iter().any(of_diary)
                && !now.iter().any(of_diary)
        });
        let own: Vec<String> = own.map(said).collect();
        if !own.is_empty() {
            merged.apart.push(self.differs(&own.join(", ")));
        }
    }

    fn differs(&self, by_hand: &str) -> String {
        format!("{}; by hand it is {by_hand}, which stays", self.words())
    }
}

/// Whether one of some entries is like another.
fn has(all: &[Entry], one: &Entry, like: fn(&Entry, &Entry) -> bool) -> bool {
    all.iter().any(|found| like(one, found))
}

/// Whether two entries of a diary say the same.
fn alike(one: &Entry, other: &Entry) -> bool {
    stands_as(one, other) && stands_as(other, one)
}

/// Whether what a diary tells stands in an entry of notes, which may say more of it in words but not another end.
fn stands_as(told: &Entry, found: &Entry) -> bool {
    told.table == found.table
        && told.fields.iter().all(|(key, value)| agree(key, value, found.get(key)))
        && agree("until", told.get("until"), found.get("until"))
}

/// Kind of a mark that a person may set beside the diary's. A remark is no answer to another.
fn kind(entry: &Entry) -> Option<&str> {
    let kind = if entry.table == "told" { entry.get("about") } else { entry.get("kind") };
    (!kind.is_empty() && kind != "note").then_some(kind)
}

/// What an entry says, in few words.
fn said(entry: &Entry) -> String {
    match (entry.get("at"), entry.get("until")) {
        ("", _) => entry.get("says").to_owned(),
        (at, "") => at.to_owned(),
        (at, until) => format!("{at}–{until}"),
    }
}

/// Whether two values of a key say the same: a time may be written with its date or without.
fn agree(key: &str, asked: &str, found: &str) -> bool {
    let is_time = matches!(key, "lights_out" | "lights_on" | "at" | "until");
    asked == found || (is_time && minute(asked).is_some() && minute(asked) == minute(found))
}

/// The value of a key as it is written; `None` when the lines do not have it.
fn raw(keys: &str, key: &str) -> Option<String> {
    let mut pairs = keys.lines().filter_map(|line| line.split_once('='));
    pairs.find(|(known, _)| known.trim() == key).map(|(_, value)| value.trim().to_owned())
}

/// What its reader said to a diary that came late.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Word {
    /// It stands in the notes, but for what was written by hand.
    TakenUp,
    /// It does not, for this reason.
    LeftOut(String),
}

/// The remark in the notes that keeps a reader's word: it goes with the version it was said in, and is undone with it.
fn remark(entry: i64) -> String {
    format!("# Diary entry {entry} was ")
}

const TAKEN_UP: &str = "taken up.";
const LEFT_OUT: &str = "left out: ";

/// What the reader of notes said to a diary entry; `None` when nothing yet.
pub(crate) fn word_on(notes: &str, entry: i64) -> Option<Word> {
    let begins = remark(entry);
    let said = Parts::of(notes)
        .head
        .iter()
        .rev()
        .find_map(|line| line.strip_prefix(&begins).map(str::to_owned))?;
    match said.strip_prefix(LEFT_OUT) {
        Some(reason) => Some(Word::LeftOut(reason.to_owned())),
        None => (said == TAKEN_UP).then_some(Word::TakenUp),
    }
}

fn say(parts: &mut Parts, entry: i64, words: &str) {
    let begins = remark(entry);
    parts.head.retain(|line| !line.starts_with(&begins));
    let end = parts.head.iter().rposition(|line| !line.trim().is_empty()).map_or(0, |at| at + 1);
    parts.head.insert(end, format!("{begins}{words}"));
}

/// Writes the answers of a diary into notes: what was done, in words.
pub(super) fn take(parts: &mut Parts, entry: i64, when: &str, answers: &[DiaryAnswer]) -> String {
    let (mut done, mut apart) = (Vec::new(), Vec::new());
    for answer in answers {
        let merged = answer.join(parts);
        if merged.done {
            done.push(answer.words());
        }
        apart.extend(merged.apart);
    }
    say(parts, entry, TAKEN_UP);
    let mut what = format!("took up the diary entered at {when}");
    if !done.is_empty() {
        what = format!("{what}: {}", done.join("; "));
    }
    if !apart.is_empty() {
        what = format!("{what}. It differs from what was done by hand: {}", apart.join("; "));
    }
    what
}

/// Keeps in notes that a diary is left out, and why.
pub(super) fn leave(parts: &mut Parts, entry: i64, reason: &str) {
    say(parts, entry, &format!("{LEFT_OUT}{}", one_line(reason)));
}

#[cfg(test)]
mod tests {
    use engine::notes::NotesFile;
    use engine::notes::diary::QUESTIONS;

    use super::*;

    const NOTES: &str = "# From the desk's record.\nzone = \"Europe/London\"\nlights_out = \"22:40\"\n\n[[mark]]\nkind = \"up\"\nat = \"02:10\"\nuntil = \"02:25\"\n\n[[exclude]]\nchannel = \"spo2\"\nfrom = \"01:00\"\nuntil = \"02:00\"\nauthor = \"A\"\nmade_at = \"2026-11-25T07:30:00Z\"\nreason = \"lay on it\"\n";

    fn answer(key: &str, before: &str, after: &str) -> DiaryAnswer {
        let question = QUESTIONS.iter().find(|one| one.key == key).unwrap();
        let lines = |says: &str| question.lines(says).unwrap();
        let (about, says) = (key.to_owned(), after.to_owned());
        DiaryAnswer { about, says, before: lines(before), after: lines(after) }
    }

    fn taken(notes: &str, answers: &[DiaryAnswer]) -> (String, String) {
        let mut parts = Parts::of(notes);
        let what = take(&mut parts, 7, "2026-11-25 09:00", answers);
        (parts.text(), what)
    }

    /// Whatever a diary says, every line that a person wrote is there afterwards, and a second time changes nothing.
    #[test]
    fn what_was_written_by_hand_stays_whatever_the_diary_says() {
        let full: Vec<DiaryAnswer> =
            QUESTIONS.iter().map(|one| answer(one.key, "", one.example)).collect();
        let (text, what) = taken(NOTES, &full);
        for line in NOTES.lines() {
            assert!(text.lines().any(|found| found == line), "{line}: {text}");
        }
        let file = NotesFile::parse(&text).unwrap();
        assert_eq!(file.zone(), Some("Europe/London"));
        for line in [
            "representative = true",
            "breathing = \"air\"",
            "lights_on = \"06:50\"",
            "text = \"2 L/min\"",
            "about = \"skin\"",
        ] {
            assert!(text.contains(line), "{line}: {text}");
        }
        // The mark that stood already stands once.
        assert_eq!(text.matches("at = \"02:10\"").count(), 1);
        assert!(what.contains("representative yes") && !what.contains("lights_out"), "{what}");
        let again = full.iter().all(|one| one.against(&text) == Merged::default());
        assert!(again && word_on(&text, 7) == Some(Word::TakenUp) && word_on(&text, 70).is_none());
        assert!(text.starts_with("# From the desk's record.\n"));
    }

    #[test]
    fn a_corrected_answer_takes_the_place_of_the_desks_and_never_of_a_hands() {
        let later =
            [answer("lights_out", "22:40", "23:05"), answer("up", "02:10-02:25", "02:10-02:45")];
        let (text, what) = taken(NOTES, &later);
        assert!(
            text.contains("lights_out = \"23:05\"") && text.contains("until = \"02:45\""),
            "{text}"
        );
        assert!(!text.contains("22:40") && !text.contains("02:25"), "{text}");
        assert_eq!(
            what,
            "took up the diary entered at 2026-11-25 09:00: lights_out 23:05; up 02:10-02:45"
        );
        let by_hand = NOTES.replace("22:40", "23:30").replace("02:10", "02:12");
        let (text, what) = taken(&by_hand, &later);
        assert!(
            text.contains("lights_out = \"23:30\"") && text.contains("at = \"02:12\""),
            "{text}"
        );
        assert!(text.contains("at = \"02:10\"\nuntil = \"02:45\""), "{text}");
        assert!(what.ends_with("It differs from what was done by hand: lights_out 23:05; by hand it is 23:30, which stays; up 02:10-02:45; by hand it is 02:12–02:25, which stays"), "{what}");
        // An answer that is blank now is taken out where it stands as the desk wrote it.
        let (text, what) =
            taken(NOTES, &[answer("up", "02:10-02:25", ""), answer("lights_out", "22:40", "")]);
        assert!(!text.contains("[[mark]]") && !text.contains("lights_out"), "{text}");
        assert!(what.contains("up is told no more"), "{what}");
        // Words that fall away from a mark leave the mark.
        let told = taken(NOTES, &[answer("oxygen", "", "22:40-06:50 2 L/min")]).0;
        let (text, _) = taken(&told, &[answer("oxygen", "22:40-06:50 2 L/min", "22:40-06:50")]);
        assert!(text.contains("kind = \"oxygen\"") && !text.contains("2 L/min"), "{text}");
    }

    #[test]
    fn a_word_on_a_diary_is_one_line_and_the_last_holds() {
        let mut parts = Parts::of(NOTES);
        leave(&mut parts, 7, "another\nnight's\n[[mark]]");
        let text = parts.text();
        assert_eq!(word_on(&text, 7), Some(Word::LeftOut("another night's [[mark]]".to_owned())));
        assert!(NotesFile::parse(&text).is_ok());
        let (text, _) = taken(&text, &[]);
        assert!(word_on(&text, 7) == Some(Word::TakenUp) && !text.contains("left out"), "{text}");
    }
}
