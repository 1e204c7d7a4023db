//! What the oximeter's signal shows beside its numbers: where the reading is lost, and how rough pulse
//! and perfusion are.
//!
//! A heart that beats changes its rate and the ear its perfusion over several seconds, even on arousal.
//! A sensor that moves or has slipped shows numbers that jump from sample to sample. How rough is
//! usual differs between people (an irregular heart is always rough) and monitors, so both are held
//! against the same night: roughness is told as a multiple of the night's own median.
//!
//! Everything here lies on the grid of SpO2, and each question is answered from sums made once.

use std::ops::Range;

use crate::criteria::ScreenCriteria;
use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, beside, samples_in};
use crate::unit::TOLERANCE;

/// The signs of one night, on the grid of SpO2.
pub(super) struct Signs<'a> {
    /// The channel of SpO2.
    pub(super) channel: &'a Channel,
    /// The limits.
    pub(super) limits: &'a ScreenCriteria,
    /// Whether a sample holds no reading of SpO2, or of the pulse where it is recorded.
    pub(super) lost: Vec<bool>,
    /// The pulse; NaN where there is none or none that a living person has.
    pub(super) pulse: Vec<f64>,
    /// 1 where a dropout begins, 0 elsewhere.
    dropouts: Sums,
    /// 1 where SpO2 has fallen more steeply than is usual up to this sample, 0 elsewhere.
    steep: Sums,
    pulse_level: Sums,
    perfusion: Option<Sums>,
    pulse_rough: Rough,
    perfusion_rough: Rough,
    spo2_rough: Rough,
}

impl<'a> Signs<'a> {
    /// `None` when there is no SpO2, or it was sampled too coarsely for signs to be seen.
    pub(super) fn new(look: &Look<'a>) -> Option<Self> {
        let (limits, channel) = (look.limits, look.channel(Quantity::Spo2)?);
        if channel.period_s > limits.signs_period_most_s.value {
            return None;
        }
        let pulse = along(look, channel, Quantity::Pulse);
        let perfusion = along(look, channel, Quantity::Perfusion);
        let mut lost: Vec<bool> = look.plausible(channel).iter().map(|&reads| !reads).collect();
        for (lost, pulse) in lost.iter_mut().zip(pulse.iter().flatten()) {
            *lost |= !pulse.is_finite();
        }
        let pulse = pulse.unwrap_or_else(|| vec![f64::NAN; lost.len()]);
        let swings = perfusion.as_deref().map(swings).unwrap_or_default();
        let read = |(&lost, &x): (&bool, &f64)| if lost { f64::NAN } else { x };
        let spo2: Vec<f64> = lost.iter().zip(channel.samples.iter()).map(read).collect();
        let noisy = samples_in(channel, limits.noise_window_s.value);
        let block = samples_in(channel, limits.signs_window_s.value);
        Some(Self {
            channel,
            limits,
            dropouts: Sums::of((0..lost.len()).map(|i| lost[i] && (i == 0 || !lost[i - 1]))),
            steep: steep(channel, &lost, limits),
            pulse_level: Sums::new(pulse.iter().copied()),
            perfusion: perfusion.map(Sums::new),
            pulse_rough: Rough::new(bends(&pulse), block, limits.pulse_rough_least_per_min.value),
            perfusion_rough: Rough::new(swings, block, limits.perfusion_rough_least_pct.value),
            spo2_rough: Rough::new(bends(&spo2), noisy, limits.spo2_rough_least_pct.value),
            lost,
            pulse,
        })
    }

    /// How many samples make up so many seconds.
    pub(super) fn samples(&self, seconds: f64) -> usize {
        samples_in(self.channel, seconds)
    }

    /// The window in which signs are looked for around a sample.
    pub(super) fn around(&self, i: usize) -> Range<usize> {
        let half = self.samples(self.limits.signs_window_s.value / 2.0);
        i.saturating_sub(half)..(i + half + 1).min(self.lost.len())
    }

    /// A run at least as wide as the window: in a few samples one bend of the pulse would be rough.
    fn wide(&self, run: &Range<usize>) -> Range<usize> {
        let least = self.samples(self.limits.signs_window_s.value);
        let more = least.saturating_sub(run.len()).div_ceil(2);
        run.start.saturating_sub(more)..run.end + more
    }

    /// How much a rough pulse speaks against a run: 0, 1, or 2 when it is strong.
    pub(super) fn pulse_points(&self, run: &Range<usize>) -> u32 {
        let run = self.wide(run);
        self.points(self.pulse_rough.times(&run), self.limits.pulse_rough_times.value)
    }

    /// The same for a perfusion that jumps; 0 where it is not recorded.
    pub(super) fn perfusion_points(&self, run: &Range<usize>) -> u32 {
        let run = self.wide(run);
        self.points(self.perfusion_rough.times(&run), self.limits.perfusion_rough_times.value)
    }

    /// Whether SpO2 and pulse are both noise before and after a sample; its neighbours are left out, so
    /// that one leap is not counted on both sides. Not asked where perfusion is recorded, which tells
    /// more.
    pub(super) fn noise(&self, i: usize) -> bool {
        let half = self.samples(self.limits.noise_window_s.value / 2.0);
        let near = self.samples(self.limits.signs_window_s.value / 2.0);
        let limit = self.limits.noise_times.value;
        let noise = |run: &Range<usize>| {
            self.pulse_rough.times(run) >= limit && self.spo2_rough.times(run) >= limit
        };
        self.perfusion.is_none()
            && noise(&(i.saturating_sub(half)..i.saturating_sub(near)))
            && noise(&(i + near..i + half))
    }

    /// The same for a perfusion that has collapsed against the one before.
    pub(super) fn collapse_points(&self, before: &Range<usize>, run: &Range<usize>) -> u32 {
        let Some(perfusion) = &self.perfusion else { return 0 };
        match (perfusion.mean(before), perfusion.mean(run)) {
            (Some(before), Some(now)) if now > 0.0 => {
                self.points(before / now, self.limits.perfusion_collapse_times.value)
            }
            _ => 0,
        }
    }

    /// How many dropouts begin in a run.
    pub(super) fn dropouts(&self, run: &Range<usize>) -> f64 {
        self.dropouts.sum(run)
    }

    /// Whether SpO2 falls more steeply than is usual somewhere in a run.
    pub(super) fn falls_steeply(&self, run: &Range<usize>) -> bool {
        let over = self.samples(self.limits.steep_over_s.value);
        self.steep.sum(&(run.start + over..run.end)) > 0.0
    }

    /// The mean pulse of a run, /min.
    pub(super) fn pulse_level(&self, run: &Range<usize>) -> Option<f64> {
        self.pulse_level.mean(run)
    }

    /// 0 under the limit, 1 from it on, 2 where it is passed by far.
    pub(super) fn points(&self, value: f64, limit: f64) -> u32 {
        u32::from(value >= limit) + u32::from(value >= limit * self.limits.sign_strong_times.value)
    }
}

/// How far each sample of the pulse bends off the line between its neighbours; NaN at the ends.
fn bends(x: &[f64]) -> Vec<f64> {
    let mut bends = vec![f64::NAN; x.len()];
    for (bend, three) in bends.iter_mut().skip(1).zip(x.windows(3)) {
        *bend = (three[0] - 2.0 * three[1] + three[2]).abs();
    }
    bends
}

/// The change of each sample of perfusion from the one before, % of what lies between them.
fn swings(x: &[f64]) -> Vec<f64> {
    let mut swings = vec![f64::NAN; x.len()];
    for (swing, two) in swings.iter_mut().skip(1).zip(x.windows(2)) {
        if two[0] > 0.0 && two[1] > 0.0 {
            *swing = 200.0 * (two[1] - two[0]).abs() / (two[0] + two[1]);
        }
    }
    swings
}

/// Where SpO2 has fallen more steeply than is usual, over the time in which steepness is taken.
fn steep(channel: &Channel, lost: &[bool], limits: &ScreenCriteria) -> Sums {
    let over = samples_in(channel, limits.steep_over_s.value);
    let most_pct = limits.fall_steepest_pct_per_s.value * over as f64 * channel.period_s;
    let x = &channel.samples;
    Sums::of((0..x.len()).map(|i| {
        i >= over && !lost[i] && !lost[i - over] && x[i - over] - x[i] > most_pct + TOLERANCE
    }))
}

/// Another channel on the grid of SpO2; NaN where it holds no number that a living person has.
fn along(look: &Look, channel: &Channel, quantity: Quantity) -> Option<Vec<f64>> {
    let other = look.channel(quantity)?;
    let at = |i| beside(channel, other, i).filter(|&x| !look.beyond(quantity, x));
    Some((0..channel.samples.len()).map(|i| at(i).unwrap_or(f64::NAN)).collect())
}

/// Sums and means over any run at once, samples without a number left out.
struct Sums {
    sum: Vec<f64>,
    count: Vec<usize>,
}

impl Sums {
    fn new(x: impl IntoIterator<Item = f64>) -> Self {
        let mut sums = Self { sum: vec![0.0], count: vec![0] };
        let (mut sum, mut count) = (0.0, 0);
        for x in x {
            if x.is_finite() {
                sum += x;
                count += 1;
            }
            sums.sum.push(sum);
            sums.count.push(count);
        }
        sums
    }

    /// 1 for each that is true, 0 for the others.
    fn of(truths: impl IntoIterator<Item = bool>) -> Self {
        Self::new(truths.into_iter().map(|truth| f64::from(u8::from(truth))))
    }

    fn inside(&self, run: &Range<usize>) -> Range<usize> {
        let end = run.end.min(self.sum.len() - 1);
        run.start.min(end)..end
    }

    fn sum(&self, run: &Range<usize>) -> f64 {
        let run = self.inside(run);
        self.sum[run.end] - self.sum[run.start]
    }

    fn mean(&self, run: &Range<usize>) -> Option<f64> {
        let inside = self.inside(run);
        let count = self.count[inside.end] - self.count[inside.start];
        (count > 0).then(|| self.sum(run) / count as f64)
    }
}

/// A roughness with what is usual of it on this night.
struct Rough {
    sums: Sums,
    usual: f64,
}

impl Rough {
    fn new(rough: Vec<f64>, block: usize, least: f64) -> Self {
        let count = rough.len();
        let sums = Sums::new(rough);
        let mut means: Vec<f64> = (0..count)
            .step_by(block)
            .filter_map(|from| sums.mean(&(from..(from + block).min(count))))
            .collect();
        let middle = means.len() / 2;
        let median = if means.is_empty() {
            0.0
        } else {
            *means.select_nth_unstable_by(middle, f64::total_cmp).1
        };
        Self { sums, usual: median.max(least) }
    }

    /// The roughness of a run as a multiple of the usual; 0 where nothing is known.
    fn times(&self, run: &Range<usize>) -> f64 {
        self.sums.mean(run).map_or(0.0, |rough| rough / self.usual)
    }
}
