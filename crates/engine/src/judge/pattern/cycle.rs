//! How regular the falls are: the spectrum of SpO2 and the spacing of its falls.
//!
//! The night is cut into windows of ten minutes. In each, SpO2 averaged over four seconds loses its
//! straight trend, is tapered, and its power is taken at every whole number of cycles in the window.
//! What is reported is the share of the power between ten-second and 200-second cycles that lies between
//! 20 and 100 seconds, where breathing that stops and starts again puts it, and the cycle length with
//! the most power. The band is common practice, with no source; nothing is decided by it.

use std::f64::consts::PI;

use crate::trace::Trace;

/// Seconds of one window.
const WINDOW_S: f64 = 600.0;
/// Seconds averaged into one point; a longer sampling period stands as it is.
const POINT_S: f64 = 4.0;
/// Share of a window's points that must be believed.
const BELIEVED_SHARE: f64 = 0.8;
/// Cycles in a window: 200 s to 10 s.
const WHOLE: std::ops::RangeInclusive<u32> = 3..=60;
/// Cycles in a window: 100 s to 20 s.
const BAND: std::ops::RangeInclusive<u32> = 6..=30;

/// What the spectrum says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cycle {
    /// Share of the power that lies in the band, %.
    pub(super) share_pct: f64,
    /// Length of the strongest cycle in the band, s.
    pub(super) length_s: f64,
}

/// The cycle of a trace's counted samples; `None` when no window is believed enough, or the sampling is
/// too coarse to show a cycle of ten seconds twice.
pub(super) fn cycle(trace: &Trace) -> Option<Cycle> {
    if trace.period_s > POINT_S + 1e-9 {
        return None;
    }
    let points = points(trace);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a window holds a few hundred points"
    )]
    let in_window = (WINDOW_S / POINT_S).round() as usize;
    let windows: Vec<Vec<f64>> = points.chunks_exact(in_window).filter_map(prepared).collect();
    let mut power = vec![0.0; *WHOLE.end() as usize + 1];
    for k in WHOLE {
        let wave = wave(k, in_window);
        power[k as usize] = windows.iter().map(|window| power_of(&wave, window)).sum();
    }
    let total: f64 = WHOLE.map(|k| power[k as usize]).sum();
    let in_band: f64 = BAND.map(|k| power[k as usize]).sum();
    let strongest = BAND.max_by(|&a, &b| power[a as usize].total_cmp(&power[b as usize]))?;
    (total > 0.0).then(|| Cycle {
        share_pct: 100.0 * in_band / total,
        length_s: WINDOW_S / f64::from(strongest),
    })
}

/// Means over `POINT_S`; NaN where fewer than half of a point's samples count.
fn points(trace: &Trace) -> Vec<f64> {
    let per_point = trace.samples_in(POINT_S);
    (0..trace.len() / per_point)
        .map(|point| {
            let range = point * per_point..(point + 1) * per_point;
            let counted = || range.clone().filter(|&i| trace.counts(i));
            let count = counted().count();
            if count * 2 < per_point {
                f64::NAN
            } else {
                counted().map(|i| trace.values[i]).sum::<f64>() / count as f64
            }
        })
        .collect()
}

/// A window with its short gaps bridged, its straight trend taken out, and its ends tapered.
fn prepared(points: &[f64]) -> Option<Vec<f64>> {
    let believed = points.iter().filter(|point| !point.is_nan()).count();
    if (believed as f64) < BELIEVED_SHARE * points.len() as f64 {
        return None;
    }
    let bridged = bridged(points);
    let n = bridged.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = bridged.iter().sum::<f64>() / n;
    let moment = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
        bridged.iter().enumerate().map(|(i, &x)| f(i as f64 - middle, x)).sum()
    };
    let slope = moment(&|t, x| t * (x - mean)) / moment(&|t, _| t * t);
    Some(
        bridged
            .iter()
            .enumerate()
            .map(|(i, &x)| {
                let taper = 0.5 - 0.5 * libm::cos(2.0 * PI * (i as f64 + 0.5) / n);
                taper * (x - mean - slope * (i as f64 - middle))
            })
            .collect(),
    )
}

/// NaN points replaced by the straight line between their neighbours, or the one neighbour at an end.
fn bridged(points: &[f64]) -> Vec<f64> {
    let mut bridged = points.to_vec();
    let known: Vec<usize> = (0..points.len()).filter(|&i| !points[i].is_nan()).collect();
    let (Some(&first), Some(&last)) = (known.first(), known.last()) else { return bridged };
    bridged[..first].fill(points[first]);
    bridged[last..].fill(points[last]);
    for pair in known.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        for (i, point) in bridged.iter_mut().enumerate().take(b).skip(a + 1) {
            let along = (i - a) as f64 / (b - a) as f64;
            *point = points[a] + along * (points[b] - points[a]);
        }
    }
    bridged
}

/// `k` cycles in a window of `count` points, by turning a unit vector step by step.
fn wave(k: u32, count: usize) -> Vec<[f64; 2]> {
    let angle = 2.0 * PI * f64::from(k) / count as f64;
    let (step_re, step_im) = (libm::cos(angle), libm::sin(angle));
    let turn =
        |&[re, im]: &[f64; 2]| Some([re * step_re - im * step_im, re * step_im + im * step_re]);
    std::iter::successors(Some([1.0, 0.0]), turn).take(count).collect()
}

/// The power that a wave has in a window.
fn power_of(wave: &[[f64; 2]], window: &[f64]) -> f64 {
    let mut sum = [0.0; 2];
    for (x, [re, im]) in window.iter().zip(wave) {
        sum = [sum[0] + x * re, sum[1] + x * im];
    }
    sum[0] * sum[0] + sum[1] * sum[1]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Quantity;

    fn trace(value: impl Fn(f64) -> f64) -> Trace {
        let values: Vec<f64> = (0..7200).map(|i| value(f64::from(i))).collect();
        let n = values.len();
        Trace {
            quantity: Quantity::Spo2,
            period_s: 1.0,
            offset_s: 0.0,
            values,
            band: vec![crate::trace::Band::default(); n],
            inside: vec![true; n],
            believed: vec![true; n],
        }
    }

    /// A pure wave has all its power at its own length, by Fourier's theorem.
    #[test]
    fn a_wave_of_fifty_seconds_is_found_at_fifty_seconds() {
        let found = cycle(&trace(|t| 94.0 + 2.0 * libm::sin(2.0 * PI * t / 50.0))).unwrap();
        assert!((found.length_s - 50.0).abs() < 1e-9, "{found:?}");
        assert!(found.share_pct > 99.0, "{found:?}");
    }

    #[test]
    fn a_slow_swing_lies_outside_the_band() {
        let found = cycle(&trace(|t| 94.0 + 2.0 * libm::sin(2.0 * PI * t / 170.0))).unwrap();
        assert!(found.share_pct < 20.0, "{found:?}");
    }

    #[test]
    fn short_gaps_are_bridged_and_long_ones_leave_no_window() {
        let mut short = trace(|t| 94.0 + 2.0 * libm::sin(2.0 * PI * t / 50.0));
        (0..7200).step_by(60).for_each(|i| short.believed[i..i + 5].fill(false));
        assert!((cycle(&short).unwrap().length_s - 50.0).abs() < 1e-9);
        short.believed.fill(false);
        assert_eq!(cycle(&short), None);
    }
}
