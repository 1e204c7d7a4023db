//! What must hold between the chain of acts, the rows and the kept bytes. Fed from a database by
//! [`verify`](crate::safekeeping::verify) and from a file by [`backup`](crate::safekeeping::backup); it reads neither itself.
//!
//! Of every row only the hash of its latest image and the act that wrote it are held, so that memory does
//! not grow with the length of the chain but with the number of rows, by some tens of bytes each.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde_json::Map;
use serde_json::Value;

use crate::record::all_tables;
use crate::record::bytes::KeptBytes;
use crate::record::chain::NOTHING_BEFORE;
use crate::record::chain::sha256;
use crate::record::chain_head::Head;
use crate::record::clock::ACCEPTED;
use crate::record::entry::DESTROY;
use crate::record::entry::Entry;
use crate::record::image::image_of;
use crate::record::image::image_sha256;
use crate::record::image::stands;
use crate::record::schema;
use crate::record::schema::Younger;
use crate::when::rfc3339;

/// So many faults are told one by one; the others are counted.
const TOLD: usize = 200;

/// What checking a record found.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Verified {
    /// How many acts there are.
    pub acts: u64,
    /// How many of them were taken their content by a recorded destruction.
    pub destroyed: u64,
    /// How many rows there are.
    pub rows: u64,
    /// How many files are kept.
    pub files: u64,
    /// Number of the last act.
    pub seq: i64,
    /// Its hash.
    pub hash: String,
    /// How many exported heads were compared.
    pub heads: u64,
    /// What is wrong, in the order it was found: at most 200 sentences.
    pub wrong: Vec<String>,
    /// How many things are wrong altogether.
    pub wrong_count: u64,
    /// What contradicts nothing, but stands there though no act accounts for it: at most 200 sentences.
    pub told: Vec<String>,
}

impl Verified {
    /// Whether everything is as the chain says.
    pub fn is_sound(&self) -> bool {
        self.wrong_count == 0
    }
}

/// A row that is not as its act wrote it, to be told field by field.
#[derive(Clone, Debug)]
pub(crate) struct Differs {
    pub(crate) table: &'static str,
    pub(crate) id: i64,
    pub(crate) found: Value,
    pub(crate) act: i64,
}

struct Image {
    act: i64,
    sha256: [u8; 32],
}

/// The check under way: acts in order, then rows, then kept bytes.
pub(crate) struct Proof {
    found: Verified,
    younger: Vec<Younger>,
    last_at: i64,
    next: i64,
    prev: String,
    heads: BTreeMap<i64, Vec<Head>>,
    images: BTreeMap<&'static str, BTreeMap<i64, Image>>,
    gone: BTreeSet<i64>,
    wanted: BTreeMap<String, String>,
}

impl Proof {
    /// A check that has seen nothing yet. The heads exported before are compared on the way.
    pub(crate) fn new(heads: &[Head]) -> Self {
        let mut by_seq: BTreeMap<i64, Vec<Head>> = BTreeMap::new();
        for head in heads.iter().filter(|head| head.seq > 0) {
            by_seq.entry(head.seq).or_default().push(head.clone());
        }
        Self {
            found: Verified {
                acts: 0,
                destroyed: 0,
                rows: 0,
                files: 0,
                seq: 0,
                hash: NOTHING_BEFORE.to_owned(),
                heads: heads.len() as u64,
                wrong: Vec::new(),
                wrong_count: 0,
                told: Vec::new(),
            },
            younger: schema::younger(),
            last_at: i64::MIN,
            next: 1,
            prev: NOTHING_BEFORE.to_owned(),
            heads: by_seq,
            images: all_tables::tables()
                .into_iter()
                .map(|table| (table, BTreeMap::new()))
                .collect(),
            gone: BTreeSet::new(),
            wanted: BTreeMap::new(),
        }
    }

    /// Something that is wrong.
    pub(crate) fn wrong(&mut self, says: impl Into<String>) {
        self.found.wrong_count += 1;
        if self.found.wrong.len() < TOLD {
            self.found.wrong.push(says.into());
        }
    }

    /// Something that is not wrong and must be known: bytes that nothing accounts for, what was not compared.
    pub(crate) fn tell(&mut self, says: String) {
        if self.found.told.len() < TOLD {
            self.found.told.push(says);
        }
    }

    /// The next act, in order of its number.
    pub(crate) fn act(&mut self, entry: &Entry) {
        self.link(entry);
        self.dated(entry);
        self.exported(entry);
        self.found.acts += 1;
        match &entry.body {
            Some(body) => self.body(entry, body),
            None => {
                self.gone.insert(entry.seq);
            }
        }
        (self.next, self.prev) = (entry.seq + 1, entry.hash.clone());
    }

    fn link(&mut self, entry: &Entry) {
        let seq = entry.seq;
        let missing = seq > self.next;
        if missing {
            let last = seq - 1;
            self.wrong(match last - self.next {
                0 => format!("act {last} is missing"),
                _ => format!("acts {} to {last} are missing", self.next),
            });
        }
        if seq < self.next {
            self.wrong(format!("act {seq} stands where act {} should", self.next));
        }
        if entry.link() != entry.hash {
            self.wrong(format!("act {seq} was changed: its content does not give its hash"));
        } else if entry.prev != self.prev && !missing {
            self.wrong(match seq {
                1 => "act 1 names an act before it, and there is none".to_owned(),
                _ => format!("act {seq} does not follow act {}: one of them was changed or put in another's place", seq - 1),
            });
        }
    }

    fn dated(&mut self, entry: &Entry) {
        if entry.at < self.last_at && entry.verb != ACCEPTED {
            self.wrong(format!(
                "act {} is dated {}, before the act before it, and nobody accepted such a clock",
                entry.seq,
                rfc3339(entry.at)
            ));
        }
        self.last_at = entry.at;
    }

    fn exported(&mut self, entry: &Entry) {
        for head in self.heads.remove(&entry.seq).unwrap_or_default() {
            if head.hash != entry.hash {
                self.wrong(format!(
                    "act {} is not the one of which the head was exported: {} is exported, {} is found",
                    entry.seq, head.hash, entry.hash
                ));
            }
        }
    }

    fn body(&mut self, entry: &Entry, body: &str) {
        let seq = entry.seq;
        let whole = sha256(body.as_bytes()) == entry.body_sha256;
        if !whole {
            self.wrong(format!("what act {seq} wrote was changed"));
        }
        let Ok(mut body) = serde_json::from_str::<Value>(body) else {
            return self.wrong(format!("what act {seq} wrote cannot be read"));
        };
        if whole && entry.verb == DESTROY {
            let listed = body["facts"]["acts"].as_array().into_iter().flatten();
            for taken in listed.filter_map(Value::as_i64).filter(|taken| *taken < seq) {
                self.found.destroyed += u64::from(self.gone.remove(&taken));
            }
        }
        for written in body["rows"].as_array_mut().into_iter().flatten() {
            self.image(seq, written);
        }
    }

    fn image(&mut self, act: i64, written: &mut Value) {
        let row = written["row"].take();
        let table = written["table"].as_str().unwrap_or("");
        match (row["id"].as_i64(), self.images.get_mut(table)) {
            (Some(id), Some(of_table)) => {
                of_table.insert(id, Image { act, sha256: image_sha256(row) });
            }
            _ => self.wrong(format!("act {act} wrote a row this release does not know")),
        }
    }

    /// A row as it stands. One that is not as its act wrote it is given back, to be told field by field.
    pub(crate) fn row(&mut self, table: &'static str, id: i64, row: Value) -> Option<Differs> {
        self.found.rows += 1;
        self.wants(table, id, &row);
        let Some(image) = self.images.get_mut(table).and_then(|of_table| of_table.remove(&id))
        else {
            self.wrong(format!("{table} {id} stands in the database, but no act wrote it"));
            return None;
        };
        if stands(&self.younger, table, &row, &image.sha256) {
            return None;
        }
        Some(Differs { table, id, found: row, act: image.act })
    }

    /// A row that holds what no row of its kind can hold.
    pub(crate) fn unreadable(&mut self, table: &'static str, id: i64) {
        self.found.rows += 1;
        let image = self.images.get_mut(table).and_then(|of_table| of_table.remove(&id));
        let wrote = image.map_or_else(
            || "no act wrote it".to_owned(),
            |image| format!("act {} wrote something else", image.act),
        );
        self.wrong(format!("{table} {id} cannot be read; {wrote}"));
    }

    /// Tells which fields of a row are not as the act's content has them; without that content, only that some are not.
    pub(crate) fn differs(&mut self, of: &Differs, body: Option<&str>) {
        let (table, id, act) = (of.table, of.id, of.act);
        let written = body.and_then(|body| image_of(body, table, id));
        let Some(Value::Object(written)) = written else {
            return self.wrong(format!("{table} {id} is not as act {act} wrote it"));
        };
        let faults = self.faults(of, &written);
        if faults.is_empty() {
            // The hashes differ, whether or not a field explains it.
            self.wrong(format!("{table} {id} is not as act {act} wrote it"));
        }
        for fault in faults {
            self.wrong(fault);
        }
    }

    /// The fields that are not as they were written, each as a sentence. One that the act did not know yet
    /// must hold what the step that added it gave to every row.
    fn faults(&self, of: &Differs, written: &Map<String, Value>) -> Vec<String> {
        let (table, id, act) = (of.table, of.id, of.act);
        let empty = Map::new();
        let found = of.found.as_object().unwrap_or(&empty);
        let fields: BTreeSet<&String> = found.keys().chain(written.keys()).collect();
        let mut faults = Vec::new();
        for field in fields {
            let found = found.get(field).unwrap_or(&Value::Null);
            let wrote = written.get(field).unwrap_or(&Value::Null);
            let added = self.younger.iter().find(|one| one.table == table && one.field == *field);
            let given = !written.contains_key(field)
                && added.is_some_and(|added| added.defaults().contains(found));
            if found == wrote || given {
                continue;
            }
            faults.push(match (shown(field, found), shown(field, wrote)) {
                (Some(found), Some(wrote)) => {
                    format!("{table} {id}: {field} is {found}, act {act} wrote {wrote}")
                }
                _ => format!("{table} {id}: {field} is not what act {act} wrote"),
            });
        }
        faults
    }

    fn wants(&mut self, table: &str, id: i64, row: &Value) {
        let hash = match table {
            "original" if row["destroyed_at"].is_null() => &row["sha256"],
            "report" => &row["pdf_sha256"],
            "outcome" | "second_reading" => &row["criteria_sha256"],
            _ => &Value::Null,
        };
        if let Some(hash) = hash.as_str() {
            self.wanted.insert(hash.to_owned(), format!("{table} {id}"));
        }
    }

    /// Kept bytes.
    pub(crate) fn bytes(&mut self, kept: &KeptBytes) {
        self.found.files += 1;
        let of = self.wanted.remove(&kept.sha256);
        if of.is_none() {
            self.tell(format!(
                "the kept bytes {} ({} bytes) belong to no row: acts that kept them may have been cut off",
                kept.sha256, kept.length
            ));
        }
        if kept.unpacked().is_err() {
            let of = of.map(|of| format!(" of {of}")).unwrap_or_default();
            self.wrong(format!("the kept bytes {}{of} are not what they were", kept.sha256));
        }
    }

    /// The end: what should have come and did not. The gate is what the database calls its head.
    pub(crate) fn finish(mut self, gate: Option<&Head>) -> Verified {
        self.cut_off();
        let last = self.next - 1;
        if let Some(gate) = gate.filter(|gate| gate.seq != last || gate.hash != self.prev) {
            self.wrong(format!(
                "the chain ends with act {last}, but the database holds act {} for the last",
                gate.seq
            ));
        }
        if let Some(gate) =
            gate.filter(|gate| self.next > 1 && gate.seq == last && gate.at != self.last_at)
        {
            let (gate, act) = (rfc3339(gate.at), rfc3339(self.last_at));
            self.wrong(format!(
                "the last act is of {act}, but the database holds {gate} for its time"
            ));
        }
        for seq in std::mem::take(&mut self.gone) {
            self.wrong(format!("what act {seq} wrote is gone, and no destruction accounts for it"));
        }
        for (table, of_table) in std::mem::take(&mut self.images) {
            for (id, image) in of_table {
                self.wrong(format!("{table} {id}, written by act {}, is gone", image.act));
            }
        }
        for (hash, of) in std::mem::take(&mut self.wanted) {
            self.wrong(format!("the bytes of {of} are gone ({hash})"));
        }
        (self.found.seq, self.found.hash) = (last, self.prev);
        self.found
    }

    fn cut_off(&mut self) {
        let last = self.next - 1;
        let Some((seq, heads)) = self.heads.pop_last() else { return };
        let at = heads.first().map(|head| rfc3339(head.at)).unwrap_or_default();
        self.wrong(format!(
            "acts were cut off at the end: the chain ends with act {last}, but act {seq} of {at} was exported"
        ));
    }
}

/// A value as it may be told: numbers and the closed words of where a thing stands. Anything else may name
/// a patient, and whoever checks the database need not know them.
fn shown(field: &str, value: &Value) -> Option<String> {
    match value {
        Value::Null | Value::Bool(_) | Value::Number(_) => Some(value.to_string()),
        Value::String(word) if matches!(field, "status" | "before" | "after" | "verdict") => {
            Some(word.chars().take(40).collect())
        }
        _ => None,
    }
}
