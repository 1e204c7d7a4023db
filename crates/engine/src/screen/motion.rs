//! `motion`: the ear or the sensor moved while the oximeter read.
//!
//! Movement adds its own pulsation to the light. The monitor then shows a brief fall of SpO2 and a pulse
//! that wanders with it, and a perfusion index that jumps. A fall of breathing's making has another
//! shape: the blood's store of oxygen lets SpO2 slide, for as long as the breath was held; the pulse
//! holds until then and rises with the arousal, at the lowest point or after it.
//!
//! Every fall of a few percent that comes back is therefore held against five signs, each worth a
//! point, two when it is strong:
//!
//! - of the sensor: a pulse rougher than is usual on this night; a pulse that has left its level before
//!   SpO2 was half way down; a perfusion that jumps;
//! - of the shape: a fall over sooner than any held breath; a fall steeper than is usual.
//!
//! The shape alone never condemns a fall: at least one sign must be the sensor's. A perfusion that
//! jumps is movement by itself, fall or no fall.
//!
//! Not found: movement that moves neither SpO2 nor perfusion, which harms no figure of SpO2, and on a
//! night without perfusion a fall of sane shape beside a quiet pulse, which nobody could tell.
//!
//! Source: `visram-1994` for a changing pulse amplitude before a false fall; `fall-slopes-abstract` and
//! `resaturation-abstract` for true slopes; the limits are department settings. Age: a child's breaths
//! are shorter and an infant's falls far steeper (`infant-falls`); see the criteria sets.

use crate::screen::look::{Runs, runs, set, widened};
use crate::screen::peak::Peak;
use crate::screen::signs::Signs;
use crate::unit::TOLERANCE;

/// Runs of SpO2's samples during movement; `usable` samples hold a reading worth judging.
pub(super) fn find(signs: &Signs, usable: &[bool]) -> Runs {
    let count = usable.len();
    let margin = signs.samples(signs.limits.motion_margin_s.value);
    let mut moved = vec![false; count];
    for dip in dips(signs, usable).iter().filter(|dip| dip.is_motion(signs)) {
        moved[dip.peak.saturating_sub(margin)..(dip.end + margin).min(count)].fill(true);
    }
    let jumps = runs(count, |i| signs.perfusion_points(&signs.around(i)) > 0);
    set(&mut moved, &widened(&jumps, margin, count), true);
    runs(count, |i| moved[i])
}

/// A fall of SpO2 that comes back: the last sample before it, its lowest, the first that is back.
struct Dip {
    peak: usize,
    nadir: usize,
    end: usize,
}

impl Dip {
    fn is_motion(&self, signs: &Signs) -> bool {
        let run = self.peak..self.end + 1;
        let sensor = signs.pulse_points(&run)
            + signs.points(self.early_pulse(signs), signs.limits.pulse_early_per_min.value)
            + signs.perfusion_points(&run);
        sensor > 0 && f64::from(sensor + self.shape_points(signs)) >= signs.limits.signs_least.value
    }

    fn shape_points(&self, signs: &Signs) -> u32 {
        let limits = signs.limits;
        let fall_s = (self.nadir - self.peak) as f64 * signs.channel.period_s;
        let quick = fall_s < limits.fall_quickest_s.value - TOLERANCE;
        u32::from(quick) + u32::from(signs.falls_steeply(&(self.peak..self.nadir + 1)))
    }

    /// How far the pulse has left the level that it had before, by the time SpO2 is half way down.
    fn early_pulse(&self, signs: &Signs) -> f64 {
        let x = &signs.channel.samples;
        let middle = f64::midpoint(x[self.peak], x[self.nadir]);
        let half = (self.peak..=self.nadir).find(|&i| x[i] <= middle).unwrap_or(self.nadir);
        let before = self.peak.saturating_sub(signs.samples(signs.limits.signs_window_s.value));
        let Some(level) = signs.pulse_level(&(before..self.peak + 1)) else { return 0.0 };
        let gone = signs.pulse[self.peak..=half].iter().map(|pulse| (pulse - level).abs());
        // A pulse that is not there counts for nothing: the greater of NaN and a number is the number.
        gone.fold(0.0, f64::max)
    }
}

fn dips(signs: &Signs, usable: &[bool]) -> Vec<Dip> {
    let limits = signs.limits;
    let x = &signs.channel.samples;
    let mut peak = Peak::new(signs.samples(limits.dip_fall_most_s.value));
    let mut dips = Vec::new();
    let mut i = 0;
    while i < usable.len() {
        if !usable[i] {
            peak.forget();
        } else if let Some(top) = peak.before(x, i)
            && x[top] - x[i] >= limits.dip_least_pct.value - TOLERANCE
        {
            let (dip, next) = follow(signs, usable, top, i);
            dips.extend(dip);
            peak.forget();
            i = next;
            continue;
        }
        i += 1;
    }
    dips
}

/// Follows a fall to its lowest sample and back. The second value is where to go on.
fn follow(signs: &Signs, usable: &[bool], peak: usize, from: usize) -> (Option<Dip>, usize) {
    let x = &signs.channel.samples;
    let last = usable.len().min(from + signs.samples(signs.limits.dip_most_s.value));
    let mut nadir = from;
    for i in from..last {
        if !usable[i] {
            return (None, i);
        }
        if x[i] < x[nadir] {
            nadir = i;
        }
        // Back by half; from there on up as long as it still rises.
        if x[i] >= f64::midpoint(x[peak], x[nadir]) && i > nadir {
            let rises = |&k: &usize| usable[k] && x[k] >= x[k - 1] && x[k - 1] < x[peak];
            let end = (i + 1..last).take_while(rises).last().unwrap_or(i);
            return (Some(Dip { peak, nadir, end }), end.max(from + 1));
        }
    }
    (None, last.max(from + 1))
}
