//! Temperature and metabolism: what a heated sensor reads too much, where the monitor has not taken it out.
//!
//! Heating raises the CO2 of the blood under the sensor by about 4.5 % a degree, and the warm skin
//! makes CO2 of its own. `tcPCO2 = (P - metabolic) / 10^(exponent (T - 37))`: subtract, then divide
//! (`severinghaus-1982`; published constants and orders differ). Nearly every monitor does this itself,
//! and doing it twice turns a true 45 mmHg into 30.8 mmHg, which hides hypoventilation. So it is done
//! only when the notes say that the monitor has not.

use crate::criteria::CorrectCriteria;
use crate::finding::Finding;
use crate::finding::Weight;
use crate::notes::MonitorNotes;

/// The correction to make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Temperature {
    factor: f64,
    metabolic_kpa: f64,
}

impl Temperature {
    pub(super) fn new(sensor_temp_c: f64, limits: &CorrectCriteria) -> Self {
        let exponent = limits.temperature_exponent_per_c.value * (sensor_temp_c - 37.0);
        Self { factor: libm::pow(10.0, exponent), metabolic_kpa: limits.metabolic_kpa.value }
    }

    /// A reading, corrected.
    pub(super) fn apply(&self, kpa: f64) -> f64 {
        (kpa - self.metabolic_kpa) / self.factor
    }

    /// How much larger an error of the bare sensor is than the error it leaves after correction.
    pub(super) fn factor(&self) -> f64 {
        self.factor
    }
}

/// The correction to make, if any, and what was noticed.
pub(super) fn find(
    monitor: &MonitorNotes,
    limits: &CorrectCriteria,
) -> (Option<Temperature>, Vec<Finding>) {
    let lowest_c = limits.sensor_temp_lowest_c.value;
    let highest_c = limits.sensor_temp_highest_c.value;
    match (monitor.corrected, monitor.sensor_temp_c) {
        (None, _) => (None, vec![not_known()]),
        (Some(true), None) => (None, vec![]),
        (Some(true), Some(_)) => (None, vec![refused_twice()]),
        (Some(false), None) => (None, vec![no_temperature()]),
        (Some(false), Some(c)) if !(lowest_c..=highest_c).contains(&c) => {
            (None, vec![temperature_refused(c, lowest_c, highest_c)])
        }
        (Some(false), Some(c)) => {
            let temperature = Temperature::new(c, limits);
            (Some(temperature), vec![applied(c, temperature)])
        }
    }
}

/// A finding when what the correction left is so low that it was probably made twice.
pub(super) fn doubt(median_kpa: Option<f64>, limits: &CorrectCriteria) -> Option<Finding> {
    let below_kpa = limits.corrected_twice_below_kpa.value;
    let median_kpa = median_kpa.filter(|&kpa| kpa < below_kpa)?;
    Some(finding(
        "co2_perhaps_corrected_twice",
        Weight::Serious,
        format!(
            "After the correction for temperature half of CO2 lies under {median_kpa:.1} kPa, which \
             few sleepers reach: make sure that the monitor had not corrected it already."
        ),
    ))
}

fn finding(code: &'static str, weight: Weight, sentence: impl Into<String>) -> Finding {
    Finding::new(code, weight, sentence).on("tcpco2")
}

fn not_known() -> Finding {
    finding(
        "co2_temperature_not_known",
        Weight::Caution,
        "Nobody noted whether the monitor corrects CO2 for temperature and metabolism: it is taken \
         to do so, and CO2 stands as recorded.",
    )
}

fn refused_twice() -> Finding {
    finding(
        "co2_temperature_refused",
        Weight::Note,
        "The monitor has already corrected CO2 for temperature and metabolism: it is not corrected \
         again, although a sensor temperature was noted.",
    )
}

fn no_temperature() -> Finding {
    finding(
        "co2_temperature_missing",
        Weight::Serious,
        "The monitor does not correct CO2 for temperature and metabolism, and the sensor's \
         temperature was not noted: CO2 stands as recorded and is too high.",
    )
}

fn temperature_refused(found_c: f64, lowest_c: f64, highest_c: f64) -> Finding {
    finding(
        "co2_temperature_implausible",
        Weight::Serious,
        format!(
            "The sensor temperature noted, {found_c} °C, is not between {lowest_c} and {highest_c} \
             °C: CO2 is not corrected for it."
        ),
    )
}

fn applied(sensor_temp_c: f64, temperature: Temperature) -> Finding {
    finding(
        "co2_temperature_corrected",
        Weight::Note,
        format!(
            "CO2 was corrected for a sensor at {sensor_temp_c} °C: {:.3} kPa subtracted for \
             metabolism, then divided by {:.4}.",
            temperature.metabolic_kpa, temperature.factor
        ),
    )
}
