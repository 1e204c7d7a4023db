//! `step`: SpO2 changes faster than physiology.
//!
//! The blood's store of oxygen and the oximeter's averaging make SpO2 slide. Adults fall at
//! 0.26 ± 0.02 % a second and rise at 0.44 to 0.59 % a second; a step of many percent from one second
//! to the next is the sensor moving or losing the pulse. What lies between a step and the step back is
//! disbelieved as a whole when it is short; after a step with no way back, the samples are disbelieved
//! until the new level could have been reached at the fastest speed allowed.
//!
//! A change is held against a whole second at least, so that rounding to 1 % does not look fast when
//! samples come more often; over a longer time (a gap, or one sample a minute) speed times time is
//! allowed, so a deep true fall of a sane slope is always kept.
//!
//! Recovery is truly faster than the fall (1.7 to 2.3 times in the sources), so a step up must be faster
//! by as much.
//!
//! A clip that has slipped and reads low for minutes is found in `slip`. Steps of tcPCO2 are found in `excursion`, because its sensor lags.
//!
//! Source: common practice for the limit (4 % a second, from memory); `fall-slopes-abstract` and
//! `resaturation-abstract` for the adult's true slopes. Age: infants truly fall 3 to 8 % a second
//! (`infant-falls`), so the limit differs by age band, in the criteria set.

use crate::criteria::ScreenCriteria;
use crate::recording::Channel;
use crate::screen::look::Runs;
use crate::unit::TOLERANCE;

/// The shortest time over which a change of SpO2 is held against the limit.
const LEAST_S: f64 = 1.0;

pub(super) fn find(channel: &Channel, usable: &[bool], limits: &ScreenCriteria) -> Runs {
    let walk = Walk::new(channel, usable, limits);
    let mut runs = Runs::new();
    let mut last: Option<usize> = None;
    let mut i = 0;
    while i < usable.len() {
        match last {
            _ if !usable[i] => {}
            Some(from) if !walk.could_reach(from, i) => {
                let (end, accepted) = walk.end(from, i);
                runs.push(i..end);
                last = accepted.or(last);
                i = end;
                continue;
            }
            _ => last = Some(i),
        }
        i += 1;
    }
    runs
}

struct Walk<'a> {
    channel: &'a Channel,
    usable: &'a [bool],
    speed_pct_per_s: f64,
    rise_times: f64,
    most_s: f64,
    /// For each sample the next one at or after it that steps up from the usable sample before it.
    next_up: Vec<usize>,
    /// The same for a step down.
    next_down: Vec<usize>,
}

impl<'a> Walk<'a> {
    fn new(channel: &'a Channel, usable: &'a [bool], limits: &ScreenCriteria) -> Self {
        let count = usable.len();
        let mut walk = Self {
            channel,
            usable,
            speed_pct_per_s: limits.spo2_fastest_pct_per_s.value,
            rise_times: limits.spo2_rise_times.value,
            most_s: limits.spo2_excursion_most_s.value,
            next_up: vec![count; count + 1],
            next_down: vec![count; count + 1],
        };
        let mut after: Option<usize> = None;
        for i in (0..count).rev() {
            walk.next_up[i] = walk.next_up[i + 1];
            walk.next_down[i] = walk.next_down[i + 1];
            if !usable[i] {
                continue;
            }
            if let Some(next) = after.filter(|&next| !walk.within_reach(i, next)) {
                let up = channel.samples[next] > channel.samples[i];
                let table = if up { &mut walk.next_up } else { &mut walk.next_down };
                table[i + 1..=next].fill(next);
                table[i] = next;
            }
            after = Some(i);
        }
        walk
    }

    /// Whether SpO2 goes from one sample to the other at a speed allowed for a fall. A step back is
    /// known by it too: after a step, any change that fast is the sensor's.
    fn within_reach(&self, from: usize, to: usize) -> bool {
        self.reaches(from, to, self.speed_pct_per_s)
    }

    /// Whether SpO2 could have gone from one sample to the other.
    fn could_reach(&self, from: usize, to: usize) -> bool {
        let rises = self.channel.samples[to] > self.channel.samples[from];
        let times = if rises { self.rise_times } else { 1.0 };
        self.reaches(from, to, self.speed_pct_per_s * times)
    }

    fn reaches(&self, from: usize, to: usize, speed_pct_per_s: f64) -> bool {
        let seconds = ((to - from) as f64 * self.channel.period_s).max(LEAST_S);
        let change = (self.channel.samples[to] - self.channel.samples[from]).abs();
        change <= speed_pct_per_s * seconds + TOLERANCE
    }

    /// Where the disbelief that starts with the step at `i` ends, and the sample that is believed
    /// there by itself; `None` when belief is held against the sample before the step.
    fn end(&self, from: usize, i: usize) -> (usize, Option<usize>) {
        if let Some(back) = self.step_back(from, i) {
            return (back, Some(back));
        }
        let mut end = i;
        for k in i..self.usable.len() {
            if self.usable[k] {
                if self.could_reach(from, k) {
                    break;
                }
                end = k + 1;
            }
        }
        (end, None)
    }

    /// The first sample after a step back near to the old level, if it comes soon enough.
    fn step_back(&self, from: usize, i: usize) -> Option<usize> {
        let x = &self.channel.samples;
        let table = if x[i] < x[from] { &self.next_up } else { &self.next_down };
        let mut back = table[i + 1];
        // A step back may take several samples.
        while back + 1 < x.len() && table[back + 1] == back + 1 {
            back += 1;
        }
        let soon = (back - i) as f64 * self.channel.period_s <= self.most_s;
        let near = back < x.len() && (x[back] - x[from]).abs() <= (x[i] - x[from]).abs() / 2.0;
        (soon && near).then_some(back)
    }
}
