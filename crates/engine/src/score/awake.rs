//! The time awake, from which baselines are taken.

use crate::recording::{Mark, MarkKind, indices};
use crate::score::sides::{Sides, Span};
use crate::screen::{PeriodBasis, Reason, Screened};
use crate::time::{Stretch, join, without};
use crate::trace::Trace;

/// The level of a channel awake.
#[derive(Clone, Copy, Debug)]
pub(super) struct Awake {
    /// The mean of believed samples; `None` without any.
    pub(super) mean: Option<Span>,
    /// The believed seconds it stands on.
    pub(super) believed_s: f64,
}

/// The mean moment of the believed samples awake, in seconds from the recording's start, and the mean of
/// what correcting added to them; `None` without any.
pub(super) fn middle(screened: &Screened, trace: &Trace, added: &[f64]) -> Option<(f64, f64)> {
    let inside = awake_inside(screened, trace, &awake_stretches(screened));
    let (sum_s, sum, count) = (0..trace.len())
        .filter(|&i| inside[i] && trace.believed[i])
        .fold((0.0, 0.0, 0_u32), |(sum_s, sum, count), i| {
            (sum_s + trace.time_s(i), sum + added[i], count + 1)
        });
    (count > 0).then(|| (sum_s / f64::from(count), sum / f64::from(count)))
}

impl Awake {
    /// Of a channel of the night; `sides` fills its unbelieved time.
    pub(super) fn of(
        screened: &Screened,
        trace: &mut Trace,
        sides: impl Fn(&Trace) -> Sides,
    ) -> Self {
        let stretches = awake_stretches(screened);
        if stretches.is_empty() {
            return Self { mean: None, believed_s: 0.0 };
        }
        // A night's trace is large: it lends its samples instead of being copied.
        let awake = awake_inside(screened, trace, &stretches);
        let asleep = std::mem::replace(&mut trace.inside, awake);
        let believed_s = trace.believed_s();
        let mean = (believed_s > 0.0).then(|| sides(trace).numbers().mean()).flatten();
        trace.inside = asleep;
        Self { mean, believed_s }
    }
}

/// The stretches awake and at rest: before the period begins when lights were marked, and wherever a
/// mark says awake; time out of bed is cut out.
///
/// A mark without an end lasts until the period goes on, and gives no time where it does not.
fn awake_stretches(screened: &Screened) -> Vec<Stretch> {
    let Screened { recording, notes, period, .. } = screened;
    let marks = |kind: MarkKind| {
        recording.marks.iter().chain(&notes.marks).filter(move |mark| mark.kind == kind)
    };
    let goes_on = |at_s: f64| {
        let cut_out = !period.stretches.iter().any(|stretch| stretch.contains(at_s));
        let mut starts = period.stretches.iter().map(|stretch| stretch.start_s);
        starts.find(|&start_s| cut_out && start_s > at_s)
    };
    let until = |mark: &Mark| mark.end_s.or_else(|| goes_on(mark.start_s));
    let marked = marks(MarkKind::Awake)
        .filter_map(|mark| until(mark).map(|end_s| Stretch::new(mark.start_s, end_s)));
    let lights_marked = period.basis != PeriodBasis::WholeRecording;
    let begins = period.stretches.first().filter(|_| lights_marked);
    let before = begins.map(|first| Stretch::new(0.0, first.start_s));
    let up: Vec<Stretch> = marks(MarkKind::Up)
        .filter_map(|mark| until(mark).map(|end_s| Stretch::new(mark.start_s, end_s)))
        .collect();
    without(&join(marked.chain(before).collect()), &up)
}

/// Which samples of a channel lie in the time awake, less the time in which its sensor was off or
/// settling.
fn awake_inside(screened: &Screened, trace: &Trace, awake: &[Stretch]) -> Vec<bool> {
    let at =
        |stretch: &Stretch| indices(trace.offset_s, trace.period_s, trace.values.len(), stretch);
    let mut inside = vec![false; trace.len()];
    for stretch in awake {
        inside[at(stretch)].fill(true);
    }
    let spans = screened.channel(trace.quantity).map_or(&[][..], |channel| &channel.spans);
    for span in spans.iter().filter(|span| matches!(span.reason, Reason::Off | Reason::Settling)) {
        for i in at(&span.stretch) {
            // A person may have put a sample back.
            inside[i] &= trace.believed[i];
        }
    }
    inside
}
