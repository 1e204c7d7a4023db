//! The delta index: how restless SpO2 is, reading by reading.

use crate::score::sides::Span;
use crate::trace::Trace;

/// Seconds between readings, by the definition of the index.
const APART_S: f64 = 12.0;

/// One reading: outside the period, seen, or not believed.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Reading {
    Outside,
    Seen(f64),
    Unseen,
}

/// Mean absolute difference of readings 12 s apart, over the pairs of neighbours both believed.
///
/// Readings are taken every 12 s from the first sample of the period, each the nearest sample. The
/// lowest and the highest are exact: over every pair of neighbours inside the period, with an
/// unbelieved reading anywhere from `floor` to `ceiling`. `None` without a believed pair.
pub(super) fn delta_index(trace: &Trace, floor: f64, ceiling: f64) -> Option<Span> {
    let readings = readings(trace);
    let mean = |total: f64, pairs: usize| (pairs > 0).then(|| total / pairs as f64);
    let pairs = || readings.windows(2).map(|pair| (pair[0], pair[1]));
    let seen: Vec<f64> = pairs()
        .filter_map(|pair| match pair {
            (Reading::Seen(a), Reading::Seen(b)) => Some((a - b).abs()),
            _ => None,
        })
        .collect();
    let value = mean(crate::stats::sum(seen.iter().copied()), seen.len())?;
    let inside = pairs().filter(|&(a, b)| a != Reading::Outside && b != Reading::Outside).count();
    let least = mean(least_path(&readings), inside)?;
    let most = mean(most_path(&readings, floor, ceiling), inside)?;
    Some(Span::of(value, least, most))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a non-negative index of a sample in a night"
)]
fn readings(trace: &Trace) -> Vec<Reading> {
    let first = trace.inside.iter().position(|&inside| inside).unwrap_or(trace.len());
    (0..trace.len())
        .map(|k| first + (k as f64 * APART_S / trace.period_s).round() as usize)
        .take_while(|&i| i < trace.len())
        .map(|i| match (trace.inside[i], trace.believed[i]) {
            (false, _) => Reading::Outside,
            (true, true) => Reading::Seen(trace.values[i]),
            (true, false) => Reading::Unseen,
        })
        .collect()
}

/// The least sum of differences: across a gap, from its one edge straight to the other.
fn least_path(readings: &[Reading]) -> f64 {
    let mut last = None;
    let mut total = 0.0;
    for reading in readings {
        match (reading, last) {
            (Reading::Outside, _) => last = None,
            (Reading::Unseen, _) => {}
            (&Reading::Seen(x), before) => {
                total += before.map_or(0.0, |before: f64| (x - before).abs());
                last = Some(x);
            }
        }
    }
    total
}

/// The greatest sum of differences: every unseen reading at one of its two ends, the better choice of
/// each carried along.
fn most_path(readings: &[Reading], floor: f64, ceiling: f64) -> f64 {
    let mut total = 0.0;
    // Where the last reading can have been, with the greatest sum that leads there.
    let mut ends: Vec<(f64, f64)> = Vec::new();
    for reading in readings {
        let places: &[f64] = match reading {
            Reading::Outside => &[],
            Reading::Seen(x) => &[*x],
            Reading::Unseen => &[floor, ceiling],
        };
        if places.is_empty() {
            total += greatest(&ends);
            ends.clear();
            continue;
        }
        let reached = |place: f64| {
            let sums = ends.iter().map(|&(at, sum)| sum + (at - place).abs());
            (place, sums.fold(0.0, f64::max))
        };
        ends = places.iter().map(|&place| reached(place)).collect();
    }
    total + greatest(&ends)
}

fn greatest(ends: &[(f64, f64)]) -> f64 {
    ends.iter().map(|&(_, sum)| sum).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Quantity;
    use proptest::prelude::*;

    const FLOOR: f64 = 50.0;
    const CEILING: f64 = 100.0;

    fn reading() -> impl Strategy<Value = Reading> {
        prop_oneof![
            4 => (85_u8..=100).prop_map(|x| Reading::Seen(f64::from(x))),
            2 => Just(Reading::Unseen),
            1 => Just(Reading::Outside),
        ]
    }

    /// One reading every 12 s.
    fn trace(readings: &[Reading]) -> Trace {
        let seen = |r: &Reading| if let Reading::Seen(x) = r { *x } else { f64::NAN };
        Trace {
            quantity: Quantity::Spo2,
            period_s: 12.0,
            offset_s: 0.0,
            values: readings.iter().map(seen).collect(),
            band: vec![crate::trace::Band::default(); readings.len()],
            inside: readings.iter().map(|r| *r != Reading::Outside).collect(),
            believed: readings.iter().map(|r| matches!(r, Reading::Seen(_))).collect(),
        }
    }

    /// The index with every unseen reading filled from a list of choices.
    fn filled(readings: &[Reading], choices: &[f64]) -> Vec<f64> {
        let mut fills = vec![Vec::new()];
        for reading in readings {
            let places = match reading {
                Reading::Outside => vec![f64::NAN],
                Reading::Seen(x) => vec![*x],
                Reading::Unseen => choices.to_vec(),
            };
            fills = fills
                .iter()
                .flat_map(|fill: &Vec<f64>| {
                    places.iter().map(move |&x| [fill.as_slice(), &[x]].concat())
                })
                .collect();
        }
        fills
            .iter()
            .filter_map(|fill| {
                let steps: Vec<f64> = fill
                    .windows(2)
                    .map(|pair| (pair[0] - pair[1]).abs())
                    .filter(|step| !step.is_nan())
                    .collect();
                crate::stats::mean(&steps)
            })
            .collect()
    }

    proptest! {
        /// The ends of the range for the highest; every level seen for the lowest, since a path of
        /// least length never needs another.
        #[test]
        fn the_bounds_are_those_of_trying_every_filling(
            readings in prop::collection::vec(reading(), 2..9),
        ) {
            let mut levels: Vec<f64> = readings
                .iter()
                .filter_map(|r| if let Reading::Seen(x) = r { Some(*x) } else { None })
                .collect();
            levels.dedup();
            levels.truncate(3);
            let Some(found) = delta_index(&trace(&readings), FLOOR, CEILING) else { return Ok(()) };
            let most = filled(&readings, &[FLOOR, CEILING]).into_iter().fold(0.0, f64::max);
            prop_assert!((found.highest - most.max(found.value)).abs() < 1e-9);
            let tried = filled(&readings, &levels).into_iter().fold(f64::INFINITY, f64::min);
            prop_assert!(found.lowest <= tried.min(found.value) + 1e-9);
            if levels.len() < 3 {
                prop_assert!((found.lowest - tried.min(found.value)).abs() < 1e-9);
            }
        }
    }

    /// olson-1999: n readings make n − 1 differences. Vectors by arithmetic on the definition.
    #[test]
    fn the_index_divides_by_one_less_than_the_readings() {
        for (readings, expected) in [
            ([96.0, 96.0, 96.0, 96.0], 0.0),
            ([96.0, 94.0, 96.0, 94.0], 2.0),
            ([97.0, 96.0, 95.0, 94.0], 1.0),
        ] {
            let found = delta_index(&trace(&readings.map(Reading::Seen)), FLOOR, CEILING).unwrap();
            assert!((found.value - expected).abs() < 1e-12, "{readings:?}: {found:?}");
        }
    }

    #[test]
    fn an_unbelieved_reading_breaks_both_its_pairs() {
        let readings = [96.0, 94.0].map(Reading::Seen);
        let broken = [&readings[..], &[Reading::Unseen], &readings[..]].concat();
        let found = delta_index(&trace(&broken), FLOOR, CEILING).unwrap();
        // Seen: 2 and 2. Least: 2, 1, 1, 2 over four pairs. Most: 2, 44, 46, 2.
        assert_eq!((found.value, found.lowest, found.highest), (2.0, 1.5, 23.5));
    }
}
