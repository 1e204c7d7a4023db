//! Destroying a person's data when their time is over.
//!
//! What identifies the person and what was found is taken away: fields are blanked, bytes deleted, the
//! content of every act that held them taken out of the chain. That each act happened, when and by whom,
//! stays proven: its hash covers its content by the content's own hash. The destruction is an act itself,
//! lists what it took, and writes again every row whose last image it took, so that the chain still tells
//! how each row must be.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde_json::Value;
use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::Reading;
use crate::intake::scoring::reading_of;
use crate::people::person::DESTROYED;
use crate::people::person::reason_given;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::all_tables::every_table;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::entry::DESTROY;
use crate::record::entry::Entry;
use crate::record::row::Kept;
use crate::record::row::Record as _;
use crate::record::tables::Chase;
use crate::record::tables::Check;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Loan;
use crate::record::tables::Movement;
use crate::record::tables::Night;
use crate::record::tables::NotesVersion;
use crate::record::tables::Original;
use crate::record::tables::Outcome;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Report;
use crate::record::tables::SecondReading;
use crate::record::tables::Setting;
use crate::record::tables::Study;
use crate::record::tables::Tie;
use crate::retention::belongings::Belongings;
use crate::retention::schedule::governs;
use crate::when::local_date;

/// So many acts are read at a time.
const PAGE: i64 = 500;

/// What was destroyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Destroyed {
    /// The act that did it.
    pub seq: i64,
    /// How many acts lost their content.
    pub acts: usize,
    /// How many files were deleted.
    pub files: usize,
    /// What had to be kept, in words.
    pub kept: Vec<String>,
}

/// Rows that acts about to lose their content wrote, by the act.
type Taken = BTreeMap<i64, Vec<(String, i64)>>;

impl Store {
    /// Destroys a person's data. The certificate is the text that stands in the record for it: what was
    /// decided, by whom, under which rule.
    ///
    /// # Errors
    /// When somebody without the right tries, the person is held or not due, a loan is open, or reason or
    /// certificate is missing.
    pub async fn destroy_person(
        &self,
        by: &Author,
        person: i64,
        reason: &str,
        certificate: &str,
    ) -> Result<Destroyed> {
        governs(by)?;
        let reason = reason_given(reason)?;
        let certificate = reason_given(certificate)?;
        // Most of the chain is read before the act begins, so that nobody waits for it.
        let mut conn = self.read().await?;
        let mut taken = Taken::new();
        let row: Person = conn.get(person).await?;
        let marks = marks(&row);
        let before = Belongings::of(&mut conn, person).await?;
        let read_to = scan(&mut conn, 0, person, &before, &marks, &mut taken).await?;
        drop(conn);

        let mut act = self.act(by, DESTROY).await?;
        may_destroy(&mut act, person).await?;
        let mut all = Belongings::of(act.conn(), person).await?;
        if all == before {
            scan(act.conn(), read_to, person, &all, &marks, &mut taken).await?;
        } else {
            scan(act.conn(), 0, person, &all, &marks, &mut taken).await?;
        }
        let kept = act.leave_what_is_shared(&mut all).await?;
        let files = act.blank(&all, &reason).await?;
        act.write_again(&taken).await?;
        for seq in taken.keys() {
            let sql = "UPDATE act SET body = NULL WHERE seq = $1";
            on!(act.conn(), c => sqlx::query(sql).bind(seq).execute(c).await.map(|_| ()))?;
        }
        act.on(format!("person {person}"), Some(person));
        act.because(reason);
        let seqs: Vec<i64> = taken.keys().copied().collect();
        act.note(json!({"acts": seqs, "files": files, "kept": kept, "certificate": certificate}));
        let seq = act.close().await?;
        self.checkpoint().await?;
        Ok(Destroyed { seq, acts: seqs.len(), files: files.len(), kept })
    }
}

async fn may_destroy(act: &mut Act, person: i64) -> Result<()> {
    if let Some(held) = act.conn().hold_of(person).await? {
        return Err(StoreError::refused(
            "person_held",
            format!("this person's data are held: {held}"),
            "release the hold first, with a reason",
        ));
    }
    let open = "SELECT COUNT(*) FROM loan WHERE person = $1 AND status IN ('booked', 'out')";
    if act.conn().number(open, &[person.into()]).await? > 0 {
        return Err(StoreError::refused(
            "loan_open",
            "a loan of this person is booked or out",
            "take the monitor back or cancel the loan first",
        ));
    }
    let today = local_date(act.at(), &jiff::tz::TimeZone::UTC);
    let due = act.conn().due_for_review(today).await?;
    if due.iter().all(|one| one.person != person) {
        return Err(StoreError::refused(
            "not_due",
            "this person's data are not due for destruction",
            "see the list of those due for review",
        ));
    }
    Ok(())
}

/// The words by which somebody looking for this person would have found them.
fn marks(person: &Person) -> Vec<String> {
    let all = [Some(&person.mrn), person.nhs_number.as_ref(), Some(&person.family)];
    all.into_iter()
        .flatten()
        .filter(|mark| !mark.is_empty())
        .map(|mark| mark.to_lowercase())
        .collect()
}

/// Finds the acts after a number whose content is about the person; gives the last act read.
async fn scan(
    conn: &mut Conn,
    after: i64,
    person: i64,
    all: &Belongings,
    marks: &[String],
    taken: &mut Taken,
) -> Result<i64> {
    let mut last = after;
    loop {
        let page = conn.entries(last, PAGE).await?;
        let Some(end) = page.last() else { return Ok(last) };
        last = end.seq;
        for entry in &page {
            if let Some(rows) = about(entry, person, all, marks) {
                taken.insert(entry.seq, rows);
            }
        }
    }
}

/// The rows an act wrote, if it is about the person. A destruction is never taken: it proves what others took.
fn about(
    entry: &Entry,
    person: i64,
    all: &Belongings,
    marks: &[String],
) -> Option<Vec<(String, i64)>> {
    let body = entry.body.as_deref().filter(|_| entry.verb != DESTROY)?;
    let value: Value = serde_json::from_str(body).ok()?;
    let written = value["rows"].as_array().into_iter().flatten();
    let rows: Vec<(String, i64)> = written
        .filter_map(|one| Some((one["table"].as_str()?.to_owned(), one["row"]["id"].as_i64()?)))
        .collect();
    // Somebody looked for this person by name or number: such an act wrote nothing but what they looked for.
    let named = || {
        let text = value["facts"].to_string().to_lowercase();
        let mut words = text.split(|sign: char| !sign.is_alphanumeric());
        rows.is_empty() && words.any(|word| marks.iter().any(|mark| mark == word))
    };
    let is = entry.person == Some(person)
        || rows.iter().any(|(table, id)| all.holds(table, *id))
        || named();
    is.then_some(rows)
}

impl Act {
    /// An original that holds another person's night too is left, and told.
    async fn leave_what_is_shared(&mut self, all: &mut Belongings) -> Result<Vec<String>> {
        let mut kept = Vec::new();
        for original in all.ids("original") {
            let nights: Vec<Night> =
                self.conn().find("WHERE original = $1", &[original.into()]).await?;
            if nights.iter().any(|night| !all.holds("night", night.id) && night.person.is_some()) {
                all.leave_out("original", original);
                self.rename(original, all).await?;
                kept.push(format!("original {original} holds a night of another person too"));
            }
        }
        Ok(kept)
    }

    /// Gives an original that is left a name that names nobody; how it is read stays otherwise.
    async fn rename(&mut self, id: i64, all: &mut Belongings) -> Result<()> {
        let mut original: Original = self.get(id).await?;
        let ending = original.name.rsplit_once('.').map_or("", |(_, ending)| ending);
        let plain = ending.len() <= 4 && ending.bytes().all(|byte| byte.is_ascii_alphanumeric());
        let name = format!("original-{id}.{}", if plain { ending } else { "" });
        original.name.clone_from(&name);
        self.put(&mut original).await?;
        let readings: Vec<Setting> =
            self.conn().find("WHERE name = $1", &[reading_of(id).into()]).await?;
        for mut setting in readings {
            all.leave_out("setting", setting.id);
            if let Ok(mut reading) = serde_json::from_str::<Reading>(&setting.value) {
                reading.name.clone_from(&name);
                setting.value = json!(reading).to_string();
            }
            self.put(&mut setting).await?;
        }
        Ok(())
    }

    /// Blanks every row and deletes the bytes; gives the hashes of what was deleted.
    async fn blank(&mut self, all: &Belongings, reason: &str) -> Result<Vec<String>> {
        let at = self.at();
        self.each(all, |row: &mut Person| {
            row.voided_at = row.voided_at.or(Some(at));
            row.voided_because = Some(DESTROYED.to_owned());
            for field in [&mut row.mrn, &mut row.family, &mut row.given, &mut row.born_on] {
                field.clear();
            }
            for field in [&mut row.nhs_number, &mut row.telephone, &mut row.address, &mut row.needs]
            {
                *field = None;
            }
        })
        .await?;
        self.each(all, |row: &mut Referral| {
            row.asked_by.clear();
            (row.words, row.support) = (None, None);
            row.voided_because = None;
        })
        .await?;
        self.each(all, |row: &mut Study| row.closed_because = None).await?;
        self.each(all, |row: &mut Loan| {
            (row.because, row.repeats_because) = (None, None);
            (row.out, row.back) = (Kept(None), Kept(None));
        })
        .await?;
        self.each(all, |row: &mut Movement| row.what.clear()).await?;
        self.each(all, |row: &mut Check| (row.note, row.voided_because) = (None, None)).await?;
        self.each(all, |row: &mut Chase| row.outcome.clear()).await?;
        self.each(all, |row: &mut DiaryEntry| row.lines.clear()).await?;
        self.each(all, |row: &mut Night| {
            row.doubts.0.clear();
            row.settled_because = None;
            row.notes.clear();
        })
        .await?;
        self.each(all, |row: &mut Outcome| {
            row.reason = None;
            "{}".clone_into(&mut row.scores);
        })
        .await?;
        self.blank_hands(all).await?;
        self.each(all, |row: &mut Setting| row.value.clear()).await?;
        let mut gone = Vec::new();
        gone.extend(
            self.each(all, |row: &mut Original| {
                row.name.clear();
                row.destroyed_at = Some(at);
                row.destroyed_because = Some(reason.to_owned());
            })
            .await?
            .into_iter()
            .map(|row| row.sha256),
        );
        let mut papers = Vec::new();
        self.each(all, |row: &mut Report| {
            papers.extend(row.pdf_sha256.take());
            "{}".clone_into(&mut row.content);
            (row.interpretation, row.because) = (None, None);
        })
        .await?;
        gone.extend(papers);
        for sha256 in &gone {
            let sql = "DELETE FROM bytes WHERE sha256 = $1";
            on!(self.conn(), c => sqlx::query(sql).bind(sha256).execute(c).await.map(|_| ()))?;
        }
        Ok(gone)
    }

    /// Blanks what was settled and judged by hand.
    async fn blank_hands(&mut self, all: &Belongings) -> Result<()> {
        self.each(all, |row: &mut Tie| {
            row.because.clear();
            (row.against.0, row.open.0) = (Vec::new(), Vec::new());
            (row.second_because, row.ended_because) = (None, None);
        })
        .await?;
        self.each(all, |row: &mut NotesVersion| {
            row.text.clear();
            row.what.clear();
            row.because = None;
        })
        .await?;
        self.each(all, |row: &mut SecondReading| {
            row.steps.0.clear();
            (row.scores, row.before) = (String::new(), String::new());
            (row.pair.0, row.verdict, row.withdrawn_because) = (None, None, None);
        })
        .await?;
        Ok(())
    }

    /// Changes and writes every row of one kind; gives them as they are now.
    async fn each<R: crate::record::row::Record>(
        &mut self,
        all: &Belongings,
        mut change: impl FnMut(&mut R),
    ) -> Result<Vec<R>> {
        let mut rows = Vec::new();
        for id in all.ids(R::TABLE) {
            let mut row: R = self.get(id).await?;
            change(&mut row);
            self.put(&mut row).await?;
            rows.push(row);
        }
        Ok(rows)
    }

    /// Writes again, unchanged, every row whose last image stands in an act that loses its content.
    async fn write_again(&mut self, taken: &Taken) -> Result<()> {
        let rows: BTreeSet<&(String, i64)> = taken.values().flatten().collect();
        for (table, id) in rows {
            every_table!(Row => {
                if table == Row::TABLE {
                    let mut row: Row = self.get(*id).await?;
                    if taken.contains_key(&row.written()) {
                        self.put(&mut row).await?;
                    }
                }
            });
        }
        Ok(())
    }
}
