//! The reasons put to SpO2 and to pulse.
//!
//! Movement, a slipped clip and a pulse that comes and goes are found once, on SpO2 with pulse and
//! perfusion beside it, and hold for both channels: the same light makes both numbers.

use std::ops::Range;

use crate::recording::{Author, Channel, Quantity};
use crate::screen::look::{Look, Runs, set};
use crate::screen::signs::Signs;
use crate::screen::{
    Reason, Span, implausible, low_perfusion, missing, motion, off, slip, span, step, stuck,
};
use crate::time::Stretch;

/// The spans of one channel of the oximeter; `off` is where CO2 shows that the sensor was off.
pub(super) fn find(look: &Look, channel: &Channel, off: &[Stretch]) -> Vec<Span> {
    let mut found = of_the_signal(look, off);
    found.extend(of_the_channel(look, channel, off));
    found
        .into_iter()
        .flat_map(|(reason, stretches)| {
            stretches.into_iter().map(move |stretch| (reason, channel.indices(&stretch)))
        })
        .filter(|(_, run)| !run.is_empty())
        .map(|(reason, run)| span(channel, &run, reason, Author::Tool))
        .collect()
}

/// What is found on one channel by itself.
fn of_the_channel(look: &Look, channel: &Channel, off: &[Stretch]) -> Vec<(Reason, Vec<Stretch>)> {
    let beside = off::beside(look, channel, off);
    let step = match channel.quantity {
        Quantity::Spo2 => step::find(channel, &usable(look, channel, &beside), look.limits),
        _ => Runs::new(),
    };
    [
        (Reason::Missing, missing::find(channel)),
        (Reason::Off, beside),
        (Reason::Step, step),
        (Reason::Implausible, implausible::find(look, channel)),
        (Reason::Stuck, stuck::of_oximeter(look, channel)),
        (Reason::LowPerfusion, low_perfusion::find(look, channel)),
    ]
    .map(|(reason, runs)| (reason, stretches(channel, &runs)))
    .into()
}

/// What is found on SpO2, pulse and perfusion together.
fn of_the_signal(look: &Look, off: &[Stretch]) -> Vec<(Reason, Vec<Stretch>)> {
    let Some(signs) = Signs::new(look) else { return Vec::new() };
    let spo2 = signs.channel;
    let mut usable = usable(look, spo2, &off::beside(look, spo2, off));
    set(&mut usable, &low_perfusion::find(look, spo2), false);
    let slips = slip::find(&signs, &usable);
    set(&mut usable, &slips, false);
    let motion = motion::find(&signs, &usable);
    [
        (Reason::Step, slips),
        (Reason::Motion, motion),
        (Reason::LowPerfusion, low_perfusion::broken(&signs)),
    ]
    .map(|(reason, runs)| (reason, stretches(spo2, &runs)))
    .into()
}

fn usable(look: &Look, channel: &Channel, off: &[Range<usize>]) -> Vec<bool> {
    let mut usable = look.plausible(channel);
    set(&mut usable, off, false);
    usable
}

fn stretches(channel: &Channel, runs: &[Range<usize>]) -> Vec<Stretch> {
    let stretch =
        |run: &Range<usize>| Stretch::new(channel.time_s(run.start), channel.time_s(run.end));
    runs.iter().map(stretch).collect()
}
