//! The virtual sensor: a heated ear clip with an oximeter and a CO2 electrode, and what goes wrong with it.
//!
//! Each number names its source: a key of `docs/sources.md`, `from memory` or `our choice`.

use serde::{Deserialize, Serialize};

/// A monitor and how it fares for one night.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sensor {
    /// The oximeter.
    pub oximeter: Oximeter,
    /// The CO2 electrode.
    pub electrode: Electrode,
    /// From the start of the recording to the first fitting, s.
    pub fitted_after_s: f64,
    /// From the last removal to the end of the recording, s.
    pub removed_before_end_s: f64,
    /// Share of times out of bed for which the clip comes off.
    pub off_at_visits_share: f64,
    /// How often things go wrong by chance.
    pub rates: FaultRates,
    /// Things that go wrong at a set time, besides those by chance.
    pub faults: Vec<Fault>,
    /// Gas checks and blood gases that come with the night.
    pub checks: Checks,
}

/// The oximeter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Oximeter {
    /// Seconds between samples, at least 1.
    pub period_s: u32,
    /// Averaging time of SpO2, s (2–16; `vagedes-2014`).
    pub averaging_s: u32,
    /// Averaging time of pulse, s (our choice).
    pub pulse_averaging_s: u32,
    /// Reading minus truth, %.
    pub bias_pct: f64,
    /// Standard deviation of a slow wander of the reading, % (our choice).
    pub noise_pct: f64,
    /// Last digit of SpO2, %: 1 or 0.1.
    pub digit_pct: f64,
    /// What is written when there is no reading.
    pub invalid: Invalid,
    /// Perfusion index on an ordinary night, %; `None`: the monitor does not write it.
    pub perfusion_pct: Option<f64>,
}

/// What a monitor writes when it has no reading of SpO2 and pulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Invalid {
    /// Nothing.
    Empty,
    /// Zero for both.
    Zero,
    /// The last values for ten seconds, then nothing.
    Held,
}

/// The CO2 electrode. It reads arterial PCO2 at 37 °C: the monitor has corrected for its heat already.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Electrode {
    /// Seconds between samples, at least 1.
    pub period_s: u32,
    /// Dead time between blood and reading, s (`ear-sensor-2002`: 9–48 s before an arm sensor).
    pub delay_s: f64,
    /// Time constant of skin and membrane, s (`gislason-1989`: behind in the first minute).
    pub lag_s: f64,
    /// Time to settle after a fitting, min (`oxford-tc-speed`: 10 to 15).
    pub settle_min: f64,
    /// Overshoot while settling.
    pub overshoot: Overshoot,
    /// Mean of reading minus artery in a settled fitting, kPa (`aarrestad-2016`: 0.23 either way).
    pub offset_kpa: f64,
    /// Standard deviation of the offset between nights, kPa (`aarrestad-2016`: 0.28).
    pub offset_sd_kpa: f64,
    /// Standard deviation of the change of offset with each refitting, kPa (our choice).
    pub refit_sd_kpa: f64,
    /// Mean drift over eight hours, kPa (`aarrestad-2016`: 0.14).
    pub drift_kpa_per_8h: f64,
    /// Standard deviation of drift over eight hours, kPa (`aarrestad-2016`: 0.54).
    pub drift_sd_kpa_per_8h: f64,
    /// Standard deviation of a slow wander about the straight drift, kPa (our choice).
    pub wander_kpa: f64,
    /// Standard deviation from second to second, kPa (our choice).
    pub noise_kpa: f64,
    /// The unit and last digit that the monitor writes.
    pub shows: Shows,
    /// Temperature of the sensor, °C, for the notes.
    pub temp_c: f64,
}

/// Unit and last digit of CO2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shows {
    /// Hundredths of a kPa.
    Kpa,
    /// Tenths of a mmHg.
    Mmhg,
}

/// How far CO2 overshoots its level while it settles.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "overshoot", rename_all = "snake_case")]
pub enum Overshoot {
    /// Drawn for each fitting from the published distribution (`domingo-2010`).
    Published,
    /// The same each time.
    Fixed {
        /// Peak above the settled level, mmHg.
        peak_mmhg: f64,
    },
}

/// What went wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// The clip is off the ear.
    Off,
    /// The clip has slipped: SpO2 reads low and drops out.
    Slipped,
    /// Air creeps under the CO2 sensor until someone presses it on again.
    Loosening,
    /// Movement.
    Motion,
    /// Little pulsation: a cold or squeezed ear.
    LowPerfusion,
    /// Values frozen.
    Frozen,
    /// Rows missing from the file.
    Missing,
    /// The monitor calibrates its CO2 sensor in its own gas.
    Calibration,
}

impl Cause {
    /// Every cause, in order.
    pub const ALL: [Self; 8] = [
        Self::Off,
        Self::Slipped,
        Self::Loosening,
        Self::Motion,
        Self::LowPerfusion,
        Self::Frozen,
        Self::Missing,
        Self::Calibration,
    ];

    /// The id used in the truth file.
    pub fn id(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Slipped => "slipped",
            Self::Loosening => "loosening",
            Self::Motion => "motion",
            Self::LowPerfusion => "low_perfusion",
            Self::Frozen => "frozen",
            Self::Missing => "missing",
            Self::Calibration => "calibration",
        }
    }
}

/// One thing that goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// What.
    pub cause: Cause,
    /// When, in seconds from the recording's start.
    pub start_s: f64,
    /// For how long, s.
    pub length_s: f64,
    /// How bad: 1 is ordinary, 0 is nothing.
    pub severity: f64,
}

/// How often things go wrong by chance, an hour while the sensor is on. All our choice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaultRates {
    /// The clip falls off in sleep.
    pub off_per_h: f64,
    /// How long it stays off, min, on average.
    pub off_min: f64,
    /// The clip slips.
    pub slipped_per_h: f64,
    /// The CO2 sensor loosens.
    pub loosening_per_h: f64,
    /// Movement, asleep; four times as often awake.
    pub motion_per_h: f64,
    /// Low perfusion.
    pub low_perfusion_per_h: f64,
    /// Frozen values.
    pub frozen_per_h: f64,
    /// Missing rows.
    pub missing_per_h: f64,
    /// Calibration pauses.
    pub calibration_per_h: f64,
}

impl FaultRates {
    /// Nothing goes wrong by chance.
    pub fn none() -> Self {
        Self {
            off_per_h: 0.0,
            off_min: 25.0,
            slipped_per_h: 0.0,
            loosening_per_h: 0.0,
            motion_per_h: 0.0,
            low_perfusion_per_h: 0.0,
            frozen_per_h: 0.0,
            missing_per_h: 0.0,
            calibration_per_h: 0.0,
        }
    }

    /// A good night at home: some movement, little else.
    pub fn ordinary() -> Self {
        Self {
            slipped_per_h: 0.04,
            motion_per_h: 1.2,
            low_perfusion_per_h: 0.05,
            missing_per_h: 0.08,
            ..Self::none()
        }
    }

    /// The rate of a cause; movement asleep.
    pub fn per_h(&self, cause: Cause) -> f64 {
        match cause {
            Cause::Off => self.off_per_h,
            Cause::Slipped => self.slipped_per_h,
            Cause::Loosening => self.loosening_per_h,
            Cause::Motion => self.motion_per_h,
            Cause::LowPerfusion => self.low_perfusion_per_h,
            Cause::Frozen => self.frozen_per_h,
            Cause::Missing => self.missing_per_h,
            Cause::Calibration => self.calibration_per_h,
        }
    }
}

/// When a check was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Taken {
    /// Not at all.
    Never,
    /// In the evening only.
    Evening,
    /// In the morning only.
    Morning,
    /// Evening and morning.
    Both,
}

impl Taken {
    pub(crate) fn evening(self) -> bool {
        matches!(self, Self::Evening | Self::Both)
    }

    pub(crate) fn morning(self) -> bool {
        matches!(self, Self::Morning | Self::Both)
    }
}

/// Gas checks and blood gases that come with the night.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Checks {
    /// A gas of known CO2, ten minutes before and after the recording.
    pub gas: Taken,
    /// A blood gas: five minutes before lights out, two minutes after lights on.
    pub blood_gas: Taken,
    /// Standard deviation of a gas check, kPa (our choice).
    pub gas_sd_kpa: f64,
    /// Standard deviation of a blood gas, kPa (our choice; laboratories accept 0.67 at most).
    pub blood_gas_sd_kpa: f64,
}

impl Checks {
    /// Gas checks before and after, no blood gas.
    pub fn gas() -> Self {
        Self { gas: Taken::Both, blood_gas: Taken::Never, gas_sd_kpa: 0.05, blood_gas_sd_kpa: 0.1 }
    }

    /// No check at all.
    pub fn none() -> Self {
        Self { gas: Taken::Never, ..Self::gas() }
    }

    /// Blood gases evening and morning, and gas checks.
    pub fn all() -> Self {
        Self { blood_gas: Taken::Both, ..Self::gas() }
    }
}

impl Sensor {
    /// An ordinary monitor on an ordinary night at home.
    pub fn ordinary() -> Self {
        Self {
            oximeter: Oximeter {
                period_s: 1,
                averaging_s: 3,
                pulse_averaging_s: 8,
                bias_pct: 0.0,
                noise_pct: 0.25,
                digit_pct: 1.0,
                invalid: Invalid::Empty,
                perfusion_pct: Some(1.8),
            },
            electrode: Electrode {
                period_s: 1,
                delay_s: 20.0,
                lag_s: 60.0,
                settle_min: 10.0,
                overshoot: Overshoot::Published,
                offset_kpa: 0.05,
                offset_sd_kpa: 0.15,
                refit_sd_kpa: 0.08,
                drift_kpa_per_8h: 0.1,
                drift_sd_kpa_per_8h: 0.25,
                wander_kpa: 0.02,
                noise_kpa: 0.008,
                shows: Shows::Kpa,
                temp_c: 42.0,
            },
            fitted_after_s: 60.0,
            removed_before_end_s: 150.0,
            off_at_visits_share: 0.8,
            rates: FaultRates::ordinary(),
            faults: Vec::new(),
            checks: Checks::gas(),
        }
    }

    /// A sensor without error or fault: no lag, settling, noise, offset, drift or mishap. It is fitted
    /// from the first second to the last, and still rounds to its last digit.
    pub fn ideal() -> Self {
        let ordinary = Self::ordinary();
        Self {
            oximeter: Oximeter {
                averaging_s: 1,
                pulse_averaging_s: 1,
                noise_pct: 0.0,
                digit_pct: 0.1,
                ..ordinary.oximeter
            },
            electrode: Electrode {
                delay_s: 0.0,
                lag_s: 0.0,
                settle_min: 0.0,
                overshoot: Overshoot::Fixed { peak_mmhg: 0.0 },
                offset_kpa: 0.0,
                offset_sd_kpa: 0.0,
                refit_sd_kpa: 0.0,
                drift_kpa_per_8h: 0.0,
                drift_sd_kpa_per_8h: 0.0,
                wander_kpa: 0.0,
                noise_kpa: 0.0,
                ..ordinary.electrode
            },
            fitted_after_s: 0.0,
            removed_before_end_s: 0.0,
            off_at_visits_share: 0.0,
            rates: FaultRates::none(),
            faults: Vec::new(),
            checks: Checks::none(),
        }
    }
}
