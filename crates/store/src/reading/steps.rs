//! A night judged by hand: every change is an act that keeps a new version of the notes and a fresh result.
//!
//! Undo and redo are versions too, which say where they go, so that nothing anybody did is lost. A change is
//! refused when the night is not as its reader saw it: two readers never overwrite each other unseen.

use std::sync::Arc;

use engine::criteria::Criteria;
use engine::judge::Judgement;
use engine::notes::Notes;
use engine::notes::NotesError;
use engine::notes::NotesFile;
use engine::recording::Recording;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::not_signed;
use crate::intake::scoring::outcome;
use crate::intake::scoring::set_of;
use crate::reading::edit::Change;
use crate::reading::edit::Changed;
use crate::reading::edit::Pen;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::row::Record as _;
use crate::record::tables::Night;
use crate::record::tables::NotesVersion;
use crate::record::tables::Outcome;
use crate::when::rfc3339;
use crate::words::NightStatus;
use crate::words::Role;

/// What a reader does to the versions of a night.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Changes something.
    Change(Change),
    /// Goes back to the version before.
    Undo,
    /// Goes on to the version that was undone.
    Redo,
}

/// A night after a step.
#[derive(Clone, Debug)]
pub struct Stepped {
    /// The night as it is kept now.
    pub night: Night,
    /// The version that was made.
    pub version: NotesVersion,
    /// The fresh result.
    pub outcome: Outcome,
    /// The judgement behind it.
    pub judgement: Judgement,
    /// The criteria it was held against.
    pub criteria: Criteria,
}

/// The versions of a night, and what can be done from here.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Versions {
    /// Every version, the first first.
    pub all: Vec<NotesVersion>,
}

impl Versions {
    /// The versions of a night, given every one that was ever made of it, the first first.
    pub(crate) fn of(night: &Night, all: Vec<NotesVersion>) -> Self {
        let holds = all
            .last()
            .is_some_and(|last| last.text == night.notes && Some(last.outcome) == night.result);
        if holds { Self { all } } else { Self::default() }
    }

    /// The night as it came to the hands that changed it.
    pub(crate) fn began(&self) -> Option<&NotesVersion> {
        self.all.iter().rev().find(|one| one.replaces.is_none() && one.goes_to.is_none())
    }

    fn get(&self, id: Option<i64>) -> Option<&NotesVersion> {
        self.all.iter().find(|version| Some(version.id) == id)
    }

    /// The version whose notes hold now, whatever was undone to come to it.
    pub fn here(&self) -> Option<&NotesVersion> {
        let last = self.all.last()?;
        self.get(last.goes_to).or(Some(last))
    }

    /// The version that undo goes to.
    pub fn before(&self) -> Option<&NotesVersion> {
        self.get(self.here()?.replaces)
    }

    /// The version that redo goes to: the last that was made from the one here.
    pub fn after(&self) -> Option<&NotesVersion> {
        let here = self.here()?.id;
        self.all.iter().rev().find(|one| one.replaces == Some(here) && one.goes_to.is_none())
    }
}

impl Conn {
    /// The versions of a night's notes by hand. A night nobody touched, or whose notes the desk changed
    /// since, begins anew: only what follows can be undone.
    pub async fn versions(&mut self, night: &Night) -> Result<Versions> {
        let all: Vec<NotesVersion> =
            self.find("WHERE night = $1 ORDER BY id", &[night.id.into()]).await?;
        Ok(Versions::of(night, all))
    }

    /// Name of the criteria set a night is held against.
    pub async fn criteria_of(&mut self, night: &Night) -> Result<String> {
        match night.result {
            Some(id) => Ok(self.get::<Outcome>(id).await?.criteria),
            None => set_of(self, night).await,
        }
    }

    /// The criteria a night is held against after a step. Only who chooses a set takes up what was adopted
    /// under its name since: a change of one minute may not bring other thresholds with it.
    async fn criteria_after(
        &mut self,
        night: &Night,
        step: &Step,
        goes_to: Option<&NotesVersion>,
    ) -> Result<Criteria> {
        if let Step::Change(Change::Criteria { name }) = step {
            return self.criteria(name).await;
        }
        let of = goes_to.map_or(night.result, |version| Some(version.outcome)).unwrap_or(0);
        let used: Outcome = self.get(of).await?;
        self.criteria_used(&used).await
    }
}

/// Screens, corrects, scores and judges a recording with notes. Milliseconds of arithmetic.
///
/// # Errors
/// When the notes cannot be read or placed in the night, or belong to another.
pub fn judged(recording: &Recording, notes: &str, criteria: &Criteria) -> Result<Judgement> {
    with_notes(recording, NotesFile::parse(notes).and_then(|file| file.place(recording)), criteria)
}

/// The same with notes that are kept: those of another night are told, so that the night can be opened.
///
/// # Errors
/// When the notes cannot be read or placed in the night.
pub fn judged_kept(recording: &Recording, notes: &str, criteria: &Criteria) -> Result<Judgement> {
    let notes = NotesFile::parse(notes).and_then(|file| file.place_kept(recording));
    with_notes(recording, notes, criteria)
}

fn with_notes(
    recording: &Recording,
    notes: std::result::Result<Notes, NotesError>,
    criteria: &Criteria,
) -> Result<Judgement> {
    let notes = notes.map_err(|error| {
        StoreError::refused("notes_wrong", error.what.clone(), error.hint.unwrap_or_default())
    })?;
    Ok(engine::night::night(recording.clone(), notes, criteria))
}

impl Store {
    /// Takes one step with a night, as its reader saw it when act `seen` had written it. The recording is
    /// the night's own, which the caller keeps read.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when the night is not as it was seen. Refused without the right, for a signed
    /// night, a change that cannot be made, and when there is nothing to undo or redo.
    pub async fn step(
        &self,
        by: &Author,
        id: i64,
        seen: i64,
        step: Step,
        recording: Arc<Recording>,
    ) -> Result<Stepped> {
        may_read(by)?;
        let mut conn = self.read().await?;
        let night: Night = conn.get(id).await?;
        if night.act != seen {
            return Err(StoreError::Changed { what: Night::name(id) });
        }
        conn.not_blind(&by.login, id).await?;
        not_signed(&night)?;
        if night.result.is_none() {
            let says = "this night is not scored yet";
            return Err(StoreError::refused("night_not_scored", says, "settle whose it is first"));
        }
        let versions = conn.versions(&night).await?;
        let set = conn.criteria_of(&night).await?;
        let pen = Pen { name: by.name.clone(), made_at: rfc3339(self.now()) };
        let (changed, goes_to) = next(&step, &versions, &night, &set, &pen)?;
        let criteria = conn.criteria_after(&night, &step, goes_to.as_ref()).await?;
        drop(conn);
        asked_here(&step, &criteria)?;
        let given = changed.text.clone();
        let run = tokio::task::spawn_blocking(move || {
            judged(&recording, &given, &criteria).map(|judgement| (judgement, criteria))
        });
        let run = run.await.map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let (judgement, criteria) = run?;
        let mut act = self.act(by, verb(&step)).await?;
        let mut night: Night = act.get_as_seen(id, seen).await?;
        let from = act.begun(&night, &versions, set).await?;
        let mut outcome = outcome(&night, &judgement, &changed.text);
        act.put_outcome(&mut outcome, &criteria.whole).await?;
        let replaces = goes_to.as_ref().map_or(Some(from), |version| version.replaces);
        let goes_to = goes_to.map(|version| version.id);
        let version = act.put_version(&night, changed, outcome.id, (replaces, goes_to)).await?;
        (night.notes, night.result) = (version.text.clone(), Some(outcome.id));
        night.status = NightStatus::Reading;
        act.put(&mut night).await?;
        act.on(Night::name(id), night.person);
        act.note(serde_json::json!({"what": version.what}));
        if let Some(because) = &version.because {
            act.because(because.clone());
        }
        act.close().await?;
        Ok(Stepped { night, version, outcome, judgement, criteria })
    }
}

fn verb(step: &Step) -> &'static str {
    match step {
        Step::Change(_) => "night.change",
        Step::Undo => "night.undo",
        Step::Redo => "night.redo",
    }
}

/// Notes and criteria after a step, and the version it goes to when it is no new one.
fn next(
    step: &Step,
    versions: &Versions,
    night: &Night,
    set: &str,
    pen: &Pen,
) -> Result<(Changed, Option<NotesVersion>)> {
    let gone_to = |to: &NotesVersion, what: String| {
        let (text, criteria) = (to.text.clone(), to.criteria.clone());
        (Changed { text, criteria, what, because: None }, Some(to.clone()))
    };
    match step {
        Step::Change(change) => Ok((change.apply(&night.notes, set, pen)?, None)),
        Step::Undo => match (versions.here(), versions.before()) {
            (Some(here), Some(before)) => Ok(gone_to(before, format!("undid: {}", here.what))),
            _ => Err(StoreError::refused("nothing_to_undo", "there is nothing to undo", "")),
        },
        Step::Redo => match versions.after() {
            Some(after) => Ok(gone_to(after, format!("did again: {}", after.what))),
            None => Err(StoreError::refused("nothing_to_redo", "there is nothing to redo", "")),
        },
    }
}

impl Act {
    /// The version a change is made from. The night as it came is kept first, so that it can be gone back to.
    async fn begun(&mut self, night: &Night, versions: &Versions, set: String) -> Result<i64> {
        if let Some(here) = versions.here() {
            return Ok(here.id);
        }
        let what = "the night as it came".to_owned();
        let came = Changed { text: night.notes.clone(), criteria: set, what, because: None };
        let outcome = night.result.unwrap_or(0);
        Ok(self.put_version(night, came, outcome, (None, None)).await?.id)
    }

    async fn put_version(
        &mut self,
        night: &Night,
        changed: Changed,
        outcome: i64,
        (replaces, goes_to): (Option<i64>, Option<i64>),
    ) -> Result<NotesVersion> {
        let mut version = NotesVersion {
            id: 0,
            act: 0,
            night: night.id,
            text: changed.text,
            criteria: changed.criteria,
            outcome,
            at: self.at(),
            who: self.author().name.clone(),
            what: changed.what,
            because: changed.because,
            replaces,
            goes_to,
        };
        self.put(&mut version).await?;
        Ok(version)
    }
}

/// A question must be one of the set's.
fn asked_here(step: &Step, criteria: &Criteria) -> Result<()> {
    match step {
        Step::Change(Change::Question { id }) if criteria.question(Some(id)).is_none() => {
            let says = format!("the set {} asks no question {id}", criteria.name);
            Err(StoreError::refused("question_unknown", says, "choose one of its questions"))
        }
        _ => Ok(()),
    }
}

fn may_read(by: &Author) -> Result<()> {
    if by.role == Role::Physiologist {
        return Ok(());
    }
    let says = "a night is judged by hand by a physiologist";
    Err(StoreError::refused("not_yours_to_read", says, "ask one of them"))
}
