//! The reasons put to tcPCO2, in the order in which one needs the other.

use crate::finding::Finding;
use crate::recording::{Author, Channel, Quantity};
use crate::screen::look::{Look, Runs, runs, set};
use crate::screen::told::Told;
use crate::screen::{
    Reason, Span, excursion, implausible, leak, missing, off, settling, span, stuck,
};
use crate::time::Stretch;

/// The spans of tcPCO2, where the sensor was off, and what was noticed.
pub(super) fn find(
    look: &Look,
    channel: &Channel,
    told: &[Told],
) -> (Vec<Span>, Vec<Stretch>, Vec<Finding>) {
    let missing = missing::find(channel);
    let implausible = implausible::find(look, channel);
    let mut interrupted = told_mask(channel, told);
    set(&mut interrupted, &missing, true);
    set(&mut interrupted, &implausible, true);
    let mut away = Away::find(look, channel, &mut interrupted);
    let (settling, findings) = settle(look, channel, &interrupted, &mut away);
    let oximeter = look.channel(Quantity::Spo2).or_else(|| look.channel(Quantity::Pulse));
    let frozen: Vec<Stretch> = oximeter
        .map(|other| stretches(other, &stuck::of_oximeter(look, other)))
        .unwrap_or_default();
    let stuck = stuck::of_co2(channel, &frozen, look.limits);
    let off = stretches(channel, &away.off);
    let spans = [
        (Reason::Missing, missing),
        (Reason::Off, away.off),
        (Reason::Settling, settling),
        (Reason::Step, away.step),
        (Reason::Implausible, implausible),
        (Reason::Stuck, stuck),
        (Reason::Leak, away.leak),
    ]
    .into_iter()
    .flat_map(|(reason, runs)| to_spans(channel, reason, &runs))
    .collect();
    (spans, off, [away.findings, findings].concat())
}

/// Where CO2 was away from the skin's.
struct Away {
    off: Runs,
    leak: Runs,
    step: Runs,
    /// Samples at which the curve shows that the sensor was pressed on again.
    refits: Vec<usize>,
    findings: Vec<Finding>,
}

impl Away {
    /// Finds it, and adds `off` and `leak` to what interrupts CO2.
    fn find(look: &Look, channel: &Channel, interrupted: &mut [bool]) -> Self {
        let fresh = fresh(look, channel, interrupted);
        let excursions = excursion::find(channel, &look.plausible(channel), &fresh, look.limits);
        let room_air = off::room_air(look, channel, &excursion::taken(&excursions, channel));
        let off = off::find(look, channel, &excursions, &room_air);
        let mut is_off = vec![false; channel.samples.len()];
        set(&mut is_off, &off, true);
        set(interrupted, &off, true);
        let leak =
            leak::find(&excursions, &room_air, &is_off, &self::fresh(look, channel, interrupted));
        set(interrupted, &leak, true);
        let step = excursion::others(&excursions, interrupted);
        let refits = excursion::refits(&excursions);
        Self { off, leak, step, refits, findings: excursion::findings(channel, &excursions) }
    }
}

fn fresh(look: &Look, channel: &Channel, interrupted: &[bool]) -> Vec<bool> {
    settling::fresh(channel, &settling::fittings(look, channel, interrupted, &[]), look.limits)
}

/// The settling after each fitting. CO2 still in room air when it should have settled is a leak.
fn settle(
    look: &Look,
    channel: &Channel,
    interrupted: &[bool],
    away: &mut Away,
) -> (Runs, Vec<Finding>) {
    let mut usable = look.plausible(channel);
    for (usable, &interrupted) in usable.iter_mut().zip(interrupted) {
        *usable &= !interrupted;
    }
    set(&mut usable, &away.step, false);
    let fittings = settling::fittings(look, channel, interrupted, &away.refits);
    let (settling, findings) = settling::find(channel, &usable, &fittings, look.limits);
    set(&mut usable, &settling, false);
    let lowest_kpa = look.limits.tcpco2_off_below_kpa.value;
    away.leak.extend(runs(usable.len(), |i| usable[i] && channel.samples[i] < lowest_kpa));
    (settling, findings)
}

fn to_spans(channel: &Channel, reason: Reason, runs: &Runs) -> Vec<Span> {
    runs.iter().map(|run| span(channel, run, reason, Author::Tool)).collect()
}

fn stretches(channel: &Channel, runs: &Runs) -> Vec<Stretch> {
    runs.iter()
        .map(|run| Stretch::new(channel.time_s(run.start), channel.time_s(run.end)))
        .collect()
}

/// The samples that a note says were taken with the sensor off, leaking or calibrating.
fn told_mask(channel: &Channel, told: &[Told]) -> Vec<bool> {
    let mut mask = vec![false; channel.samples.len()];
    for note in told.iter().filter(|note| note.quantities.contains(&Quantity::Tcpco2)) {
        mask[channel.indices(&note.stretch)].fill(true);
    }
    mask
}
