//! What the numbers of a channel look like. The ranges tell one quantity from another and judge nobody;
//! common practice, no source.

use super::names::UnitSays;
use crate::recording::Quantity;

/// At most so many samples are looked at.
const LOOKED_AT: usize = 20_000;
/// Fewer numbers show nothing.
const LEAST: usize = 3;
/// Whole numbers of so few kinds may be a code.
const CODES: usize = 3;
/// Fewer changes than this show no count.
const STEPS: usize = 8;

/// A column's numbers thinned out evenly as they come, so that a long night costs no more than a short one.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::read) struct Thinned {
    numbers: Vec<f64>,
    every: usize,
    seen: usize,
}

impl Default for Thinned {
    fn default() -> Self {
        Self { numbers: Vec::new(), every: 1, seen: 0 }
    }
}

impl Thinned {
    /// Takes the next number.
    pub(in crate::read) fn push(&mut self, number: f64) {
        if self.seen.is_multiple_of(self.every) {
            if self.numbers.len() == LOOKED_AT {
                let mut at = 0;
                self.numbers.retain(|_| {
                    at += 1;
                    at % 2 == 1
                });
                self.every *= 2;
            }
            if self.seen.is_multiple_of(self.every) {
                self.numbers.push(number);
            }
        }
        self.seen += 1;
    }

    pub(super) fn numbers(&self) -> Option<Numbers> {
        Numbers::of(&self.numbers)
    }
}

/// The numbers of a channel, sorted, and what their order showed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Numbers {
    sorted: Vec<f64>,
    pub(super) median: f64,
    /// They count up or down: a time, or the number of a row.
    counts: bool,
}

impl Numbers {
    pub(super) fn of(samples: &[f64]) -> Option<Self> {
        let step = samples.len().div_ceil(LOOKED_AT).max(1);
        let taken = |from: usize| {
            let every = samples.iter().skip(from).step_by(step).copied();
            every.filter(|x| x.is_finite() && *x != 0.0).collect::<Vec<f64>>()
        };
        // A channel that fills only every so many places may stand between those that are looked at.
        let mut sorted = (0..step).map(taken).find(|all| all.len() >= LEAST)?;
        let counts = counts(&sorted);
        sorted.sort_unstable_by(f64::total_cmp);
        let median = *sorted.get(sorted.len() / 2)?;
        Some(Self { sorted, median, counts })
    }

    /// The scored quantities that numbers under such a unit look like.
    pub(super) fn like(&self, unit: UnitSays) -> Vec<Quantity> {
        if self.counts {
            return Vec::new();
        }
        let broken_kpa = self.like_kpa() && self.broken();
        let like = match unit {
            UnitSays::Pressure => vec![(Quantity::Tcpco2, self.could_be(Quantity::Tcpco2))],
            UnitSays::Percent => {
                // CO2 in percent of the air is about what it is in kPa.
                vec![
                    (Quantity::Spo2, self.could_be(Quantity::Spo2)),
                    (Quantity::Tcpco2, broken_kpa),
                ]
            }
            UnitSays::Rate => vec![(Quantity::Pulse, self.could_be(Quantity::Pulse))],
            UnitSays::Nothing => vec![
                (Quantity::Spo2, self.lie((70.0, 100.0), (85.0, 100.0)) || self.like_fraction()),
                (Quantity::Pulse, self.like_pulse()),
                (Quantity::Tcpco2, broken_kpa || self.like_mmhg()),
            ],
            UnitSays::Else => Vec::new(),
        };
        like.into_iter().filter(|(_, like)| *like).map(|(quantity, _)| quantity).collect()
    }

    /// Whether the numbers of a quantity could be these.
    pub(super) fn could_be(&self, quantity: Quantity) -> bool {
        match quantity {
            Quantity::Spo2 => self.lie((50.0, 100.0), (80.0, 100.0)) || self.like_fraction(),
            Quantity::Pulse => self.like_pulse(),
            _ => self.like_kpa() || self.like_mmhg(),
        }
    }

    /// Whether they are whole and of few kinds.
    pub(super) fn are_codes(&self) -> bool {
        self.sorted.iter().all(|x| x.fract() == 0.0) && self.kinds() <= CODES
    }

    /// How many different ones there are.
    pub(super) fn kinds(&self) -> usize {
        1 + self.sorted.windows(2).filter(|pair| pair[0] < pair[1]).count()
    }

    /// Whether most lie between two values, the median between two others.
    fn lie(&self, (low, high): (f64, f64), (from, to): (f64, f64)) -> bool {
        let inside =
            self.sorted.partition_point(|x| *x <= high) - self.sorted.partition_point(|x| *x < low);
        inside * 2 > self.sorted.len() && (from..=to).contains(&self.median)
    }

    /// Whether a third or more are no whole numbers.
    fn broken(&self) -> bool {
        self.sorted.iter().filter(|x| x.fract() != 0.0).count() * 3 >= self.sorted.len()
    }

    fn like_fraction(&self) -> bool {
        self.lie((0.5, 1.0), (0.8, 1.0)) && self.broken()
    }

    fn like_pulse(&self) -> bool {
        self.lie((25.0, 220.0), (35.0, 200.0))
    }

    pub(super) fn like_kpa(&self) -> bool {
        self.lie((2.0, 15.0), (3.0, 13.0))
    }

    fn like_mmhg(&self) -> bool {
        self.lie((15.0, 110.0), (22.0, 98.0))
    }
}

/// Whether numbers in their order are a count: whole ones that nearly always go the same way, or others that
/// go on by the same step. What is measured goes up and down.
fn counts(numbers: &[f64]) -> bool {
    let steps: Vec<f64> =
        numbers.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step != 0.0).collect();
    let Some(first) = steps.first().filter(|_| steps.len() >= STEPS) else { return false };
    if numbers.iter().all(|x| x.fract() == 0.0) {
        let up = steps.iter().filter(|step| **step > 0.0).count();
        return up.max(steps.len() - up) * 100 >= steps.len() * 98;
    }
    let largest = numbers.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
    steps.iter().all(|step| (step - first).abs() <= 1e-9 * largest)
}
