//! The same night seen otherwise: by a perfect sensor, by the same monitor unharmed, with the truth's
//! belief, without a reason.

use engine::correct::{Bounds, Corrected};
use engine::notes::Notes;
use engine::recording::{Author, Quantity, Recording};
use engine::screen::{ChannelScreen, Reason, Screened, Span};
use engine::trace::Band;
use simulate::sensor::{FaultRates, Sensor};
use simulate::truth::Truth;

use crate::study::belief::CHANNELS;
use crate::study::belief::step;
use crate::study::nights::Case;

/// The night as a perfect sensor recorded it, everything believed, over the same analysis period.
///
/// Checks of the sensor are left out: there is no error to take out.
pub fn perfect(truth: &Truth, screened: &Screened) -> Screened {
    let recording = truth.perfect_recording();
    let notes = Notes { blood_gases: Vec::new(), gas_checks: Vec::new(), ..screened.notes.clone() };
    let channels = CHANNELS
        .iter()
        .filter_map(|&quantity| recording.channel(quantity))
        .map(|channel| ChannelScreen {
            quantity: channel.quantity,
            spans: Vec::new(),
            believed: channel.samples.iter().map(|sample| sample.is_finite()).collect(),
        })
        .collect();
    laid_over(recording, notes, channels, screened)
}

/// The night as the same oximeter would have shown it had nothing gone wrong: its averaging, rounding, bias
/// and noise, and no mishap. CO2 is that of the skin.
///
/// What differs from the perfect sensor here is the monitor's doing; nobody can take it out afterwards.
pub fn unharmed(case: &Case, truth: &Truth, screened: &Screened) -> Screened {
    let sensor = Sensor {
        fitted_after_s: 0.0,
        removed_before_end_s: 0.0,
        off_at_visits_share: 0.0,
        rates: FaultRates::none(),
        faults: Vec::new(),
        ..case.named.sensor.clone()
    };
    let shown = simulate::night(&case.named.sleeper, &sensor, case.seed).recording;
    let mut night = perfect(truth, screened);
    for channel in &mut night.recording.channels {
        let oximeter = channel.quantity != Quantity::Tcpco2;
        if let Some(shown) = shown.channel(channel.quantity).filter(|_| oximeter) {
            channel.clone_from(shown);
        }
    }
    for judged in &mut night.channels {
        let samples = night.recording.channel(judged.quantity).map(|channel| &channel.samples);
        judged.believed = samples
            .into_iter()
            .flat_map(|all| all.iter())
            .map(|sample| sample.is_finite())
            .collect();
    }
    night
}

/// The same recording, believed exactly where the truth says that it is right.
///
/// What is wrong then is not screening's doing: averaging, rounding, drift, and time that nobody saw.
pub fn truly_believed(truth: &Truth, screened: &Screened) -> Screened {
    let recording = screened.recording.clone();
    let channels = CHANNELS.iter().filter_map(|&q| told(truth, &recording, q)).collect();
    laid_over(recording.clone(), screened.notes.clone(), channels, screened)
}

fn told(truth: &Truth, recording: &Recording, quantity: Quantity) -> Option<ChannelScreen> {
    let channel = recording.channel(quantity)?;
    let wrong = truth.wrong(quantity);
    let step = step(channel);
    let right = |i: usize| !wrong.get(i * step).copied().unwrap_or(true);
    let believed: Vec<bool> =
        channel.samples.iter().enumerate().map(|(i, x)| x.is_finite() && right(i)).collect();
    let spans = truth
        .spans
        .iter()
        .filter(|span| span.quantity == quantity)
        .filter_map(|span| {
            let reason = Reason::ALL.into_iter().find(|reason| reason.id() == span.reason)?;
            Some(Span { stretch: span.stretch, reason, author: Author::Tool })
        })
        .collect();
    Some(ChannelScreen { quantity, spans, believed })
}

fn laid_over(
    recording: Recording,
    notes: Notes,
    channels: Vec<ChannelScreen>,
    screened: &Screened,
) -> Screened {
    let period = screened.period.clone();
    let co2_lag = screened.co2_lag.clone();
    Screened { recording, notes, channels, period, co2_lag, findings: Vec::new() }
}

/// The night with nothing unknown of its corrected CO2: what is open then is open for gaps alone.
pub fn unbanded(mut corrected: Corrected) -> Corrected {
    if let Some(co2) = &mut corrected.tcpco2 {
        co2.band.fill(Band::default());
        co2.bounds = Bounds::default();
    }
    corrected
}

/// The night screened without one of the tool's reasons. Samples that are no numbers stay unbelieved.
pub fn without(mut screened: Screened, reason: Reason) -> Screened {
    for judged in &mut screened.channels {
        let Some(channel) = screened.recording.channel(judged.quantity) else { continue };
        judged.spans.retain(|span| span.reason != reason || span.author != Author::Tool);
        judged.believed = channel.samples.iter().map(|sample| sample.is_finite()).collect();
        for span in &judged.spans {
            judged.believed[channel.indices(&span.stretch)].fill(false);
        }
    }
    screened
}
