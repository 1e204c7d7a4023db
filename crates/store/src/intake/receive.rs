//! The morning: a file comes off a monitor, is kept whole, cut into nights, and each night tied to its loan
//! when everything agrees ([`crate::intake::owner`]). A night in doubt waits for a named person and cannot be read until then.

use engine::finding::Finding;
use engine::finding::Weight;
use engine::recording::Recording;

use crate::error::Result;
use crate::error::StoreError;
use crate::intake::columns;
use crate::intake::cut::Piece;
use crate::intake::cut::pieces;
use crate::intake::owner::Evidence;
use crate::intake::owner::Span;
use crate::intake::owner::monitors_in;
use crate::intake::scoring::Reading;
use crate::intake::scoring::not_signed;
use crate::intake::scoring::reading_of;
use crate::intake::tie::Ground;
use crate::intake::tie::clock_told;
use crate::people::identity::FileIdentity;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::bytes::Packed;
use crate::record::db::Store;
use crate::record::row::Kept;
use crate::record::tables::Monitor;
use crate::record::tables::Night;
use crate::record::tables::Original;
use crate::record::tables::Setting;
use crate::when::local_date;
use crate::words::NightStatus;

/// A file as it came off a monitor.
#[derive(Clone, Debug, Default)]
pub struct Incoming {
    /// Its name.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Zone of the monitor's clock; `None` is the department's.
    pub zone: Option<String>,
    /// The column map of a delimited text that needs one, as its file.
    pub map: Option<String>,
    /// The monitor it was taken off, by its label, when somebody said so.
    pub taken_off: Option<i64>,
    /// Whether somebody is there to be asked what its columns are.
    pub asks: Asks,
}

/// When somebody is asked what the columns of a text are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Asks {
    /// Nobody can be asked: it is read as it is, and what was not taken is told.
    #[default]
    Never,
    /// Where a column looks like what is scored, was not taken, and no map is kept for its head.
    InDoubt,
    /// Whatever is kept for its head.
    Always,
}

/// A file that is ready to be read, which takes time and no database.
#[derive(Clone, Debug)]
pub struct Unopened {
    file: Incoming,
    reading: Reading,
    /// Where a map for files of its head is kept, or would be.
    kept_under: Option<String>,
    /// What is told of the map that was kept.
    by_kept: Option<String>,
}

/// A file that was read and is in the record not yet.
#[derive(Debug)]
pub struct Opening {
    file: Incoming,
    reading: Reading,
    kept_under: Option<String>,
    by_kept: Option<String>,
    opened: Opened,
}

impl Unopened {
    /// Reads it. The file comes back with what stands against it.
    ///
    /// # Errors
    /// When it is not understood, or somebody has to say first what its columns are (`columns_unknown`).
    pub fn open(mut self) -> std::result::Result<Opening, Box<(StoreError, Incoming)>> {
        let opened = match self.opened() {
            Ok(opened) => opened,
            Err(error) => return Err(Box::new((error, self.file))),
        };
        let Self { reading, kept_under, by_kept, .. } = self;
        self.file.bytes = Vec::new();
        Ok(Opening { file: self.file, reading, kept_under, by_kept, opened })
    }

    fn opened(&self) -> Result<Opened> {
        let given = self.file.map.as_deref();
        if self.file.asks == Asks::Always && given.is_none() && self.kept_under.is_some() {
            return Err(columns::unknown("you asked to say what the columns of this file are"));
        }
        let opened = open(&self.file.bytes, &self.reading);
        let opened = opened.map_err(|error| match &self.by_kept {
            Some(words) => told_with(error, words),
            None => error,
        })?;
        if let Some(map) = given {
            columns::can_be(&opened.recording, map)?;
        }
        let asks = self.file.asks != Asks::Never && self.reading.map.is_none();
        match columns::to_be_asked(&opened.recording).filter(|_| asks) {
            Some(error) => Err(error),
            None => Ok(opened),
        }
    }
}

/// A refusal with what the kept map had to do with it.
fn told_with(error: StoreError, words: &str) -> StoreError {
    match error {
        StoreError::Refused(mut all) => {
            for one in &mut all {
                one.says = format!("{} ({words})", one.says);
            }
            StoreError::Refused(all)
        }
        other => other,
    }
}

/// What became of a file.
#[derive(Clone, Debug)]
pub struct Received {
    /// The original.
    pub original: Original,
    /// Its nights.
    pub nights: Vec<Night>,
    /// Whether the same bytes were in the record already; nothing was stored then.
    pub again: bool,
    /// What was noticed, in words: pieces too short to be a night, what the reader found, nights not yet scored.
    pub noticed: Vec<String>,
}

/// What is known of a file before the record is asked.
#[derive(Debug)]
struct Opened {
    packed: Packed,
    recording: Recording,
    identity: FileIdentity,
    nights: Vec<Piece>,
    short: Vec<Piece>,
}

/// What a recording's bytes and name tell of the person in it and of the monitor.
pub(crate) fn identity_of(bytes: &[u8], name: &str, recording: &Recording) -> FileIdentity {
    let marks: Vec<String> = recording.marks.iter().map(|mark| mark.text.clone()).collect();
    let start_at = recording.clock.start_instant().map(jiff::Timestamp::as_second);
    FileIdentity::of(bytes, name, &marks, start_at)
}

fn open(bytes: &[u8], reading: &Reading) -> Result<Opened> {
    let recording = reading.read(bytes)?;
    let (nights, short) = pieces(&recording);
    Ok(Opened {
        packed: Packed::new(bytes)?,
        identity: identity_of(bytes, &reading.name, &recording),
        recording,
        nights,
        short,
    })
}

impl Store {
    /// Takes in a file: kept whole, cut into nights, each tied to its loan or left with its doubts, and the
    /// tied ones scored.
    ///
    /// # Errors
    /// When the file is not understood; then nothing is kept. A night in doubt is no error.
    pub async fn receive(&self, by: &Author, file: Incoming) -> Result<Received> {
        let ready = self.prepare(file).await?;
        let opening = tokio::task::spawn_blocking(move || ready.open()).await;
        let opening = opening.map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        self.take_in(by, opening.map_err(|refused| refused.0)?).await
    }

    /// A file with all that must be known to read it: the zone, and the map that is kept for its head.
    pub async fn prepare(&self, file: Incoming) -> Result<Unopened> {
        let mut conn = self.read().await?;
        let desk = conn.desk_settings().await?;
        let kept_under = columns::kept_for(&file.bytes);
        let mut map = file.map.clone();
        let mut by_kept = None;
        if let (None, Some(name)) = (&map, &kept_under)
            && let Some((kept, row)) = conn.kept_map(name).await?
        {
            let words = format!(
                "read by the column map that {} gave on {} for files of this head: {}",
                row.who,
                local_date(row.at, &desk.zone()),
                columns::in_words(&kept.map)
            );
            (map, by_kept) = (Some(kept.map), Some(words));
        }
        let zone = file.zone.clone().unwrap_or(desk.zone);
        let reading = Reading { name: file.name.clone(), zone, map };
        Ok(Unopened { file, reading, kept_under, by_kept })
    }

    /// Takes in a file that was read.
    ///
    /// # Errors
    /// When the record refuses it. A night in doubt is no error.
    pub async fn take_in(&self, by: &Author, opening: Opening) -> Result<Received> {
        let Opening { file, reading, kept_under, by_kept, opened } = opening;
        let mut act = self.act(by, "night.receive").await?;
        let same = "WHERE sha256 = $1";
        let known: Option<Original> =
            act.conn().first(same, &[opened.packed.sha256.as_str().into()]).await?;
        let given = file.map.as_deref().zip(kept_under.as_deref());
        if let Some(original) = known {
            let before = act.conn().reading_kept(&original).await?;
            if file.map.is_none() || before.map == reading.map {
                return came_again(act, original).await;
            }
            let nights = act.read_anew(&original, &opened, Reading { map: reading.map, ..before });
            let nights = nights.await?;
            if let Some((map, name)) = given {
                act.keep_map(name, map).await?;
            }
            act.close().await?;
            return self.scored_anew(by, original, nights).await;
        }
        let now = act.at();
        let ground = act.conn().ground(now).await?;
        let original = act.keep_original(&file.name, &opened, &reading, &ground.monitors).await?;
        let mut received =
            Received { original, nights: Vec::new(), again: false, noticed: Vec::new() };
        received
            .noticed
            .extend(opened.short.iter().map(|piece| left_out(&opened.recording, piece)));
        received.noticed.extend(by_kept);
        received.noticed.extend(found(&opened.recording));
        if let Some((map, name)) = given {
            act.keep_map(name, map).await?;
        }
        if let Some(map) = &reading.map {
            act.note(serde_json::json!({"map": crate::record::chain::sha256(map.as_bytes())}));
        }
        for piece in &opened.nights {
            let of = (&received.original, *piece, file.taken_off);
            let (night, told) = act.put_night(of, &opened, &ground).await?;
            received.nights.push(night);
            received.noticed.extend(told);
        }
        let person = one_person(&received.nights);
        act.on(format!("original {}", received.original.id), person);
        act.close().await?;
        self.score_all(by, &mut received).await?;
        Ok(received)
    }

    /// The nights of a file that is read anew by another map, scored anew.
    async fn scored_anew(
        &self,
        by: &Author,
        original: Original,
        nights: Vec<Night>,
    ) -> Result<Received> {
        let mut received = Received { original, nights, again: false, noticed: Vec::new() };
        received.noticed.push(
            "this file was in the record already: it is read anew by what you said of its columns"
                .to_owned(),
        );
        for night in &mut received.nights {
            if !matches!(night.status, NightStatus::Waiting | NightStatus::Reading) {
                continue;
            }
            if let Err(error) = self.score_as_read(by, night, "its columns were told anew").await {
                received.noticed.push(format!("night {} is not scored yet: {error}", night.id));
            }
            *night = self.read().await?.get(night.id).await?;
        }
        Ok(received)
    }

    /// Scores the nights that were tied. One that cannot be scored stays tied and says why.
    async fn score_all(&self, by: &Author, received: &mut Received) -> Result<()> {
        for night in &mut received.nights {
            if night.status != NightStatus::Waiting {
                continue;
            }
            if let Err(error) = self.score_night(by, night.id).await {
                received.noticed.push(format!("night {} is not scored yet: {error}", night.id));
            }
            *night = self.read().await?.get(night.id).await?;
        }
        Ok(())
    }
}

/// The same bytes once more: nothing is stored, and that they came is written down.
async fn came_again(mut act: Act, original: Original) -> Result<Received> {
    if original.destroyed_at.is_some() {
        return Err(StoreError::refused(
            "original_destroyed",
            "this file was in the record and was destroyed when its time was over",
            "talk to information governance before it is taken in again",
        ));
    }
    let nights: Vec<Night> =
        act.conn().find("WHERE original = $1 ORDER BY from_s", &[original.id.into()]).await?;
    act.on(format!("original {}", original.id), one_person(&nights));
    act.note(serde_json::json!({"again": true}));
    act.close().await?;
    Ok(Received {
        original,
        nights,
        again: true,
        noticed: vec!["this file is in the record already".to_owned()],
    })
}

/// How a serious finding begins where what was noticed is listed.
pub const SERIOUS: &str = "Serious: ";

/// What the reader found, the heaviest first, with its weight where it is serious.
fn found(recording: &Recording) -> Vec<String> {
    let mut all: Vec<_> = recording.findings.iter().collect();
    all.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    let words = |finding: &Finding| match finding.weight {
        Weight::Serious => format!("{SERIOUS}{}", finding.sentence),
        Weight::Note | Weight::Caution => finding.sentence.clone(),
    };
    all.into_iter().map(words).collect()
}

fn one_person(nights: &[Night]) -> Option<i64> {
    let first = nights.first()?.person;
    first.filter(|_| nights.iter().all(|night| night.person == first))
}

fn left_out(recording: &Recording, piece: &Piece) -> String {
    let at = |s: i64| recording.clock.label(s as f64, false);
    format!(
        "a piece from {} to {} is too short to be a night and was left in the original",
        at(piece.from_s),
        at(piece.to_s)
    )
}

impl Act {
    /// Keeps another map for a file of the record. Its nights stay where they are, and none may be signed.
    async fn read_anew(
        &mut self,
        original: &Original,
        opened: &Opened,
        reading: Reading,
    ) -> Result<Vec<Night>> {
        let clause = "WHERE original = $1 ORDER BY from_s";
        let nights: Vec<Night> = self.conn().find(clause, &[original.id.into()]).await?;
        if original.destroyed_at.is_some() {
            return Err(StoreError::refused(
                "original_destroyed",
                "this file was in the record and was destroyed when its time was over",
                "talk to information governance before it is taken in again",
            ));
        }
        for night in &nights {
            not_signed(night)?;
        }
        let same = nights.iter().all(|night| {
            let at = Piece { from_s: night.from_s, to_s: night.to_s };
            opened.nights.contains(&at)
        });
        if !same {
            return Err(StoreError::refused(
                "nights_moved",
                "read so, the nights of this file would lie at other times than those in the record",
                "leave the time as it was, and choose for the other columns",
            ));
        }
        self.keep_reading(original.id, &reading).await?;
        self.on(format!("original {}", original.id), one_person(&nights));
        let map = reading.map.unwrap_or_default();
        self.note(
            serde_json::json!({"again": true, "map": crate::record::chain::sha256(map.as_bytes())}),
        );
        Ok(nights)
    }

    /// Keeps how an original is read.
    async fn keep_reading(&mut self, original: i64, reading: &Reading) -> Result<()> {
        let value = serde_json::to_string(reading)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let (at, who) = (self.at(), self.author().login.clone());
        let name = reading_of(original);
        self.put(&mut Setting { id: 0, act: 0, name, value, at, who }).await
    }

    async fn keep_original(
        &mut self,
        name: &str,
        opened: &Opened,
        reading: &Reading,
        monitors: &[Monitor],
    ) -> Result<Original> {
        let told = opened.recording.monitor.clone();
        let told = told.filter(|told| !monitors_in(told, monitors).is_empty()).or_else(|| {
            let in_head = monitors_in(opened.identity.head(), monitors);
            in_head.first().map(|one| one.serial.clone()).or(opened.recording.monitor.clone())
        });
        self.keep(&opened.packed).await?;
        let mut original = Original {
            id: 0,
            act: 0,
            sha256: opened.packed.sha256.clone(),
            name: name.to_owned(),
            length: opened.packed.length,
            format: opened.recording.format.name().to_owned(),
            serial: told,
            received_at: self.at(),
            who: self.author().login.clone(),
            destroyed_at: None,
            destroyed_because: None,
        };
        self.put(&mut original).await?;
        self.keep_reading(original.id, reading).await?;
        Ok(original)
    }

    /// Keeps a night, tied when everything agrees. Beside it what was noticed of its clock.
    async fn put_night(
        &mut self,
        (original, piece, taken_off): (&Original, Piece, Option<i64>),
        opened: &Opened,
        ground: &Ground,
    ) -> Result<(Night, Option<String>)> {
        let evidence = Evidence {
            span: span_of(&opened.recording, piece),
            identity: opened.identity.clone(),
            name: original.name.clone(),
            header: opened.recording.monitor.clone(),
        };
        let found = self.conn().whose(&evidence, taken_off, ground).await?;
        let now = self.at();
        let span = found.weighed.span.or(evidence.span);
        let span = span.unwrap_or(Span { start_at: now, end_at: now });
        let mut night = Night {
            id: 0,
            act: 0,
            original: original.id,
            from_s: piece.from_s,
            to_s: piece.to_s,
            start_at: span.start_at,
            end_at: span.end_at,
            status: NightStatus::Untied,
            loan: None,
            person: None,
            study: None,
            doubts: Kept(found.doubts),
            settled_by: None,
            settled_because: None,
            notes: String::new(),
            result: None,
            replaced_by: None,
        };
        let mut told = None;
        if let (true, Some(loan)) = (night.doubts.0.is_empty(), found.loan) {
            self.tie(&mut night, &loan).await?;
            told = clock_told(&loan, ground.clock_limit_s);
        }
        self.put(&mut night).await?;
        Ok((night, told))
    }
}

/// When a piece of a recording was, by the monitor's own clock; `None` when the file tells no date.
pub(crate) fn span_of(recording: &Recording, piece: Piece) -> Option<Span> {
    let start_at = recording.clock.start_instant()?.as_second();
    Some(Span { start_at: start_at + piece.from_s, end_at: start_at + piece.to_s })
}
