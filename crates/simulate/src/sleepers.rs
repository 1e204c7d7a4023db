//! The named sleepers: one table, each with its sensor and what a department would ask of the night.

mod adults;
mod others;

use crate::Made;
use crate::sensor::Sensor;
use crate::sleeper::Sleeper;

/// A sleeper with a name, a sensor, and the question a department would ask.
#[derive(Clone, Debug)]
pub struct Named {
    /// Short name, `snake_case`.
    pub id: &'static str,
    /// What to know of them, in one sentence.
    pub sentence: &'static str,
    /// `adult`, `child` or `infant`.
    pub age_band: &'static str,
    /// Name of the criteria set to suggest.
    pub criteria: &'static str,
    /// Id of the question in that set.
    pub question: &'static str,
    /// The sleeper.
    pub sleeper: Sleeper,
    /// The sensor they wear.
    pub sensor: Sensor,
}

impl Named {
    /// Makes a night of this sleeper.
    pub fn night(&self, seed: u64) -> Made {
        crate::night(&self.sleeper, &self.sensor, seed)
    }
}

/// Every named sleeper, in the order to show them.
pub fn sleepers() -> Vec<Named> {
    vec![
        adults::steady(),
        adults::older(),
        others::steady_child(),
        others::falling_child(),
        others::quick_infant(),
        adults::sawtooth(),
        adults::deep_sawtooth(),
        adults::paced_sawtooth(),
        adults::weak_muscles(),
        adults::high_all_night(),
        adults::worn_lungs(),
        adults::oxygen_started(),
        others::held_well(),
        others::held_with_leak(),
        others::held_too_low(),
        adults::tide(),
        others::restless(),
        others::drifting(),
        others::slipping(),
    ]
}

/// The sleeper with this id.
pub fn sleeper_named(id: &str) -> Option<Named> {
    sleepers().into_iter().find(|named| named.id == id)
}
