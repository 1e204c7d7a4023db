//! `step`, the long way: the clip has slipped and SpO2 reads low until it sits right again.
//!
//! Half off the ear the sensor sees light that went past the blood. SpO2 drops at once to a level of its
//! own, often stays there dead flat, leaps to another, drops out and comes back; the pulse is rough or
//! lost, perfusion collapses; and when the clip is pressed on, or slides back, SpO2 is at once where it
//! was. Between two dropouts this looks like a long desaturation, which is the dangerous error.
//!
//! A doubt opens when SpO2 falls by several percent within seconds and the fall itself is odd: steeper
//! than is usual, across a lost reading, or while pulse or perfusion show a sign of the sensor. The doubt
//! stands until SpO2 is back near the level before, or until no sign of the sensor has been seen for
//! minutes: a low level that stays steady beside a steady pulse is the patient's own. What lies between
//! is judged as a whole by its signs: lost readings, a rough pulse, a collapsed perfusion, an abrupt
//! return; two points disbelieve it.
//!
//! A true fall slides in and comes back at a sane slope beside a smooth pulse, so it opens no doubt;
//! one with a dropout in it has one point.
//!
//! Source: common practice, no published limits; department settings. Age: what is steep differs.

use std::ops::Range;

use crate::screen::look::{Runs, lengthened};
use crate::screen::peak::Peak;
use crate::screen::signs::Signs;
use crate::unit::TOLERANCE;

/// Runs of SpO2's samples while the clip has slipped; `usable` samples hold a reading worth judging.
pub(super) fn find(signs: &Signs, usable: &[bool]) -> Runs {
    let margin = signs.samples(signs.limits.oximeter_margin_s.value);
    let doubts = doubts(signs, usable);
    let slips =
        doubts.iter().filter(|doubt| doubt.is_slip(signs)).map(|doubt| doubt.start..doubt.end);
    lengthened(&slips.collect::<Runs>(), margin, usable.len())
}

/// A stretch that may be a slip: after the last sample of the old level, before the first believed.
struct Doubt {
    start: usize,
    end: usize,
    /// Whether SpO2 came back to it.
    back: bool,
}

impl Doubt {
    fn is_slip(&self, signs: &Signs) -> bool {
        let run = self.start..self.end;
        let points = u32::from(signs.dropouts(&run) > 0.0)
            + signs.pulse_points(&run)
            + signs.collapse_points(&before(signs, self.start), &run)
            + u32::from(self.back && leaps_back(signs, self));
        f64::from(points) >= signs.limits.signs_least.value
    }
}

/// The stretch of the old level that the new one is held against.
fn before(signs: &Signs, start: usize) -> Range<usize> {
    start.saturating_sub(signs.samples(signs.limits.slip_before_s.value))..start
}

/// Whether SpO2 came back faster than it may truly rise.
fn leaps_back(signs: &Signs, doubt: &Doubt) -> bool {
    let over = signs.samples(signs.limits.steep_over_s.value);
    let x = &signs.channel.samples;
    let from = doubt.end.saturating_sub(over).max(doubt.start);
    let to = (doubt.end + 1).min(x.len());
    let rise = (from..to).filter(|&i| !signs.lost[i]).map(|i| x[to - 1] - x[i]).fold(0.0, f64::max);
    let limit = signs.limits.fall_steepest_pct_per_s.value * signs.limits.spo2_rise_times.value;
    rise >= limit * over as f64 * signs.channel.period_s
}

fn doubts(signs: &Signs, usable: &[bool]) -> Vec<Doubt> {
    let x = &signs.channel.samples;
    let limits = signs.limits;
    let mut peak = Peak::new(signs.samples(limits.slip_fall_within_s.value));
    let mut doubts = Vec::new();
    let mut i = 0;
    while i < usable.len() {
        if usable[i]
            && let Some(top) = peak.before(x, i)
            && x[top] - x[i] >= limits.slip_fall_pct.value - TOLERANCE
            && is_odd(signs, top, i)
        {
            let (doubt, next) = follow(signs, usable, top, i);
            doubts.push(doubt);
            peak.forget();
            i = next.max(i + 1);
            continue;
        }
        i += 1;
    }
    doubts
}

/// Whether a fall from one sample to another is not of breathing's making by its own look.
fn is_odd(signs: &Signs, top: usize, i: usize) -> bool {
    let run = top + 1..i + 1;
    let window = signs.around(i);
    signs.dropouts(&run) > 0.0
        || signs.falls_steeply(&(top..i + 1))
        || signs.pulse_points(&window) > 1
        || signs.collapse_points(&before(signs, top), &run) > 0
}

/// Follows a doubt to its end. The second value is where to go on.
fn follow(signs: &Signs, usable: &[bool], top: usize, from: usize) -> (Doubt, usize) {
    let x = &signs.channel.samples;
    let level_pct = x[top];
    let clear = signs.samples(signs.limits.slip_clear_s.value);
    let old = before(signs, top);
    let mut last_sign = from;
    for i in from..usable.len() {
        if usable[i] && x[i] >= level_pct - signs.limits.slip_back_pct.value - TOLERANCE {
            return (Doubt { start: top + 1, end: i, back: true }, i);
        }
        let window = signs.around(i);
        let sign = signs.lost[i]
            || signs.pulse_points(&window) > 1
            || signs.collapse_points(&old, &window) > 0;
        if sign {
            last_sign = i;
        } else if i - last_sign > clear {
            return (Doubt { start: top + 1, end: last_sign + 1, back: false }, i);
        }
    }
    (Doubt { start: top + 1, end: last_sign + 1, back: false }, usable.len())
}
