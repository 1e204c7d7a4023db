//! The reasons put to SpO2 and to pulse.

use crate::recording::{Author, Channel, Quantity};
use crate::screen::look::{Look, Runs, set};
use crate::screen::{Reason, Span, implausible, low_perfusion, missing, off, span, step, stuck};
use crate::time::Stretch;

/// The spans of one channel of the oximeter; `off` is where CO2 shows that the sensor was off.
pub(super) fn find(look: &Look, channel: &Channel, off: &[Stretch]) -> Vec<Span> {
    let beside = off::beside(look, channel, off);
    let mut usable = look.plausible(channel);
    set(&mut usable, &beside, false);
    let step = match channel.quantity {
        Quantity::Spo2 => step::find(channel, &usable, look.limits),
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
    .into_iter()
    .flat_map(|(reason, runs)| {
        runs.into_iter().map(move |run| span(channel, &run, reason, Author::Tool))
    })
    .collect()
}
