//! Thin adapters to the engine.

use engine::notes::Notes;
use engine::read::map::ColumnMap;
use engine::recording::Recording;

use crate::message::Trouble;

#[derive(Debug)]
pub(crate) struct NotesFile {
    zone: Option<jiff::tz::TimeZone>,
}

impl NotesFile {
    pub(crate) fn zone(&self) -> Option<jiff::tz::TimeZone> {
        self.zone.clone()
    }
}

pub(crate) fn notes_file(_text: &str) -> Result<NotesFile, Trouble> {
    Err(Trouble::usage("this build reads no notes"))
}

pub(crate) fn place(_file: &NotesFile, _recording: &Recording) -> Result<Notes, Trouble> {
    Err(Trouble::usage("this build reads no notes"))
}

pub(crate) fn column_map(_text: &str) -> Result<ColumnMap, Trouble> {
    Err(Trouble::usage("this build reads no column maps"))
}

pub(crate) fn companions(_bytes: &[u8]) -> Vec<String> {
    Vec::new()
}

pub(crate) fn json(judgement: &engine::judge::Judgement) -> String {
    format!("{{\"decision\": \"{}\"}}\n", judgement.verdict.decision.id())
}

pub(crate) fn table(judgement: &engine::judge::Judgement) -> String {
    format!("{}\n", judgement.verdict.decision.id())
}

pub(crate) fn propose(_bytes: &[u8]) -> (String, Vec<String>) {
    (String::new(), Vec::new())
}
