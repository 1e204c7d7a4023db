//! `off`: the sensor is not on the ear.
//!
//! Off the ear the oximeter finds no pulse, and tcPCO2 falls within a minute or two to that of room
//! air, near zero. Both together leave no doubt; where the night has no oximetry, CO2 at room air is
//! enough. The fast fall on the way down belongs to it, and so do the oximeter's readings around it: an
//! oximeter averages over seconds, and one lying on a table may show numbers.
//!
//! Where the oximeter goes on reading while CO2 is gone, it is a `leak`.
//!
//! Source: common practice, from memory; limits are department settings. Age: the same at every age.

use std::ops::Range;

use crate::recording::Channel;
use crate::screen::excursion::Excursion;
use crate::screen::look::{Look, Runs, runs, samples_in};
use crate::time::Stretch;

/// Runs of CO2 in room air, those inside an excursion left out.
pub(super) fn room_air(look: &Look, channel: &Channel, taken: &[bool]) -> Runs {
    let below_kpa = look.limits.tcpco2_off_below_kpa.value;
    runs(channel.samples.len(), |i| channel.samples[i] < below_kpa && !taken[i])
}

/// The CO2 samples at which the sensor is off, out of the excursions and the runs in room air.
pub(super) fn find(
    look: &Look,
    channel: &Channel,
    excursions: &[Excursion],
    room_air: &[Range<usize>],
) -> Runs {
    let fallen = excursions.iter().filter(|excursion| excursion.falling).filter_map(|excursion| {
        let in_air = excursion.extreme_kpa < look.limits.tcpco2_off_below_kpa.value;
        match Oximeter::over(look, channel, &excursion.away) {
            Oximeter::None => in_air.then(|| excursion.away.clone()),
            Oximeter::Gone(until) if excursion.refits => {
                let until = until_it_reads(look, channel, until, excursion.away.end);
                Some(excursion.away.start..until)
            }
            Oximeter::Gone(_) => Some(excursion.away.clone()),
            Oximeter::Reading => None,
        }
    });
    let started = room_air.iter().filter_map(|run| match Oximeter::over(look, channel, run) {
        Oximeter::None => Some(run.clone()),
        Oximeter::Gone(until) => Some(run.start..until),
        Oximeter::Reading => None,
    });
    let mut found: Runs = fallen.chain(started).collect();
    found.sort_by_key(|run| run.start);
    found
}

/// The sample at which the sensor was back on: the oximeter may go on reading nothing after CO2 has
/// risen, because a monitor in its calibrating gas shows CO2 too. If it reads nothing for longer than
/// CO2 needs to settle, the fault is the oximeter's own, and CO2's rise tells.
fn until_it_reads(look: &Look, channel: &Channel, until: usize, away_end: usize) -> usize {
    if until < away_end {
        return until;
    }
    let most = samples_in(channel, look.limits.settling_least_min.value * 60.0);
    let latest = channel.samples.len().min(away_end + most);
    let gone = |i: &usize| look.oximeter_gone(channel.time_s(*i)) == Some(true);
    let until = (away_end..latest).take_while(gone).last().map_or(away_end, |i| i + 1);
    if until == latest { away_end } else { until }
}

/// The oximeter's samples not believed because the sensor was off at `off`.
///
/// From the first sample without a reading to the last, with a margin on both sides.
pub(super) fn beside(look: &Look, channel: &Channel, off: &[Stretch]) -> Runs {
    let margin = samples_in(channel, look.limits.off_margin_s.value);
    off.iter()
        .filter_map(|stretch| {
            let mut gone = channel
                .indices(stretch)
                .filter(|&i| look.oximeter_gone(channel.time_s(i)) == Some(true));
            let first = gone.next()?;
            let last = gone.next_back().unwrap_or(first);
            Some(first.saturating_sub(margin)..(last + 1 + margin).min(channel.samples.len()))
        })
        .collect()
}

/// What the oximeter did during a run of CO2 samples.
enum Oximeter {
    /// The night has no oximetry there.
    None,
    /// It read nothing for half of the run or more; no reading up to this sample of CO2.
    Gone(usize),
    /// It went on reading.
    Reading,
}

impl Oximeter {
    fn over(look: &Look, channel: &Channel, run: &Range<usize>) -> Self {
        let (mut told, mut gone, mut until) = (0, 0, run.start);
        for i in run.clone() {
            if let Some(nothing) = look.oximeter_gone(channel.time_s(i)) {
                told += 1;
                if nothing {
                    gone += 1;
                    until = i + 1;
                }
            }
        }
        match (told, gone) {
            (0, _) => Self::None,
            _ if gone * 2 >= told => Self::Gone(until),
            _ => Self::Reading,
        }
    }
}
