//! Numbers as words in the sentences of a correction.

use crate::unit::mmhg_from_kpa;

/// A level in both units.
pub(super) fn both_units(kpa: f64) -> String {
    format!("{kpa:.2} kPa ({:.1} mmHg)", mmhg_from_kpa(kpa))
}

/// A length of time: `35 min`, `2 h 01 min`.
pub(super) fn length(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round();
    let hours = (minutes / 60.0).floor();
    if hours < 1.0 {
        return format!("{minutes:.0} min");
    }
    format!("{hours:.0} h {:02.0} min", minutes - hours * 60.0)
}
