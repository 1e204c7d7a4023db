//! A person's nights beside each other: which there are, and each judged as it is asked for.
//!
//! Nothing is written. A side is a night with one version of its notes and one set of criteria; the engine
//! judges it afresh, so that an old version and another set stand on the same engine as the others.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::sync::Arc;

use engine::criteria::Criteria;
use engine::judge::Judgement;
use engine::recording::Recording;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::Held;
use crate::reading::steps::judged_kept;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Loan;
use crate::record::tables::Monitor;
use crate::record::tables::Night;
use crate::record::tables::NotesVersion;
use crate::record::tables::Outcome;

/// The most sides that are laid beside each other.
pub const MOST: usize = 4;

/// A side as it is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The night.
    pub night: i64,
    /// A version of its notes; `None` for the one that holds now.
    pub version: Option<i64>,
    /// A set of criteria; `None` for the night's own, or the one the version was made with.
    pub criteria: Option<String>,
}

/// A night of a person that can be a side, with the versions of its notes.
#[derive(Clone, Debug, PartialEq)]
pub struct Offered {
    /// The night.
    pub night: Night,
    /// Its versions by hand, the first first; empty when nobody touched it.
    pub versions: Vec<NotesVersion>,
}

/// A side, judged.
#[derive(Clone, Debug)]
pub struct Side {
    /// What was asked for.
    pub choice: Choice,
    /// The night.
    pub night: Night,
    /// The version of its notes that was judged; `None` when nobody touched the night by hand.
    pub version: Option<NotesVersion>,
    /// Whether that version is the one that holds now.
    pub holds: bool,
    /// Mark of the monitor that recorded it; `None` when it is not known.
    pub monitor: Option<String>,
    /// What the monitor wrote; sides of one night share it.
    pub recording: Arc<Recording>,
    /// What the engine made of it.
    pub judgement: Judgement,
    /// The criteria it was held against.
    pub criteria: Criteria,
}

impl Side {
    /// Who judged it by hand last; `None` when nobody did.
    pub fn reader(&self) -> Option<&str> {
        // The first version is the night as it came, whoever was the first to change it.
        let version = self.version.as_ref().filter(|version| version.replaces.is_some())?;
        Some(&version.who)
    }
}

/// What a side is judged from, before the judging.
struct Asked {
    choice: Choice,
    night: Night,
    version: Option<NotesVersion>,
    holds: bool,
    monitor: Option<String>,
    notes: String,
    criteria: Criteria,
}

impl Conn {
    /// The nights of a person that can be laid beside each other, the latest first: those that are tied,
    /// scored and not set aside.
    pub async fn comparable(&mut self, person: i64) -> Result<Vec<Offered>> {
        let clause = "WHERE person = $1 AND result IS NOT NULL AND status IN ('waiting', 'reading', 'signed') ORDER BY start_at DESC, id DESC";
        let nights: Vec<Night> = self.find(clause, &[person.into()]).await?;
        let mut offered = Vec::with_capacity(nights.len());
        for night in nights {
            let versions = self.find("WHERE night = $1 ORDER BY id", &[night.id.into()]).await?;
            offered.push(Offered { night, versions });
        }
        Ok(offered)
    }

    async fn chosen(&mut self, person: i64, choice: Choice) -> Result<Asked> {
        let night: Night = self.get(choice.night).await?;
        // A night without a patient is refused as untied or set aside when its bytes are asked for.
        if night.person.is_some_and(|own| own != person) {
            return Err(StoreError::refused(
                "other_person",
                format!("night {} is not of this patient", night.id),
                "only nights of one patient are laid beside each other",
            ));
        }
        let here = self.versions(&night).await?.here().cloned();
        let version = match choice.version {
            Some(id) => Some(self.version_of(&night, id).await?),
            None => here.clone(),
        };
        let holds = choice.version.is_none()
            || version.as_ref().map(|one| one.id) == here.as_ref().map(|one| one.id);
        let result = match &version {
            Some(version) if choice.version.is_some() => Some(version.outcome),
            _ => night.result,
        };
        let criteria = self.criteria_beside(&night, result, choice.criteria.as_deref()).await?;
        let notes = match (&version, choice.version) {
            (Some(version), Some(_)) => version.text.clone(),
            _ => night.notes.clone(),
        };
        let monitor = self.monitor_of(&night).await?;
        Ok(Asked { choice, night, version, holds, monitor, notes, criteria })
    }

    /// The set that is asked for; else the one a result was made with, whatever was adopted since.
    async fn criteria_beside(
        &mut self,
        night: &Night,
        result: Option<i64>,
        set: Option<&str>,
    ) -> Result<Criteria> {
        match (set, result) {
            (Some(set), _) => self.criteria(set).await,
            (None, Some(result)) => {
                let used: Outcome = self.get(result).await?;
                self.criteria_used(&used).await
            }
            (None, None) => {
                let own = self.criteria_of(night).await?;
                self.criteria(&own).await
            }
        }
    }

    /// A version of a night's notes; for an undo or redo the version it went to.
    async fn version_of(&mut self, night: &Night, id: i64) -> Result<NotesVersion> {
        let clause = "WHERE id = $1 AND night = $2";
        let found: Option<NotesVersion> = self.first(clause, &[id.into(), night.id.into()]).await?;
        match found {
            Some(NotesVersion { goes_to: Some(to), .. }) => self.get(to).await,
            Some(version) => Ok(version),
            None => {
                let says = format!("night {} has no version {id} of its notes", night.id);
                Err(StoreError::refused("version_unknown", says, "choose one of its versions"))
            }
        }
    }

    async fn monitor_of(&mut self, night: &Night) -> Result<Option<String>> {
        let Some(loan) = night.loan else { return Ok(None) };
        let loan: Loan = self.get(loan).await?;
        Ok(Some(self.get::<Monitor>(loan.monitor).await?.mark))
    }
}

impl Store {
    /// Judges each side that was asked for. At most [`MOST`], all of one person.
    ///
    /// # Errors
    /// Refused when there are too many, a night is another patient's, is untied or set aside, or a version or
    /// set of criteria is not there; and when bytes or notes are no longer understood.
    pub async fn beside(&self, person: i64, choices: Vec<Choice>) -> Result<Vec<Side>> {
        if choices.len() > MOST {
            let says =
                format!("{} nights or readings cannot be laid beside each other", choices.len());
            return Err(StoreError::refused(
                "too_many_sides",
                says,
                format!("choose {MOST} at most"),
            ));
        }
        let mut conn = self.read().await?;
        let (mut all, mut held) = (Vec::new(), BTreeMap::new());
        for choice in choices {
            let asked = conn.chosen(person, choice).await?;
            if let Entry::Vacant(room) = held.entry(asked.night.id) {
                room.insert(conn.held(&asked.night).await?);
            }
            all.push(asked);
        }
        drop(conn);
        // Some hundred milliseconds of arithmetic, which would hold up every other page on this thread.
        let run = tokio::task::spawn_blocking(move || sides(all, &held));
        run.await.map_err(|error| StoreError::Damaged { says: error.to_string() })?
    }
}

fn sides(all: Vec<Asked>, held: &BTreeMap<i64, Held>) -> Result<Vec<Side>> {
    let mut read: BTreeMap<i64, Arc<Recording>> = BTreeMap::new();
    let mut sides = Vec::with_capacity(all.len());
    for asked in all {
        let id = asked.night.id;
        let recording = match (read.get(&id), held.get(&id)) {
            (Some(known), _) => known.clone(),
            (None, Some(held)) => Arc::new(held.recording()?),
            (None, None) => return Err(StoreError::Missing { what: format!("night {id}") }),
        };
        read.insert(id, recording.clone());
        let judgement = judged_kept(&recording, &asked.notes, &asked.criteria)?;
        let Asked { choice, night, version, holds, monitor, criteria, .. } = asked;
        sides.push(Side { choice, night, version, holds, monitor, recording, judgement, criteria });
    }
    Ok(sides)
}
