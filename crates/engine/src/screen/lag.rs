//! The lag of CO2 behind SpO2, from the night itself.
//!
//! When breathing falls, SpO2 falls and CO2 rises together in the blood; the skin shows CO2 later, by the
//! dead time of blood and membrane and by the slowness of both (`gislason-1989`: behind in the first
//! minute, then together; `ear-sensor-2002`). Whoever lays a cluster of falls beside CO2 must know by how
//! much.
//!
//! Both are taken as means of 10 s, smoothed over two minutes, and freed of what is slower than 40 min;
//! the lag is the shift at which falls of SpO2 and rises of CO2 agree best. It is that of events some
//! minutes long. Very short ones, apnoeas in quick turn, reach the skin sooner and weaker. Where the two
//! do not move together, or the halves of the night do not agree, there is no figure.

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::{Channel, Quantity, Recording};
use crate::screen::ChannelScreen;
use crate::time::Stretch;

/// Length of a point, s.
const POINT_S: f64 = 10.0;

/// Points on each side of one over which it is smoothed: two minutes in all.
const SHORT: usize = 6;

/// Points on each side of one whose mean is taken off: 40 minutes in all.
const LONG: usize = 120;

/// Shifts tried, in points: from CO2 a minute before SpO2 to five minutes behind it.
const SHIFTS: std::ops::RangeInclusive<isize> = -6..=30;

/// Fewest points of both: an hour.
const LEAST_POINTS: usize = 360;

/// The lag of CO2 behind SpO2 in a night.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// How far CO2 lies behind SpO2, s.
    pub seconds: f64,
    /// The least of the whole night's and its halves' lags, s.
    pub lowest_s: f64,
    /// The most of them, s.
    pub highest_s: f64,
    /// How well falls of SpO2 and rises of CO2 agree at that lag, as a correlation.
    pub correlation: f64,
}

/// The lag, or why none can be told.
pub(super) fn find(
    recording: &Recording,
    channels: &[ChannelScreen],
    limits: &ScreenCriteria,
) -> Result<Lag, String> {
    let moves = |quantity: Quantity| {
        let channel = recording.channel(quantity);
        let screen = channels.iter().find(|screen| screen.quantity == quantity);
        let (channel, screen) =
            channel.zip(screen).ok_or_else(|| recording.lacks(quantity, quantity.name()))?;
        if channel.period_s > POINT_S {
            return Err(format!("{} is sampled too coarsely for it", quantity.name()));
        }
        Ok(swings(&points(channel, &screen.believed, recording.duration_s)))
    };
    let (spo2, co2) = (moves(Quantity::Spo2)?, moves(Quantity::Tcpco2)?);
    let least = limits.lag_correlation.value;
    let middle = spo2.len() / 2;
    let halves = [0..middle, middle..spo2.len()].map(|half| shifts(&spo2, &co2, half));
    let whole: Vec<Sums> = halves[0].iter().zip(&halves[1]).map(|(&a, &b)| a.with(b)).collect();
    let (shift, correlation) = best(&whole)
        .ok_or_else(|| "too little of the night is believed in both SpO2 and CO2".to_owned())?;
    if correlation < least || shift == *SHIFTS.start() || shift == *SHIFTS.end() {
        return Err("SpO2 and CO2 do not move together enough to tell it".to_owned());
    }
    let told = halves.iter().filter_map(|half| best(half)).filter(|best| best.1 >= least);
    let (lowest, highest) = told
        .map(|(shift, _)| shift)
        .fold((shift, shift), |(low, high), shift| (low.min(shift), high.max(shift)));
    let seconds = |shift: isize| shift as f64 * POINT_S;
    if seconds(highest - lowest) > limits.lag_apart_s.value {
        return Err("the halves of the night tell different lags".to_owned());
    }
    Ok(Lag {
        seconds: seconds(shift),
        lowest_s: seconds(lowest),
        highest_s: seconds(highest),
        correlation,
    })
}

/// A note of the lag.
pub(super) fn finding(lag: &Lag) -> Finding {
    let sentence = if lag.seconds >= POINT_S {
        format!(
            "CO2 lies about {:.0} s behind SpO2 in this night: a rise of CO2 belongs to what SpO2 showed \
             that much earlier.",
            lag.seconds
        )
    } else {
        "CO2 lies no further behind SpO2 in this night than can be told.".to_owned()
    };
    Finding::new("co2_lag", Weight::Note, sentence).on(Quantity::Tcpco2.id())
}

/// Means of believed samples; NaN where fewer than half are.
fn points(channel: &Channel, believed: &[bool], duration_s: f64) -> Vec<f64> {
    let mut points = Vec::new();
    let mut from_s = 0.0;
    while from_s + POINT_S <= duration_s {
        let samples = channel.indices(&Stretch::new(from_s, from_s + POINT_S));
        let all = samples.len();
        let (sum, count) = samples
            .filter(|&i| believed[i])
            .fold((0.0, 0), |(sum, count), i| (sum + channel.samples[i], count + 1));
        points.push(if 2 * count > all { sum / count as f64 } else { f64::NAN });
        from_s += POINT_S;
    }
    points
}

/// The points smoothed, less their slow course.
fn swings(points: &[f64]) -> Vec<f64> {
    let (mut sums, mut counts) = (vec![0.0], vec![0]);
    let (mut sum, mut count) = (0.0, 0);
    for point in points {
        if point.is_finite() {
            sum += point;
            count += 1;
        }
        sums.push(sum);
        counts.push(count);
    }
    let mean = |i: usize, half: usize| {
        let (from, to) = (i.saturating_sub(half), (i + half).min(points.len()));
        let count = counts[to] - counts[from];
        if 2 * count > to - from { (sums[to] - sums[from]) / count as f64 } else { f64::NAN }
    };
    (0..points.len()).map(|i| mean(i, SHORT) - mean(i, LONG)).collect()
}

/// What a correlation needs of the points of both.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Sums {
    count: f64,
    x: f64,
    y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Sums {
    fn with(self, other: Self) -> Self {
        Self {
            count: self.count + other.count,
            x: self.x + other.x,
            y: self.y + other.y,
            xx: self.xx + other.xx,
            yy: self.yy + other.yy,
            xy: self.xy + other.xy,
        }
    }

    /// The correlation of falls of SpO2 with CO2; `None` of too few points.
    fn agreement(self) -> Option<f64> {
        if self.count < LEAST_POINTS as f64 {
            return None;
        }
        let [x, y, xx, yy, xy] =
            [self.x, self.y, self.xx, self.yy, self.xy].map(|sum| sum / self.count);
        let spread = ((xx - x * x) * (yy - y * y)).sqrt();
        Some(if spread > 1e-9 { -(xy - x * y) / spread } else { 0.0 })
    }
}

/// The sums at each shift, of the points of SpO2 in a range with CO2 so much later.
fn shifts(spo2: &[f64], co2: &[f64], range: std::ops::Range<usize>) -> Vec<Sums> {
    let at = |shift: isize| {
        let mut sums = Sums::default();
        for i in range.clone() {
            let Some(&y) = i.checked_add_signed(shift).and_then(|k| co2.get(k)) else { continue };
            let x = spo2[i];
            if x.is_finite() && y.is_finite() {
                sums = sums.with(Sums { count: 1.0, x, y, xx: x * x, yy: y * y, xy: x * y });
            }
        }
        sums
    };
    SHIFTS.map(at).collect()
}

/// The shift at which CO2 rises as SpO2 falls, and how well; `None` of too few points.
fn best(sums: &[Sums]) -> Option<(isize, f64)> {
    let all = SHIFTS.zip(sums).filter_map(|(shift, sums)| Some((shift, sums.agreement()?)));
    all.fold(None, |best, found| match best {
        Some((_, most)) if most >= found.1 => best,
        _ => Some(found),
    })
}
