//! Nights that are open: read, judged and folded into blocks once, then looked at many times.
//!
//! They are kept by night and result, so that a new result is never shown under an old one.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

use engine::correct::Corrected;
use engine::correct::Model;
use engine::criteria::Criteria;
use engine::judge::Judgement;
use engine::recording::Channel;
use engine::recording::Quantity;
use engine::recording::Recording;
use engine::report::Report;
use store::error::Result;
use store::error::StoreError;
use store::reading::second::SecondStepped;
use store::reading::steps::Stepped;
use store::reading::steps::judged_kept;
use store::record::db::Conn;
use store::record::db::Store;
use store::record::tables::Night;
use store::record::tables::Outcome;
use store::record::tables::SecondReading;
use tokio::sync::Semaphore;
use tokio::sync::watch;

use crate::extremes::Extremes;
use crate::extremes::Samples;

/// How many samples are kept open in all: a night of ten hours at one a second in three channels has 108 000.
const SAMPLES: usize = 40_000_000;
/// How many nights are kept open at most.
const NIGHTS: usize = 64;

/// How many nights are kept in little: some kilobytes each.
const LITTLES: usize = 4_000;

/// What a list shows of a night, so that it opens none.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Little {
    /// The night in little, as SVG.
    pub strip: String,
    /// The question asked of it.
    pub question: String,
    /// Why it must be repeated, where more is known than its result says.
    pub cause: Option<String>,
}

/// A line that can be drawn.
#[derive(Clone, Debug)]
pub struct Series {
    /// The channel's id; CO2 as recorded and the edges of its band have ids of their own.
    pub id: String,
    /// Its samples.
    pub of: Arc<Extremes>,
}

/// A night that is open.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Its number.
    pub night: i64,
    /// The result shown.
    pub outcome: i64,
    /// What the monitor wrote.
    pub recording: Arc<Recording>,
    /// What the engine made of it.
    pub judgement: Judgement,
    /// The criteria it was held against.
    pub criteria: Criteria,
    /// The judgement as plain data.
    pub report: Report,
    /// Everything that can be drawn.
    pub series: Vec<Series>,
}

impl Opened {
    /// Folds a judged night into what is looked at. Channels that nobody judges are taken from the same night
    /// as it was open before: no step of its reader changes them.
    pub(crate) fn new(
        (night, outcome): (i64, i64),
        recording: Arc<Recording>,
        judgement: Judgement,
        criteria: Criteria,
        before: Option<&Self>,
    ) -> Self {
        let report = engine::report::report(&judgement, &criteria);
        let series = series(&judgement.scores.corrected, &recording, before);
        Self { night, outcome, recording, judgement, criteria, report, series }
    }

    fn samples(&self) -> usize {
        self.series.iter().map(|series| series.of.values().len()).sum()
    }
}

/// Every channel, judged where it is scored; CO2 corrected, as recorded, and its band.
fn series(
    corrected: &Corrected,
    recording: &Arc<Recording>,
    before: Option<&Opened>,
) -> Vec<Series> {
    let old = |id: &str| {
        let before = before.filter(|before| Arc::ptr_eq(&before.recording, recording))?;
        before.series.iter().find(|series| series.id == id).cloned()
    };
    let mut all = Vec::new();
    for (at, channel) in recording.channels.iter().enumerate() {
        match old(&channel.id).filter(|_| corrected.screened.channel(channel.quantity).is_none()) {
            Some(series) => all.push(series),
            None => all.extend(lines(corrected, (recording, at), channel)),
        }
    }
    all
}

fn lines(
    corrected: &Corrected,
    (recording, at): (&Arc<Recording>, usize),
    channel: &Channel,
) -> Vec<Series> {
    let named = |suffix: &str, samples: Samples, believed: &[bool]| Series {
        id: format!("{}{suffix}", channel.id),
        of: Arc::new(Extremes::new(channel.period_s, channel.offset_s, samples, believed.to_vec())),
    };
    let recorded = || Samples::Of(recording.clone(), at);
    let Some(trace) = corrected.trace(channel.quantity) else {
        return vec![named("", recorded(), &[])];
    };
    let model = corrected.tcpco2.as_ref().map_or(Model::None, |co2| co2.model);
    if channel.quantity != Quantity::Tcpco2 {
        return vec![named("", recorded(), &trace.believed)];
    }
    let mut lines = vec![named("", Samples::Own(trace.values.clone()), &trace.believed)];
    if model != Model::None {
        lines.push(named("_recorded", recorded(), &trace.believed));
    }
    if trace.band.iter().any(|band| band.most() > 0.0) {
        let (low, high): (Vec<f64>, Vec<f64>) = (0..trace.len()).map(|i| trace.edges(i)).unzip();
        for (suffix, edge) in [("_low", low), ("_high", high)] {
            lines.push(named(suffix, Samples::Own(edge), &trace.believed));
        }
    }
    lines
}

/// The words of what broke are not handed on: they may quote a file or what somebody typed.
fn broke() -> StoreError {
    StoreError::Damaged { says: "opening a night broke off".to_owned() }
}

/// The nights that are open.
#[derive(Debug)]
pub struct Nights {
    open: Mutex<Vec<Arc<Opened>>>,
    /// Nights in little, with the result they are of. Only a list of the record asks for one, by night and
    /// result, so what the record does not list any more is not shown; what is destroyed is also taken out by
    /// [`Nights::forget`].
    littles: Mutex<BTreeMap<i64, (i64, Arc<Little>)>>,
    /// Bytes are made a night one at a time, whoever asks: each takes several times its length.
    turn: Semaphore,
    made: AtomicUsize,
    drawing: AtomicBool,
    drawn: watch::Sender<usize>,
}

impl Default for Nights {
    fn default() -> Self {
        Self {
            open: Mutex::default(),
            littles: Mutex::default(),
            turn: Semaphore::new(1),
            made: AtomicUsize::new(0),
            drawing: AtomicBool::new(false),
            drawn: watch::Sender::new(0),
        }
    }
}

impl Nights {
    /// A night with its latest result.
    ///
    /// # Errors
    /// When it may not be read, is not scored, or its bytes are gone.
    pub async fn open(&self, store: &Store, night: &Night) -> Result<Arc<Opened>> {
        self.opened(store, night, true).await
    }

    /// A night with its latest result for a moment: it closes none of those that are being read.
    ///
    /// # Errors
    /// As [`Nights::open`].
    pub async fn glance(&self, store: &Store, night: &Night) -> Result<Arc<Opened>> {
        self.opened(store, night, false).await
    }

    async fn opened(&self, store: &Store, night: &Night, keep: bool) -> Result<Arc<Opened>> {
        let outcome = night.result.ok_or_else(|| {
            let says = "this night is not scored yet";
            StoreError::refused("night_not_scored", says, "settle whose it is first")
        })?;
        // Its connection is given back: none is held while others have their turn.
        drop(self.still_there(store, night).await?);
        if let Some(open) = self.kept(night.id, outcome) {
            return Ok(open);
        }
        let _turn = self.turn.acquire().await;
        if let Some(open) = self.kept(night.id, outcome) {
            return Ok(open);
        }
        self.made.fetch_add(1, Ordering::SeqCst);
        let mut conn = self.still_there(store, night).await?;
        let held = conn.held(night).await?;
        let used: Outcome = conn.get(outcome).await?;
        let criteria = conn.criteria_used(&used).await?;
        drop(conn);
        let (notes, id) = (night.notes.clone(), night.id);
        let known = self.latest(night.id);
        let run = tokio::task::spawn_blocking(move || -> Result<Opened> {
            let recording = match &known {
                Some(open) => open.recording.clone(),
                None => Arc::new(held.recording()?),
            };
            let judgement = judged_kept(&recording, &notes, &criteria)?;
            Ok(Opened::new((id, outcome), recording, judgement, criteria, known.as_deref()))
        });
        let opened = run.await.map_err(|_| broke())??;
        Ok(if keep { self.keep(opened) } else { Arc::new(opened) })
    }

    /// The record as it stands now, in which the night's data are still there. When they were destroyed, by
    /// whichever server, no night stays open: one that is read again costs a moment.
    async fn still_there(&self, store: &Store, night: &Night) -> Result<Conn> {
        let mut conn = store.read().await?;
        match conn.not_destroyed(night).await {
            Ok(_) => Ok(conn),
            Err(error) => {
                self.close_all();
                Err(error)
            }
        }
    }

    /// Closes every night: nothing of any is held in memory.
    pub fn close_all(&self) {
        self.open.lock().unwrap_or_else(PoisonError::into_inner).clear();
        self.littles.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// A night after a step of its reader.
    ///
    /// # Errors
    /// When the thread that folds it breaks off.
    pub async fn stepped(&self, done: Stepped, recording: Arc<Recording>) -> Result<Arc<Opened>> {
        let ids = (done.night.id, done.outcome.id);
        let before = self.latest(done.night.id);
        let run = tokio::task::spawn_blocking(move || {
            Opened::new(ids, recording, done.judgement, done.criteria, before.as_deref())
        });
        let opened = run.await.map_err(|_| broke())?;
        Ok(self.keep(opened))
    }

    /// A second reading of a night. It is kept under its own number below nought and the act that wrote it,
    /// so that it never stands for the night itself.
    ///
    /// # Errors
    /// As [`Nights::open`], and when the reading is not begun.
    pub async fn open_second(
        &self,
        store: &Store,
        night: &Night,
        second: &SecondReading,
    ) -> Result<Arc<Opened>> {
        let ids = (-second.id, second.act);
        // Its connection is given back: none is held while others have their turn.
        drop(self.still_there(store, night).await?);
        if let Some(open) = self.kept(ids.0, ids.1) {
            return Ok(open);
        }
        let _turn = self.turn.acquire().await;
        if let Some(open) = self.kept(ids.0, ids.1) {
            return Ok(open);
        }
        self.made.fetch_add(1, Ordering::SeqCst);
        let mut conn = self.still_there(store, night).await?;
        let held = conn.held(night).await?;
        let criteria = conn.criteria_second(second).await?;
        drop(conn);
        let notes = second.text().to_owned();
        let known = self.latest(ids.0).or_else(|| self.latest(night.id));
        let run = tokio::task::spawn_blocking(move || -> Result<Opened> {
            let recording = match &known {
                Some(open) => open.recording.clone(),
                None => Arc::new(held.recording()?),
            };
            let judgement = judged_kept(&recording, &notes, &criteria)?;
            Ok(Opened::new(ids, recording, judgement, criteria, known.as_deref()))
        });
        let opened = run.await.map_err(|_| broke())?;
        Ok(self.keep(opened?))
    }

    /// A second reading after a step of its reader.
    ///
    /// # Errors
    /// When the thread that folds it breaks off.
    pub async fn stepped_second(
        &self,
        done: SecondStepped,
        recording: Arc<Recording>,
    ) -> Result<Arc<Opened>> {
        let ids = (-done.reading.id, done.reading.act);
        let before = self.latest(ids.0);
        let run = tokio::task::spawn_blocking(move || {
            Opened::new(ids, recording, done.judgement, done.criteria, before.as_deref())
        });
        let opened = run.await.map_err(|_| broke())?;
        Ok(self.keep(opened))
    }

    /// How many nights were made from their bytes since the program began.
    pub fn made(&self) -> usize {
        self.made.load(Ordering::SeqCst)
    }

    /// A night with this result in little, when it was drawn.
    pub fn little(&self, night: i64, outcome: i64) -> Option<Arc<Little>> {
        let littles = self.littles.lock().unwrap_or_else(PoisonError::into_inner);
        let (of, little) = littles.get(&night)?;
        (*of == outcome).then(|| little.clone())
    }

    /// Keeps a night in little.
    pub fn keep_little(&self, night: i64, outcome: i64, little: Little) -> Arc<Little> {
        let little = Arc::new(little);
        let mut littles = self.littles.lock().unwrap_or_else(PoisonError::into_inner);
        littles.insert(night, (outcome, little.clone()));
        while littles.len() > LITTLES {
            // The lowest number came first and waits no more, or waits longest.
            littles.pop_first();
        }
        little
    }

    /// Lets go of all that is kept of a night, for instance because it was destroyed.
    pub fn forget(&self, night: i64) {
        self.littles.lock().unwrap_or_else(PoisonError::into_inner).remove(&night);
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|one| one.night != night);
    }

    /// Begins to draw nights in the background; `false` when that is under way already.
    pub fn begin_drawing(&self) -> bool {
        !self.drawing.swap(true, Ordering::SeqCst)
    }

    /// What was drawn in the background is there; pages that list nights ask again.
    pub fn end_drawing(&self) {
        self.drawing.store(false, Ordering::SeqCst);
        self.drawn.send_modify(|times| *times += 1);
    }

    /// Changes when nights were drawn in the background.
    pub fn drawn(&self) -> watch::Receiver<usize> {
        self.drawn.subscribe()
    }

    fn kept(&self, night: i64, outcome: i64) -> Option<Arc<Opened>> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let at = open.iter().position(|one| (one.night, one.outcome) == (night, outcome))?;
        let found = open.remove(at);
        open.push(found.clone());
        Some(found)
    }

    /// The night as it was open last, whatever its result.
    fn latest(&self, night: i64) -> Option<Arc<Opened>> {
        let open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.iter().find(|one| one.night == night).cloned()
    }

    /// Keeps a night open; those looked at longest ago are closed when there are too many.
    fn keep(&self, opened: Opened) -> Arc<Opened> {
        let opened = Arc::new(opened);
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|one| one.night != opened.night);
        open.push(opened.clone());
        while open.len() > 1
            && (open.len() > NIGHTS
                || open.iter().map(|one| one.samples()).sum::<usize>() > SAMPLES)
        {
            open.remove(0);
        }
        opened
    }
}
