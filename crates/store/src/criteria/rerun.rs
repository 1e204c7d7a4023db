//! What a draft of criteria would change: past nights run with the set that holds and with the draft.
//!
//! Nothing of a night is changed by it. It runs beside other work, one night at a time, and is forgotten when the
//! program ends.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use engine::criteria::Criteria;
use engine::judge::Answer;
use engine::judge::Decision;
use engine::judge::Judgement;
use engine::unit::Unit;
use serde_json::json;

use crate::criteria::adoption::Draft;
use crate::criteria::adoption::Ran;
use crate::criteria::adoption::sound;
use crate::error::Result;
use crate::error::StoreError;
use crate::intake::scoring::Held;
use crate::reading::steps::judged_kept;
use crate::record::act::Author;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Night;

/// Which past nights are run, the newest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Those that began in so many last days.
    pub days: i64,
    /// At most so many.
    pub most: i64,
    /// Nights read by any set; else only those that were read by the set that is replaced.
    pub every_set: bool,
}

impl Default for Choice {
    fn default() -> Self {
        Self { days: 365, most: 300, every_set: false }
    }
}

/// A rule whose answer is another with the draft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Turned {
    /// Its id.
    pub id: String,
    /// What it asks.
    pub asks: String,
    /// The answer before; `None` when the set that holds does not ask it.
    pub before: Option<Answer>,
    /// The answer with the draft; `None` when the draft does not ask it.
    pub after: Option<Answer>,
}

/// A figure that is another with the draft. Both values are `None` where there is no number.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// The measure's id.
    pub id: &'static str,
    /// Its name.
    pub name: &'static str,
    /// Its unit.
    pub unit: Unit,
    /// Before.
    pub before: Option<f64>,
    /// With the draft.
    pub after: Option<f64>,
}

impl Moved {
    /// How far it moves as a share of the larger value; 1 when there is a number on one side only.
    pub fn share(&self) -> f64 {
        match (self.before, self.after) {
            (Some(a), Some(b)) => (a - b).abs() / a.abs().max(b.abs()).max(f64::MIN_POSITIVE),
            _ => 1.0,
        }
    }
}

/// What changes on one night.
#[derive(Clone, Debug, PartialEq)]
pub struct Changed {
    /// The night.
    pub night: i64,
    /// Whose it is.
    pub person: Option<i64>,
    /// When it began.
    pub start_at: i64,
    /// The verdict before and with the draft.
    pub verdict: (Decision, Decision),
    /// Rules that turn round, and those that one of the sets does not ask.
    pub rules: Vec<Turned>,
    /// Figures that move, the farthest first.
    pub figures: Vec<Moved>,
}

impl Changed {
    /// Whether the verdict is another.
    pub fn verdict_turns(&self) -> bool {
        self.verdict.0 != self.verdict.1
    }

    /// Rules that both sets ask and that turn round.
    pub fn turned(&self) -> impl Iterator<Item = &Turned> {
        self.rules.iter().filter(|rule| rule.before.is_some() && rule.after.is_some())
    }

    fn is_nothing(&self) -> bool {
        !self.verdict_turns() && self.rules.is_empty() && self.figures.is_empty()
    }
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended {
    /// Every night chosen was run.
    Whole,
    /// Somebody stopped it.
    Stopped,
    /// It broke off, and why.
    Broke(String),
}

/// How far a run is, and what it found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    /// How many nights were chosen.
    pub chosen: usize,
    /// How many are done, those that could not be run among them.
    pub done: usize,
    /// Nights whose bytes were destroyed under retention.
    pub gone: usize,
    /// Nights that could not be read, and why the first could not.
    pub unread: (usize, Option<String>),
    /// Nights on which something changes, the newest first.
    pub changed: Vec<Changed>,
    /// Milliseconds from its beginning to its end, or to its last night.
    pub took_ms: u64,
    /// How it ended; `None` while it runs.
    pub ended: Option<Ended>,
}

impl State {
    /// How many nights were run with both sets.
    pub fn ran(&self) -> usize {
        self.done - self.gone - self.unread.0
    }
}

/// A run over past nights.
#[derive(Debug)]
pub struct Rerun {
    /// The draft.
    pub draft: Draft,
    /// What was chosen.
    pub choice: Choice,
    /// Who began it, by login.
    pub who: String,
    /// When.
    pub at: i64,
    before: Criteria,
    after: Criteria,
    nights: Vec<i64>,
    stop: AtomicBool,
    state: Mutex<State>,
}

impl Conn {
    async fn nights_chosen(&mut self, choice: Choice, set: &str, now: i64) -> Result<Vec<Night>> {
        let since = now - choice.days.clamp(1, 36_500) * 86_400;
        let most = choice.most.clamp(1, 100_000);
        if choice.every_set {
            let clause = "WHERE result IS NOT NULL AND status IN ('waiting', 'reading', 'signed') AND start_at >= $1 ORDER BY start_at DESC, id DESC LIMIT $2";
            return self.find(clause, &[since.into(), most.into()]).await;
        }
        let clause = "WHERE result IS NOT NULL AND status IN ('waiting', 'reading', 'signed') AND start_at >= $1 AND EXISTS (SELECT 1 FROM outcome WHERE outcome.id = night.result AND outcome.criteria = $2) ORDER BY start_at DESC, id DESC LIMIT $3";
        self.find(clause, &[since.into(), set.into(), most.into()]).await
    }
}

impl Store {
    /// Chooses the nights to run a draft over. That they are looked at in bulk is written down; then
    /// [`Rerun::run`] does it.
    ///
    /// # Errors
    /// When there is no draft of this name, or it is not sound.
    pub async fn choose_nights(&self, by: &Author, name: &str, choice: Choice) -> Result<Rerun> {
        let mut conn = self.read().await?;
        let draft = conn.set_draft(name).await?.ok_or_else(|| {
            let says = format!("there is no draft of {name}");
            StoreError::refused("no_draft", says, "begin one, change it, then run past nights")
        })?;
        let after = sound(name, &draft.text)?;
        let before = conn.set_before(name, &draft.text).await?;
        let nights = conn.nights_chosen(choice, &before.name, self.now()).await?;
        drop(conn);
        let facts = json!({"nights": nights.len(), "text": draft.sha256()});
        self.looked(by, format!("rerun {name}"), None, facts).await?;
        let state = State { chosen: nights.len(), ..State::default() };
        Ok(Rerun {
            draft,
            choice,
            who: by.login.clone(),
            at: self.now(),
            before,
            after,
            nights: nights.iter().map(|night| night.id).collect(),
            stop: AtomicBool::new(false),
            state: Mutex::new(state),
        })
    }
}

impl Rerun {
    /// Asks it to stop after the night it is at.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// How far it is.
    pub fn state(&self) -> State {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Forgets what it found on nights whose data were destroyed since.
    pub fn forget(&self, destroyed: &BTreeSet<i64>) {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let before = state.changed.len();
        state.changed.retain(|one| !destroyed.contains(&one.night));
        state.gone += before - state.changed.len();
    }

    /// The set that holds and the draft as the engine takes them.
    pub fn sets(&self) -> (&Criteria, &Criteria) {
        (&self.before, &self.after)
    }

    /// That it ran to its end; `None` while it runs, and when it was stopped or broke off.
    pub fn ran(&self) -> Option<Ran> {
        let state = self.state();
        (state.ended == Some(Ended::Whole)).then(|| Ran {
            text_sha256: self.draft.sha256(),
            before_sha256: self.before.sha256.clone(),
            words: words(&state),
        })
    }

    /// Runs the nights one after the other, their arithmetic on a thread that serves nobody else.
    pub async fn run(self: Arc<Self>, store: Store) {
        let clock = std::time::Instant::now();
        let took = || u64::try_from(clock.elapsed().as_millis()).unwrap_or(u64::MAX);
        let mut ended = Ended::Whole;
        for id in &self.nights {
            if self.stop.load(Ordering::Relaxed) {
                ended = Ended::Stopped;
                break;
            }
            let one = self.clone().one(&store, *id).await;
            let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
            state.took_ms = took();
            match one {
                Ok(One::Gone) => state.gone += 1,
                Ok(One::Run(changed)) if changed.is_nothing() => {}
                Ok(One::Run(changed)) => state.changed.push(changed),
                Err(StoreError::Database(error)) => {
                    ended = Ended::Broke(error.to_string());
                    break;
                }
                Err(error) => {
                    state.unread.0 += 1;
                    state.unread.1.get_or_insert_with(|| error.to_string());
                }
            }
            state.done += 1;
        }
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.took_ms = took();
        state.ended = Some(ended);
    }

    async fn one(self: Arc<Self>, store: &Store, id: i64) -> Result<One> {
        let mut conn = store.read().await?;
        let night: Night = conn.get(id).await?;
        let held = match conn.held(&night).await {
            Err(error) if error.is("destroyed") => return Ok(One::Gone),
            held => held?,
        };
        drop(conn);
        let run = move || self.compared(&night, &held);
        let run = tokio::task::spawn_blocking(run).await;
        run.map_err(|error| StoreError::Damaged { says: error.to_string() })?.map(One::Run)
    }

    fn compared(&self, night: &Night, held: &Held) -> Result<Changed> {
        let recording = held.recording()?;
        let before = judged_kept(&recording, &night.notes, &self.before)?;
        let after = judged_kept(&recording, &night.notes, &self.after)?;
        Ok(changed(night, &before, &after))
    }
}

enum One {
    Gone,
    Run(Changed),
}

/// What differs between two judgements of a night.
fn changed(night: &Night, before: &Judgement, after: &Judgement) -> Changed {
    Changed {
        night: night.id,
        person: night.person,
        start_at: night.start_at,
        verdict: (before.verdict.decision, after.verdict.decision),
        rules: rules(before, after),
        figures: figures(before, after),
    }
}

fn rules(before: &Judgement, after: &Judgement) -> Vec<Turned> {
    let find = |of: &Judgement, id: &str| {
        of.rules.iter().find(|rule| rule.id == id).map(|rule| rule.answer)
    };
    let gone = before.rules.iter().filter(|rule| find(after, &rule.id).is_none());
    let all = after.rules.iter().chain(gone).map(|rule| Turned {
        id: rule.id.clone(),
        asks: rule.asks.clone(),
        before: find(before, &rule.id),
        after: find(after, &rule.id),
    });
    all.filter(|rule| rule.before != rule.after).collect()
}

/// How far a figure must move to be told, as a share of it: less is the arithmetic's rounding.
const ROUNDING: f64 = 1e-9;

fn figures(before: &Judgement, after: &Judgement) -> Vec<Moved> {
    let both = before.scores.measures.iter().zip(&after.scores.measures);
    let moved = both.map(|(a, b)| Moved {
        id: a.id,
        name: a.name,
        unit: a.unit.clone(),
        before: a.value(),
        after: b.value(),
    });
    // What is given in kPa and in mmHg moves once.
    let once = moved.filter(|one| one.unit != Unit::MillimetreOfMercury);
    let numbered = once.filter(|one| one.before.is_some() || one.after.is_some());
    let mut all: Vec<Moved> = numbered.filter(|one| one.share() > ROUNDING).collect();
    all.sort_by(|a, b| b.share().total_cmp(&a.share()));
    all
}

/// What a run found, in words: the verdicts, each rule, the figures, and what could not be run.
pub fn words(state: &State) -> Vec<String> {
    let mut says = vec![verdicts(state)];
    says.extend(rule_words(state));
    let moved = state.changed.iter().filter(|one| !one.figures.is_empty()).count();
    says.push(match moved {
        0 => "No figure moves.".to_owned(),
        n => format!("Figures move on {}.", nights(n)),
    });
    if state.gone > 0 {
        says.push(format!("The bytes of {} were destroyed: not run.", nights(state.gone)));
    }
    if let (n @ 1.., because) = &state.unread {
        let because = because.clone().unwrap_or_default();
        says.push(format!("{} could not be read: {because}.", nights(*n)));
    }
    says
}

fn nights(n: usize) -> String {
    if n == 1 { "1 night".to_owned() } else { format!("{n} nights") }
}

fn verdicts(state: &State) -> String {
    let mut kinds: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for one in state.changed.iter().filter(|one| one.verdict_turns()) {
        *kinds.entry((one.verdict.0.id(), one.verdict.1.id())).or_default() += 1;
    }
    let all: usize = kinds.values().sum();
    if all == 0 {
        return format!("Of {} no verdict changes.", nights(state.ran()));
    }
    let kinds: Vec<String> =
        kinds.iter().map(|((before, after), n)| format!("{n} {before} to {after}")).collect();
    let verb = if all == 1 { "verdict changes" } else { "verdicts change" };
    format!("Of {} {all} {verb}: {}.", nights(state.ran()), kinds.join(", "))
}

/// A sentence for each rule that turns round or that one set alone asks.
fn rule_words(state: &State) -> Vec<String> {
    let mut rules: BTreeMap<&str, BTreeMap<(&str, &str), usize>> = BTreeMap::new();
    let word = |answer: Option<Answer>| answer.map_or("", Answer::words);
    for rule in state.changed.iter().flat_map(|one| &one.rules) {
        let kinds = rules.entry(rule.asks.as_str()).or_default();
        *kinds.entry((word(rule.before), word(rule.after))).or_default() += 1;
    }
    let says = rules.into_iter().map(|(asks, kinds)| {
        let all: usize = kinds.values().sum();
        let side = |(before, after): (&str, &str), n: usize| match (before, after) {
            ("", after) => format!("{n} {after}"),
            (before, "") => format!("{n} {before}"),
            (before, after) => format!("{n} {before} to {after}"),
        };
        let said: Vec<String> = kinds.iter().map(|(kind, n)| side(*kind, *n)).collect();
        let said = said.join(", ");
        match kinds.keys().next() {
            Some(("", _)) => format!("Only the draft asks “{asks}”: {said}."),
            Some((_, "")) => format!("The draft asks no more “{asks}”: it was {said}."),
            _ => format!("“{asks}” turns on {}: {said}.", nights(all)),
        }
    });
    says.collect()
}
