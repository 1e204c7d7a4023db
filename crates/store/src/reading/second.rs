//! A second, blind reading of a night: drawn, begun, judged by hand, finished, withdrawn.
//!
//! It starts from the night as it came, under the question and criteria of the first reading, and never
//! touches the night, its notes, its report or its status. Its reader is none of the first reading's, and
//! is refused that reading until their own is finished.

mod pair;

use std::sync::Arc;

use engine::criteria::Criteria;
use engine::judge::Judgement;
use engine::recording::Recording;
use jiff::tz::TimeZone;

use crate::error::Result;
use crate::error::StoreError;
use crate::people::person::reason_given;
use crate::reading::content::Content;
use crate::reading::edit::Change;
use crate::reading::edit::Pen;
use crate::reading::edit::head_key;
use crate::reading::steps::Step;
use crate::reading::steps::judged;
use crate::reading::steps::judged_kept;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Kept;
use crate::record::tables::Draw;
use crate::record::tables::Night;
use crate::record::tables::NotesVersion;
use crate::record::tables::Outcome;
use crate::record::tables::Pair;
use crate::record::tables::Report;
use crate::record::tables::SecondReading;
use crate::record::tables::SecondStep;
use crate::when;
use crate::when::rfc3339;
use crate::words::Drawn;
use crate::words::NightStatus;
use crate::words::Role;

/// Id of the believed hours among the figures of a pair.
pub const BELIEVED_H: &str = "believed_h";

/// Ids of the figures that are held against each other.
pub const FIGURES: [&str; 7] = [
    "spo2.odi3",
    "spo2.odi4",
    "spo2.time_below_90",
    "spo2.mean",
    "tcpco2.median",
    "tcpco2.sustained10",
    BELIEVED_H,
];

/// Which nights a sample is drawn from, and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrawForm {
    /// How many nights.
    pub asked: i64,
    /// First evening.
    pub from: String,
    /// Last evening.
    pub to: String,
    /// The seed.
    pub seed: String,
}

/// A second reading after a step.
#[derive(Clone, Debug)]
pub struct SecondStepped {
    /// It as it is kept now.
    pub reading: SecondReading,
    /// The judgement behind it.
    pub judgement: Judgement,
    /// The criteria it is held against.
    pub criteria: Criteria,
}

/// The first reading of a night: what it rests on.
struct First {
    outcome: Outcome,
    notes: String,
}

impl SecondReading {
    /// Whether it is under way.
    pub fn is_open(&self) -> bool {
        self.begun_at.is_some() && self.finished_at.is_none() && self.withdrawn_at.is_none()
    }

    /// The notes that hold; empty before it is begun.
    pub fn text(&self) -> &str {
        self.at(self.here).map_or("", |step| step.text.as_str())
    }

    fn at(&self, place: i64) -> Option<&SecondStep> {
        self.steps.0.get(usize::try_from(place).ok()?)
    }

    /// What undo would take back.
    pub fn undo(&self) -> Option<&str> {
        self.at(self.here).filter(|_| self.here > 0).map(|step| step.what.as_str())
    }

    /// What redo would do again.
    pub fn redo(&self) -> Option<&str> {
        self.at(self.here + 1).map(|step| step.what.as_str())
    }

    /// Moves through the steps, or adds one and drops those that were undone.
    fn take(&mut self, step: &Step, pen: &Pen) -> Result<()> {
        match step {
            Step::Undo if self.here > 0 => self.here -= 1,
            Step::Redo if self.redo().is_some() => self.here += 1,
            Step::Undo => {
                return Err(StoreError::refused("nothing_to_undo", "there is nothing to undo", ""));
            }
            Step::Redo => {
                return Err(StoreError::refused("nothing_to_redo", "there is nothing to redo", ""));
            }
            Step::Change(Change::Question { .. } | Change::Criteria { .. }) => {
                let says = "question and criteria of a second reading are those of the first";
                return Err(StoreError::refused("second_fixed", says, ""));
            }
            Step::Change(change) => {
                let changed = change.apply(self.text(), "", pen)?;
                self.here += 1;
                self.steps.0.truncate(usize::try_from(self.here).unwrap_or(0));
                self.steps.0.push(SecondStep { text: changed.text, what: changed.what });
            }
        }
        Ok(())
    }

    fn judged_anew(&mut self, judgement: &Judgement) {
        self.before = std::mem::take(&mut self.scores);
        self.scores = engine::print::json(judgement);
        self.verdict = Some(judgement.verdict.decision.id().to_owned());
    }

    /// Refuses everybody but its reader, and a reading that is not under way.
    fn writes(&self, by: &Author) -> Result<()> {
        if self.reader.as_deref() != Some(by.login.as_str()) {
            let says = "this second reading is somebody else's";
            return Err(StoreError::refused("not_yours_to_read", says, ""));
        }
        if !self.is_open() {
            let says = "this second reading is over";
            let hint = "a finished reading is not changed; the night can be drawn again only if it was withdrawn";
            return Err(StoreError::refused("second_over", says, hint));
        }
        Ok(())
    }
}

impl Conn {
    /// Refuses who reads this night blind and has not finished.
    ///
    /// # Errors
    /// Refused then, with the reason; and when the database breaks off.
    pub async fn not_blind(&mut self, login: &str, night: i64) -> Result<()> {
        if self.blind_nights(login).await?.contains(&night) {
            let says = "you read this night blind, as its second reader";
            let hint =
                "finish or withdraw your second reading first; it stands under second readings";
            return Err(StoreError::refused("read_blind", says, hint));
        }
        Ok(())
    }

    /// The nights that somebody reads blind and has not finished.
    pub async fn blind_nights(&mut self, login: &str) -> Result<Vec<i64>> {
        let clause =
            "WHERE reader = $1 AND finished_at IS NULL AND withdrawn_at IS NULL ORDER BY night";
        let open: Vec<SecondReading> = self.find(clause, &[login.into()]).await?;
        Ok(open.into_iter().map(|reading| reading.night).collect())
    }

    /// The second readings that wait for somebody: theirs that are open, and those nobody has begun and
    /// they may begin.
    pub async fn second_waiting(&mut self, by: &Author) -> Result<Vec<SecondReading>> {
        let clause = "WHERE finished_at IS NULL AND withdrawn_at IS NULL ORDER BY id";
        let all: Vec<SecondReading> = self.find(clause, &[]).await?;
        let mut own = Vec::new();
        for reading in all {
            let mine = match &reading.reader {
                Some(reader) => *reader == by.login,
                None => !self.read_first(by, reading.night).await?,
            };
            if mine {
                own.push(reading);
            }
        }
        Ok(own)
    }

    /// Whether somebody changed the night by hand or signed a report of it. Asked by login: a name can be changed.
    async fn read_first(&mut self, by: &Author, night: i64) -> Result<bool> {
        let sql = "SELECT COUNT(*) FROM act WHERE object = $1 AND who = $2 AND verb IN ('night.change', 'night.undo', 'night.redo', 'night.repeat', 'report.sign', 'report.interpret', 'report.amend', 'report.withdraw')";
        let object = format!("night {night}");
        let own = self.number(sql, &[object.into(), by.login.as_str().into()]).await? > 0;
        let clause = "WHERE night = $1 AND (signed_by = $2 OR interpreted_by = $2)";
        let signed: Option<Report> =
            self.first(clause, &[night.into(), by.login.as_str().into()]).await?;
        Ok(own || signed.is_some())
    }

    /// The first reading of a night: its latest signed report, or else what was judged by hand.
    async fn first_reading(&mut self, night: &Night) -> Result<Option<First>> {
        let report = self.reports(night.id).await?.into_iter().next();
        if let Some(report) = report.filter(|report| report.withdrawn_at.is_none()) {
            let content: Content = serde_json::from_str(&report.content).unwrap_or_default();
            let outcome = self.get(report.outcome).await?;
            return Ok(Some(First { outcome, notes: content.notes }));
        }
        let (false, Some(result)) = (self.versions(night).await?.all.is_empty(), night.result)
        else {
            return Ok(None);
        };
        Ok(Some(First { outcome: self.get(result).await?, notes: night.notes.clone() }))
    }

    /// The notes of a night as it came, before anybody changed them by hand.
    async fn as_it_came(&mut self, night: &Night) -> Result<String> {
        if self.versions(night).await?.all.is_empty() {
            return Ok(night.notes.clone());
        }
        let clause = "WHERE night = $1 AND replaces IS NULL AND goes_to IS NULL ORDER BY id DESC";
        let came: Option<NotesVersion> = self.first(clause, &[night.id.into()]).await?;
        Ok(came.map_or_else(|| night.notes.clone(), |version| version.text))
    }

    /// Whether a second reading of a night stands.
    async fn has_second(&mut self, night: i64) -> Result<bool> {
        let clause = "WHERE night = $1 AND withdrawn_at IS NULL";
        Ok(self.first::<SecondReading>(clause, &[night.into()]).await?.is_some())
    }

    /// Numbers of the nights a sample may be drawn from: read once, and not yet chosen.
    async fn drawable(&mut self, from_at: i64, to_at: i64) -> Result<Vec<i64>> {
        let clause = "WHERE start_at >= $1 AND start_at < $2 AND person IS NOT NULL AND result IS NOT NULL AND status IN ('reading', 'signed') AND original NOT IN (SELECT id FROM original WHERE destroyed_at IS NOT NULL) ORDER BY id";
        let nights: Vec<Night> = self.find(clause, &[from_at.into(), to_at.into()]).await?;
        let mut of = Vec::new();
        for night in nights {
            if !self.has_second(night.id).await? && self.first_reading(&night).await?.is_some() {
                of.push(night.id);
            }
        }
        Ok(of)
    }
}

/// The nights a draw takes: those with the lowest SHA-256 of `SEED:NIGHT`.
fn taken(seed: &str, of: &[i64], asked: i64) -> Vec<i64> {
    let mut ranked: Vec<(String, i64)> =
        of.iter().map(|night| (sha256(format!("{seed}:{night}").as_bytes()), *night)).collect();
    ranked.sort();
    ranked.truncate(usize::try_from(asked).unwrap_or(0));
    let mut nights: Vec<i64> = ranked.into_iter().map(|(_, night)| night).collect();
    nights.sort_unstable();
    nights
}

impl Draw {
    /// The nights it took: done again from what is kept of it.
    pub fn taken(&self) -> Vec<i64> {
        taken(&self.seed, &self.of, self.asked)
    }
}

impl Store {
    /// Draws a sample of nights for a second reading. Who draws may be any physiologist.
    ///
    /// # Errors
    /// Refused without the right, when the days or the number are wrong, no seed is given, or no night is there
    /// to draw from.
    pub async fn draw_second(
        &self,
        by: &Author,
        form: DrawForm,
        zone: &TimeZone,
    ) -> Result<Vec<SecondReading>> {
        may_read(by)?;
        let wrong = |says: &str, hint: &str| StoreError::refused("draw_wrong", says, hint);
        let (Some(from), Some(to)) = (when::date(&form.from), when::date(&form.to)) else {
            return Err(wrong("a day is not understood", "write it as 2026-11-25"));
        };
        if to < from || form.asked < 1 || form.seed.trim().is_empty() {
            let says = "the days, how many nights or the seed are missing or the wrong way round";
            return Err(wrong(says, "ask for one night or more, and give any words as a seed"));
        }
        let noon = jiff::civil::time(12, 0, 0, 0);
        let start = when::local_instant(from, noon, zone);
        let end = when::local_instant(when::days_later(to, 1), noon, zone);
        let mut act = self.act(by, "second.draw").await?;
        let of = act.conn().drawable(start, end).await?;
        if of.is_empty() {
            let says = "no night of these days was read once and not yet drawn";
            return Err(wrong(says, "choose other days"));
        }
        let draw = Draw {
            seed: form.seed.trim().to_owned(),
            from: from.to_string(),
            to: to.to_string(),
            asked: form.asked,
            of,
        };
        let mut drawn = Vec::new();
        for night in draw.taken() {
            drawn.push(act.choose(night, Drawn::Random, Some(draw.clone())).await?);
        }
        act.on("second readings", None);
        act.close().await?;
        Ok(drawn)
    }

    /// Picks one night by hand for a second reading.
    ///
    /// # Errors
    /// Refused without the right, when nobody has read the night yet, or a second reading of it stands.
    pub async fn pick_second(&self, by: &Author, night: i64) -> Result<SecondReading> {
        may_read(by)?;
        let mut act = self.act(by, "second.draw").await?;
        let found: Option<Night> = act.conn().first("WHERE id = $1", &[night.into()]).await?;
        let found = found.ok_or_else(|| {
            let says = format!("there is no night {night}");
            StoreError::refused("no_first_reading", says, "its number stands in its address")
        })?;
        let read = matches!(found.status, NightStatus::Reading | NightStatus::Signed);
        if !read || act.conn().first_reading(&found).await?.is_none() {
            let says = "nobody has read this night yet";
            return Err(StoreError::refused("no_first_reading", says, "choose one that was read"));
        }
        if act.conn().has_second(night).await? {
            let says = "this night has a second reading already";
            return Err(StoreError::refused("second_there", says, ""));
        }
        let reading = act.choose(night, Drawn::Hand, None).await?;
        act.on("second readings", found.person);
        act.close().await?;
        Ok(reading)
    }

    /// Begins a second reading: from the night as it came, under the first reading's question and criteria.
    ///
    /// # Errors
    /// Refused without the right, to the first reader, and when somebody began it or it was withdrawn.
    pub async fn begin_second(&self, by: &Author, id: i64) -> Result<SecondReading> {
        may_read(by)?;
        let mut conn = self.read().await?;
        let seen: SecondReading = conn.get(id).await?;
        if seen.reader.is_some() || seen.withdrawn_at.is_some() {
            let says = "this second reading was begun or withdrawn";
            return Err(StoreError::refused("second_taken", says, "choose another"));
        }
        let night: Night = conn.get(seen.night).await?;
        if conn.read_first(by, night.id).await? {
            let says = "you read this night first";
            return Err(StoreError::refused("first_reader", says, "somebody else must read it"));
        }
        let first = conn.first_reading(&night).await?.ok_or_else(no_first)?;
        let mut came = conn.as_it_came(&night).await?;
        if let Some(id) = head_key(&first.notes, "question") {
            let pen = Pen { name: by.name.clone(), made_at: rfc3339(self.now()) };
            came = Change::Question { id }.apply(&came, "", &pen)?.text;
        }
        let criteria = conn.criteria_used(&first.outcome).await?;
        let held = conn.held(&night).await?;
        drop(conn);
        let given = came.clone();
        let run = tokio::task::spawn_blocking(move || held.judgement_kept(&given, &criteria));
        let judgement = run.await.map_err(|error| broken(&error))??;
        let mut act = self.act(by, "second.begin").await?;
        let mut now: SecondReading = act.get_as_seen(id, seen.act).await?;
        let sql = "SELECT COUNT(*) FROM act WHERE verb = 'look' AND who = $1 AND object = $2";
        let object = format!("night {}", night.id);
        now.seen_before =
            act.conn().number(sql, &[by.login.as_str().into(), object.into()]).await?;
        now.reader = Some(by.login.clone());
        now.begun_at = Some(act.at());
        now.criteria_sha256 = Some(first.outcome.criteria_sha256);
        let what = "the night as it came".to_owned();
        now.steps = Kept(vec![SecondStep { text: came, what }]);
        now.judged_anew(&judgement);
        act.put(&mut now).await?;
        act.on(format!("second reading {id}"), night.person);
        act.close().await?;
        Ok(now)
    }

    /// Takes one step with a second reading, as its reader saw it when act `seen` had written it.
    ///
    /// # Errors
    /// As [`Store::step`]; refused too when it is over, somebody else's, or question or criteria were to change.
    pub async fn step_second(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        step: Step,
        recording: Arc<Recording>,
    ) -> Result<SecondStepped> {
        let mut conn = self.read().await?;
        let mut reading: SecondReading = conn.get(id).await?;
        reading.writes(by)?;
        if reading.act != seen {
            return Err(StoreError::Changed { what: format!("second reading {id}") });
        }
        let pen = Pen { name: by.name.clone(), made_at: rfc3339(self.now()) };
        reading.take(&step, &pen)?;
        let criteria = conn.criteria_second(&reading).await?;
        let person = conn.get::<Night>(reading.night).await?.person;
        drop(conn);
        let text = reading.text().to_owned();
        let run = tokio::task::spawn_blocking(move || {
            judged(&recording, &text, &criteria).map(|judgement| (judgement, criteria))
        });
        let (judgement, criteria) = run.await.map_err(|error| broken(&error))??;
        reading.judged_anew(&judgement);
        let mut act = self.act(by, verb(&step)).await?;
        act.get_as_seen::<SecondReading>(id, seen).await?;
        act.put(&mut reading).await?;
        act.on(format!("second reading {id}"), person);
        act.close().await?;
        Ok(SecondStepped { reading, judgement, criteria })
    }

    /// Finishes a second reading: both readings are judged by this engine and laid beside each other.
    ///
    /// # Errors
    /// When it is not as it was seen; refused when it is over or somebody else's.
    pub async fn finish_second(&self, by: &Author, id: i64, seen: i64) -> Result<SecondReading> {
        let mut conn = self.read().await?;
        let reading: SecondReading = conn.get(id).await?;
        reading.writes(by)?;
        let night: Night = conn.get(reading.night).await?;
        let first = conn.first_reading(&night).await?.ok_or_else(no_first)?;
        let criteria = conn.criteria_second(&reading).await?;
        let unlike = unlike(&first, &reading);
        let held = conn.held(&night).await?;
        drop(conn);
        let (text, outcome) = (reading.text().to_owned(), first.outcome.id);
        let run = tokio::task::spawn_blocking(move || -> Result<Pair> {
            let recording = held.recording()?;
            let one = judged_kept(&recording, &first.notes, &criteria)?;
            let two = judged_kept(&recording, &text, &criteria)?;
            Ok(pair::pair(outcome, unlike, &one, &two))
        });
        let pair = run.await.map_err(|error| broken(&error))??;
        let mut act = self.act(by, "second.finish").await?;
        let mut now: SecondReading = act.get_as_seen(id, seen).await?;
        now.finished_at = Some(act.at());
        now.pair = Kept(Some(pair));
        act.put(&mut now).await?;
        act.on(format!("second reading {id}"), night.person);
        act.close().await?;
        Ok(now)
    }

    /// Withdraws a second reading that is not finished: its reader's, or by whoever drew it one not begun.
    ///
    /// # Errors
    /// When it is not as it was seen; refused without a reason, to others, and when it is over.
    pub async fn withdraw_second(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        reason: &str,
    ) -> Result<SecondReading> {
        may_read(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "second.withdraw").await?;
        let mut now: SecondReading = act.get_as_seen(id, seen).await?;
        if now.reader.is_some() || now.withdrawn_at.is_some() {
            now.writes(by)?;
        }
        now.withdrawn_at = Some(act.at());
        now.withdrawn_because = Some(reason.clone());
        act.put(&mut now).await?;
        let person = act.get::<Night>(now.night).await?.person;
        act.on(format!("second reading {id}"), person);
        act.because(reason);
        act.close().await?;
        Ok(now)
    }
}

impl Conn {
    /// The criteria a second reading is held against.
    ///
    /// # Errors
    /// When it is not begun, or their text is not kept.
    pub async fn criteria_second(&mut self, reading: &SecondReading) -> Result<Criteria> {
        let sha256 = reading.criteria_sha256.as_deref().ok_or_else(no_first)?;
        self.criteria_kept(sha256).await
    }
}

impl Act {
    async fn choose(
        &mut self,
        night: i64,
        how: Drawn,
        draw: Option<Draw>,
    ) -> Result<SecondReading> {
        let mut reading = SecondReading {
            id: 0,
            act: 0,
            night,
            how,
            drawn_by: self.author().login.clone(),
            drawn_at: self.at(),
            draw: Kept(draw),
            reader: None,
            begun_at: None,
            seen_before: 0,
            criteria_sha256: None,
            steps: Kept(Vec::new()),
            here: 0,
            verdict: None,
            scores: String::new(),
            before: String::new(),
            finished_at: None,
            pair: Kept(None),
            withdrawn_at: None,
            withdrawn_because: None,
        };
        self.put(&mut reading).await?;
        Ok(reading)
    }
}

fn verb(step: &Step) -> &'static str {
    match step {
        Step::Change(_) => "second.change",
        Step::Undo => "second.undo",
        Step::Redo => "second.redo",
    }
}

/// Why two readings of a night answer different questions.
fn unlike(first: &First, second: &SecondReading) -> Option<String> {
    let question = |text: &str| head_key(text, "question");
    if second.criteria_sha256.as_deref() != Some(first.outcome.criteria_sha256.as_str()) {
        return Some("the first reading was held against other criteria since".to_owned());
    }
    (question(&first.notes) != question(second.text()))
        .then(|| "the first reading was asked another question since".to_owned())
}

fn may_read(by: &Author) -> Result<()> {
    if by.role == Role::Physiologist {
        return Ok(());
    }
    let says = "second readings are drawn and made by physiologists";
    Err(StoreError::refused("not_yours_to_read", says, "ask one of them"))
}

fn no_first() -> StoreError {
    let says = "the first reading of this night does not stand any more";
    StoreError::refused("no_first_reading", says, "withdraw the second reading")
}

fn broken(error: &tokio::task::JoinError) -> StoreError {
    StoreError::Damaged { says: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The ranks are of `printf 'lullaby:%s' N | sha256sum` of coreutils, sorted.
    #[test]
    fn a_draw_can_be_done_again_with_a_shell() {
        let draw = |seed: &str, asked| Draw {
            seed: seed.to_owned(),
            from: String::new(),
            to: String::new(),
            asked,
            of: (1..=8).collect(),
        };
        assert_eq!(draw("lullaby", 3).taken(), [4, 5, 8]);
        assert_eq!(draw("lullaby", 99).taken(), [1, 2, 3, 4, 5, 6, 7, 8]);
        assert_eq!(draw("lullaby", 0).taken(), [0_i64; 0]);
    }
}
