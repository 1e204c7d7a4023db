//! True figures of a night, worked out from the truth alone and apart from the engine's own scoring.

use super::Event;
use crate::body::Night;
use crate::plan::{EventKind, Plan, Stage};
use engine::unit::kpa_from_mmhg;

/// True figures of the night, from lights out to lights on without the time out of bed.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Summary {
    /// Hours they stand on.
    pub hours: f64,
    /// Hours asleep.
    pub asleep_h: f64,
    /// Mean saturation at the ear, %.
    pub spo2_mean: f64,
    /// Median saturation, %.
    pub spo2_median: f64,
    /// Saturation below which a tenth of the time was spent, %.
    pub spo2_p10: f64,
    /// Lowest saturation, %.
    pub spo2_min: f64,
    /// Share of the time with saturation below 90 %, %.
    pub spo2_time_below_90: f64,
    /// Longest run with saturation at or below 88 %, s.
    pub spo2_longest_at_or_below_88_s: f64,
    /// Disturbances with a fall of 3 % or more, an hour.
    pub falls3_per_h: f64,
    /// Disturbances with a fall of 4 % or more, an hour.
    pub falls4_per_h: f64,
    /// Obstructive events, whole and partial, an hour asleep.
    pub obstructions_per_h: f64,
    /// Mean pulse, /min.
    pub pulse_mean: f64,
    /// Mean arterial PCO2 before lights out, kPa.
    pub paco2_awake_kpa: f64,
    /// Mean arterial PCO2, kPa.
    pub paco2_mean_kpa: f64,
    /// Highest arterial PCO2, kPa.
    pub paco2_max_kpa: f64,
    /// Highest level of arterial PCO2 held for ten minutes, kPa; NaN in a shorter night.
    pub paco2_sustained10_kpa: f64,
    /// Share of the time with arterial PCO2 above 50 mmHg, %.
    pub paco2_time_above_50mmhg: f64,
    /// Share of the time with arterial PCO2 above 55 mmHg, %.
    pub paco2_time_above_55mmhg: f64,
}

pub(crate) fn summary(plan: &Plan, night: &Night, events: &[Event]) -> Summary {
    let inside: Vec<usize> =
        (plan.lights_out_s..plan.lights_on_s).filter(|&i| plan.stages[i] != Stage::Up).collect();
    let pick = |signal: &[f64]| -> Vec<f64> { inside.iter().map(|&i| signal[i]).collect() };
    let (spo2, paco2_kpa) = (pick(&night.spo2), pick(&night.paco2_kpa));
    let mut sorted = spo2.clone();
    sorted.sort_by(f64::total_cmp);
    let hours = inside.len() as f64 / 3600.0;
    let asleep_h = inside.iter().filter(|&&i| plan.stages[i].asleep()).count() as f64 / 3600.0;
    let falls = |least_pct: f64| {
        events.iter().filter(|event| event.fall_pct >= least_pct).count() as f64 / hours
    };
    let obstructions = events
        .iter()
        .filter(|event| matches!(event.kind, EventKind::Obstructive | EventKind::Partial))
        .count() as f64;
    let above = |mmhg: f64| share(&paco2_kpa, |x| x > kpa_from_mmhg(mmhg));
    Summary {
        hours,
        asleep_h,
        spo2_mean: mean(&spo2),
        spo2_median: nth(&sorted, 0.5),
        spo2_p10: nth(&sorted, 0.1),
        spo2_min: nth(&sorted, 0.0),
        spo2_time_below_90: share(&spo2, |x| x < 90.0),
        spo2_longest_at_or_below_88_s: longest_run(&spo2, |x| x <= 88.0),
        falls3_per_h: falls(3.0),
        falls4_per_h: falls(4.0),
        obstructions_per_h: obstructions / asleep_h,
        pulse_mean: mean(&pick(&night.pulse)),
        paco2_awake_kpa: mean(&night.paco2_kpa[..plan.lights_out_s]),
        paco2_mean_kpa: mean(&paco2_kpa),
        paco2_max_kpa: paco2_kpa.iter().copied().fold(f64::NAN, f64::max),
        paco2_sustained10_kpa: sustained(
            &night.paco2_kpa[plan.lights_out_s..plan.lights_on_s],
            600,
        ),
        paco2_time_above_50mmhg: above(50.0),
        paco2_time_above_55mmhg: above(55.0),
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn share(values: &[f64], holds: impl Fn(f64) -> bool) -> f64 {
    100.0 * values.iter().filter(|&&x| holds(x)).count() as f64 / values.len() as f64
}

/// The value at a share of the sorted list, the nearest below; NaN when it is empty.
fn nth(sorted: &[f64], at: f64) -> f64 {
    let index = crate::plan::second(at * sorted.len() as f64, sorted.len().saturating_sub(1));
    sorted.get(index).copied().unwrap_or(f64::NAN)
}

fn longest_run(values: &[f64], holds: impl Fn(f64) -> bool) -> f64 {
    let mut run: usize = 0;
    let mut longest = 0;
    for &value in values {
        run = if holds(value) { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    longest as f64
}

/// The largest over all windows of the window's least value; NaN when no window fits.
fn sustained(values: &[f64], window: usize) -> f64 {
    // The least of a sliding window by a queue of candidates that only rise.
    let mut rising: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    let mut best = f64::NAN;
    for (i, &value) in values.iter().enumerate() {
        while rising.back().is_some_and(|&j| values[j] >= value) {
            rising.pop_back();
        }
        rising.push_back(i);
        if rising.front().is_some_and(|&j| j + window <= i) {
            rising.pop_front();
        }
        if let Some(&least) = rising.front().filter(|_| i + 1 >= window) {
            best = best.max(values[least]);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sustained_is_the_best_of_the_window_minima() {
        assert!((sustained(&[1.0, 5.0, 4.0, 2.0, 6.0], 2) - 4.0).abs() < 1e-12);
        assert!((sustained(&[3.0, 3.0, 3.0], 3) - 3.0).abs() < 1e-12);
        assert!(sustained(&[3.0, 3.0], 3).is_nan());
    }
}
