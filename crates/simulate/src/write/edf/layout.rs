//! Channels cut into data records of one length.

use super::scale::Scale;
use engine::read::NOT_VALID;
use engine::recording::Channel;
use engine::recording::Quantity;
use engine::recording::Recording;

/// A data record holds at most 61 440 bytes (EDF+ 2.1.2); this much is for samples, the rest for
/// annotations.
const MOST_SAMPLES: usize = 20_000;
/// Records of about this length suit every reader; common practice, no source.
const USUAL_RECORD_S: f64 = 60.0;
/// Rounding allowed between a channel's period and the record it must divide.
const SLACK: f64 = 1e-6;

/// How long records are, how many, and what each channel puts into one.
pub(super) struct Layout<'a> {
    pub(super) record_s: f64,
    pub(super) records: usize,
    pub(super) signals: Vec<SignalOut<'a>>,
}

/// One channel on its way out.
pub(super) struct SignalOut<'a> {
    pub(super) channel: &'a Channel,
    pub(super) label: String,
    pub(super) scale: Scale,
    pub(super) per_record: usize,
    record_s: f64,
    records: usize,
}

impl<'a> Layout<'a> {
    pub(super) fn of(recording: &'a Recording) -> Self {
        let record_s = record_length(recording);
        let count = whole((recording.duration_s / record_s - SLACK).ceil()).max(1);
        let mut signals: Vec<SignalOut<'a>> = Vec::new();
        for channel in &recording.channels {
            let label = label(channel, &signals);
            let per_record = per_record(channel, record_s);
            let scale = Scale::of(channel);
            signals.push(SignalOut { channel, label, scale, per_record, record_s, records: count });
        }
        Self { record_s, records: count, signals }
    }
}

impl SignalOut<'_> {
    /// Seconds between the samples written.
    fn period_s(&self) -> f64 {
        self.record_s / self.per_record as f64
    }

    /// The sample that stands at a place of the file's grid; `None` where the channel has none.
    fn physical(&self, place: usize) -> Option<f64> {
        let middle_s = (place as f64 + 0.5) * self.period_s() - self.channel.offset_s;
        let index = (middle_s / self.channel.period_s).floor();
        let sample = (index >= 0.0).then(|| self.channel.samples.get(whole(index)))??;
        sample.is_finite().then_some(*sample)
    }

    /// The digital value at a place; the missing code where there is none.
    pub(super) fn digital(&self, place: usize) -> i16 {
        self.scale.digital(self.physical(place).unwrap_or(f64::NAN))
    }

    /// Whether a record holds any sample of the channel.
    pub(super) fn holds_any(&self, record: usize) -> bool {
        let mut places = record * self.per_record..(record + 1) * self.per_record;
        places.any(|place| self.physical(place).is_some())
    }

    /// Runs without a sample, as annotations: start, length, words.
    pub(super) fn invalid_runs(&self) -> Vec<(f64, Option<f64>, String)> {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for place in 0..self.records * self.per_record {
            match runs.last_mut() {
                _ if self.physical(place).is_some() => {}
                Some((start, length)) if *start + *length == place => *length += 1,
                _ => runs.push((place, 1)),
            }
        }
        let period_s = self.period_s();
        let words = format!("{NOT_VALID}{}", self.label);
        runs.into_iter()
            .map(|(start, length)| {
                (start as f64 * period_s, Some(length as f64 * period_s), words.clone())
            })
            .collect()
    }
}

/// The shortest record that every period divides, made longer while it divides the night, stays near a
/// minute and keeps the format's size.
fn record_length(recording: &Recording) -> f64 {
    let periods: Vec<f64> = recording.channels.iter().map(|channel| channel.period_s).collect();
    let longest_s = periods.iter().copied().fold(0.0, f64::max);
    if longest_s <= 0.0 {
        return recording.duration_s.clamp(1.0, USUAL_RECORD_S).floor();
    }
    let fits = |record_s: f64| {
        tidy(record_s).is_some() && periods.iter().all(|period_s| divides(*period_s, record_s))
    };
    // Where no common length is found the longest period sets it, and other channels repeat samples.
    let multiples = (1..=1000).map(|count| longest_s * f64::from(count));
    let shortest_s = multiples.clone().find(|record_s| fits(*record_s));
    let shortest_s = shortest_s.and_then(tidy).unwrap_or(longest_s);
    let samples = |record_s: f64| periods.iter().map(|p| whole(record_s / p) + 1).sum::<usize>();
    if samples(shortest_s) > MOST_SAMPLES {
        return cut_record(shortest_s, &periods, samples);
    }
    let longer = (1..=1000).map(|count| shortest_s * f64::from(count));
    let good = longer
        .take_while(|record_s| *record_s <= USUAL_RECORD_S && samples(*record_s) <= MOST_SAMPLES)
        .filter(|record_s| fits(*record_s) && divides(*record_s, recording.duration_s));
    good.last().unwrap_or(shortest_s)
}

/// A part of a record that would be too large: slow channels repeat their sample, fast ones lose none.
fn cut_record(record_s: f64, periods: &[f64], samples: impl Fn(f64) -> usize) -> f64 {
    let fits = |part_s: f64| {
        let fast = periods.iter().filter(|period_s| **period_s <= part_s);
        tidy(part_s).is_some() && fast.clone().all(|period_s| divides(*period_s, part_s))
    };
    let parts = (2..=10_000).map(|count| record_s / f64::from(count));
    let small = parts.skip_while(|part_s| samples(*part_s) > MOST_SAMPLES);
    small.clone().find(|part_s| fits(*part_s)).or(small.clone().next()).unwrap_or(record_s)
}

/// The length as a header field of 8 characters holds it; `None` when that is not near enough.
fn tidy(record_s: f64) -> Option<f64> {
    let value = super::scale::field_text(record_s).parse::<f64>().ok()?;
    ((value - record_s).abs() <= SLACK * 1e-2 * record_s).then_some(value)
}

fn divides(part: f64, of: f64) -> bool {
    let ratio = of / part;
    ratio >= 1.0 - SLACK && (ratio - ratio.round()).abs() <= SLACK
}

fn per_record(channel: &Channel, record_s: f64) -> usize {
    whole((record_s / channel.period_s - SLACK).ceil()).max(1)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of samples: never negative and far below 2^53"
)]
fn whole(count: f64) -> usize {
    count.max(0.0) as usize
}

/// Label of at most 16 plain letters, each once: the standard text `SaO2` for saturation, ours for the
/// rest, for which no standard text is known.
fn label(channel: &Channel, taken: &[SignalOut<'_>]) -> String {
    let own = match channel.quantity {
        Quantity::Spo2 => "SaO2",
        Quantity::Pulse => "Pulse",
        Quantity::Tcpco2 => "TcCO2",
        Quantity::Perfusion => "Perfusion",
        Quantity::Heater => "Heater power",
        Quantity::SensorTemp => "Sensor temp",
        Quantity::Pleth => "Pleth",
        Quantity::Flow => "Flow",
        Quantity::Leak => "Leak",
        Quantity::Other => channel.file_label.as_str(),
    };
    let plain: String = super::header::plain(own).chars().take(16).collect();
    let plain = if plain.trim().is_empty() { "signal".to_owned() } else { plain.trim().to_owned() };
    let free = |label: &str| taken.iter().all(|signal| signal.label != label);
    let numbers = 2..taken.len() + 3;
    let numbered = numbers.map(|number| {
        let room: String = plain.chars().take(12).collect();
        format!("{room} {number}")
    });
    std::iter::once(plain.clone()).chain(numbered).find(|label| free(label)).unwrap_or(plain)
}
