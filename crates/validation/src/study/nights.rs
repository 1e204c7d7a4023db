//! The nights of the study: who sleeps, with what sensor, under which seed.

use engine::criteria::Criteria;
use engine::criteria::shipped;
use engine::criteria::shipped_names;
use simulate::Named;
use simulate::sleepers;

use crate::study::held_out;

/// Which nights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Set {
    /// The named sleepers with their own sensors, seeds 1 to 999: what limits may be set on.
    Training,
    /// Seeds from 100000 on, with sensors, mishaps and sleepers drawn from the ranges of `held_out`:
    /// never looked at while limits are set.
    HeldOut,
}

impl Set {
    /// The name in commands and tables.
    pub fn id(self) -> &'static str {
        match self {
            Self::Training => "training",
            Self::HeldOut => "held-out",
        }
    }

    /// The set with this name.
    pub fn from_id(id: &str) -> Option<Self> {
        [Self::Training, Self::HeldOut].into_iter().find(|set| set.id() == id)
    }
}

/// One night to be made.
#[derive(Clone, Debug)]
pub struct Case {
    /// Seed of sleeper and sensor.
    pub seed: u64,
    /// Sleeper, sensor, criteria.
    pub named: Named,
    /// Whether lights out and on are in the notes.
    pub lights_noted: bool,
}

/// First seed of the held-out nights.
pub const HELD_OUT_FROM: u64 = 100_000;
/// Last seed of the training nights.
pub const TRAINING_TO: u64 = 999;

/// The nights of a set, every sleeper in turn, so that the first few hold all of them.
pub fn cases(set: Set, nights: usize) -> Vec<Case> {
    let named = sleepers();
    (0..nights as u64)
        .map(|i| {
            let count = named.len() as u64;
            let who = &named[usize::try_from(i % count).unwrap_or(0)];
            match set {
                Set::Training => Case {
                    seed: 1 + (i / count) % TRAINING_TO,
                    named: who.clone(),
                    lights_noted: true,
                },
                Set::HeldOut => held_out::case(who, HELD_OUT_FROM + i),
            }
        })
        .collect()
}

/// Every criteria set that a sleeper names, as it ships.
///
/// # Errors
/// When a shipped set does not read, in words.
pub fn criteria_sets() -> Result<Vec<Criteria>, String> {
    shipped_names().into_iter().map(|name| shipped(name).map_err(|e| e.to_string())).collect()
}

impl Case {
    /// The notes that come with the night: without the lines of lights where nobody noted them.
    pub fn notes(&self, notes_toml: &str) -> String {
        let keep = |line: &&str| self.lights_noted || !line.starts_with("lights_o");
        notes_toml.lines().filter(keep).fold(String::new(), |text, line| text + line + "\n")
    }

    /// The name to print.
    pub fn label(&self) -> String {
        format!("{} seed {}", self.named.id, self.seed)
    }
}
