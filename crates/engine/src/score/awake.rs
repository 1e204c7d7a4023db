//! The time awake, from which baselines are taken.

use crate::correct::Corrected;
use crate::notes::Notes;
use crate::recording::{Mark, MarkKind, Quantity, Recording, indices};
use crate::screen::Reason;
use crate::time::{Stretch, join, without};
use crate::trace::Trace;

/// The stretches awake and at rest: before lights out when that is marked, and wherever a mark says
/// awake; time out of bed is cut out.
///
/// A mark without an end lasts until the next mark of falling asleep or of lights out; without one it
/// is a moment and gives no time.
pub(super) fn awake_stretches(recording: &Recording, notes: &Notes) -> Vec<Stretch> {
    let marks = || recording.marks.iter().chain(&notes.marks);
    let starts = |kind: MarkKind| marks().filter(move |mark| mark.kind == kind);
    let lights_out = starts(MarkKind::LightsOut).map(|mark| mark.start_s).reduce(f64::min);
    let asleep_after = |at_s: f64| {
        marks()
            .filter(|mark| matches!(mark.kind, MarkKind::Asleep | MarkKind::LightsOut))
            .map(|mark| mark.start_s)
            .filter(|&start_s| start_s > at_s)
            .reduce(f64::min)
    };
    let until = |mark: &Mark| mark.end_s.or_else(|| asleep_after(mark.start_s));
    let marked = starts(MarkKind::Awake)
        .filter_map(|mark| until(mark).map(|end_s| Stretch::new(mark.start_s, end_s)));
    let before = lights_out.map(|end_s| Stretch::new(0.0, end_s));
    let up: Vec<Stretch> = starts(MarkKind::Up)
        .filter_map(|mark| mark.end_s.map(|end_s| Stretch::new(mark.start_s, end_s)))
        .collect();
    without(&join(marked.chain(before).collect()), &up)
}

/// A channel with the time awake as its period, less the time in which its sensor was off or settling.
pub(super) fn awake_trace(corrected: &Corrected, quantity: Quantity) -> Option<Trace> {
    let screened = &corrected.screened;
    let mut trace = corrected.trace(quantity)?;
    let at =
        |stretch: &Stretch| indices(trace.offset_s, trace.period_s, trace.values.len(), stretch);
    let mut inside = vec![false; trace.len()];
    for stretch in awake_stretches(&screened.recording, &screened.notes) {
        inside[at(&stretch)].fill(true);
    }
    let not_on = screened
        .channel(quantity)?
        .spans
        .iter()
        .filter(|span| matches!(span.reason, Reason::Off | Reason::Settling));
    for span in not_on {
        for i in at(&span.stretch) {
            // A person may have put a sample back.
            inside[i] &= trace.believed[i];
        }
    }
    trace.inside = inside;
    Some(trace)
}
