//! `leak`: air under the CO2 sensor while the oximeter goes on reading.
//!
//! The two share a clip, but CO2 needs an airtight contact and light does not. A slipped clip lets air
//! under the membrane: tcPCO2 falls faster than blood can, to room air or part of the way, and comes
//! back only through a new settling.
//!
//! Source: common practice, from memory; limits are department settings. Age: the same at every age.

use std::ops::Range;

use crate::screen::excursion::Excursion;
use crate::screen::look::Runs;

/// The falls long enough to need a new settling, and the runs in room air, that are not `off`.
///
/// A run in room air soon after a fitting (`fresh`) is CO2 on its way up: that is `settling`.
pub(super) fn find(
    excursions: &[Excursion],
    room_air: &[Range<usize>],
    off: &[bool],
    fresh: &[bool],
) -> Runs {
    let slipped = excursions.iter().filter(|excursion| excursion.refits).map(|e| &e.away);
    let fallen = room_air.iter().filter(|run| !fresh[run.start]);
    let mut found: Runs = slipped.chain(fallen).filter(|run| !off[run.start]).cloned().collect();
    found.sort_by_key(|run| run.start);
    found
}
