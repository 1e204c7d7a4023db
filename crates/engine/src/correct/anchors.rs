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
use crate::time::Stretch;

use crate::correct::{Anchor, AnchorKind, median};

/// The anchors in order of time, and what was noticed.
pub(super) fn find(
    screened: &Screened,
    channel: &Channel,
    screen: &ChannelScreen,
    values: &[f64],
    limits: &CorrectCriteria,
) -> (Vec<Anchor>, Vec<Finding>) {
    let (mut anchors, mut findings) = (Vec::new(), Vec::new());
    let duration_s = screened.recording.duration_s;
    let sensor = Sensor { channel, screen, values, limits, duration_s };
    let paired = screened.notes.blood_gases.iter().map(|gas| sensor.pair(gas));
    let checked = screened.notes.gas_checks.iter().map(|check| sensor.check(check));
    for found in paired.chain(checked) {
        match found {
            Ok(anchor) => anchors.push(anchor),
            Err(finding) => findings.push(finding),
        }
    }
    anchors.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    (anchors, findings)
}

struct Sensor<'a> {
    channel: &'a Channel,
    screen: &'a ChannelScreen,
    values: &'a [f64],
    limits: &'a CorrectCriteria,
    duration_s: f64,
}

impl Sensor<'_> {
    fn pair(&self, gas: &BloodGas) -> Result<Anchor, Finding> {
        self.usable("A blood gas", gas.at_s, &[gas.pco2_kpa])?;
        let centre_s = gas.at_s + self.limits.blood_gas_lag_s.value;
        let half_s = self.limits.blood_gas_window_s.value.max(self.channel.period_s) / 2.0;
        let window = Stretch::new(centre_s - half_s, centre_s + half_s);
        let samples = self.channel.indices(&window);
        let read = samples.clone().filter(|&i| self.screen.believed[i]);
        let read: Vec<f64> = read.map(|i| self.values[i]).collect();
        let observed_kpa = median(read.clone()).filter(|_| read.len() * 2 >= samples.len());
        let Some(observed_kpa) = observed_kpa else {
            return Err(unusable("A blood gas", &self.why(&window)).at(window));
        };
        Ok(Anchor {
            kind: AnchorKind::BloodGas,
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

    fn check(&self, check: &GasCheck) -> Result<Anchor, Finding> {
        self.usable("A gas check", check.at_s, &[check.expected_kpa, check.observed_kpa])?;
        Ok(Anchor {
            kind: AnchorKind::GasCheck,
            at_s: check.at_s,
            reference_kpa: check.expected_kpa,
            observed_kpa: check.observed_kpa,
            sd_kpa: self.limits.gas_check_sd_kpa.value,
        })
    }

    /// Refuses an anchor far from the night, or whose CO2 cannot be one in kPa.
    fn usable(&self, what: &str, at_s: f64, readings_kpa: &[f64]) -> Result<(), Finding> {
        let farthest_h = self.limits.anchor_farthest_h.value;
        let (lowest_kpa, highest_kpa) =
            (self.limits.anchor_lowest_kpa.value, self.limits.anchor_highest_kpa.value);
        let farthest_s = farthest_h * 3600.0;
        if !(-farthest_s..=self.duration_s + farthest_s).contains(&at_s) {
            let why = format!("its time lies more than {farthest_h} h from the recording");
            return Err(unusable(what, &why));
        }
        match readings_kpa.iter().find(|&&kpa| !(lowest_kpa..=highest_kpa).contains(&kpa)) {
            Some(kpa) => {
                let why = format!(
                    "its CO2, {kpa:.1} kPa, is not between {lowest_kpa} and {highest_kpa} kPa"
                );
                Err(unusable(what, &why))
            }
            None => Ok(()),
        }
    }
}

fn unusable(what: &str, why: &str) -> Finding {
    Finding::new(
        "anchor_unusable",
        Weight::Caution,
        format!("{what} cannot be used to correct CO2: {why}."),
    )
    .on("tcpco2")
}
