//! What was typed, once all is known: criteria read, zone found, map parsed. Then a file to its judgement.

use std::path::{Path, PathBuf};

use engine::criteria::{Criteria, Question, shipped, shipped_names, shipped_text};
use engine::judge::Judgement;
use engine::night::night;
use engine::notes::{Notes, NotesFile};
use engine::read::map::{ColumnMap, MapError};
use engine::read::wfdb::companions as companions_of;
use engine::read::{Input, ReadOptions, read};
use engine::recording::Recording;
use engine::time::zone_named;

use crate::args::{NightArgs, ReadArgs};
use crate::exit::Exit;
use crate::files;
use crate::message::{Trouble, Voice};

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
    /// The criteria set.
    pub(crate) criteria: Criteria,
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
        let Some(notes_path) = self.notes_path(path) else {
            let recording = recording(path, &self.options)?;
            return self.judged(recording, Notes::default());
        };
        let about_notes = |trouble: Trouble| trouble.about(files::shown(&notes_path));
        let file = NotesFile::parse(&files::read_text(&notes_path)?)
            .map_err(|error| about_notes(Trouble::notes(error)))?;
        let mut options = self.options.clone();
        if let (None, Some(name)) = (&options.zone, file.zone()) {
            options.zone = Some(zone_named(name).ok_or_else(|| about_notes(zone_in_notes(name)))?);
        }
        let recording = recording(path, &options)?;
        let notes = file.place(&recording).map_err(|error| about_notes(Trouble::notes(error)))?;
        self.judged(recording, notes).map_err(about_notes)
    }

    /// The judgement of a night. The question typed wins over the one in the notes.
    fn judged(&self, recording: Recording, mut notes: Notes) -> Result<Judgement, Trouble> {
        if self.question.is_some() {
            notes.question.clone_from(&self.question);
        }
        if let Some(id) = &notes.question {
            asked(&self.criteria, id).map_err(Trouble::refused)?;
        }
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

    /// Says when notes lie beside files and this run does not use them.
    pub(crate) fn tell_unused_notes(&self, paths: &[PathBuf], voice: Voice) {
        if !matches!(self.notes, NotesFrom::Nowhere) {
            return;
        }
        let beside = paths.iter().map(|path| files::beside(path, "notes.toml"));
        match beside.filter(|path| path.is_file()).collect::<Vec<_>>().as_slice() {
            [] => {}
            [one] => voice.tell(&format!(
                "{} lies beside it and was not used; --notes-beside uses it",
                files::shown(one)
            )),
            many => voice.tell(&format!(
                "{} nights have notes beside them that were not used; --notes-beside uses them",
                many.len()
            )),
        }
    }

    fn notes_path(&self, path: &Path) -> Option<PathBuf> {
        match &self.notes {
            NotesFrom::Nowhere => None,
            NotesFrom::File(notes) => Some(notes.clone()),
            NotesFrom::Beside => Some(files::beside(path, "notes.toml")).filter(|p| p.is_file()),
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
    let zone = match &typed.zone {
        Some(name) => Some(zone_named(name).ok_or_else(|| no_such_zone(name))?),
        None => None,
    };
    let map = match &typed.map {
        Some(path) => {
            let text = files::read_text(path)?;
            Some(ColumnMap::parse(&text).map_err(|error| map_refused(path, &error))?)
        }
        None => None,
    };
    Ok(ReadOptions { zone, map })
}

fn map_refused(path: &Path, error: &MapError) -> Trouble {
    Trouble::at_line(format!("the column map: {}", error.what), error.line)
        .about(files::shown(path))
        .hint("`matins look FILE --make-map` writes a map that is whole")
}

fn no_such_zone(name: &str) -> Trouble {
    Trouble::usage(format!("the zone `{name}` is not known"))
        .hint("expected a name such as Europe/London, an offset such as +01:00, or UTC")
}

fn zone_in_notes(name: &str) -> Trouble {
    Trouble { exit: Exit::NotUnderstood, ..no_such_zone(name) }
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

/// The files a header refers to and those they refer to, from its own folder and no other. One that is
/// not there is left to the reader, which knows whether it is needed.
fn companions(path: &Path, bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, Trouble> {
    let mut wanted = companions_of(bytes);
    let mut found: Vec<(String, Vec<u8>)> = Vec::new();
    while let Some(name) = wanted.pop() {
        let companion = path.with_file_name(&name);
        let known = found.iter().any(|(known, _)| *known == name);
        if known || name.contains(['/', '\\']) || !companion.is_file() {
            continue;
        }
        let bytes = files::read(&companion)?;
        wanted.extend(companions_of(&bytes));
        found.push((name, bytes));
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
