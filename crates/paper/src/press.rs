//! From words to a finished file, the same way for every paper of the desk.

use std::fmt::Write as _;

use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::error::PaperError;
use crate::printable;
use crate::sheet::Day;
use crate::sheet::Sheet;
use crate::world;
use crate::world::{Template, World};

/// A paper ready for the typesetter.
#[derive(Debug)]
pub(crate) struct Paper<'a> {
    /// How its pages are set.
    pub(crate) template: Template,
    /// The title in the file's properties.
    pub(crate) title: String,
    /// BCP 47 language of its words.
    pub(crate) language: &'a str,
    /// What it is printed on.
    pub(crate) sheet: Sheet,
    /// The day it was made.
    pub(crate) made_on: Option<Day>,
    /// Everything the template reads.
    pub(crate) words: Value,
}

impl Paper<'_> {
    /// The finished file.
    pub(crate) fn print(&self) -> Result<Vec<u8>, PaperError> {
        let data = self.data();
        let id = hash(&data);
        let made = world::export(&World::new(self.template, data), &id, self.made_on);
        // The typesetter remembers what it has laid out; a server printing all day must forget it again.
        typst::comemo::evict(8);
        made
    }

    /// How many pages it takes.
    #[cfg(test)]
    pub(crate) fn pages(&self) -> usize {
        world::set(&World::new(self.template, self.data())).unwrap().pages().len()
    }

    fn data(&self) -> String {
        let (lang, region) = printable::language(self.language);
        let data = json!({
            "title": self.title,
            "lang": lang,
            "region": region,
            "sheet": self.sheet.name(),
            "engine": engine::ENGINE,
            "words": self.words,
        });
        printable::value(data).to_string()
    }
}

/// The file's own identity: another word is another file.
fn hash(data: &str) -> String {
    Sha256::digest(data).iter().fold(String::new(), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}
