//! Numbers as words in the sentences of answers, reasons and patterns.

use crate::criteria::Amount;
use crate::recording::Quantity;
use crate::unit::mmhg_from_kpa;

/// A level with its unit; CO2 in both units.
pub(super) fn level_words(quantity: Quantity, level: f64) -> String {
    match quantity {
        Quantity::Tcpco2 => format!("{level:.2} kPa ({:.1} mmHg)", mmhg_from_kpa(level)),
        Quantity::Pulse => format!("{level:.0} /min"),
        _ => format!("{level:.1} %"),
    }
}

/// An amount with what it is counted in.
pub(super) fn amount_words(amount: &Amount, of: &str) -> String {
    let more = if amount.strict { "more than " } else { "" };
    format!("{more}{} {of}", amount.value)
}

/// A length of time in minutes, or seconds when short.
pub(super) fn minutes_words(seconds: f64, strict: bool) -> String {
    let more = if strict { "more than " } else { "" };
    if seconds < 60.0 {
        format!("{more}{seconds:.0} s")
    } else if (seconds % 60.0).abs() < 0.5 {
        format!("{more}{:.0} min", seconds / 60.0)
    } else {
        format!("{more}{:.1} min", seconds / 60.0)
    }
}

/// A length of time as hours and minutes: `4 h 05 min`.
pub(super) fn hours_words(seconds: f64) -> String {
    // Rounded down: 3 h 59 min 59 s must not read as the 4 h it fell short of.
    let minutes = (seconds / 60.0 + 1e-6).floor();
    format!("{:.0} h {:02.0} min", (minutes / 60.0).floor(), minutes % 60.0)
}
