//! A trace: one channel as the scoring steps see it, each sample with whether it counts.

use crate::recording::Quantity;
use crate::time::Stretch;

/// How far the truth may lie from a value: what is not known of the sensor, not symmetric.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Band {
    /// How far below it, in the channel's unit; never negative.
    pub below: f64,
    /// How far above it.
    pub above: f64,
}

impl Band {
    /// As wide on either side.
    pub fn either(half: f64) -> Self {
        Self { below: half, above: half }
    }

    /// The greater of the two.
    pub fn most(self) -> f64 {
        self.below.max(self.above)
    }
}

/// Samples of one quantity, with two judgements on each: is it inside the night to be scored, and may
/// it be believed.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// What it measures.
    pub quantity: Quantity,
    /// Seconds between samples.
    pub period_s: f64,
    /// Seconds from the recording's start to the first sample.
    pub offset_s: f64,
    /// Values in %, /min or kPa; NaN where there is no number (then never believed).
    pub values: Vec<f64>,
    /// The band around each value, also where there is no number; zero everywhere when none is known.
    /// Same length as `values`.
    pub band: Vec<Band>,
    /// Whether each sample lies inside the analysis period. Same length as `values`.
    pub inside: Vec<bool>,
    /// Whether each sample may be believed. Same length as `values`.
    pub believed: Vec<bool>,
}

impl Trace {
    /// How many samples.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there are no samples.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The lowest and the highest that sample `i` may be by its band.
    pub fn edges(&self, i: usize) -> (f64, f64) {
        (self.values[i] - self.band[i].below, self.values[i] + self.band[i].above)
    }

    /// Whether sample `i` counts: inside the period and believed.
    pub fn counts(&self, i: usize) -> bool {
        self.inside[i] && self.believed[i]
    }

    /// The values that count, in order of time.
    pub fn counted(&self) -> impl Iterator<Item = f64> + '_ {
        let judged = self.inside.iter().zip(&self.believed);
        let counts = |((inside, believed), _): &((&bool, &bool), &f64)| **inside && **believed;
        judged.zip(&self.values).filter(counts).map(|(_, value)| *value)
    }

    /// Seconds inside the period.
    pub fn inside_s(&self) -> f64 {
        self.inside.iter().filter(|&&inside| inside).count() as f64 * self.period_s
    }

    /// Seconds inside the period that may be believed.
    pub fn believed_s(&self) -> f64 {
        let judged = self.inside.iter().zip(&self.believed);
        judged.filter(|&(&inside, &believed)| inside && believed).count() as f64 * self.period_s
    }

    /// Seconds from the recording's start to sample `i`.
    pub fn time_s(&self, i: usize) -> f64 {
        self.offset_s + i as f64 * self.period_s
    }

    /// The sample at a moment in seconds from the recording's start, the first where it lies before.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a non-negative index of a sample in a night"
    )]
    pub fn index_at(&self, at_s: f64) -> usize {
        ((at_s - self.offset_s) / self.period_s).round().max(0.0) as usize
    }

    /// The stretch that samples `from..to` stand for.
    pub fn stretch(&self, from: usize, to: usize) -> Stretch {
        Stretch::new(self.time_s(from), self.time_s(to))
    }

    /// How many samples make up at least `seconds`; at least one.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a non-negative count of samples in a night"
    )]
    pub fn samples_in(&self, seconds: f64) -> usize {
        ((seconds / self.period_s - 1e-6).ceil().max(1.0)) as usize
    }

    /// The runs of consecutive indices for which `keep` holds, each as `from..to`.
    pub fn runs(&self, keep: impl Fn(usize) -> bool) -> Vec<std::ops::Range<usize>> {
        let mut runs = Vec::new();
        let mut from = 0;
        while let Some(start) = (from..self.len()).find(|&i| keep(i)) {
            let end = (start..self.len()).find(|&i| !keep(i)).unwrap_or(self.len());
            runs.push(start..end);
            from = end;
        }
        runs
    }
}
