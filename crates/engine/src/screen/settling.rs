//! `settling`: tcPCO2 after each fitting, until its curve has reached its level.
//!
//! After fitting, the skin warms, its vessels open and CO2 crosses the membrane: the reading climbs to a
//! plateau over minutes, often past it and back (an overshoot was seen in 69 % of 91 patients; the mean
//! difference from blood was least at minute 10, `domingo-2010`). Healthy people need about 10 min,
//! patients about 15 (`oxford-tc-speed`).
//!
//! The end is found from the curve: it is fitted (see `approach`), and CO2 has settled when what the
//! approach has left stays within the criteria's limit. Four things bound that:
//!
//! - never before the least time, 15 min, because a fit of the first minutes alone is no proof: made sensors
//!   that settle slowly were believed too soon with 10;
//! - where no approach explains the curve, because the patient's own CO2 swings too much, the 15 min of
//!   patients stand;
//! - where what remains is a slope steeper than sleep's own, the sensor is not settled;
//! - never later than the most, which is told in a finding.
//!
//! A recording may begin with the sensor long fitted. CO2 that starts at the level it keeps has settled:
//! a sensor just fitted starts from room air or from its gas.
//!
//! Source: as above; the limits on error, slope and fit are department settings. Age: the same at every
//! age until a set says otherwise.

use crate::criteria::ScreenCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::recording::Channel;
use crate::screen::approach::{Approach, Point};
use crate::screen::fitting::{Fitting, index_at};
use crate::screen::look::{Runs, samples_in};
use crate::time::Stretch;

/// The dead time of sensor and skin, not fitted, min.
const DEAD_MIN: f64 = 1.5;

/// Length of the blocks whose means are fitted, s.
const BLOCK_S: f64 = 10.0;

/// The end must lie in this share of the window fitted, so that the level is seen after it.
const SEEN: f64 = 0.8;

/// The samples before CO2 has settled, out of those that are `usable`.
pub(super) fn find(
    channel: &Channel,
    usable: &[bool],
    fittings: &[Fitting],
    limits: &ScreenCriteria,
) -> (Runs, Vec<Finding>) {
    let curve = Curve { channel, usable, limits };
    let (mut runs, mut findings) = (Runs::new(), Vec::new());
    for fitting in fittings {
        let samples = &fitting.samples;
        let latest = curve.after(fitting, limits.settling_most_min.value);
        let end = match curve.settled(fitting) {
            Settled::Already => {
                findings.push(already(channel, fitting));
                continue;
            }
            Settled::At(end) => end,
            Settled::Never => {
                if latest < samples.end {
                    findings.push(never_settled(channel, fitting, limits));
                }
                latest
            }
        };
        if samples.start < end {
            runs.push(samples.start..end);
        }
    }
    (runs, findings)
}

/// When CO2 settled after a fitting.
enum Settled {
    /// Before the recording began.
    Already,
    /// At this sample.
    At(usize),
    /// Not within the most time.
    Never,
}

/// The CO2 curve.
struct Curve<'a> {
    channel: &'a Channel,
    usable: &'a [bool],
    limits: &'a ScreenCriteria,
}

impl Curve<'_> {
    fn settled(&self, fitting: &Fitting) -> Settled {
        let limits = self.limits;
        if !fitting.told && self.starts_level(fitting) {
            return Settled::Already;
        }
        let soonest = self.after(fitting, limits.settling_least_min.value);
        if soonest >= fitting.samples.end {
            return Settled::At(fitting.samples.end);
        }
        let windows = [limits.settling_window_min.value, limits.settling_most_min.value];
        let found = windows.into_iter().find_map(|window| self.settled_min(fitting, window));
        let Some(minutes) = found else { return Settled::Never };
        let end = self.after(fitting, minutes).max(soonest);
        let lowest_kpa = limits.tcpco2_off_below_kpa.value;
        if self.mean(end, fitting.samples.end).is_some_and(|kpa| kpa < lowest_kpa) {
            return Settled::Never;
        }
        Settled::At(end)
    }

    /// Minutes from the fitting to the end, from so many minutes of the curve; `None` when they do not
    /// show it.
    fn settled_min(&self, fitting: &Fitting, window_min: f64) -> Option<f64> {
        let limits = self.limits;
        let patients_min = limits.settling_patients_min.value;
        let points = self.points(fitting, window_min);
        let shown_min = points.last().map_or(0.0, |last| last.0);
        let Some(fit) = Approach::fit(&points, shown_min) else { return Some(patients_min) };
        let most_min = limits.settling_most_min.value;
        let minutes = fit.settled_min(limits.settling_within_kpa.value, most_min);
        let steep = fit.slope_kpa_per_min.abs() > limits.settling_slope_kpa_per_min.value;
        let poor = fit.rest_kpa > limits.settling_rest_kpa.value;
        let cut_short = shown_min < window_min - 1.0;
        if poor {
            return Some(patients_min);
        }
        (cut_short || (minutes <= SEEN * window_min && !steep)).then_some(minutes)
    }

    /// The curve after a fitting as means of short blocks.
    fn points(&self, fitting: &Fitting, window_min: f64) -> Vec<Point> {
        let block = samples_in(self.channel, BLOCK_S);
        let first = self.after(fitting, DEAD_MIN);
        let last = self.after(fitting, window_min);
        (first..last)
            .step_by(block)
            .filter_map(|from| {
                let to = (from + block).min(last);
                let middle_s = f64::midpoint(self.channel.time_s(from), self.channel.time_s(to));
                Some(((middle_s - fitting.fitted_s) / 60.0, self.mean(from, to)?))
            })
            .collect()
    }

    /// Whether each minute of the least settling time lies where the first one does.
    fn starts_level(&self, fitting: &Fitting) -> bool {
        let minute = samples_in(self.channel, 60.0);
        let end = self.after(fitting, self.limits.settling_least_min.value);
        let start = fitting.samples.start;
        let half = samples_in(self.channel, 30.0);
        let Some(first) = self.mean(start, (start + half).min(end)) else { return false };
        let near = |kpa: f64| (kpa - first).abs() <= self.limits.settling_same_kpa.value;
        end < fitting.samples.end
            && first >= self.limits.tcpco2_off_below_kpa.value
            && (start..end)
                .step_by(minute)
                .all(|from| self.mean(from, (from + minute).min(end)).is_some_and(near))
    }

    /// The sample so many minutes after the fitting, inside it.
    fn after(&self, fitting: &Fitting, minutes: f64) -> usize {
        index_at(self.channel, fitting.fitted_s + minutes * 60.0)
            .clamp(fitting.samples.start, fitting.samples.end)
    }

    /// Mean of the usable samples; `None` of none.
    fn mean(&self, from: usize, to: usize) -> Option<f64> {
        let usable = (from..to).filter(|&i| self.usable[i]);
        let (sum, count) =
            usable.fold((0.0, 0), |(sum, count), i| (sum + self.channel.samples[i], count + 1));
        (count > 0).then(|| sum / f64::from(count))
    }
}

fn of(fitting: &Fitting, channel: &Channel) -> Stretch {
    Stretch::new(channel.time_s(fitting.samples.start), channel.time_s(fitting.samples.end))
}

fn already(channel: &Channel, fitting: &Fitting) -> Finding {
    Finding::new(
        "co2_settled_at_start",
        Weight::Note,
        "CO2 stood at its level from the first reading: the sensor had settled before, and no time \
         is taken for it.",
    )
    .on(channel.id.as_str())
    .at(of(fitting, channel))
}

fn never_settled(channel: &Channel, fitting: &Fitting, limits: &ScreenCriteria) -> Finding {
    let most_min = limits.settling_most_min.value;
    Finding::new(
        "co2_never_settled",
        Weight::Caution,
        format!(
            "CO2 did not settle within {most_min:.0} min of this fitting: it went on changing. What \
             follows is believed, with this reservation."
        ),
    )
    .on(channel.id.as_str())
    .at(of(fitting, channel))
}
