//! Anchors: the moments at which the sensor's error is known.
//!
//! A blood gas is paired with the median of what the sensor read, and may be believed, around the moment
//! at which the sensor shows that blood (`aarrestad-2016` pairs 2 min later). A gas check needs no
//! pairing: the sensor was in a gas of known CO2, before the night, after it or between.

use crate::criteria::CorrectCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::{BloodGas, GasCheck};
use crate::recording::Channel;
use crate::screen::{ChannelScreen, Screened};
use crate::time::{Clock, Stretch};

use super::words::both_units;
use super::{Anchor, AnchorKind, Unpaired, UnusedCheck, median};

/// What the notes give to know the sensor's error by.
#[derive(Default)]
pub(super) struct Found {
    /// The anchors in order of time, each fact once.
    pub(super) anchors: Vec<Anchor>,
    /// The blood gases that were taken and cannot be paired.
    pub(super) unpaired: Vec<Unpaired>,
    /// The gas checks that were noted and cannot be used.
    pub(super) unused_checks: Vec<UnusedCheck>,
    /// What was noticed.
    pub(super) findings: Vec<Finding>,
}

/// The anchors, and what cannot be one.
pub(super) fn find(
    screened: &Screened,
    channel: &Channel,
    screen: &ChannelScreen,
    values: &[f64],
    limits: &CorrectCriteria,
) -> Found {
    let mut found = Found::default();
    let recording = &screened.recording;
    let (duration_s, clock) = (recording.duration_s, &recording.clock);
    let sensor = Sensor { channel, screen, values, limits, duration_s };
    let mut anchors = Vec::new();
    for gas in &screened.notes.blood_gases {
        match sensor.pair(gas) {
            Ok(anchor) => anchors.push(anchor),
            Err((why, window)) => {
                let (kpa, when) = (both_units(gas.pco2_kpa), sensor.clock_words(gas.at_s, clock));
                let what = format!("The blood gas of {kpa} {when}");
                found.findings.push(unusable(&what, &why, sensor.weight(gas.at_s), window));
                let (at_s, pco2_kpa) = (gas.at_s, gas.pco2_kpa);
                let unpaired = Unpaired { at_s, pco2_kpa, why, contradicts: None };
                if !found.unpaired.contains(&unpaired) {
                    found.unpaired.push(unpaired);
                }
            }
        }
    }
    for check in &screened.notes.gas_checks {
        match sensor.check(check) {
            Ok(anchor) => anchors.push(anchor),
            Err(why) => {
                let what = format!("The gas check {}", sensor.clock_words(check.at_s, clock));
                found.findings.push(unusable(&what, &why, sensor.weight(check.at_s), None));
                let (at_s, expected_kpa) = (check.at_s, check.expected_kpa);
                let unused = UnusedCheck { at_s, expected_kpa, why };
                if !found.unused_checks.contains(&unused) {
                    found.unused_checks.push(unused);
                }
            }
        }
    }
    anchors.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    for anchor in anchors {
        if found.anchors.iter().any(|known| same_fact(known, &anchor, limits)) {
            let when = sensor.clock_words(anchor.taken_s, clock);
            found.findings.push(twice(&anchor, &when));
        } else {
            found.anchors.push(anchor);
        }
    }
    found
}

/// Whether two entries are one fact: the same number, noted again at about the same time.
fn same_fact(a: &Anchor, b: &Anchor, limits: &CorrectCriteria) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() < crate::unit::TOLERANCE;
    let error = |anchor: &Anchor| anchor.reference_kpa - anchor.observed_kpa;
    let sensor_agrees = match a.kind {
        AnchorKind::GasCheck => close(a.observed_kpa, b.observed_kpa),
        // Read again a minute later the sensor may have moved a little; one that moved much says more.
        AnchorKind::BloodGas => {
            close(a.at_s, b.at_s)
                || (error(a) - error(b)).abs() <= limits.blood_gas_sd_kpa.value.min(a.sd_kpa)
        }
    };
    a.kind == b.kind
        && close(a.reference_kpa, b.reference_kpa)
        && sensor_agrees
        && (a.at_s - b.at_s).abs() < (limits.anchors_apart_min.value * 60.0).max(1.0)
}

struct Sensor<'a> {
    channel: &'a Channel,
    screen: &'a ChannelScreen,
    values: &'a [f64],
    limits: &'a CorrectCriteria,
    duration_s: f64,
}

impl Sensor<'_> {
    fn pair(&self, gas: &BloodGas) -> Result<Anchor, (String, Option<Stretch>)> {
        self.usable(gas.at_s, &[gas.pco2_kpa]).map_err(|why| (why, None))?;
        let centre_s = gas.at_s + self.limits.blood_gas_lag_s.value;
        let half_s = self.limits.blood_gas_window_s.value.max(self.channel.period_s) / 2.0;
        let window = Stretch::new(centre_s - half_s, centre_s + half_s);
        let samples = self.channel.indices(&window);
        let read = samples.clone().filter(|&i| self.screen.believed[i]);
        let read: Vec<f64> = read.map(|i| self.values[i]).collect();
        let observed_kpa = median(read.clone()).filter(|_| read.len() * 2 >= samples.len());
        let Some(observed_kpa) = observed_kpa else {
            return Err((self.why(&window), Some(window)));
        };
        Ok(Anchor {
            kind: AnchorKind::BloodGas,
            taken_s: gas.at_s,
            at_s: centre_s,
            reference_kpa: gas.pco2_kpa,
            observed_kpa,
            sd_kpa: self.limits.blood_gas_sd_kpa.value,
        })
    }

    /// Why the sensor cannot be paired in this window.
    fn why(&self, window: &Stretch) -> String {
        if self.channel.indices(window).is_empty() {
            return "it was taken outside the recording of CO2".into();
        }
        let spans = self.screen.spans.iter().filter(|span| span.stretch.overlaps(window));
        let mut reasons: Vec<&str> = spans.map(|span| span.reason.words()).collect();
        reasons.dedup();
        format!("CO2 cannot be believed at that time ({})", reasons.join(", "))
    }

    fn check(&self, check: &GasCheck) -> Result<Anchor, String> {
        self.usable(check.at_s, &[check.expected_kpa, check.observed_kpa])?;
        Ok(Anchor {
            kind: AnchorKind::GasCheck,
            taken_s: check.at_s,
            at_s: check.at_s,
            reference_kpa: check.expected_kpa,
            observed_kpa: check.observed_kpa,
            sd_kpa: self.limits.gas_check_sd_kpa.value,
        })
    }

    /// Whether a moment lies too far from the recording to say anything of it: it is of another night.
    fn is_far(&self, at_s: f64) -> bool {
        let farthest_s = self.limits.anchor_farthest_h.value * 3600.0;
        !(-farthest_s..=self.duration_s + farthest_s).contains(&at_s)
    }

    /// What it weighs that an anchor cannot be used: one of another night may be another patient's.
    fn weight(&self, at_s: f64) -> Weight {
        if self.is_far(at_s) { Weight::Serious } else { Weight::Caution }
    }

    /// When, on the wall clock, with its date where it is not the night's.
    fn clock_words(&self, at_s: f64, clock: &Clock) -> String {
        format!("at {}", clock.dated(at_s, self.duration_s))
    }

    /// Refuses an anchor far from the night, or whose CO2 cannot be one in kPa.
    fn usable(&self, at_s: f64, readings_kpa: &[f64]) -> Result<(), String> {
        let farthest_h = self.limits.anchor_farthest_h.value;
        let (lowest_kpa, highest_kpa) =
            (self.limits.anchor_lowest_kpa.value, self.limits.anchor_highest_kpa.value);
        if self.is_far(at_s) {
            return Err(format!("its time lies more than {farthest_h} h from the recording"));
        }
        match readings_kpa.iter().find(|&&kpa| !(lowest_kpa..=highest_kpa).contains(&kpa)) {
            Some(kpa) => Err(format!(
                "its CO2, {kpa:.1} kPa, is not between {lowest_kpa} and {highest_kpa} kPa"
            )),
            None => Ok(()),
        }
    }
}

fn unusable(what: &str, why: &str, weight: Weight, window: Option<Stretch>) -> Finding {
    let sentence = format!("{what} cannot be used to correct CO2: {why}.");
    let finding = Finding::new("anchor_unusable", weight, sentence).on("tcpco2");
    match window {
        Some(window) => finding.at(window),
        None => finding,
    }
}

fn twice(anchor: &Anchor, when: &str) -> Finding {
    let sentence = format!(
        "The {} of {} {when} was noted twice and counts once.",
        anchor.kind.words(),
        both_units(anchor.reference_kpa)
    );
    Finding::new("anchor_noted_twice", Weight::Note, sentence).on("tcpco2")
}
