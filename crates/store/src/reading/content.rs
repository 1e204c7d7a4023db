//! What stands on a report beside the engine's own words, and whether it is still what was shown.
//!
//! Whoever signs has looked at a page. What that page was made from is written into the form as one hash a part
//! ([`Content::shown`]); the act of signing makes the content anew and compares, so that a name, a number, a
//! setting or a comment changed meanwhile refuses the signature and is named.

use std::collections::BTreeMap;

use engine::print::Heading;
use engine::print::Slot;
use serde::Deserialize;
use serde::Serialize;

use crate::error::Result;
use crate::error::StoreError;
use crate::lending::setting::DeskSettings;
use crate::login::account::name_of;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::tables::Night;
use crate::record::tables::Original;
use crate::record::tables::Outcome;
use crate::record::tables::Person;
use crate::record::tables::Referral;
use crate::record::tables::Report;
use crate::record::tables::Study;
use crate::when::local_date;
use crate::words::NightStatus;

/// So much of a hash is printed where a person may have to type it.
const SHORT: usize = 16;

/// Everything that is printed beside the engine's own report, and what that was made from.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    /// Hospital and department.
    pub hospital: Vec<String>,
    /// The patient: label and words.
    pub patient: Vec<(String, String)>,
    /// The study: label and words.
    pub study: Vec<(String, String)>,
    /// The study's id, on every page.
    pub study_id: String,
    /// The physiologist's comment, a paragraph each.
    pub comment: Vec<String>,
    /// The physician's interpretation, a paragraph each.
    pub interpretation: Vec<String>,
    /// Who signs: label and words; without words while nobody has signed.
    pub signature: Vec<(String, String)>,
    /// What must be known beside the figures: how the night found its patient, what was learnt of its monitor.
    #[serde(default)]
    pub reservations: Vec<String>,
    /// The notes the night was scored with.
    pub notes: String,
    /// Name of the criteria set.
    pub criteria: String,
    /// SHA-256 of its text.
    pub criteria_sha256: String,
    /// The engine.
    pub engine: String,
    /// SHA-256 of the original.
    pub original_sha256: String,
    /// Which version it is; 0 in those made before versions were printed.
    #[serde(default)]
    pub version: i64,
    /// What this version takes the place of, and why; empty for the first.
    #[serde(default)]
    pub replaces: String,
    /// Versions before this one that were withdrawn: which, and when and why.
    #[serde(default)]
    pub withdrawn: Vec<(String, String)>,
    /// The record's last act when the paper was made, and the beginning of its hash.
    #[serde(default)]
    pub head: String,
    /// When the paper was made to be signed, seconds since 1970.
    #[serde(default)]
    pub made_at: i64,
}

/// What whoever signs says in words. The other's words are taken from the report that stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wording {
    /// The physiologist's comment, a paragraph a line.
    Comment(String),
    /// The physician's interpretation, a paragraph a line.
    Interpretation(String),
}

impl Content {
    /// The words around the report when it is printed.
    pub fn heading(&self) -> Heading {
        let slots = |of: &[(String, String)]| -> Vec<Slot> {
            of.iter().map(|(label, words)| Slot::new(label, words)).collect()
        };
        let version =
            if self.version > 0 { format!("version {}", self.version) } else { String::new() };
        let record = [("This paper", self.replaced()), ("Record before it", self.headed())];
        Heading {
            hospital: self.hospital.clone(),
            patient: slots(&self.patient),
            study: slots(&self.study),
            study_id: self.study_id.clone(),
            commented: self.by(0, &self.comment),
            comment: self.comment.clone(),
            interpreted: self.by(1, &self.interpretation),
            interpretation: self.interpretation.clone(),
            signature: slots(&self.signature),
            reservations: self.withdrawn_says().chain(self.reservations.iter().cloned()).collect(),
            version,
            record: record
                .into_iter()
                .filter(|(_, words)| !words.is_empty())
                .map(|(label, words)| Slot::new(label, words))
                .collect(),
            ..Heading::default()
        }
    }

    /// What whoever acted upon a version that was withdrawn must read first, a sentence each.
    fn withdrawn_says(&self) -> impl Iterator<Item = String> + '_ {
        self.withdrawn.iter().map(|(which, why)| {
            format!("{which} of this report was withdrawn {why}; this one takes its place")
        })
    }

    /// Who signed words and when; empty while nobody has, and where there are none.
    fn by(&self, signature: usize, words: &[String]) -> String {
        let signed = self.signature.get(signature).filter(|_| !words.is_empty());
        signed.map(|(_, by)| by.clone()).unwrap_or_default()
    }

    fn replaced(&self) -> String {
        match (self.version, self.replaces.as_str()) {
            (0, _) => String::new(),
            (version, "") => format!("version {version}"),
            (version, replaces) => format!("version {version}, {replaces}"),
        }
    }

    fn headed(&self) -> String {
        match self.head.split_once(' ') {
            Some((act, hash)) => format!("act {act}, {hash}"),
            None => String::new(),
        }
    }

    /// What the content was made from, one hash a part. Left out are the signer's own words, which are sent with
    /// the signature itself, and what only signing adds: who, when, why and the record's head.
    pub fn shown(&self, own: &Wording) -> String {
        let parts = self.parts(own);
        let line = |(name, words): (String, String)| {
            format!("{}={}", name.replace(' ', "_"), sha256(words.as_bytes()))
        };
        parts.into_iter().map(line).collect::<Vec<_>>().join(" ")
    }

    fn parts(&self, own: &Wording) -> Vec<(String, String)> {
        // Every field is named, so that a new one is decided upon.
        let Self {
            hospital,
            patient,
            study,
            study_id,
            comment,
            interpretation,
            signature: _,
            reservations,
            notes,
            criteria,
            criteria_sha256,
            engine,
            original_sha256,
            version,
            replaces: _,
            withdrawn,
            head: _,
            made_at: _,
        } = self;
        let part = |name: &str, words: String| (name.to_owned(), words);
        let mut all = vec![
            part("hospital or department", hospital.join("\n")),
            part("study's number", study_id.clone()),
            part("what must be known of the night", reservations.join("\n")),
            part("marks and answers of the night", notes.clone()),
            part("criteria", format!("{criteria} {criteria_sha256}")),
            part("engine", format!("{engine} {}", engine::ENGINE)),
            part("recording", original_sha256.clone()),
            part("version", version.to_string()),
            part("versions withdrawn", slots_said(withdrawn)),
        ];
        all.extend(of_slots("patient's", patient));
        all.extend(of_slots("referral's", study));
        match own {
            Wording::Comment(_) => all.push(part("interpretation", interpretation.join("\n"))),
            Wording::Interpretation(_) => all.push(part("comment", comment.join("\n"))),
        }
        all
    }

    /// What is another now than when a page said [`Content::shown`], in words; empty when nothing is.
    pub fn changed_since(&self, shown: &str, own: &Wording) -> Vec<String> {
        let (before, now) = (read(shown), self.shown(own));
        let now = read(&now);
        let names: std::collections::BTreeSet<&str> =
            before.keys().chain(now.keys()).copied().collect();
        let differs = |name: &&str| before.get(name) != now.get(name);
        names.into_iter().filter(differs).map(|name| name.replace('_', " ")).collect()
    }
}

fn slots_said(slots: &[(String, String)]) -> String {
    slots.iter().map(|(label, words)| format!("{label} {words}\n")).collect()
}

/// Labelled words as parts, each named after its label.
fn of_slots(of: &str, slots: &[(String, String)]) -> Vec<(String, String)> {
    let named = |(label, words): &(String, String)| {
        (format!("{of} {}", label.to_lowercase()), words.clone())
    };
    slots.iter().map(named).collect()
}

fn read(shown: &str) -> BTreeMap<&str, &str> {
    shown.split_ascii_whitespace().filter_map(|part| part.split_once('=')).collect()
}

fn paragraphs(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

fn slot(label: &str, words: impl Into<String>) -> (String, String) {
    (label.to_owned(), words.into())
}

fn patient(person: &Person) -> Vec<(String, String)> {
    let mut slots = vec![
        slot("Name", person.listed()),
        slot("Date of birth", person.born_on.clone()),
        slot("Number", person.mrn.clone()),
    ];
    slots.extend(person.nhs_number.clone().map(|number| slot("NHS number", number)));
    slots
}

/// The content of a version that is kept.
pub(crate) fn kept(report: &Report) -> Result<Content> {
    serde_json::from_str(&report.content)
        .map_err(|error| StoreError::Damaged { says: error.to_string() })
}

impl Conn {
    /// What a report of this night would hold now, with nobody's signature on it.
    ///
    /// # Errors
    /// When the night is not tied or not scored, or is interpreted before it was signed.
    pub async fn draft(&mut self, night: &Night, words: &Wording) -> Result<Content> {
        let (Some(person), Some(study), Some(result)) = (night.person, night.study, night.result)
        else {
            let says = "this night is not tied to a patient or not scored";
            return Err(StoreError::refused("night_not_ready", says, "settle whose it is first"));
        };
        let desk = self.desk_settings().await?;
        let person: Person = self.get(person).await?;
        let study: Study = self.get(study).await?;
        let referral: Referral = self.get(study.referral).await?;
        let outcome: Outcome = self.get(result).await?;
        let original: Original = self.get(night.original).await?;
        let (comment, interpretation, second) = match words {
            Wording::Comment(comment) => (paragraphs(comment), Vec::new(), "Interpreted"),
            Wording::Interpretation(says) => {
                let signed = kept(&self.signed_now(night).await?)?;
                (signed.comment, paragraphs(says), "Interpreted and signed")
            }
        };
        Ok(Content {
            hospital: vec![desk.hospital.clone(), desk.department.clone()],
            patient: patient(&person),
            study: self.asked(night, &study, &referral).await?,
            study_id: format!("study {}", study.id),
            comment,
            interpretation,
            signature: vec![slot("Scored and signed", ""), slot(second, "")],
            reservations: self.reservations(night).await?,
            withdrawn: self.withdrawn_of(night).await?,
            notes: night.notes.clone(),
            criteria: outcome.criteria,
            criteria_sha256: outcome.criteria_sha256,
            engine: outcome.engine,
            original_sha256: original.sha256,
            version: self.reports(night.id).await?.first().map_or(1, |last| last.version + 1),
            ..Content::default()
        })
    }

    async fn asked(
        &mut self,
        night: &Night,
        study: &Study,
        referral: &Referral,
    ) -> Result<Vec<(String, String)>> {
        let monitor = self.monitor_says(night).await?;
        Ok(vec![
            slot("Study", format!("{}, monitor {monitor}", study.id)),
            slot("Asked by", referral.asked_by.clone()),
            slot("Reason", referral.words.clone().unwrap_or_default()),
        ])
    }

    /// The same, as `by` signs it at a moment: who signed, what it replaces and why, and the record's head.
    ///
    /// # Errors
    /// As [`Conn::draft`].
    pub async fn to_sign(
        &mut self,
        night: &Night,
        by: &Author,
        at: i64,
        words: &Wording,
        changed: &str,
    ) -> Result<Content> {
        let head = self.head().await?;
        let head = format!("{} {}", head.seq, head.hash.get(..SHORT).unwrap_or_default());
        self.signed_content(night, by, words, changed, (at, head)).await
    }

    /// The content with its signatures, for a moment and a head.
    pub(crate) async fn signed_content(
        &mut self,
        night: &Night,
        by: &Author,
        words: &Wording,
        changed: &str,
        (made_at, head): (i64, String),
    ) -> Result<Content> {
        let mut content = self.draft(night, words).await?;
        let desk = self.desk_settings().await?;
        let own = format!("{}, {}", by.name, day(made_at, &desk));
        match words {
            Wording::Comment(_) => content.signature[0].1 = own,
            Wording::Interpretation(_) => {
                let signed = self.signed_now(night).await?;
                let name = name_of(self, signed.signed_by.as_deref().unwrap_or_default()).await?;
                let at = signed.signed_at.unwrap_or(made_at);
                content.signature[0].1 = format!("{name}, {}", day(at, &desk));
                content.signature[1].1 = own;
            }
        }
        let all = self.own_reports(night).await?;
        if let Some(last) = all.first() {
            let because = because(words, last, changed);
            content.replaces = match (last.withdrawn_at, all.get(1)) {
                (Some(_), Some(was)) => {
                    format!("in place of version {}, which was withdrawn: {because}", was.version)
                }
                _ => format!("in place of version {}: {because}", last.version),
            };
        }
        (content.made_at, content.head) = (made_at, head);
        Ok(content)
    }

    /// The signed report of a night that stands signed.
    pub(crate) async fn signed_now(&mut self, night: &Night) -> Result<Report> {
        let last = self.own_reports(night).await?.into_iter().next();
        let stands =
            |report: &Report| night.status == NightStatus::Signed && report.withdrawn_at.is_none();
        last.filter(stands).ok_or_else(no_report)
    }

    /// Whether an act of this number has a hash that begins so.
    pub(crate) async fn is_head(&mut self, head: &str) -> Result<bool> {
        let Some((seq, hash)) = head.split_once(' ') else { return Ok(false) };
        let seq: i64 = seq.parse().unwrap_or(-1);
        if seq == 0 {
            return Ok(true);
        }
        let found = self.entries(seq - 1, 1).await?;
        Ok(hash.len() == SHORT
            && found.first().is_some_and(|one| one.seq == seq && one.hash.starts_with(hash)))
    }
}

fn day(at: i64, desk: &DeskSettings) -> String {
    local_date(at, &desk.zone()).strftime("%-d %B %Y").to_string()
}

/// Why a version takes the place of the last one.
pub(crate) fn because(words: &Wording, last: &Report, changed: &str) -> String {
    match words {
        Wording::Interpretation(_) if last.interpreted_by.is_none() => "interpreted".to_owned(),
        _ => changed.trim().to_owned(),
    }
}

pub(crate) fn no_report() -> StoreError {
    let says = "this night has no report that stands";
    StoreError::refused("no_report", says, "it must be signed technically first")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn content() -> Content {
        let of = |text: &str| vec![text.to_owned()];
        Content {
            hospital: of("Larkmoor"),
            patient: vec![slot("Name", "NIGHTCAP, Nell"), slot("Number", "LM 1")],
            study: vec![slot("Asked by", "Dr Quillfeather")],
            study_id: "study 1".to_owned(),
            comment: of("Good recording."),
            interpretation: of("As expected."),
            signature: vec![slot("Scored and signed", "Some Body, 1 May 2026")],
            reservations: of("The night was tied by hand."),
            notes: "# notes".to_owned(),
            criteria: "adult-air".to_owned(),
            criteria_sha256: "a".to_owned(),
            engine: "matins".to_owned(),
            original_sha256: "b".to_owned(),
            version: 2,
            replaces: "in place of version 1: interpreted".to_owned(),
            withdrawn: vec![slot("version 1", "on 2026-11-25 09:00: another patient")],
            head: "12 0123456789abcdef".to_owned(),
            made_at: 7,
        }
    }

    /// Whatever is printed and was there to be looked at is named when it is another; the signer's own words and what
    /// only signing adds are not.
    #[test]
    fn every_part_that_was_shown_is_named_when_it_changes() {
        let sign = Wording::Comment(String::new());
        let read = Wording::Interpretation(String::new());
        let was = content();
        let same: Vec<String> = Vec::new();
        let mut seen = Vec::new();
        let serde_json::Value::Object(fields) = serde_json::to_value(&was).unwrap() else {
            panic!("no object")
        };
        for (name, value) in &fields {
            let mut other = fields.clone();
            let new = match value {
                serde_json::Value::Number(_) => serde_json::json!(99),
                serde_json::Value::String(_) => serde_json::json!("another"),
                _ if ["patient", "study", "signature", "withdrawn"].contains(&name.as_str()) => {
                    serde_json::json!([["Name", "SOMEBODY, Else"]])
                }
                _ => serde_json::json!(["another"]),
            };
            other.insert(name.clone(), new);
            let now: Content = serde_json::from_value(other.into()).unwrap();
            let (signing, reading) = (
                now.changed_since(&was.shown(&sign), &sign),
                now.changed_since(&was.shown(&read), &read),
            );
            match name.as_str() {
                "signature" | "replaces" | "head" | "made_at" => {
                    assert_eq!((&signing, &reading), (&same, &same), "{name}");
                }
                "comment" => {
                    assert_eq!((signing, reading), (same.clone(), vec!["comment".to_owned()]));
                }
                "interpretation" => assert!(reading.is_empty() && !signing.is_empty()),
                _ => assert!(!signing.is_empty() && !reading.is_empty(), "{name}"),
            }
            seen.push(name.clone());
        }
        assert_eq!(seen.len(), 18);
        assert_eq!(was.changed_since(&was.shown(&sign), &sign), same);
        let mut other = content();
        other.patient[1].1 = "LM 2".to_owned();
        assert_eq!(other.changed_since(&was.shown(&sign), &sign), ["patient's number"]);
        other.patient.push(slot("NHS number", "1"));
        let both = other.changed_since(&was.shown(&sign), &sign);
        assert_eq!(both, ["patient's nhs number", "patient's number"]);
    }

    #[test]
    fn a_version_made_before_these_words_were_kept_reads_and_prints_as_it_did() {
        let mut old = serde_json::to_value(content()).unwrap();
        for name in ["reservations", "version", "replaces", "withdrawn", "head", "made_at"] {
            old.as_object_mut().unwrap().remove(name);
        }
        let old: Content = serde_json::from_value(old).unwrap();
        let heading = old.heading();
        assert!(heading.version.is_empty() && heading.record.is_empty() && heading.stamp.is_none());
        let record: Vec<String> =
            content().heading().record.into_iter().map(|slot| slot.text).collect();
        assert_eq!(
            record,
            ["version 2, in place of version 1: interpreted", "act 12, 0123456789abcdef"]
        );
    }
}
