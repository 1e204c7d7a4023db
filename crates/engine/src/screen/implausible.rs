//! `implausible`: a value that no living person has.
//!
//! SpO2 under the lowest at which an oximeter is still read (calibration on volunteers ends far above
//! it) or over 100 %; a pulse outside the limits; tcPCO2 over the highest. A tcPCO2 too low is not
//! here: it is room air, told as `off` or `leak`.
//!
//! Source: common practice (SpO2 under 50 %, from memory); the others are department settings.
//! Age: the pulse limits differ by age band, in the criteria set.

use crate::recording::Channel;
use crate::screen::look::{Look, Runs, runs};

pub(super) fn find(look: &Look, channel: &Channel) -> Runs {
    runs(channel.samples.len(), |i| look.beyond(channel.quantity, channel.samples[i]))
}
