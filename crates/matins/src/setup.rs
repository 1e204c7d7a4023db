//! What was typed, once all is known: criteria read, zone found, map parsed. Then a file to its judgement.

use std::path::{Path, PathBuf};

use engine::criteria::{Criteria, Question, shipped, shipped_names, shipped_text};
use engine::judge::Judgement;
use engine::night::night;
use engine::notes::Notes;
use engine::read::{Input, ReadOptions, read};
use engine::recording::Recording;
use engine::time::zone_named;

use crate::args::{NightArgs, ReadArgs};
use crate::files;
use crate::message::{Trouble, Voice};
use crate::parts;

/// Where a night's notes come from.
#[derive(Clone, Debug)]
enum NotesFrom {
    Nowhere,
    File(PathBuf),
    Beside,
}

/// What every night of this run is read with and held against.
#[derive(Debug)]
pub(crate) struct Setup {
    options: ReadOptions,
    notes: NotesFrom,
    criteria: Criteria,
    criteria_by_default: bool,
    question: Option<String>,
}

impl Setup {
    /// Settles what was typed.
    pub(crate) fn new(typed: &NightArgs) -> Result<Self, Trouble> {
        let criteria = criteria(typed.criteria.as_deref())?;
        if let Some(id) = &typed.question {
            asked(&criteria, id).map_err(Trouble::usage)?;
        }
        let notes = match (&typed.notes, typed.notes_beside) {
            (Some(path), _) => NotesFrom::File(path.clone()),
            (None, true) => NotesFrom::Beside,
            (None, false) => NotesFrom::Nowhere,
        };
        Ok(Self {
            options: read_options(&typed.read)?,
            notes,
            criteria,
            criteria_by_default: typed.criteria.is_none(),
            question: typed.question.clone(),
        })
    }

    /// The judgement of one file.
    pub(crate) fn judgement(&self, path: &Path) -> Result<Judgement, Trouble> {
        let notes_path = self.notes_path(path);
        let notes_text = notes_path.as_deref().map(files::read_text).transpose()?;
        let notes_name = notes_path.as_deref().map(files::shown).unwrap_or_default();
        let in_notes = |trouble: Trouble| trouble.about(notes_name.clone());
        let notes_file =
            notes_text.as_deref().map(parts::notes_file).transpose().map_err(in_notes)?;
        let mut options = self.options.clone();
        if options.zone.is_none() {
            options.zone = notes_file.as_ref().and_then(parts::NotesFile::zone);
        }
        let recording = recording(path, &options)?;
        let placed = notes_file.map(|file| parts::place(&file, &recording));
        let mut notes = placed.transpose().map_err(in_notes)?.unwrap_or_default();
        self.ask(&mut notes).map_err(in_notes)?;
        Ok(night(recording, notes, &self.criteria))
    }

    /// Says which criteria are used when nobody chose them.
    pub(crate) fn tell_default(&self, voice: Voice) {
        if self.criteria_by_default {
            voice.tell(&format!(
                "criteria {} {}, the default; --criteria names another",
                self.criteria.name, self.criteria.version
            ));
        }
    }

    /// Notes lying beside a file that this run does not use.
    pub(crate) fn unused_notes(&self, path: &Path) -> Option<PathBuf> {
        let beside = files::beside(path, "notes.toml");
        (matches!(self.notes, NotesFrom::Nowhere) && beside.is_file()).then_some(beside)
    }

    fn notes_path(&self, path: &Path) -> Option<PathBuf> {
        match &self.notes {
            NotesFrom::Nowhere => None,
            NotesFrom::File(notes) => Some(notes.clone()),
            NotesFrom::Beside => Some(files::beside(path, "notes.toml")).filter(|p| p.is_file()),
        }
    }

    /// The question typed wins over the one in the notes.
    fn ask(&self, notes: &mut Notes) -> Result<(), Trouble> {
        if self.question.is_some() {
            notes.question.clone_from(&self.question);
        }
        match &notes.question {
            Some(id) => asked(&self.criteria, id).map(drop).map_err(Trouble::refused),
            None => Ok(()),
        }
    }
}

fn asked<'a>(criteria: &'a Criteria, id: &str) -> Result<&'a Question, String> {
    criteria.question(Some(id)).ok_or_else(|| {
        let known: Vec<&str> = criteria.questions.iter().map(|q| q.id.as_str()).collect();
        format!(
            "the question `{id}` is not in criteria {}; known are {}",
            criteria.name,
            known.join(", ")
        )
    })
}

/// How files are read in this run.
pub(crate) fn read_options(typed: &ReadArgs) -> Result<ReadOptions, Trouble> {
    let zone = typed.zone.as_deref().map(zone).transpose()?;
    let map = match &typed.map {
        Some(path) => {
            let text = files::read_text(path)?;
            Some(parts::column_map(&text).map_err(|t| t.about(files::shown(path)))?)
        }
        None => None,
    };
    Ok(ReadOptions { zone, map })
}

fn zone(name: &str) -> Result<jiff::tz::TimeZone, Trouble> {
    zone_named(name).ok_or_else(|| {
        Trouble::usage(format!("the zone `{name}` is not known"))
            .hint("expected a name such as Europe/London, an offset such as +01:00, or UTC")
    })
}

/// Reads a recording with the files that belong to it.
pub(crate) fn recording(path: &Path, options: &ReadOptions) -> Result<Recording, Trouble> {
    let bytes = files::read(path)?;
    read_recording(path, &bytes, options)
}

/// The same, its bytes already at hand.
pub(crate) fn read_recording(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
) -> Result<Recording, Trouble> {
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    let companions = companions(path, bytes)?;
    let input = Input { name: &name, bytes, companions: &companions };
    read(input, options).map_err(|error| Trouble::from(error).about(files::shown(path)))
}

/// The files a header refers to, from its own folder and no other.
fn companions(path: &Path, bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, Trouble> {
    let mut found = Vec::new();
    for name in parts::companions(bytes) {
        if name.contains(['/', '\\']) || name.starts_with('.') {
            return Err(Trouble::not_understood(format!(
                "the header refers to `{name}`; expected the name of a file in its own folder"
            ))
            .about(files::shown(path)));
        }
        let companion = path.with_file_name(&name);
        if companion.is_file() {
            let bytes = files::read(&companion)?;
            found.push((name, bytes));
        }
    }
    Ok(found)
}

/// The criteria set typed: the name of one that travels with the program, or a file.
fn criteria(typed: Option<&str>) -> Result<Criteria, Trouble> {
    let name = typed.unwrap_or_else(|| shipped_names()[0]);
    if shipped_text(name).is_some() {
        return shipped(name).map_err(|error| Trouble::criteria(&error));
    }
    let path = Path::new(name);
    let is_file = path.extension().is_some_and(|ext| ext == "toml") || files::is_standard(path);
    if is_file { criteria_file(path) } else { Err(no_such_set(name)) }
}

/// A criteria set from a file.
pub(crate) fn criteria_file(path: &Path) -> Result<Criteria, Trouble> {
    let text = files::read_text(path)?;
    Criteria::parse(&text, &|base| shipped_text(base).map(str::to_owned))
        .map_err(|error| Trouble::criteria(&error).about(files::shown(path)))
}

/// A set that does not exist.
pub(crate) fn no_such_set(name: &str) -> Trouble {
    Trouble::usage(format!(
        "the criteria set `{name}` is not known; known are {}",
        shipped_names().join(", ")
    ))
    .hint("a set of your own is given as a file whose name ends in .toml")
}
