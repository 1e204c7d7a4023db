//! What all channels' figures share: definitions as data, rates over hours, reasons for absence.

use crate::criteria::Criteria;
use crate::score::sides::Span;
use crate::score::{Figure, Measure};
use crate::trace::Trace;
use crate::unit::Unit;

/// A number with its span, or why there is none.
pub(super) type Outcome = Result<Span, String>;

/// The definition of a measure with the way to it from a channel `C`.
pub(super) struct Definition<C> {
    pub(super) id: &'static str,
    pub(super) name: &'static str,
    pub(super) unit: Unit,
    pub(super) sentence: &'static str,
    pub(super) source: &'static str,
    pub(super) of: fn(&C) -> Outcome,
}

/// A channel that can be measured.
pub(super) trait Channel {
    /// Its name in a sentence.
    const NAME: &'static str;

    /// Believed seconds behind the figure with this id.
    fn seconds(&self, id: &str) -> f64;
}

impl<C: Channel> Definition<C> {
    /// The measure, absent when the recording has no such channel.
    pub(super) fn measure(&self, channel: Option<&C>) -> Measure {
        let outcome = channel
            .map_or_else(|| Err(format!("the recording has no {}", C::NAME)), |c| (self.of)(c));
        let figure = match outcome {
            Ok(Span { value, lowest, highest }) => Figure::Given { value, lowest, highest },
            Err(why) => Figure::Absent(why),
        };
        Measure {
            id: self.id,
            name: self.name,
            figure,
            unit: self.unit.clone(),
            seconds: channel.map_or(0.0, |c| c.seconds(self.id)),
            definition: self.sentence,
            source: self.source,
        }
    }
}

/// Why there is no figure when nothing in the period may be believed.
pub(super) fn nothing_believed(name: &str) -> String {
    format!("no {name} in the period to be scored may be believed")
}

/// Why there is no awake figure.
pub(super) fn nothing_awake(name: &str) -> String {
    format!(
        "no {name} that may be believed lies in time known to be awake: \
         none was marked awake, nor any before lights out once the sensor had settled"
    )
}

/// Why events cannot be counted, when samples are too far apart.
pub(super) fn too_coarse(trace: &Trace, name: &str, criteria: &Criteria) -> Option<String> {
    let most_s = criteria.score.event_period_most_s.value;
    (trace.period_s > most_s + crate::unit::TOLERANCE).then(|| {
        format!(
            "{name} was recorded every {} s, too coarse for this figure, which needs a sample \
             every {most_s} s or oftener",
            trace.period_s
        )
    })
}

/// Events an hour: seen ones by the believed hours.
///
/// The lowest has no event in unbelieved time. The highest has in each gap as many as the criteria's
/// greatest rate allows, and one more that the gap may have cut.
pub(super) fn rate(trace: &Trace, events: usize, criteria: &Criteria) -> Option<Span> {
    let (believed_h, period_h) = hours(trace)?;
    let most_per_h = criteria.score.events_most_per_h.value;
    let unseen: f64 = trace
        .runs(|i| trace.inside[i] && !trace.believed[i])
        .into_iter()
        .map(|gap| (gap.len() as f64 * trace.period_s / 3600.0 * most_per_h).floor() + 1.0)
        .sum();
    let events = events as f64;
    Some(Span::of(events / believed_h, events / period_h, (events + unseen) / period_h))
}

/// Believed hours and hours of the period; `None` when nothing is believed.
pub(super) fn hours(trace: &Trace) -> Option<(f64, f64)> {
    let believed_s = trace.believed_s();
    (believed_s > 0.0).then(|| (believed_s / 3600.0, trace.inside_s() / 3600.0))
}
