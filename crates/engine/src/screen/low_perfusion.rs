//! `low_perfusion`: too little pulsation under the oximeter.
//!
//! An oximeter reads the part of the light that pulses. With hardly any pulsation (cold skin, a clip
//! that presses) noise decides, so SpO2 and pulse are not believed while the perfusion index is under
//! the limit. A missing index says nothing. tcPCO2 of a poorly perfused ear drifts up slowly; no limit
//! on that is published, so none is set here.
//!
//! Source: department setting. Age: the same at every age until a set says otherwise.

use crate::recording::{Channel, Quantity};
use crate::screen::look::{Look, Runs, beside, runs};

pub(super) fn find(look: &Look, channel: &Channel) -> Runs {
    let Some(perfusion) = look.channel(Quantity::Perfusion) else { return Runs::new() };
    let lowest = look.limits.perfusion_lowest_pct.value;
    runs(channel.samples.len(), |i| {
        beside(channel, perfusion, i).is_some_and(|index| index < lowest)
    })
}
