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

    /// A figure that exists whenever something in the period may be believed.
    fn or_why(span: Option<Span>) -> Outcome {
        let why = || format!("no {} in the period to be scored may be believed", Self::NAME);
        span.ok_or_else(why)
    }

    /// A figure that needs more than one believed sample in the period, with what it needs.
    fn or_needs(&self, span: Option<Span>, needs: &str) -> Outcome {
        if self.seconds("") > 0.0 {
            span.ok_or_else(|| needs.to_owned())
        } else {
            Self::or_why(None)
        }
    }

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

/// How long a channel was believed, and how long the period is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hours {
    /// Seconds inside the period that may be believed.
    pub(super) believed_s: f64,
    /// Seconds inside the period.
    pub(super) period_s: f64,
}

impl Hours {
    /// Of a trace.
    pub(super) fn of(trace: &Trace) -> Self {
        Self { believed_s: trace.believed_s(), period_s: trace.inside_s() }
    }

    /// An amount in each hour, of which the gaps could hold `unseen` more: the value by the believed
    /// hours, the lowest with none of it in unbelieved time, the highest with all that they could hold;
    /// `None` when nothing is believed.
    pub(super) fn share(&self, amount: f64, unseen: f64) -> Option<Span> {
        let (believed_h, period_h) = (self.believed_s / 3600.0, self.period_s / 3600.0);
        let span =
            || Span::of(amount / believed_h, amount / period_h, (amount + unseen) / period_h);
        (self.believed_s > 0.0).then(span)
    }
}
