//! Wall times in a zone, and the two nights a year when clocks change.

use jiff::Timestamp;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::text::rows::Stamp;
use crate::read::text::stamp::{DAY, SECOND};
use crate::read::text::when::civil;
use crate::time;

/// Steps back up to this are disorder among rows, longer ones a clock that was set back.
const DISORDER: i64 = 60 * SECOND;
/// Across a clock change, rows this close follow each other.
const FOLLOWS: i64 = 60 * SECOND;

/// Refuses a wall clock that goes back by about an hour and stays there, when no zone can explain it.
pub(super) fn no_hour_back(at_us: &[i64], stamps: &[Stamp], also: &str) -> Result<(), ReadError> {
    let hour = 3600 * SECOND;
    let about = |step: i64| (-hour - 2 * DISORDER..=-hour + 2 * DISORDER).contains(&step);
    let back = (1..at_us.len()).find(|&row| {
        let stays = at_us.get(row + 1).is_none_or(|next| *next < at_us[row - 1]);
        about(at_us[row] - at_us[row - 1]) && stays
    });
    back.map_or(Ok(()), |row| {
        Err(ReadError::not_understood(
            "times go back by an hour, as when clocks are set back, and no zone is given",
        )
        .at(format!("line {}", stamps[row].line))
        .hint(format!("give the zone of the monitor's clock{also}, for instance Europe/London")))
    })
}

/// One clock change: the wall times that came twice (clock set back) or never (set forward).
#[derive(Clone, Copy, Debug)]
struct Change {
    /// Wall time at which the doubtful hour begins, and at which it ends.
    from: i64,
    to: i64,
    /// Offsets before and after, in microseconds.
    before: i64,
    after: i64,
}

impl Change {
    fn back(&self) -> bool {
        self.after < self.before
    }

    fn doubtful(&self, wall: i64) -> bool {
        self.from <= wall && wall < self.to
    }
}

/// The instants of wall times in a zone; tells what a clock change left in doubt.
pub(super) fn instants(
    mut at_us: Vec<i64>,
    zone: &TimeZone,
    findings: &mut Vec<Finding>,
) -> Vec<i64> {
    let min = at_us.iter().min().copied().unwrap_or(0);
    let max = at_us.iter().max().copied().unwrap_or(0);
    let start_offset = offset_at(min, zone);
    let Some(change) = change_between(min, max, zone) else {
        for us in &mut at_us {
            *us -= start_offset;
        }
        return at_us;
    };
    let followed = if change.back() {
        set_back(&at_us, &change, zone, findings)
    } else {
        set_forward(&at_us, &change, zone, findings)
    };
    if !followed {
        for us in &mut at_us {
            *us -= change.before;
        }
        return at_us;
    }
    if change.back() {
        through_the_fold(&mut at_us, &change, zone, findings);
    } else {
        for us in &mut at_us {
            *us -= if *us < change.from { change.before } else { change.after };
        }
    }
    at_us
}

/// The offset in force at a wall time, in microseconds; before a change where it is in doubt.
fn offset_at(wall: i64, zone: &TimeZone) -> i64 {
    let Some(civil) = civil(wall) else { return 0 };
    let offset = match zone.to_ambiguous_timestamp(civil).offset() {
        AmbiguousOffset::Unambiguous { offset } => offset,
        AmbiguousOffset::Fold { before, .. } | AmbiguousOffset::Gap { before, .. } => before,
    };
    i64::from(offset.seconds()) * SECOND
}

/// The first clock change that touches wall times between `min` and `max`.
fn change_between(min: i64, max: i64, zone: &TimeZone) -> Option<Change> {
    let early = Timestamp::from_microsecond(min - DAY - DAY / 2).ok()?;
    let in_us = |offset: Offset| i64::from(offset.seconds()) * SECOND;
    let mut before = in_us(zone.to_offset(early));
    for change in zone.following(early).take(8) {
        let (at, after) = (change.timestamp().as_microsecond(), in_us(change.offset()));
        let (from, to) = (at + before.min(after), at + before.max(after));
        if from > max {
            return None;
        }
        if to > min && before != after {
            return Some(Change { from, to, before, after });
        }
        before = after;
    }
    None
}

fn label(wall: i64) -> String {
    civil(wall).map_or_else(String::new, |at| at.strftime("%H:%M").to_string())
}

/// Whether the file's clock was set forward with the zone's; no when rows stand in the hour that never was.
fn set_forward(
    at_us: &[i64],
    change: &Change,
    zone: &TimeZone,
    findings: &mut Vec<Finding>,
) -> bool {
    let inside = at_us.iter().filter(|us| change.doubtful(**us)).count();
    if inside > 0 {
        let sentence = format!(
            "{inside} rows carry times from {} to {}, which did not exist in {} that night: the \
             monitor's clock was not set forward. Time is counted on from the start.",
            label(change.from),
            label(change.to),
            time::zone_name(zone)
        );
        findings.push(Finding::new("clock_not_changed", Weight::Caution, sentence));
    }
    inside == 0
}

/// Whether the file's clock was set back with the zone's; no when times run on past the change unbroken.
fn set_back(at_us: &[i64], change: &Change, zone: &TimeZone, findings: &mut Vec<Finding>) -> bool {
    let steps_back =
        at_us.windows(2).any(|pair| change.doubtful(pair[1]) && pair[1] - pair[0] < -DISORDER);
    // A recording from before the first pass through to after the second has two hours to fill.
    let runs_on = at_us
        .windows(2)
        .any(|pair| pair[0] < change.to && pair[1] >= change.to && pair[1] - pair[0] <= FOLLOWS);
    let enters = at_us.windows(2).any(|pair| {
        pair[0] < change.from && pair[1] >= change.from && pair[1] - pair[0] <= FOLLOWS
    });
    let fixed = !steps_back && runs_on && enters;
    if fixed {
        let sentence = format!(
            "In {} the clocks went back at {}, but the file's times run on: the monitor's clock was \
             not set back. Time is counted on from the start.",
            time::zone_name(zone),
            label(change.to)
        );
        findings.push(Finding::new("clock_not_changed", Weight::Caution, sentence));
    }
    !fixed
}

/// Follows rows through an hour that came twice: the second pass begins where times step back.
fn through_the_fold(
    at_us: &mut [i64],
    change: &Change,
    zone: &TimeZone,
    findings: &mut Vec<Finding>,
) {
    let first = at_us.first().copied().unwrap_or(0);
    let mut second_pass = first >= change.to;
    if change.doubtful(first) {
        second_pass = starts_in_second_pass(at_us, change);
        let pass = if second_pass { "second" } else { "first" };
        let sentence = format!(
            "The recording starts at {}, an hour that came twice in {} that night; the {pass} was \
             taken. Lengths and elapsed times do not depend on it.",
            label(first),
            time::zone_name(zone)
        );
        findings.push(Finding::new("start_in_repeated_hour", Weight::Caution, sentence));
    }
    let mut before = first;
    let mut doubt = false;
    for us in at_us {
        let wall = *us;
        let step = wall - before;
        before = wall;
        if change.doubtful(wall) {
            // A gap before or inside the hour hides where times stepped back.
            doubt |= !second_pass && step > FOLLOWS;
            second_pass |= step < -DISORDER;
        } else {
            second_pass = wall >= change.to;
        }
        *us = wall - if second_pass { change.after } else { change.before };
    }
    if doubt {
        let sentence = format!(
            "Rows are missing around {} to {}, an hour that came twice in {} that night; rows after \
             the gap were taken as the first pass until times step back.",
            label(change.from),
            label(change.to),
            time::zone_name(zone)
        );
        findings.push(Finding::new("gap_in_repeated_hour", Weight::Caution, sentence));
    }
}

/// A recording that starts inside the hour and runs past its end without a step back was in its second pass.
fn starts_in_second_pass(at_us: &[i64], change: &Change) -> bool {
    let mut before = at_us.first().copied().unwrap_or(0);
    for &wall in at_us {
        if wall - before < -DISORDER {
            return false;
        }
        if wall >= change.to {
            return wall - before <= FOLLOWS;
        }
        before = wall;
    }
    false
}
