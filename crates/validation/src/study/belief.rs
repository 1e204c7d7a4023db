//! How a night's belief compares with the truth, counted in seconds and in minutes.
//!
//! A second of a channel is **wrong** when it lies in a span of the truth: what the monitor wrote then is
//! not the honest reading of its sensor. It **matters** when besides there is no number, or the number
//! is off the honest reading by the tolerance below. Every other second is honest. A minute is wrong when at
//! least half of its seconds are, and disbelieved when at least half of its seconds are.

use std::collections::BTreeMap;

use engine::recording::{Channel, Quantity};
use engine::screen::{Reason, Screened};
use simulate::sensor::Sensor;
use simulate::truth::Truth;

/// The channels that are judged.
pub const CHANNELS: [Quantity; 3] = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];

/// What went wrong, as the truth names it: a fitting, or the id of a `simulate::sensor::Cause`.
pub const CAUSES: [&str; 9] = [
    "fitting",
    "off",
    "slipped",
    "missing",
    "loosening",
    "motion",
    "low_perfusion",
    "frozen",
    "calibration",
];
/// Off, settling, slips and missing rows: the first four causes, held together against one target. A
/// second without a number belongs to them whatever its cause: a dropout.
const TOGETHER: u16 = 0b1111;
/// Set where the reading is off by the tolerance, or there is none.
const MATTERS: u16 = 1 << 15;
const DROPOUT: u16 = 1 << 14;
const CAUSE_BITS: u16 = (1 << CAUSES.len()) - 1;

/// How much time is looked at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grain {
    /// A second.
    Second,
    /// A minute.
    Minute,
}

/// What was counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// Honest time that is believed.
    Honest,
    /// Wrong time that is not.
    Wrong,
    /// The same for off, settling, slips and dropouts together.
    Together,
    /// The same for one cause.
    Cause(&'static str),
    /// Wrong time that matters.
    Matters,
    /// The same for one cause.
    CauseMatters(&'static str),
    /// Time with this reason that is wrong in truth.
    Right(Reason),
    /// Honest time that has this reason.
    Cost(Reason),
}

/// One number of a night: which channel, at which grain, and what.
pub type Key = (Grain, Quantity, What);

/// So much of so much.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// The part.
    pub hit: u64,
    /// The whole.
    pub of: u64,
}

impl Count {
    /// Counts one more where it is asked, as a hit or not.
    pub fn add_if(&mut self, asked: bool, hit: bool) {
        self.of += u64::from(asked);
        self.hit += u64::from(asked && hit);
    }
}

/// What was counted in one night.
pub type Counts = BTreeMap<Key, Count>;

/// Counts a night.
pub fn count(truth: &Truth, sensor: &Sensor, screened: &Screened) -> Counts {
    let mut counts = Counts::new();
    for quantity in CHANNELS {
        let Some(channel) = screened.recording.channel(quantity) else { continue };
        let Some(screen) = screened.channel(quantity) else { continue };
        let wrong = wrong(truth, sensor, channel);
        let mut reasons = vec![0_u16; channel.samples.len()];
        for span in &screen.spans {
            reasons[channel.indices(&span.stretch)].iter_mut().for_each(|r| *r |= bit(span.reason));
        }
        let mut night = Night { counts: &mut counts, quantity };
        night.seconds(channel, &wrong, &screen.believed, &reasons);
        night.minutes(channel, &wrong, &screen.believed);
    }
    counts
}

fn bit(reason: Reason) -> u16 {
    Reason::ALL.iter().position(|&known| known == reason).map_or(0, |place| 1 << place)
}

/// The bits of each sample: its causes, whether it matters, whether there is a number.
fn wrong(truth: &Truth, sensor: &Sensor, channel: &Channel) -> Vec<u16> {
    let mut by_second = vec![0_u16; truth.stages.len()];
    for span in truth.spans.iter().filter(|span| span.quantity == channel.quantity) {
        let cause = CAUSES.iter().position(|&cause| cause == span.cause).map_or(0, |i| 1 << i);
        let range = engine::recording::indices(0.0, 1.0, by_second.len(), &span.stretch);
        by_second[range].iter_mut().for_each(|bits| *bits |= cause);
    }
    let honest = honest(truth, sensor, channel.quantity);
    let step = step(channel);
    (0..channel.samples.len())
        .map(|i| {
            let bits = by_second.get(i * step).copied().unwrap_or(0);
            let shown = channel.samples[i];
            let none = !shown.is_finite() || (shown <= 0.0 && channel.quantity != Quantity::Tcpco2);
            let off_by = (shown - honest.get(i * step).copied().unwrap_or(f64::NAN)).abs();
            let near = off_by < tolerance(channel.quantity);
            match bits {
                0 => 0,
                _ if none => bits | MATTERS | DROPOUT,
                _ if near => bits,
                _ => bits | MATTERS,
            }
        })
        .collect()
}

/// How far a reading may lie off the honest one before it matters: 2 %, 5 /min, 0.1 kPa (which is how
/// the simulator ends settling). Our choice.
fn tolerance(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Spo2 => 2.0,
        Quantity::Pulse => 5.0,
        _ => simulate::SETTLED_WITHIN_KPA,
    }
}

/// What the sensor would have shown had nothing gone wrong, each second, before rounding and noise. NaN
/// while CO2 is off the ear.
fn honest(truth: &Truth, sensor: &Sensor, quantity: Quantity) -> Vec<f64> {
    let oximeter = &sensor.oximeter;
    match quantity {
        Quantity::Spo2 => trailing(&truth.spo2, oximeter.averaging_s)
            .into_iter()
            .map(|value| (value + oximeter.bias_pct).min(100.0))
            .collect(),
        Quantity::Pulse => trailing(&truth.pulse, oximeter.pulse_averaging_s),
        _ => truth.skin_pco2_kpa.iter().zip(&truth.co2_error_kpa).map(|(a, b)| a + b).collect(),
    }
}

/// The mean of the last `over_s` seconds.
fn trailing(signal: &[f64], over_s: u32) -> Vec<f64> {
    let over = (over_s as usize).max(1);
    let mut sum = 0.0;
    (0..signal.len())
        .map(|i| {
            sum += signal[i] - if i >= over { signal[i - over] } else { 0.0 };
            sum / (i + 1).min(over) as f64
        })
        .collect()
}

/// Whole seconds from one sample to the next: made channels have no other periods.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a made channel's period is a small whole number of seconds"
)]
pub(super) fn step(channel: &Channel) -> usize {
    channel.period_s.round().max(1.0) as usize
}

struct Night<'a> {
    counts: &'a mut Counts,
    quantity: Quantity,
}

impl Night<'_> {
    fn add(&mut self, grain: Grain, what: What, hit: bool, seconds: u64) {
        let count = self.counts.entry((grain, self.quantity, what)).or_default();
        count.of += seconds;
        count.hit += if hit { seconds } else { 0 };
    }

    /// What kind of wrong these bits are, each counted at this grain.
    fn wrong(&mut self, grain: Grain, bits: u16, disbelieved: bool, seconds: u64) {
        let matters = bits & MATTERS != 0;
        self.add(grain, What::Wrong, disbelieved, seconds);
        if matters {
            self.add(grain, What::Matters, disbelieved, seconds);
        }
        if bits & (TOGETHER | DROPOUT) != 0 {
            self.add(grain, What::Together, disbelieved, seconds);
        }
        for (place, &cause) in CAUSES.iter().enumerate().filter(|(i, _)| bits & (1 << i) != 0) {
            debug_assert!(place < CAUSES.len());
            self.add(grain, What::Cause(cause), disbelieved, seconds);
            if matters {
                self.add(grain, What::CauseMatters(cause), disbelieved, seconds);
            }
        }
    }

    fn seconds(&mut self, channel: &Channel, wrong: &[u16], believed: &[bool], reasons: &[u16]) {
        let seconds = step(channel) as u64;
        // Nights hold few different states of a second: counting them first is ten times as quick.
        let mut states: BTreeMap<(u16, bool, u16), u64> = BTreeMap::new();
        for i in 0..wrong.len() {
            *states.entry((wrong[i], believed[i], reasons[i])).or_default() += seconds;
        }
        for ((bits, believed, reasons), seconds) in states {
            let honest = bits & CAUSE_BITS == 0;
            if honest {
                self.add(Grain::Second, What::Honest, believed, seconds);
            } else {
                self.wrong(Grain::Second, bits, !believed, seconds);
            }
            for reason in Reason::ALL {
                let given = reasons & bit(reason) != 0;
                if given {
                    self.add(Grain::Second, What::Right(reason), !honest, seconds);
                }
                if honest {
                    self.add(Grain::Second, What::Cost(reason), given, seconds);
                }
            }
        }
    }

    fn minutes(&mut self, channel: &Channel, wrong: &[u16], believed: &[bool]) {
        let many = (60 / step(channel)).max(1);
        for (wrong, believed) in wrong.chunks(many).zip(believed.chunks(many)) {
            let half = |count: usize| 2 * count >= wrong.len();
            let bits = (0..16)
                .filter(|&bit| half(wrong.iter().filter(|w| *w & (1 << bit) != 0).count()))
                .fold(0, |bits, bit| bits | 1 << bit);
            let disbelieved = half(believed.iter().filter(|b| !**b).count());
            // Several causes may make up half of a minute together.
            if half(wrong.iter().filter(|&&w| w & CAUSE_BITS != 0).count()) {
                self.wrong(Grain::Minute, bits, disbelieved, 1);
            } else {
                self.add(Grain::Minute, What::Honest, !disbelieved, 1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two minutes: the first slipped for 40 s, of which 30 are not believed; the second honest.
    #[test]
    fn seconds_and_minutes_are_counted_on_their_own_sides() {
        let channel = Channel {
            id: "spo2".into(),
            quantity: Quantity::Spo2,
            unit: engine::unit::Unit::Percent,
            file_label: String::new(),
            file_unit: String::new(),
            period_s: 1.0,
            offset_s: 0.0,
            samples: [95.0; 120].into(),
        };
        let slipped = 1 << 2 | MATTERS;
        let wrong: Vec<u16> = (0..120).map(|i| if i < 40 { slipped } else { 0 }).collect();
        let believed: Vec<bool> = (0..120).map(|i| i >= 30).collect();
        let mut counts = Counts::new();
        let mut night = Night { counts: &mut counts, quantity: Quantity::Spo2 };
        night.seconds(&channel, &wrong, &believed, &vec![bit(Reason::Step); 120]);
        night.minutes(&channel, &wrong, &believed);
        let found = |grain, what| counts[&(grain, Quantity::Spo2, what)];
        let count = |hit, of| Count { hit, of };
        assert_eq!(found(Grain::Second, What::Cause("slipped")), count(30, 40));
        assert_eq!(found(Grain::Second, What::Together), count(30, 40));
        assert_eq!(found(Grain::Second, What::Honest), count(80, 80));
        assert_eq!(found(Grain::Second, What::Right(Reason::Step)), count(40, 120));
        assert_eq!(found(Grain::Second, What::Cost(Reason::Step)), count(80, 80));
        assert_eq!(found(Grain::Minute, What::Together), count(1, 1));
        assert_eq!(found(Grain::Minute, What::Honest), count(1, 1));
    }
}
