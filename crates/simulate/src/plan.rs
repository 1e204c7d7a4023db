//! The plan of a night: stages of sleep and what disturbs breathing, second by second.
//!
//! Nothing here knows of gas or sensors: it says what the person does, and `body` works out what follows.

mod disturb;
mod stages;

use crate::random::Random;
use crate::sleeper::Sleeper;
use engine::time::Stretch;

/// A stage of sleep, as a made night knows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Out of bed.
    Up,
    /// Awake in bed.
    Awake,
    /// Light sleep.
    Light,
    /// Deep sleep.
    Deep,
    /// REM-like sleep.
    Rem,
}

impl Stage {
    /// The id used in the truth file.
    pub fn id(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Awake => "awake",
            Self::Light => "light",
            Self::Deep => "deep",
            Self::Rem => "rem",
        }
    }

    /// Whether the person sleeps.
    pub fn asleep(self) -> bool {
        matches!(self, Self::Light | Self::Deep | Self::Rem)
    }
}

/// What kind of disturbance an event was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// Closed airway: no air.
    Obstructive,
    /// Narrowed airway: some air.
    Partial,
    /// No effort, in periodic breathing.
    Central,
    /// A bout of shallow breathing in REM-like sleep.
    Shallow,
    /// A mask leak on ventilation.
    MaskLeak,
}

impl EventKind {
    /// The id used in the truth file.
    pub fn id(self) -> &'static str {
        match self {
            Self::Obstructive => "obstructive",
            Self::Partial => "partial",
            Self::Central => "central",
            Self::Shallow => "shallow",
            Self::MaskLeak => "mask_leak",
        }
    }
}

/// One planned disturbance of breathing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Disturbance {
    pub(crate) kind: EventKind,
    pub(crate) stretch: Stretch,
}

/// A surge of pulse and breathing: an arousal, a turn in bed, getting up.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Arousal {
    pub(crate) at_s: usize,
    /// 1 for an ordinary arousal.
    pub(crate) size: f64,
}

/// The night as planned. Every list of seconds has the length of the recording.
#[derive(Clone, Debug)]
pub(crate) struct Plan {
    /// Stage of each second.
    pub(crate) stages: Vec<Stage>,
    pub(crate) lights_out_s: usize,
    pub(crate) lights_on_s: usize,
    /// Times out of bed.
    pub(crate) visits: Vec<Stretch>,
    /// Share of ventilation that disturbances leave, each second; above 1 when breathing surges.
    pub(crate) airflow: Vec<f64>,
    pub(crate) disturbances: Vec<Disturbance>,
    pub(crate) arousals: Vec<Arousal>,
    /// When oxygen flows.
    pub(crate) oxygen: Vec<Stretch>,
    /// When the ventilator is on the face.
    pub(crate) support: Vec<Stretch>,
}

impl Plan {
    pub(crate) fn new(sleeper: &Sleeper, seed: u64) -> Self {
        let mut plan = stages::lay_out(&sleeper.sleep, &mut Random::stream(seed, "stages"));
        plan.oxygen = plan.therapy(sleeper.oxygen.as_ref().map(|o| (o.from_h, o.until_h)));
        plan.support = plan.therapy(sleeper.support.as_ref().map(|s| (s.from_h, s.until_h)));
        disturb::disturb(&mut plan, sleeper, seed);
        plan
    }

    pub(crate) fn seconds(&self) -> usize {
        self.stages.len()
    }

    /// When a therapy given in hours from lights out is really on: not while out of bed.
    fn therapy(&self, hours: Option<(f64, f64)>) -> Vec<Stretch> {
        let Some((from_h, until_h)) = hours else { return Vec::new() };
        let at = |h: f64| (self.lights_out_s as f64 + h * 3600.0).clamp(0.0, self.seconds() as f64);
        engine::time::without(&[Stretch::new(at(from_h), at(until_h))], &self.visits)
    }

    /// Whether each second lies in one of the stretches.
    pub(crate) fn seconds_in(&self, stretches: &[Stretch]) -> Vec<bool> {
        let mut inside = vec![false; self.seconds()];
        for stretch in stretches {
            inside[second(stretch.start_s, self.seconds())..second(stretch.end_s, self.seconds())]
                .fill(true);
        }
        inside
    }
}

/// The whole second at or before a time, at most `count`.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0..=count before the cast"
)]
pub(crate) fn second(at_s: f64, count: usize) -> usize {
    at_s.clamp(0.0, count as f64) as usize
}
