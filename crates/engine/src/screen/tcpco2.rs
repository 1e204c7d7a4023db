//! The reasons put to tcPCO2, in the order in which one needs the other.

use crate::finding::Finding;
use crate::recording::{Author, Channel, Quantity};
use crate::screen::excursion::Excursion;
use crate::screen::fitting::{Fitting, Interruptions};
use crate::screen::look::{Look, Runs, runs, samples_in, set};
use crate::screen::loosening::{Seen, Turn};
use crate::screen::told::Told;
use crate::screen::{
    Reason, Span, calibrating, doubts, excursion, fitting, frozen, implausible, leak, loosening,
    missing, off, settling, span, stuck,
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
    let mut night = Night::new(look, channel, told, [&missing, &implausible]);
    let mut away = night.leave();
    let (settling, findings) = night.settle_all(&mut away);
    let (slow, doubts) = night.loosen(&away);
    let leak = [away.leak, slow, night.still_in_air()].concat();
    let oximeter = look.channel(Quantity::Spo2).or_else(|| look.channel(Quantity::Pulse));
    let held: Vec<Stretch> = oximeter
        .map(|other| stretches(other, &stuck::of_oximeter(look, other)))
        .unwrap_or_default();
    let stuck = frozen::find(channel, &held, look.limits);
    let off = stretches(channel, &away.off);
    let islands = islands(look, channel, &[&away.step, &leak]);
    away.step.extend(islands);
    let spans = [
        (Reason::Missing, missing),
        (Reason::Off, away.off),
        (Reason::Settling, settling),
        (Reason::Step, away.step),
        (Reason::Implausible, implausible),
        (Reason::Stuck, stuck),
        (Reason::Leak, leak),
        (Reason::Calibrating, away.calibrating),
    ]
    .into_iter()
    .flat_map(|(reason, runs)| to_spans(channel, reason, &runs))
    .collect();
    (spans, off, [away.findings, findings, doubts].concat())
}

/// What lies between two excursions and is shorter than the time over which CO2's speed is taken: nothing
/// holds it against its neighbours, so a curve that only jumps would be believed in splinters.
fn islands(look: &Look, channel: &Channel, excursions: &[&Runs]) -> Runs {
    let mut jumps = vec![false; channel.samples.len()];
    for runs in excursions {
        set(&mut jumps, runs, true);
    }
    let least = samples_in(channel, look.limits.tcpco2_step_window_s.value);
    let mut between = runs(jumps.len(), |i| !jumps[i]);
    between.retain(|run| run.start > 0 && run.end < jumps.len() && run.len() < least);
    between
}

/// Where CO2 was away from the skin's.
struct Away {
    off: Runs,
    leak: Runs,
    step: Runs,
    calibrating: Runs,
    /// Samples at which the curve shows that the sensor was pressed on again.
    refits: Vec<usize>,
    findings: Vec<Finding>,
}

/// What is known of each sample so far.
struct Night<'a> {
    look: &'a Look<'a>,
    channel: &'a Channel,
    /// The sensor was not on the skin.
    away: Vec<bool>,
    /// No value of a living person.
    lost: Vec<bool>,
    /// Fit to be compared with its neighbours.
    usable: Vec<bool>,
}

impl<'a> Night<'a> {
    fn new(look: &'a Look, channel: &'a Channel, told: &[Told], lost: [&Runs; 2]) -> Self {
        let mut night = Self {
            look,
            channel,
            away: told_mask(channel, told),
            lost: vec![false; channel.samples.len()],
            usable: look.plausible(channel),
        };
        for runs in lost {
            set(&mut night.lost, runs, true);
        }
        night
    }

    /// Finds where the sensor was away, and marks it.
    fn leave(&mut self) -> Away {
        let (look, channel) = (self.look, self.channel);
        let calibrating = calibrating::find(look, channel);
        self.mark(&calibrating);
        let excursions = excursion::find(channel, &self.usable, &self.fresh(), look.limits);
        let mut taken = excursion::taken(&excursions, channel);
        set(&mut taken, &calibrating, true);
        let room_air = off::room_air(look, channel, &taken);
        let off = off::find(look, channel, &excursions, &room_air);
        self.mark(&off);
        let mut is_off = vec![false; channel.samples.len()];
        set(&mut is_off, &off, true);
        let leak = leak::find(&excursions, &room_air, &is_off, &self.fresh());
        self.mark(&leak);
        self.rest(&excursions, Away { off, leak, calibrating, ..Away::none(&excursions, channel) })
    }

    /// The excursions that nothing else explains.
    fn rest(&mut self, excursions: &[Excursion], away: Away) -> Away {
        let explained: Vec<bool> =
            self.away.iter().zip(&self.lost).map(|(&away, &lost)| away || lost).collect();
        let step = excursion::others(excursions, &explained);
        set(&mut self.usable, &step, false);
        Away { step, ..away }
    }

    fn mark(&mut self, runs: &Runs) {
        set(&mut self.away, runs, true);
        set(&mut self.usable, runs, false);
    }

    fn fittings(&self, refits: &[usize]) -> Vec<Fitting> {
        let broken = Interruptions { away: &self.away, lost: &self.lost, refits };
        fitting::find(self.look, self.channel, &broken)
    }

    fn fresh(&self) -> Vec<bool> {
        fitting::fresh(self.channel, &self.fittings(&[]), self.look.limits)
    }

    /// The settling after each fitting, once more when the settled curve shows that the sensor was
    /// pressed on again.
    fn settle_all(&mut self, away: &mut Away) -> (Runs, Vec<Finding>) {
        let before = self.usable.clone();
        let first = self.settle(away);
        let on_skin = self.on_skin();
        let seen = Seen::new(self.channel, &on_skin, &self.usable);
        let pressed_on = loosening::pressed_on(self.look, self.channel, &seen);
        if pressed_on.is_empty() {
            return first;
        }
        away.findings.extend(loosening::findings(self.channel, &pressed_on));
        away.refits.extend(pressed_on);
        self.usable = before;
        self.settle(away)
    }

    fn settle(&mut self, away: &Away) -> (Runs, Vec<Finding>) {
        let fittings = self.fittings(&away.refits);
        let found = settling::find(self.channel, &self.usable, &fittings, self.look.limits);
        set(&mut self.usable, &found.0, false);
        found
    }

    /// The slow leaks that end where the sensor was touched, or too low; and what CO2 may show of its
    /// sensor without proving it.
    fn loosen(&mut self, away: &Away) -> (Runs, Vec<Finding>) {
        let fittings = self.fittings(&away.refits);
        let on_skin = self.on_skin();
        let seen = Seen::new(self.channel, &on_skin, &self.usable);
        let slow = loosening::find(self.channel, &seen, &turns(&fittings), self.look.limits);
        let doubts = doubts::findings(self.look, self.channel, &seen, (&fittings, &slow));
        set(&mut self.usable, &slow, false);
        (slow, doubts)
    }

    fn on_skin(&self) -> Vec<bool> {
        self.away.iter().zip(&self.lost).map(|(&away, &lost)| !away && !lost).collect()
    }

    /// CO2 still in room air when it should have settled: a leak.
    fn still_in_air(&self) -> Runs {
        let lowest_kpa = self.look.limits.tcpco2_off_below_kpa.value;
        runs(self.usable.len(), |i| self.usable[i] && self.channel.samples[i] < lowest_kpa)
    }
}

/// Where each fitting ends and the next begins.
fn turns(fittings: &[Fitting]) -> Vec<Turn> {
    fittings
        .windows(2)
        .map(|pair| Turn { end: pair[0].samples.end, back: pair[1].samples.start })
        .collect()
}

impl Away {
    fn none(excursions: &[Excursion], channel: &Channel) -> Self {
        Self {
            off: Runs::new(),
            leak: Runs::new(),
            step: Runs::new(),
            calibrating: Runs::new(),
            refits: excursion::refits(excursions),
            findings: excursion::findings(channel, excursions),
        }
    }
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
