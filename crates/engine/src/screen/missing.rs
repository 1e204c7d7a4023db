//! `missing`: the file holds no number.
//!
//! Nothing can be said of such a sample, so no person can put it back either. What a monitor writes
//! for "no reading" (a dash, 127, 0 with pulse 0) is turned into a missing sample by the reader.
//!
//! Source: none needed. Age: the same at every age.

use crate::recording::Channel;
use crate::screen::look::{Runs, runs};

pub(super) fn find(channel: &Channel) -> Runs {
    runs(channel.samples.len(), |i| !channel.samples[i].is_finite())
}
