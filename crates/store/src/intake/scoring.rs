//! A night read and scored: the notes that belong to it, the engine's judgement, and the row that keeps it.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use engine::criteria::Criteria;
use engine::judge::Judgement;
use engine::notes::Notes;
use engine::notes::NotesError;
use engine::notes::NotesFile;
use engine::notes::diary::DiaryLines;
use engine::notes::diary::DiaryQuestion;
use engine::notes::diary::QUESTIONS;
use engine::notes::diary::told;
use engine::read::Input;
use engine::read::ReadOptions;
use engine::read::map::ColumnMap;
use engine::recording::Quantity;
use engine::recording::Recording;
use engine::time::zone_named;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::check::Speaks;
use crate::intake::check::lines_of;
use crate::intake::cut::Piece;
use crate::intake::cut::cut;
use crate::intake::severe::severe_says;
use crate::people::person::DESTROYED;
use crate::people::person::reason_given;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::DiaryEntry;
use crate::record::tables::Loan;
use crate::record::tables::Night;
use crate::record::tables::Original;
use crate::record::tables::Outcome;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Study;
use crate::when::date;
use crate::when::local_date;
use crate::words::NightStatus;
use crate::words::Representative;

/// The set of criteria of a night that no referral names one for.
const DEFAULT_SET: &str = "adult-air";

/// Code of the refusal of notes that belong to another night than the recording.
const OTHER_NIGHT: &str = "notes_of_another_night";

/// First line of notes that were made of the desk's record alone, and may be made anew when it knows more.
const FROM_DESK: &str = "# From the desk's record.\n";

/// How the file of an original is read: what it does not tell itself. Kept as the setting `reading:N`.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Reading {
    /// Name of the file as it was given; it helps to tell formats apart.
    pub name: String,
    /// Zone of the monitor's clock.
    pub zone: String,
    /// The column map of a delimited text, as its file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub map: Option<String>,
}

impl Reading {
    /// Reads bytes as the engine does.
    ///
    /// # Errors
    /// When the zone or map is wrong, or the file is not understood.
    pub fn read(&self, bytes: &[u8]) -> Result<Recording> {
        let map = self.map.as_deref().map(ColumnMap::parse).transpose();
        let map = map.map_err(|error| {
            refused("map_wrong", format!("the column map: {}", error.what), None)
        })?;
        let options = ReadOptions { zone: zone_named(&self.zone), map };
        let input = Input { name: &self.name, bytes, companions: &[] };
        engine::read::read(input, &options).map_err(|error| {
            let says = format!("the file cannot be read as a night: {error}");
            refused("not_understood", says, error.hint)
        })
    }
}

/// Name of the setting that keeps how an original is read.
pub(crate) fn reading_of(original: i64) -> String {
    format!("reading:{original}")
}

/// A night's bytes and how they are read. Turning them into a recording takes time and no database.
#[derive(Clone, Debug)]
pub struct Held {
    bytes: Vec<u8>,
    reading: Reading,
    piece: Piece,
}

impl Held {
    /// Where the night lies in its recording.
    pub(crate) fn piece(&self) -> Piece {
        self.piece
    }

    /// The bytes of the whole file.
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The whole recording, with all its nights.
    pub(crate) fn whole(&self) -> Result<Recording> {
        self.reading.read(&self.bytes)
    }

    /// The night's recording, cut from its original.
    ///
    /// # Errors
    /// When it is no longer understood.
    pub fn recording(&self) -> Result<Recording> {
        Ok(cut(&self.reading.read(&self.bytes)?, self.piece))
    }

    /// Everything from the bytes to the judgement.
    ///
    /// # Errors
    /// When the bytes or the notes are not understood, or the notes belong to another night.
    pub fn judgement(&self, notes: &str, criteria: &Criteria) -> Result<Judgement> {
        self.judged(criteria, |recording| NotesFile::parse(notes)?.place(recording))
    }

    /// The same with notes that are kept: those of another night are told, so that what was scored once can
    /// be opened.
    ///
    /// # Errors
    /// When the bytes or the notes are not understood.
    pub fn judgement_kept(&self, notes: &str, criteria: &Criteria) -> Result<Judgement> {
        self.judged(criteria, |recording| NotesFile::parse(notes)?.place_kept(recording))
    }

    fn judged(
        &self,
        criteria: &Criteria,
        placed: impl FnOnce(&Recording) -> std::result::Result<Notes, NotesError>,
    ) -> Result<Judgement> {
        let recording = self.recording()?;
        let notes = placed(&recording);
        let notes = notes.map_err(|error| {
            let hint = error.hint.clone();
            let code = if error.another_night { OTHER_NIGHT } else { "notes_wrong" };
            refused(code, error.to_string(), hint)
        })?;
        Ok(engine::night::night(recording, notes, criteria))
    }
}

impl Conn {
    /// The bytes of a night that may be read.
    ///
    /// # Errors
    /// When nobody has settled whose night it is, it was set aside, or its bytes are gone or damaged.
    pub async fn held(&mut self, night: &Night) -> Result<Held> {
        match night.status {
            NightStatus::Untied => {
                return Err(StoreError::refused(
                    "night_untied",
                    "nobody has settled whose night this is",
                    "a physiologist or administrator settles it with a reason",
                ));
            }
            NightStatus::SetAside => {
                return Err(StoreError::refused("night_set_aside", "this night was set aside", ""));
            }
            NightStatus::Waiting | NightStatus::Reading | NightStatus::Signed => {}
        }
        self.bytes_of(night).await
    }

    /// The bytes of a night whoever's it is: to tell whose it is, not to read it.
    pub(crate) async fn bytes_of(&mut self, night: &Night) -> Result<Held> {
        let original = self.not_destroyed(night).await?;
        let reading = self.reading_kept(&original).await?;
        let bytes = self.bytes(&original.sha256).await?;
        Ok(Held { bytes, reading, piece: Piece { from_s: night.from_s, to_s: night.to_s } })
    }

    /// How the file of an original is read.
    pub(crate) async fn reading_kept(&mut self, original: &Original) -> Result<Reading> {
        let kept = self.setting(&reading_of(original.id)).await?;
        reading_in(kept.as_ref().map(|kept| kept.value.as_str()), original)
    }

    /// Those of some nights whose data were destroyed when their time was over.
    pub async fn destroyed_among(&mut self, nights: &[Night]) -> Result<Vec<i64>> {
        let originals: Vec<i64> = nights.iter().map(|night| night.original).collect();
        let originals: Vec<Original> = self.find_among("id", &originals).await?;
        let people: Vec<i64> = nights.iter().filter_map(|night| night.person).collect();
        let people: Vec<Person> = self.find_among("id", &people).await?;
        let kept = |night: &Night| {
            originals.iter().any(|one| one.id == night.original && one.destroyed_at.is_none())
        };
        let gone = |night: &Night| {
            people.iter().any(|one| {
                Some(one.id) == night.person && one.voided_because.as_deref() == Some(DESTROYED)
            })
        };
        let lost = nights.iter().filter(|night| !kept(night) || gone(night));
        Ok(lost.map(|night| night.id).collect())
    }

    /// The original of a night, unless the night's data were destroyed when their time was over. Asked at
    /// every use: what was read before must not be shown after, by this program or by another beside it. An
    /// original may be left because it holds a night of another person too, so the person counts as well.
    ///
    /// # Errors
    /// Refused as `destroyed` when they were.
    pub async fn not_destroyed(&mut self, night: &Night) -> Result<Original> {
        let original: Original = self.get(night.original).await?;
        let person = match night.person {
            Some(person) => Some(self.get::<Person>(person).await?),
            None => None,
        };
        let gone = person.and_then(|person| person.voided_because);
        if original.destroyed_at.is_none() && gone.as_deref() != Some(DESTROYED) {
            return Ok(original);
        }
        let says = "what this night held was destroyed when its time was over";
        Err(StoreError::refused("destroyed", says, ""))
    }

    /// Numbers of the nights whose data were destroyed.
    pub async fn destroyed_nights(&mut self) -> Result<BTreeSet<i64>> {
        let clause = "WHERE person IN (SELECT id FROM person WHERE voided_because = $1)";
        let nights: Vec<Night> = self.find(clause, &[DESTROYED.into()]).await?;
        Ok(nights.into_iter().map(|night| night.id).collect())
    }

    /// The set of criteria a result was made with, as it was then: whatever holds under its name today.
    ///
    /// # Errors
    /// When its text is not kept, or this release does not understand it.
    pub async fn criteria_used(&mut self, outcome: &Outcome) -> Result<Criteria> {
        self.criteria_kept(&outcome.criteria_sha256).await
    }

    /// A set of criteria by the hash of its text.
    ///
    /// # Errors
    /// When it is not kept, or this release does not understand it.
    pub async fn criteria_kept(&mut self, sha256: &str) -> Result<Criteria> {
        let text = String::from_utf8(self.bytes(sha256).await?)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        Criteria::from_whole(&text)
            .map_err(|error| refused("criteria_wrong", error.to_string(), None))
    }

    /// The notes of a night as the desk knows them: the question, the diary, the gas checks of its loan.
    pub async fn notes_for(
        &mut self,
        night: &Night,
        zone: &str,
        criteria: &Criteria,
    ) -> Result<String> {
        let entry = self.diary_of(night, zone).await?;
        self.notes_with(night, zone, criteria, entry.as_ref()).await
    }

    /// The same with the diary entry given.
    async fn notes_with(
        &mut self,
        night: &Night,
        zone: &str,
        criteria: &Criteria,
        entry: Option<&DiaryEntry>,
    ) -> Result<String> {
        let mut text = format!("{FROM_DESK}zone = {}\n", quoted(zone));
        let Some(loan) = night.loan else { return Ok(text) };
        let loan: Loan = self.get(loan).await?;
        let study: Study = self.get(loan.study).await?;
        let referral: Referral = self.get(study.referral).await?;
        if criteria.question(Some(&referral.question)).is_some() {
            let _ = writeln!(text, "question = {}", quoted(&referral.question));
        }
        let lines = diary_lines(entry, referral.support.as_deref());
        text.push_str(&lines.keys);
        text.push_str(&lines.marks);
        for one in self.checks_of(night).await? {
            // Of a night that is scored only its reader takes up a check that came later.
            if one.speaks == Speaks::Anchor && (one.taken || night.result.is_none()) {
                let lines = lines_of(&one.check).unwrap_or_default();
                let _ = write!(text, "\n[[gas_check]]\n{lines}");
            }
        }
        let temp = loan.out.0.and_then(|out| out.sensor_temp_c?.trim().parse::<f64>().ok());
        if let Some(temp) = temp.filter(|temp| (30.0..=50.0).contains(temp)) {
            let _ = writeln!(text, "\n[monitor]\nsensor_temp_c = {temp:?}");
        }
        Ok(text)
    }

    /// The diary entry that stands for a night: of its loan, and of its evening by the zone its file is read in.
    pub(crate) async fn diary_of(
        &mut self,
        night: &Night,
        zone: &str,
    ) -> Result<Option<DiaryEntry>> {
        let Some(loan) = night.loan else { return Ok(None) };
        let all: Vec<DiaryEntry> =
            self.find("WHERE loan = $1 ORDER BY id DESC", &[loan.into()]).await?;
        Ok(diaries_on(night, zone, all.iter()).next().cloned())
    }
}

/// How an original is read, from the text that is kept of it.
pub(crate) fn reading_in(kept: Option<&str>, original: &Original) -> Result<Reading> {
    match kept.map(serde_json::from_str) {
        Some(Ok(reading)) => Ok(reading),
        Some(Err(error)) => Err(StoreError::Damaged { says: error.to_string() }),
        None => Ok(Reading { name: original.name.clone(), ..Reading::default() }),
    }
}

/// The entries of a night's evening among those of its loan, in their order.
pub(crate) fn diaries_on<'a>(
    night: &Night,
    zone: &str,
    entries: impl Iterator<Item = &'a DiaryEntry>,
) -> impl Iterator<Item = &'a DiaryEntry> {
    let zone = zone_named(zone).unwrap_or(jiff::tz::TimeZone::UTC);
    let evening = local_date(night.start_at - 43_200, &zone);
    entries.filter(move |entry| date(&entry.night_on) == Some(evening))
}

/// What a diary entry answers to the question at a place; empty where it is blank. Its text holds one answer a
/// line, in the order of the diary's questions.
pub(crate) fn answer_to(entry: &DiaryEntry, at: usize) -> &str {
    match (QUESTIONS[at].key, entry.representative) {
        ("representative", Representative::Yes) => "yes",
        ("representative", Representative::No) => "no",
        _ => entry.lines.lines().nth(at).unwrap_or("").trim(),
    }
}

/// An answer as lines of a notes file; one that is not understood is told as it was written, so that nothing is
/// lost.
fn lines_for(question: &DiaryQuestion, answer: &str) -> DiaryLines {
    question.lines(answer).unwrap_or_else(|error| {
        let mut marks = told(question.key, answer);
        let _ = writeln!(marks, "# {} {}", question.asks, one_line(&error.to_string()));
        DiaryLines { keys: String::new(), marks }
    })
}

/// A diary entry as lines of a notes file.
fn diary_lines(entry: Option<&DiaryEntry>, support: Option<&str>) -> DiaryLines {
    let mut all = DiaryLines::default();
    for at in 0..QUESTIONS.len() {
        let lines = answer_lines(entry, at, support);
        all.keys.push_str(&lines.keys);
        all.marks.push_str(&lines.marks);
    }
    all
}

/// What a diary entry answers to the question at a place, as lines of a notes file.
pub(crate) fn answer_lines(
    entry: Option<&DiaryEntry>,
    at: usize,
    support: Option<&str>,
) -> DiaryLines {
    let mut answer = entry.map_or("", |entry| answer_to(entry, at));
    // What the referral tells is told; a blank is not told, and never air.
    if QUESTIONS[at].key == "breathing" && answer.is_empty() {
        answer = support.unwrap_or("");
    }
    lines_for(&QUESTIONS[at], answer)
}

impl Store {
    /// Scores a night anew with the notes and the set of criteria given, and keeps both. The result before stays.
    ///
    /// # Errors
    /// When the night may not be read, is signed, the notes or criteria are wrong, or no reason is given.
    pub async fn rescore(
        &self,
        by: &Author,
        id: i64,
        notes: &str,
        criteria: &str,
        reason: &str,
    ) -> Result<Outcome> {
        let reason = reason_given(reason)?;
        self.score_with(by, id, Some(notes.to_owned()), Some(criteria.to_owned()), Some(reason))
            .await
    }

    /// Scores the nights of a loan that wait to be read with what the desk knows now. A night somebody gave
    /// notes of their own keeps them; one that could not be scored before is tried again, and one that cannot
    /// be scored stays as it is and holds up no other.
    ///
    /// # Errors
    /// When the record cannot be read or written.
    pub async fn score_waiting(&self, by: &Author, loan: i64) -> Result<()> {
        let nights: Vec<Night> =
            self.read().await?.find("WHERE loan = $1 ORDER BY id", &[loan.into()]).await?;
        for night in nights.iter().filter(|night| is_of_desk(night)) {
            match self.score_night(by, night.id).await {
                Ok(_) | Err(StoreError::Refused(_)) => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    /// Refuses a diary entry, before it is kept, by whose answers no waiting night of its evening can be scored.
    /// Where one can, the others are pieces that it is not about; and a piece of the day before or after says
    /// nothing of the night that is still to come.
    ///
    /// # Errors
    /// When its answers contradict each other, or name a time that the clocks went over.
    pub(crate) async fn diary_fits(&self, entry: &DiaryEntry) -> Result<()> {
        let nights: Vec<Night> =
            self.read().await?.find("WHERE loan = $1 ORDER BY id", &[entry.loan.into()]).await?;
        let mut wrong = None;
        for night in nights.iter().filter(|night| is_of_desk(night)) {
            let mut conn = self.read().await?;
            let original: Original = conn.get(night.original).await?;
            let reading = conn.reading_kept(&original).await?;
            drop(conn);
            if diaries_on(night, &reading.zone, std::iter::once(entry)).next().is_none() {
                continue;
            }
            match self.judged_of_desk(night, Some(entry)).await {
                Ok(()) => return Ok(()),
                Err(error) if error.is("notes_wrong") => wrong = wrong.or(Some(error)),
                Err(StoreError::Refused(_)) => {}
                Err(error) => return Err(error),
            }
        }
        wrong.map_or(Ok(()), Err)
    }

    /// Scores a night with what the desk knows of it.
    ///
    /// # Errors
    /// When the night may not be read, or its notes or criteria are wrong.
    pub async fn score_night(&self, by: &Author, id: i64) -> Result<Outcome> {
        self.score_with(by, id, None, None, None).await
    }

    /// Scores a night anew whose file is read otherwise. Notes that somebody gave stay.
    pub(crate) async fn score_as_read(
        &self,
        by: &Author,
        night: &Night,
        reason: &str,
    ) -> Result<Outcome> {
        let own = !night.notes.is_empty() && !night.notes.starts_with(FROM_DESK);
        let notes = own.then(|| night.notes.clone());
        self.score_with(by, night.id, notes, None, Some(reason.to_owned())).await
    }

    /// Why a tied night cannot be scored as the record knows it now; `None` when it can.
    pub async fn why_unscored(&self, night: &Night) -> Result<Option<StoreError>> {
        match self.judged_of_desk(night, None).await {
            Ok(()) => Ok(None),
            Err(error @ StoreError::Database(_)) => Err(error),
            Err(error) => Ok(Some(error)),
        }
    }

    /// Judges a night with what the desk knows, and the diary entry given in the place of its own.
    async fn judged_of_desk(&self, night: &Night, entry: Option<&DiaryEntry>) -> Result<()> {
        let mut conn = self.read().await?;
        let held = conn.held(night).await?;
        let set = set_of(&mut conn, night).await?;
        let criteria = conn.criteria(&set).await?;
        let zone = &held.reading.zone;
        let notes = match entry {
            Some(_) => conn.notes_with(night, zone, &criteria, entry).await?,
            None => conn.notes_for(night, zone, &criteria).await?,
        };
        drop(conn);
        let judged = tokio::task::spawn_blocking(move || held.judgement(&notes, &criteria)).await;
        judged.map_err(|error| StoreError::Damaged { says: error.to_string() })?.map(|_| ())
    }

    async fn score_with(
        &self,
        by: &Author,
        id: i64,
        notes: Option<String>,
        set: Option<String>,
        reason: Option<String>,
    ) -> Result<Outcome> {
        let mut conn = self.read().await?;
        let night: Night = conn.get(id).await?;
        not_signed(&night)?;
        let held = conn.held(&night).await?;
        let set = match set {
            Some(set) => set,
            None => set_of(&mut conn, &night).await?,
        };
        let criteria = conn.criteria(&set).await?;
        let whole = criteria.whole.clone();
        let notes = match notes {
            Some(notes) => notes,
            None => conn.notes_for(&night, &held.reading.zone, &criteria).await?,
        };
        drop(conn);
        // Milliseconds of arithmetic, which would hold up every other page on this thread.
        let given = notes.clone();
        let judged = tokio::task::spawn_blocking(move || held.judgement(&given, &criteria)).await;
        let judged = judged.map_err(|error| StoreError::Damaged { says: error.to_string() })??;
        let mut outcome = outcome(&night, &judged, &notes);
        let mut act = self.act(by, "night.score").await?;
        let mut now: Night = act.get_as_seen(night.id, night.act).await?;
        act.put_outcome(&mut outcome, &whole).await?;
        (now.notes, now.result) = (notes, Some(outcome.id));
        act.put(&mut now).await?;
        act.on(format!("night {id}"), night.person);
        if let Some(reason) = reason {
            act.because(reason);
        }
        act.close().await?;
        Ok(outcome)
    }
}

impl Act {
    /// Keeps a result, and the criteria it was made with: the report made of it can be made again.
    pub(crate) async fn put_outcome(&mut self, outcome: &mut Outcome, whole: &str) -> Result<()> {
        if !self.conn().has_bytes(&outcome.criteria_sha256).await? {
            self.keep_bytes(whole.as_bytes()).await?;
        }
        outcome.at = self.at();
        self.put(outcome).await
    }
}

/// Whether a night waits with what the desk knows of it: nobody gave it notes of their own.
pub(crate) fn is_of_desk(night: &Night) -> bool {
    night.status == NightStatus::Waiting
        && (night.notes.starts_with(FROM_DESK) || night.result.is_none())
}

pub(crate) async fn set_of(conn: &mut Conn, night: &Night) -> Result<String> {
    let Some(study) = night.study else { return Ok(DEFAULT_SET.to_owned()) };
    let study: Study = conn.get(study).await?;
    let referral: Referral = conn.get(study.referral).await?;
    let named = !referral.criteria.trim().is_empty();
    Ok(if named { referral.criteria } else { DEFAULT_SET.to_owned() })
}

/// A signed night is read no more; its report is replaced by a new version instead.
pub(crate) fn not_signed(night: &Night) -> Result<()> {
    if night.status != NightStatus::Signed {
        return Ok(());
    }
    Err(StoreError::refused(
        "night_signed",
        "the report of this night is signed",
        "withdraw the report or make a new version of it first",
    ))
}

pub(crate) fn outcome(night: &Night, judged: &Judgement, notes: &str) -> Outcome {
    Outcome {
        id: 0,
        act: 0,
        night: night.id,
        at: 0,
        criteria: judged.criteria.name.clone(),
        criteria_version: judged.criteria.version.clone(),
        criteria_sha256: judged.criteria.sha256.clone(),
        engine: engine::ENGINE.to_owned(),
        notes_sha256: sha256(notes.as_bytes()),
        verdict: judged.verdict.decision.id().to_owned(),
        reason: reason(judged),
        believed_h: believed_h(judged),
        scores: engine::print::json(judged),
    }
}

/// What a list says of the night: everything severe, or else the verdict's first reason.
fn reason(judged: &Judgement) -> Option<String> {
    let severe: Vec<&str> = judged.severe.iter().map(|one| one.sentence.as_str()).collect();
    severe_says(&severe).or_else(|| judged.verdict.reasons.first().cloned())
}

/// Hours of the analysis period in which oxygen and carbon dioxide are both believed; of the one there is when the other is not recorded.
pub(crate) fn believed_h(judged: &Judgement) -> f64 {
    let screened = &judged.scores.corrected.screened;
    let traces: Vec<_> = [Quantity::Spo2, Quantity::Tcpco2]
        .into_iter()
        .filter_map(|quantity| screened.trace(quantity))
        .collect();
    let Some(first) = traces.first() else { return 0.0 };
    let good = |trace: &engine::trace::Trace, at_s: f64| {
        let index = ((at_s - trace.offset_s) / trace.period_s).floor();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a negative index finds nothing"
        )]
        let index = if index < 0.0 { usize::MAX } else { index as usize };
        trace.inside.get(index) == Some(&true) && trace.believed.get(index) == Some(&true)
    };
    let seconds: f64 = (0..first.values.len())
        .map(|index| first.offset_s + index as f64 * first.period_s)
        .filter(|at_s| traces.iter().all(|trace| good(trace, at_s + first.period_s / 2.0)))
        .map(|_| first.period_s)
        .sum();
    // The sum of nothing is a zero with a sign.
    seconds / 3600.0 + 0.0
}

fn refused(code: &'static str, says: String, hint: Option<String>) -> StoreError {
    StoreError::refused(code, says, hint.unwrap_or_default())
}

pub(crate) fn one_line(text: &str) -> String {
    text.chars().map(|sign| if sign.is_control() { ' ' } else { sign }).collect()
}

/// Words as a TOML string, which JSON's is too.
pub(crate) fn quoted(text: &str) -> String {
    serde_json::Value::from(one_line(text)).to_string()
}
