//! Blood gases that cannot be paired, held against what the sensor read nearest to them.
//!
//! A gas taken an hour after the sensor came off, or while it settled, tells nothing of the sensor's error at
//! a moment, but it may still lie where no error that is allowed for takes the sensor. It is held against the
//! nearest believed minutes before it and after it: what was read there with its whole band, wider by what
//! the sensor may have drifted from there to the gas's moment (independent of the band, so by the root of
//! the sum of squares). What the blood itself did in between nobody knows, so such a gas is told and is a
//! reservation, and does not move the band. It opens answers where it contradicts the sensor without the gas
//! checks as well, so that a check never costs an answer.

use super::bounds::{Bounds, Range};
use super::words::{both_units, length};
use super::{Contradiction, CorrectedCo2, Unpaired, median};
use crate::criteria::{CorrectCriteria, Side};
use crate::recording::Channel;
use crate::screen::{ChannelScreen, Screened};
use crate::time::Stretch;
use crate::unit::TOLERANCE;

/// The sensor and what of it is believed.
pub(super) struct Sensor<'a> {
    pub(super) screened: &'a Screened,
    pub(super) channel: &'a Channel,
    pub(super) screen: &'a ChannelScreen,
    pub(super) limits: &'a CorrectCriteria,
    /// Where the error lay by the blood gases and what unchecked sensors err by.
    pub(super) by_blood: Bounds,
}

/// What the sensor read on one side of a gas.
struct Beside {
    at_s: f64,
    /// As corrected.
    read_kpa: f64,
    /// As recorded.
    recorded_kpa: f64,
}

impl Beside {
    /// Where CO2 lay by this, as far as the sensor can have drifted by the moment given.
    fn range(&self, bounds: &Bounds, at_s: f64) -> Range {
        let (low, high) = bounds.level(self.at_s);
        let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
        let drifts_kpa = bounds.drifts_kpa(at_s - self.at_s);
        let wider = (half * half + drifts_kpa * drifts_kpa).sqrt();
        (self.recorded_kpa + middle - wider, self.recorded_kpa + middle + wider)
    }
}

/// Marks the gases that contradict the sensor.
pub(super) fn hold_against(co2: &mut CorrectedCo2, sensor: &Sensor) {
    let seen = &*co2;
    let found: Vec<Option<Contradiction>> =
        seen.unpaired.iter().map(|gas| sensor.contradiction(seen, gas)).collect();
    for (gas, contradicts) in co2.unpaired.iter_mut().zip(found) {
        gas.contradicts = contradicts;
    }
}

impl Sensor<'_> {
    fn contradiction(&self, co2: &CorrectedCo2, gas: &Unpaired) -> Option<Contradiction> {
        let limits = self.limits;
        let farthest_s = limits.anchor_farthest_h.value * 3600.0;
        let times = -farthest_s..=self.screened.recording.duration_s + farthest_s;
        let likely = limits.anchor_lowest_kpa.value..=limits.anchor_highest_kpa.value;
        if !times.contains(&gas.at_s) || !likely.contains(&gas.pco2_kpa) {
            return None;
        }
        let at_s = gas.at_s + limits.blood_gas_lag_s.value;
        let beside = self.beside(co2, at_s);
        let (side, kpa) = outside(gas.pco2_kpa, &beside, &co2.bounds, at_s)?;
        let most = match side {
            Side::Above => format!("no more than {}", both_units(kpa)),
            Side::Below => format!("no less than {}", both_units(kpa)),
        };
        let by_blood = outside(gas.pco2_kpa, &beside, &self.by_blood, at_s);
        Some(Contradiction {
            side,
            opens: by_blood.is_some(),
            sentence: self.sentence(gas, &beside, &most),
        })
    }

    /// The nearest believed minutes before a moment and after it, as far as there are any.
    fn beside(&self, co2: &CorrectedCo2, at_s: f64) -> Vec<Beside> {
        let count = co2.values.len();
        let believed = |i: &usize| self.screen.believed[*i] && co2.values[*i].is_finite();
        let time_s = |i: usize| self.channel.time_s(i);
        let after = (0..count).find(|&i| time_s(i) > at_s).unwrap_or(count);
        let minutes = |nearest: usize| {
            let near_s = self.limits.blood_gas_window_s.value;
            let away = Stretch::new(time_s(nearest) - near_s, time_s(nearest) + near_s);
            let of = |values: &dyn Fn(usize) -> f64| {
                let read = self.channel.indices(&away).filter(believed);
                // Of the same side of the gas alone.
                median(read.filter(|&i| (i < after) == (nearest < after)).map(values).collect())
            };
            Some(Beside {
                at_s: time_s(nearest),
                read_kpa: of(&|i| co2.values[i])?,
                recorded_kpa: of(&|i| co2.values[i] - co2.added_kpa[i])?,
            })
        };
        let nearest = [(0..after).rev().find(believed), (after..count).find(believed)];
        nearest.into_iter().flatten().filter_map(minutes).collect()
    }

    fn sentence(&self, gas: &Unpaired, beside: &[Beside], most: &str) -> String {
        let clock = &self.screened.recording.clock;
        let far = |side: &Beside| (side.at_s - gas.at_s).abs();
        let read = beside.iter().map(|side| {
            let when = if side.at_s < gas.at_s { "before" } else { "after" };
            let (kpa, length) = (both_units(side.read_kpa), length(far(side)));
            format!("{kpa} at {}, {length} {when}", clock.label(side.at_s, false))
        });
        format!(
            "The blood gas and the sensor {} at {} the blood gas was {}; the nearest that the sensor read is \
             {}; with all that is not known of it CO2 was {most}. They cannot be paired: {}.",
            super::DO_NOT_AGREE,
            clock.dated(gas.at_s, self.screened.recording.duration_s),
            both_units(gas.pco2_kpa),
            read.collect::<Vec<_>>().join(", and "),
            gas.why
        )
    }
}

/// On which side of all that the sensor allows a gas lies, and the most that it allows there.
fn outside(pco2_kpa: f64, beside: &[Beside], bounds: &Bounds, at_s: f64) -> Option<(Side, f64)> {
    let ranges = || beside.iter().map(|side| side.range(bounds, at_s));
    let lowest_kpa = ranges().map(|range| range.0).reduce(f64::min)?;
    let highest_kpa = ranges().map(|range| range.1).reduce(f64::max)?;
    if pco2_kpa > highest_kpa + TOLERANCE {
        Some((Side::Above, highest_kpa))
    } else if pco2_kpa < lowest_kpa - TOLERANCE {
        Some((Side::Below, lowest_kpa))
    } else {
        None
    }
}
