//! Times off the ear in the night, and whether the diary explains them.
//!
//! Most are visits to the toilet. What the diary says explains a gap; where it says nothing, a finding
//! proposes the visit to a person. Nothing is taken out of the period for it: the clip may as well have
//! fallen off a sleeper.
//!
//! Source: common practice, no source; the limits are department settings. Age: the same at every age.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Mark, MarkKind};
use crate::screen::look::Look;
use crate::time::Stretch;

/// A finding for each time off the ear inside the night; `off` in order of time.
pub(super) fn findings(look: &Look, off: &[Stretch]) -> Vec<Finding> {
    let limits = look.limits;
    let near_s = limits.visit_near_min.value * 60.0;
    let inside = |stretch: &&Stretch| {
        // The first fitting and the last removal are no visits.
        stretch.start_s > near_s && stretch.end_s < look.recording.duration_s - near_s
    };
    off.iter()
        .filter(inside)
        .filter(|stretch| stretch.length_s() >= limits.visit_least_s.value)
        .map(|stretch| {
            let reach = Stretch::new(stretch.start_s - near_s, stretch.end_s + near_s);
            match look.marks.iter().find(|mark| explains(mark, &reach)) {
                Some(mark) => explained(mark, stretch),
                None => proposed(stretch),
            }
        })
        .collect()
}

/// Whether a mark says that the patient was up, awake or handled around a time.
fn explains(mark: &Mark, reach: &Stretch) -> bool {
    use MarkKind::{Awake, Refitted, Up};
    let end_s = mark.end_s.unwrap_or(mark.start_s).max(mark.start_s);
    matches!(mark.kind, Up | Awake | Refitted)
        && mark.start_s < reach.end_s
        && end_s >= reach.start_s
}

fn minutes(stretch: &Stretch) -> f64 {
    (stretch.length_s() / 60.0).max(1.0)
}

fn explained(mark: &Mark, stretch: &Stretch) -> Finding {
    let what = match mark.kind {
        MarkKind::Up => "the patient was up",
        MarkKind::Awake => "the patient was awake",
        _ => "the sensor was refitted",
    };
    Finding::new(
        "gap_explained",
        Weight::Note,
        format!("The sensor was off for {:.0} min: the marks say that {what}.", minutes(stretch)),
    )
    .at(*stretch)
}

fn proposed(stretch: &Stretch) -> Finding {
    Finding::new(
        "gap_unexplained",
        Weight::Caution,
        format!(
            "The sensor was off for {:.0} min and nobody wrote down why. If the patient was up, mark \
             it: that time is then no part of the night. Until then it counts as night not seen.",
            minutes(stretch)
        ),
    )
    .at(*stretch)
}
